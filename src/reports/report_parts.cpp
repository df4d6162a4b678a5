#include "reports/report_parts.hpp"

#include <algorithm>
#include <array>
#include <cmath>

#include <fmt/format.h>

namespace shaftlog {
namespace {

bool is_pressing(Urgency u) { return u == Urgency::act || u == Urgency::plan; }

double strength_of(const Finding& f) {
  for (const Figure& x : f.figures) {
    if (x.name == "strength") return x.estimate.value;
  }
  return 0;
}

std::string when_of(const Finding& f, const Zone& zone) {
  std::string text;
  if (f.began) {
    const std::string estimate = format_day(f.began->estimate, zone), low = format_day(f.began->low, zone),
                      high = format_day(f.began->high, zone);
    text = low == high ? estimate : fmt::format("about {} (between {} and {})", estimate, low, high);
    text += "; ";
  }
  return text + "evidence sufficed " + format_both(f.first_seen, zone);
}

std::string joined(const std::vector<std::string>& texts, std::string_view between) {
  std::string out;
  for (const std::string& t : texts) {
    if (!out.empty()) out += between;
    out += t;
  }
  return out;
}

std::string title_of(const Finding& f, const Names& names) {
  return fmt::format("{}, {}: {}", names.vessel(f.vessel), names.subject(f.shaft, f.lubricator),
                     spoken(name_of(f.kind)));
}

const ShaftState* state_of(const ReportInput& in, VesselId vessel, ShaftId shaft) {
  for (const VesselReview& v : in.view.vessels) {
    if (v.vessel != vessel) continue;
    for (const ShaftState& s : v.shafts) {
      if (s.shaft == shaft) return &s;
    }
  }
  return nullptr;
}

const Figure* figure_of(const Finding& f, std::string_view name) {
  for (const Figure& x : f.figures) {
    if (x.name == name) return &x;
  }
  return nullptr;
}

}  // namespace

std::vector<Finding> findings_of_shaft(const VesselReview& v, const ShaftDetail& detail) {
  std::vector<Finding> out;
  for (const Finding& f : v.findings) {
    const bool is_of_feed =
        !f.shaft.is_set() && f.lubricator.is_set() &&
        std::find(detail.lubricators.begin(), detail.lubricators.end(), f.lubricator) != detail.lubricators.end();
    const bool is_of_ship = !f.shaft.is_set() && !f.lubricator.is_set();
    if (f.shaft == detail.shaft || is_of_feed || is_of_ship) out.push_back(f);
  }
  return out;
}

std::string urgency_word(Urgency u) {
  switch (u) {
    case Urgency::act:
      return "ACT";
    case Urgency::plan:
      return "PLAN";
    case Urgency::watch:
      return "watch";
    case Urgency::note:
      return "note";
  }
  return "";
}

bool is_closed(const ReportInput& in, const Finding& f) {
  const auto state = in.view.states.find(f.id);
  return state != in.view.states.end() && state->second.status == FindingStatus::closed;
}

std::vector<const Finding*> open_ones(const ReportInput& in, const std::vector<Finding>& findings) {
  std::vector<const Finding*> out;
  for (const Finding& f : findings) {
    if (!is_closed(in, f)) out.push_back(&f);
  }
  return out;
}

Instant year_before(Instant as_of) { return as_of - std::chrono::days{365}; }

Report start_report(const ReportInput& in, std::string title) {
  Report r;
  r.title = std::move(title);
  r.as_of = in.view.as_of;
  const std::string as_of = format_local({in.view.as_of, std::chrono::minutes{0}, Precision::minute}) + " UTC";
  r.subtitle = "As of " + as_of;
  if (in.view.known) {
    r.subtitle += ", from what was recorded by " +
                  format_local({*in.view.known, std::chrono::minutes{0}, Precision::minute}) + " UTC";
  }
  r.subtitle += fmt::format(". Shaftlog {}; {}.", in.view.version, in.records);
  r.footer = fmt::format("{}, as of {}", r.title, as_of);
  return r;
}

// Whose strength is odds from the records; of the others it is a judgement on the same scale
// (docs/methods/findings.md).
bool is_computed(FindingKind k) {
  return k == FindingKind::missed_cycles || k == FindingKind::line_leak || k == FindingKind::abnormal_washout ||
         k == FindingKind::seal_wear || k == FindingKind::less_grease_taken || k == FindingKind::starved ||
         k == FindingKind::alarm_rate;
}

std::string how_sure(const Finding& f) {
  const double s = strength_of(f);
  // Natural-log odds: 1.1 is 3 to 1, 2.94 is 19 to 1, 4.6 is 99 to 1.
  const std::string_view word = s >= 4.6    ? "practically certain"
                                : s >= 2.94 ? "very likely"
                                : s >= 1.1  ? "likely"
                                : s > 0     ? "more likely than not"
                                            : "not proved";
  if (!is_computed(f.kind)) return fmt::format("{}, by judgement (strength {:.1f})", word, s);
  return fmt::format("{} (strength {:.1f}, natural-log odds)", word, s);
}

std::string at_stake(const Finding& f, const ReportInput& in) {
  const Names names{in.view.reg};
  std::vector<std::string> said;
  const auto of_shaft = [&](const ShaftState& s, bool with_name) {
    std::string text;
    if (s.hours_to_reserve && s.use_h_per_day) {
      const double h = s.hours_to_reserve->value;
      if (h <= 0) {
        text = "is below its reserve already";
      } else {
        text = fmt::format("meets its reserve after {} running hours ({} to {})", format_figure(h, 2),
                           format_figure(s.hours_to_reserve->low, 2), format_figure(s.hours_to_reserve->high, 2));
        if (const auto day = meets_reserve_at(h, *s.use_h_per_day, in.view.as_of))
          text += fmt::format(", about {} at the present use", format_day(*day, names.zone(f.vessel)));
      }
      text = (with_name ? std::string{names.shaft(s.shaft)} : std::string{"the bearing"}) + " " + text;
    }
    return text;
  };
  switch (f.kind) {
    case FindingKind::abnormal_washout:
    case FindingKind::seal_wear:
    case FindingKind::starved:
    case FindingKind::greasing_overdue:
    case FindingKind::missed_cycles: {
      if (f.shaft.is_set()) {
        if (const ShaftState* s = state_of(in, f.vessel, f.shaft); s != nullptr) said.push_back(of_shaft(*s, false));
      } else {
        // A lubricator: the shaft that runs out of reserve first.
        const ShaftState* first = nullptr;
        for (std::size_t i = 0; i < in.view.vessels.size(); ++i) {
          const VesselReview& v = in.view.vessels[i];
          if (v.vessel != f.vessel) continue;
          for (const ShaftState& s : v.shafts) {
            if (!is_fed_by(in.view.reg, s.shaft, f.lubricator, in.view.as_of)) continue;
            if (s.hours_to_reserve && (first == nullptr || s.hours_to_reserve->value < first->hours_to_reserve->value))
              first = &s;
          }
        }
        if (first != nullptr) said.push_back(of_shaft(*first, true));
      }
      break;
    }
    case FindingKind::less_grease_taken:
      said.emplace_back("if the grease does not reach the bearing, its cavity empties and nothing in the log shows it");
      break;
    case FindingKind::line_leak:
      if (const Figure* x = figure_of(f, "excess"); x != nullptr) {
        said.push_back(fmt::format("{} {} have gone beside the bearings, into the ship or the sea",
                                   format_estimate(x->estimate, 3), x->unit));
      } else {
        said.push_back("grease goes beside the bearings, into the ship or the sea");
      }
      break;
    case FindingKind::refill_due:
      said.push_back("an empty reservoir gives no dose, and the cavities it serves begin to empty");
      break;
    case FindingKind::alarm_standing:
    case FindingKind::alarm_rate:
      said.push_back("while an alarm stands or comes often, the next fault of the system goes unseen");
      break;
    case FindingKind::water_ingress:
    case FindingKind::wear_sign:
      said.push_back("the bearing itself: a repair needs the ship out of the water");
      break;
    case FindingKind::grease_mixed:
      said.push_back("greases that do not go together can run out or harden in the cavity");
      break;
    case FindingKind::record_suspect:
    case FindingKind::records_missing:
      said.push_back("what the records do not say cannot be watched");
      break;
  }
  std::erase(said, std::string{});
  return joined(said, "; ");
}

namespace {

// Closed and still found: not lost, and not among what is to be done.
void add_closed(Report& report, const ReportInput& in, const std::vector<Finding>& findings) {
  const Names names{in.view.reg};
  ReportTable t;
  t.caption = "Closed, and still standing";
  t.columns = {{"subject", false}, {"kind", false}, {"what was done", false}, {"did the numbers come back", false}};
  for (const Finding& f : findings) {
    if (!is_closed(in, f)) continue;
    const auto outcome = in.view.outcomes.find(f.id);
    t.rows.push_back({{{fmt::format("{}, {}", names.vessel(f.vessel), names.subject(f.shaft, f.lubricator)), {}},
                       {fmt::format("{} ({})", spoken(name_of(f.kind)), format_uuid(f.id).substr(0, 8)), {}},
                       {state_text(in.view.states.at(f.id)), {}},
                       {outcome != in.view.outcomes.end() ? typeset(outcome->second.says) : "too early to say", {}}}});
  }
  if (!t.rows.empty()) report.blocks.emplace_back(std::move(t));
}

}  // namespace

void add_findings(Report& report, const ReportInput& in, const std::vector<Finding>& findings) {
  const Names names{in.view.reg};
  const std::string not_known = unjudged_text(in.view.vessels, names);
  if (!not_known.empty()) report.blocks.emplace_back(Paragraph{not_known, false});
  std::array<std::size_t, 4> counts{};
  const std::vector<const Finding*> open = open_ones(in, findings);
  for (const Finding* f : open) ++counts[static_cast<std::size_t>(f->urgency)];
  static constexpr std::array<std::string_view, 4> kMeaning{
      "now, before the next greasing", "at the next port or docking", "the evidence is building", "about the records"};
  if (open.empty()) {
    report.blocks.emplace_back(Paragraph{
        findings.empty() ? "Nothing found: no shaft asks for attention." : "Nothing open: no shaft asks for attention.",
        false});
    add_closed(report, in, findings);
    return;
  }
  ReportTable summary;
  summary.columns = {{"urgency", false}, {"findings", true}, {"when to see to it", false}};
  for (std::size_t i = 0; i < counts.size(); ++i) {
    const auto u = static_cast<Urgency>(i);
    summary.rows.push_back({{{urgency_word(u), u}, {std::to_string(counts[i]), {}}, {std::string{kMeaning[i]}, {}}}});
  }
  report.blocks.emplace_back(std::move(summary));

  std::size_t rank = 0;
  for (const Finding* open_one : open) {
    const Finding& f = *open_one;
    if (!is_pressing(f.urgency)) continue;
    FindingBlock b;
    b.urgency = f.urgency;
    b.title = fmt::format("{}. {}", ++rank, title_of(f, names));
    b.summary = typeset(f.summary);
    b.lines.emplace_back("since", when_of(f, names.zone(f.vessel)));
    b.lines.emplace_back("how sure", how_sure(f));
    if (!f.likely_causes.empty()) b.lines.emplace_back("likely", joined(f.likely_causes, "; "));
    if (const std::string stake = at_stake(f, in); !stake.empty()) b.lines.emplace_back("at stake", typeset(stake));
    const auto state = in.view.states.find(f.id);
    const std::string who = state == in.view.states.end() ? std::string{} : state_text(state->second);
    b.lines.emplace_back("finding", format_uuid(f.id).substr(0, 8) + (who.empty() ? "" : ", " + who));
    b.checks = f.checks;
    b.cautions = f.cautions;
    report.blocks.emplace_back(std::move(b));
  }
  ReportTable lesser;
  lesser.caption = "To watch and to note";
  lesser.columns = {{"urgency", false}, {"subject", false}, {"kind", false}, {"what", false}, {"check first", false}};
  for (const Finding* open_one : open) {
    const Finding& f = *open_one;
    if (is_pressing(f.urgency)) continue;
    lesser.rows.push_back({{{urgency_word(f.urgency), f.urgency},
                            {fmt::format("{}, {}", names.vessel(f.vessel), names.subject(f.shaft, f.lubricator)), {}},
                            {spoken(name_of(f.kind)), {}},
                            {typeset(f.summary), {}},
                            {f.checks.empty() ? "" : f.checks.front(), {}}}});
  }
  if (!lesser.rows.empty()) {
    std::vector<std::string> cautions;
    for (const Finding* f : open) {
      if (is_pressing(f->urgency)) continue;
      for (const std::string& c : f->cautions) {
        if (std::find(cautions.begin(), cautions.end(), c) == cautions.end()) cautions.push_back(c);
      }
    }
    if (!cautions.empty()) {
      report.blocks.emplace_back(Cautions{"Before any of the checks in the table below", std::move(cautions)});
    }
    report.blocks.emplace_back(std::move(lesser));
  }
  add_closed(report, in, findings);
}

void add_notes(Report& report) {
  report.blocks.emplace_back(Heading{2, "How to read this", "notes"});
  report.blocks.emplace_back(BulletList{
      "",
      {"Figures in brackets are 90 % intervals: in 1 of 10 cases the truth lies outside. \xE2\x80\x9C-\xE2\x80\x9D and "
       "\xE2\x80\x9Cnot known\xE2\x80\x9D are never 0.",
       "Washout is what a cavity loses per running hour. Fill is reconstructed from the records; nobody looks into the "
       "cavity.",
       "One matter is one finding, however many symptoms it has. ACT: before the next greasing; PLAN: next port or "
       "docking; watch: the evidence is building; note: about the records.",
       "The same records, time and version give this page again, byte for byte. The fingerprint is of the ids "
       "of the records in force and of what was said about findings.",
       "Findings advise checks. Makers' instructions, class, flag, local rules and licensed practice decide. Shaftlog "
       "is "
       "not an approved planned-maintenance scheme."}});
}

}  // namespace shaftlog
