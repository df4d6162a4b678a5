#include "reports/report_parts.hpp"
#include "reports/review_report.hpp"

#include <algorithm>
#include <array>

#include <fmt/format.h>

namespace shaftlog {

namespace {

constexpr std::array kUrgencies{Urgency::act, Urgency::plan, Urgency::watch, Urgency::note};
constexpr std::size_t kMostShipsInOrder = 25;  // more ships with nothing to report are only counted

bool is_of_the_log(const Finding& f) {
  return f.kind == FindingKind::records_missing && !f.shaft.is_set() && !f.lubricator.is_set();
}
bool is_pressing(const Finding& f) { return f.urgency == Urgency::act || f.urgency == Urgency::plan; }
FindingState state_of(const ReviewView& view, const Finding& f) {
  const auto found = view.states.find(f.id);
  return found == view.states.end() ? FindingState{} : found->second;
}
bool is_closed(const ReviewView& view, const Finding& f) { return state_of(view, f).status == FindingStatus::closed; }
std::string count_of(std::size_t n, std::string_view one, std::string_view many) {
  return fmt::format("{} {}", n, n == 1 ? one : many);
}

std::string since(const Finding& f, const Zone& zone) {
  if (!f.began) return "";
  const std::string estimate = format_day(f.began->estimate, zone);
  const std::string low = format_day(f.began->low, zone);
  const std::string high = format_day(f.began->high, zone);
  if (low == high) return "since " + estimate;
  return fmt::format("since about {} (between {} and {})", estimate, low, high);
}

void add_sentence(std::string& out, std::string_view label, std::string_view text, const TextStyle& style) {
  constexpr int kIndent = 10;
  std::string line(2, ' ');
  line += label;
  line.resize(kIndent, ' ');
  out += line + wrapped(text, style.width, kIndent, kIndent) + '\n';
}

void add_list(std::string& out, std::string_view label, const std::vector<std::string>& texts, const TextStyle& style) {
  constexpr int kIndent = 10;
  bool is_first = true;
  for (const std::string& t : texts) {
    std::string line(2, ' ');
    if (is_first) line += label;
    line.resize(kIndent, ' ');
    out += line + "- " + wrapped(t, style.width, kIndent + 2, kIndent + 2) + '\n';
    is_first = false;
  }
}

void add_cautions(std::string& out, const std::vector<std::string>& cautions, const TextStyle& style) {
  if (cautions.empty()) return;
  out += strong("Before any of these checks", style) + '\n';
  for (const std::string& c : cautions) out += "  - " + wrapped(c, style.width, 4, 4) + '\n';
}

std::string headline(const ReviewView& view, const TextStyle& style) {
  std::size_t shafts = 0;
  std::size_t lubricators = 0;
  for (const VesselReview& v : view.vessels) {
    shafts += v.shafts.size();
    lubricators += v.lubricators.size();
  }
  std::string out = strong(fmt::format("Review of the {} as of {} UTC", view.scope,
                                       format_local({view.as_of, std::chrono::minutes{0}, Precision::minute})),
                           style);
  if (view.known)
    out += fmt::format(", from what was recorded by {} UTC",
                       format_local({*view.known, std::chrono::minutes{0}, Precision::minute}));
  out += fmt::format("\n{}, {}, {}\n", count_of(view.vessels.size(), "vessel", "vessels"),
                     count_of(shafts, "shaft", "shafts"), count_of(lubricators, "lubricator", "lubricators"));
  std::array<std::size_t, 4> counts{};
  std::size_t closed = 0;
  for (const Finding& f : view.findings) ++(is_closed(view, f) ? closed : counts[static_cast<std::size_t>(f.urgency)]);
  if (closed == view.findings.size()) {
    out +=
        closed == 0 ? "Nothing found: no shaft asks for attention.\n" : "Nothing open: no shaft asks for attention.\n";
  }
  static constexpr std::array<std::string_view, 4> kMeaning{"now, before the next greasing", "next port or docking",
                                                            "evidence is building", "about the records"};
  for (const Urgency u : kUrgencies) {
    const auto i = static_cast<std::size_t>(u);
    if (counts[i] == 0) continue;
    const std::string word = urgency_word(u);
    out += fmt::format("  {:>4} {}{} {}\n", counts[i], toned(word, u, style), std::string(6 - word.size(), ' '),
                       kMeaning[i]);
  }
  if (closed > 0) out += fmt::format("  {:>4} closed and still standing\n", closed);
  if (const std::string not_known = unjudged_text(view.vessels, Names{view.reg}); !not_known.empty())
    out += wrapped(not_known, style.width) + '\n';
  return out;
}

/// What somebody closed and the analysis still finds: not lost, and not among what is to be done.
std::string closed_ones(const ReviewView& view, const Names& names, const TextStyle& style) {
  TextTable table{{{""}, {""}, {""}, {""}}};
  for (const Finding& f : view.findings) {
    const FindingState state = state_of(view, f);
    if (state.status != FindingStatus::closed) continue;
    std::string text = state_text(state) + "; still standing";
    if (const auto o = view.outcomes.find(f.id); o != view.outcomes.end()) text += ": " + o->second.says;
    table.add({fmt::format("{}, {}", names.vessel(f.vessel), names.subject(f.shaft, f.lubricator)),
               spoken(name_of(f.kind)), format_uuid(f.id).substr(0, 8), std::move(text)});
  }
  return table.is_empty() ? "" : '\n' + strong("Closed, still standing", style) + '\n' + table.text(style, 2);
}

std::string ships(const ReviewView& view, const Names& names, const TextStyle& style, bool with_all) {
  TextTable table{{{"vessel"},
                   {"state"},
                   {"act", Align::right},
                   {"plan", Align::right},
                   {"watch", Align::right},
                   {"note", Align::right},
                   {"last reading"},
                   {"most pressing"}}};
  std::size_t in_order = 0;
  const auto open_of = [&view](const VesselReview& v) {
    std::vector<const Finding*> open;
    for (const Finding& f : v.findings)
      if (!is_closed(view, f)) open.push_back(&f);
    return open;
  };
  const auto is_in_order = [&open_of](const VesselReview& v) {
    return open_of(v).empty() && (!v.findings.empty() || quiet_word(v) == "in order");
  };
  for (const VesselReview& v : view.vessels)
    if (is_in_order(v)) ++in_order;
  const bool leave_out = !with_all && in_order > kMostShipsInOrder;
  for (const VesselReview& v : view.vessels) {
    const std::vector<const Finding*> open = open_of(v);
    if (leave_out && is_in_order(v)) continue;
    std::array<std::size_t, 4> counts{};
    for (const Finding* f : open) ++counts[static_cast<std::size_t>(f->urgency)];
    const auto last = last_record(v);
    std::vector<std::string> row{std::string{names.vessel(v.vessel)}, !open.empty()
                                                                          ? urgency_word(open.front()->urgency)
                                                                      : v.findings.empty() ? std::string{quiet_word(v)}
                                                                                           : "closed"};
    for (const std::size_t n : counts) row.push_back(n == 0 ? "." : std::to_string(n));
    row.push_back(last ? format_day(*last, names.zone(v.vessel)) : "none");
    row.push_back(open.empty() ? ""
                               : fmt::format("{} {}", names.subject(open.front()->shaft, open.front()->lubricator),
                                             spoken(name_of(open.front()->kind))));
    table.add(std::move(row));
  }
  std::string out = '\n' + strong("Ships", style) + '\n' + table.text(style, 2);
  for (const VesselReview& v : view.vessels)
    if (v.docked_since && std::none_of(v.findings.begin(), v.findings.end(), is_of_the_log))
      out += "  " +
             wrapped(fmt::format("{} is recorded as docked since {}: no running is assumed from then on",
                                 names.vessel(v.vessel), format_day(*v.docked_since, names.zone(v.vessel))),
                     style.width, 2, 4) +
             '\n';
  if (leave_out) out += fmt::format("  and {} in order (--all lists them)\n", count_of(in_order, "ship", "ships"));
  return out;
}

std::string shafts(const ReviewView& view, const Names& names, const TextStyle& style) {
  TextTable table{{{"vessel"},
                   {"shaft"},
                   {"meter h", Align::right},
                   {"loss cm3/h"},
                   {"trend %/1000 h"},
                   {"fill %"},
                   {"starved h"},
                   {"next greasing"}}};
  for (const VesselReview& v : view.vessels) {
    for (const ShaftState& s : v.shafts) {
      std::optional<Estimate> starved;
      if (s.starved_h) starved = Estimate{s.starved_h->best, s.starved_h->least, s.starved_h->most};
      table.add({std::string{names.vessel(s.vessel)}, std::string{names.shaft(s.shaft)},
                 s.running_h ? format_figure(*s.running_h, 5) : "-", format_estimate(s.washout_cm3_per_h, 2),
                 format_estimate(s.trend_pct_per_1000h, 2), format_estimate(s.cavity_fill_pct, 2),
                 format_estimate(starved, 2), format_due(s.next_greasing, names.zone(s.vessel))});
    }
  }
  if (table.is_empty()) return "";
  return '\n' + strong("Shafts", style) + " (estimate, 5 to 95 %)\n" + table.text(style, 2);
}

std::string lubricators(const ReviewView& view, const Names& names, const TextStyle& style) {
  TextTable table{{{"vessel"},
                   {"lubricator"},
                   {"delivered / called for"},
                   {"cycles counted / called for"},
                   {"level %"},
                   {"low mark reached"}}};
  for (const VesselReview& v : view.vessels) {
    for (const LubricatorState& l : v.lubricators) {
      const Zone& zone = names.zone(l.vessel);
      const NextRefill& n = l.next_refill;
      std::string refill = n.p50 ? format_day(*n.p50, zone) : "-";
      if (n.p50 && n.p10 && n.p90)
        refill += fmt::format(" ({} to {})", format_day(*n.p10, zone), format_day(*n.p90, zone));
      if (n.stands_since)
        refill = fmt::format("stands since {}; if set going now: {}", format_day(*n.stands_since, zone), refill);
      table.add({std::string{names.vessel(l.vessel)}, std::string{names.lubricator(l.lubricator)},
                 format_estimate(l.delivery_ratio, 3), format_estimate(l.cycle_ratio, 3),
                 format_estimate(l.level_pct, 2), refill});
    }
  }
  if (table.is_empty()) return "";
  return '\n' + strong("Lubricators", style) + " (estimate, 5 to 95 %)\n" + table.text(style, 2);
}

}  // namespace

std::string state_text(const FindingState& s) {
  const std::string by = s.by.empty() ? "somebody" : s.by;
  const std::string says = s.says.empty() ? "" : ": " + s.says;
  switch (s.status) {
    case FindingStatus::in_hand:
      return fmt::format("in hand of {} since {}{}", by, format_local(s.since), says);
    case FindingStatus::closed:
      return fmt::format("closed on {} by {}{}", format_local(s.since), by, says);
    case FindingStatus::open:
      break;
  }
  return s.says.empty() ? "" : fmt::format("reopened on {} by {}{}", format_local(s.since), by, says);
}

std::string finding_text(const Finding& f, const Names& names, const TextStyle& style, bool with_cautions,
                         const FindingState& state) {
  const Zone& zone = names.zone(f.vessel);
  std::string out = fmt::format("{}  {}\n", toned(fmt::format("{:<4}", urgency_word(f.urgency)), f.urgency, style),
                                strong(fmt::format("{}, {}: {}", names.vessel(f.vessel),
                                                   names.subject(f.shaft, f.lubricator), spoken(name_of(f.kind))),
                                       style));
  add_sentence(out, "", f.summary, style);
  std::string when = since(f, zone);
  if (!when.empty()) when += "; ";
  add_sentence(out, "when", when + "evidence sufficed " + format_both(f.first_seen, zone), style);
  std::string causes;
  for (const std::string& c : f.likely_causes) causes += (causes.empty() ? "" : "; ") + c;
  if (!causes.empty()) add_sentence(out, "likely", causes, style);
  add_list(out, "check", f.checks, style);
  if (const std::string who = state_text(state); !who.empty()) add_sentence(out, "state", who, style);
  add_sentence(out, "finding", format_uuid(f.id).substr(0, 8), style);
  if (with_cautions) add_cautions(out, f.cautions, style);
  return out;
}

std::string review_text(const ReviewView& view, const TextStyle& style, bool with_all) {
  const Names names{view.reg};
  std::string out = headline(view, style);

  std::vector<std::string> cautions;
  for (const Finding& f : view.findings) {
    if (!is_pressing(f) || is_closed(view, f)) continue;
    out += '\n' + finding_text(f, names, style, /*with_cautions=*/false, state_of(view, f));
    for (const std::string& c : f.cautions)
      if (std::find(cautions.begin(), cautions.end(), c) == cautions.end()) cautions.push_back(c);
  }
  if (!cautions.empty()) out += '\n';
  add_cautions(out, cautions, style);

  TextTable lesser{{{""}, {""}, {""}, {""}}};
  for (const Finding& f : view.findings) {
    if (is_pressing(f) || is_closed(view, f)) continue;
    const std::string who = state_text(state_of(view, f));
    lesser.add(
        {urgency_word(f.urgency), fmt::format("{}, {}", names.vessel(f.vessel), names.subject(f.shaft, f.lubricator)),
         spoken(name_of(f.kind)), f.summary + (who.empty() ? "" : "; " + who)},
        f.urgency);
  }
  if (!lesser.is_empty()) out += '\n' + strong("To watch and to note", style) + '\n' + lesser.text(style, 2);

  out += closed_ones(view, names, style);
  out += ships(view, names, style, with_all);
  if (with_all) {
    out += shafts(view, names, style);
    out += lubricators(view, names, style);
  }
  if (!view.findings.empty()) {
    out += '\n' +
           wrapped(
               "More of a finding: shaftlog finding show ID, with the 8 digits above; finding list names all. "
               "Say what is done: finding take, note, close.",
               style.width) +
           '\n';
  }
  return out;
}

}  // namespace shaftlog
