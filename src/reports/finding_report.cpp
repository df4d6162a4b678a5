#include "reports/finding_report.hpp"

#include "analysis/causes.hpp"
#include "reports/csv_text.hpp"
#include "reports/record_report.hpp"
#include "reports/review_report.hpp"

#include <algorithm>

#include <fmt/format.h>

namespace shaftlog {
namespace {

std::string short_id(const Uuid& id) { return format_uuid(id).substr(0, 8); }

std::string subject_of(const FindingCase& c, const Names& names) {
  return fmt::format("{}, {}", names.vessel(c.vessel), names.subject(c.shaft, c.lubricator));
}

std::string_view words_of(FindingAct a) {
  switch (a) {
    case FindingAct::taken:
      return "taken in hand";
    case FindingAct::noted:
      return "noted";
    case FindingAct::closed:
      return "closed";
    case FindingAct::reopened:
      return "reopened";
  }
  return "";
}

bool holds(const std::vector<std::string>& list, const std::string& word) {
  return std::find(list.begin(), list.end(), word) != list.end();
}

/// What of a cause's signs was seen, looked for in vain, and not known.
struct Signs {
  std::vector<Sign> present, absent, unknown;
};
Signs signs_of(const Finding& f, const std::string& cause) {
  Signs out;
  for (const CauseRow& row : cause_table()) {
    if (row.kind != f.kind || row.text != cause) continue;
    for (const Sign& s : row.signs) {
      (holds(f.present, s.symptom) ? out.present : holds(f.absent, s.symptom) ? out.absent : out.unknown).push_back(s);
    }
    break;
  }
  return out;
}

/// "counter stopped (for it), alarms no pressure (against it)". \param way 1 seen, -1 not there, 0 not known
std::string joined(const std::vector<Sign>& signs, int way) {
  std::string out;
  for (const Sign& s : signs) {
    out += (out.empty() ? "" : ", ") + spoken(s.symptom);
    if (way != 0) out += s.weight * way > 0 ? " (for it)" : " (against it)";
  }
  return out;
}

std::string state_or_open(const FindingState& s) {
  const std::string text = state_text(s);
  return text.empty() ? "open; nobody has it in hand" : text;
}

/// The finding when it was last spoken of, for one that is not found any more.
const FindingThen* last_then(const FindingCase& c) {
  for (auto r = c.remarks.rbegin(); r != c.remarks.rend(); ++r)
    if (!r->then.summary.empty()) return &r->then;
  return nullptr;
}

std::string summary_of(const FindingCase& c) {
  if (c.now) return c.now->summary;
  const FindingThen* then = last_then(c);
  return then == nullptr ? "not found any more" : "not found any more; it said: " + then->summary;
}

std::string title(std::string_view text, const TextStyle& style) { return '\n' + strong(text, style) + '\n'; }

void add_item(std::string& out, std::string_view text, const TextStyle& style) {
  out += "  - " + wrapped(text, style.width, 4, 4) + '\n';
}

std::string causes_text(const Finding& f, const TextStyle& style) {
  std::string out = title("Likely causes, the likeliest first", style);
  for (const std::string& cause : f.likely_causes) {
    add_item(out, cause, style);
    const Signs signs = signs_of(f, cause);
    const auto add = [&](std::string_view label, const std::vector<Sign>& of, int way) {
      if (!of.empty()) out += "    " + wrapped(fmt::format("{}: {}", label, joined(of, way)), style.width, 6, 4) + '\n';
    };
    add("seen", signs.present, 1);
    add("looked for and not there", signs.absent, -1);
    add("not known", signs.unknown, 0);
  }
  return out;
}

std::string now_text(const FindingCase& c, std::span<const Entry> evidence, const VerifiedRecords& verified,
                     const Names& names, const TextStyle& style) {
  const Finding& f = *c.now;
  std::string out;
  if (!f.figures.empty()) {
    TextTable table{{{"figure"}, {"estimate", Align::right}, {"5 %", Align::right}, {"95 %", Align::right}, {"unit"}}};
    for (const Figure& q : f.figures)
      table.add({spoken(q.name), format_figure(q.estimate.value), format_figure(q.estimate.low),
                 format_figure(q.estimate.high), q.unit == "1" ? "" : q.unit});
    out += title("Figures", style) + table.text(style, 2);
  }
  if (!f.likely_causes.empty()) out += causes_text(f, style);
  if (!f.checks.empty()) {
    out += title("Checks", style);
    for (const std::string& check : f.checks) add_item(out, check, style);
  }
  if (!f.cautions.empty()) {
    out += title("Before any of these checks", style);
    for (const std::string& caution : f.cautions) add_item(out, caution, style);
    add_item(out, "makers' instructions, class, flag and licensed practice decide", style);
  }
  if (!evidence.empty()) {
    TextTable table = record_table();
    for (const Entry& e : evidence) add_record(table, e, names, verified_in(verified, e.head.id));
    out += title("Records it rests on, the decisive first", style) + table.text(style, 2);
  }
  return out;
}

void write_remark(JsonWriter& json, const FindingRemark& r) {
  json.begin_object();
  json.key("id").text(format_uuid(r.id));
  json.key("finding").text(format_uuid(r.finding));
  json.key("did").text(name_of(r.did));
  json.key("says").text_or_null(r.says);
  json.key("by").text_or_null(r.by);
  json.key("at").time(r.at.utc);
  json.key("at_local").text(format_stamp(r.at));
  json.key("recorded_at").time(r.recorded_at.utc);
  json.key("was_urgency").text_or_null(r.then.urgency);
  json.key("was_summary").text_or_null(r.then.summary);
  json.key("was_measure").text_or_null(r.then.measure);
  json.key("was_value");
  if (r.then.value_ppm)
    json.number(static_cast<double>(*r.then.value_ppm) / 1e6, 9);
  else
    json.null();
  json.end_object();
}

void write_case(JsonWriter& json, const FindingCase& c, const Names& names) {
  json.begin_object();
  json.key("id").text(format_uuid(c.id));
  json.key("vessel").text_or_null(names.vessel(c.vessel));
  json.key("shaft").text_or_null(names.shaft(c.shaft));
  json.key("lubricator").text_or_null(names.lubricator(c.lubricator));
  json.key("kind").text(c.kind);
  json.key("still_found").boolean(c.now.has_value());
  json.key("urgency").text_or_null(c.now ? name_of(c.now->urgency) : "");
  json.key("summary").text(summary_of(c));
  json.key("status").text(name_of(c.state.status));
  json.key("status_since");
  if (c.remarks.empty() || c.state.since.utc == Instant{})
    json.null();
  else
    json.time(c.state.since.utc);
  json.key("status_by").text_or_null(c.state.by);
  json.key("status_says").text_or_null(c.state.says);
  json.key("outcome");
  if (c.outcome)
    write_outcome(json, *c.outcome);
  else
    json.null();
  json.end_object();
}

}  // namespace

std::string finding_case_text(const FindingCase& c, std::span<const Entry> evidence, const VerifiedRecords& verified,
                              Instant as_of, const Names& names, const TextStyle& style) {
  std::string out;
  if (c.now) {
    out = finding_text(*c.now, names, style, /*with_cautions=*/false, c.state);
    if (state_text(c.state).empty()) out += "  state   open; nobody has it in hand\n";
  } else {
    out = strong(fmt::format("{}: {}", subject_of(c, names), spoken(c.kind)), style) + '\n';
    out += "          " + wrapped(summary_of(c), style.width, 10, 10) + '\n';
    out += "  state   " + wrapped(state_or_open(c.state), style.width, 10, 10) + '\n';
  }
  out += fmt::format("  id      {}\n  as of   {} UTC\n", format_uuid(c.id),
                     format_local({as_of, std::chrono::minutes{0}, Precision::minute}));
  if (c.outcome) {
    out += title("Since it was closed", style);
    add_item(out, c.now ? "it is still found" : "it is not found any more", style);
    add_item(out, c.outcome->says, style);
  }
  if (!c.remarks.empty()) {
    out += title("What was done", style);
    for (const FindingRemark& r : c.remarks) {
      std::string line = fmt::format("{}, {}{}{}", format_both(r.at), words_of(r.did),
                                     r.by.empty() ? "" : " by " + r.by, r.says.empty() ? "" : ": " + r.says);
      if (r.recorded_at.utc - r.at.utc > std::chrono::hours{24})
        line += fmt::format(" (written down {})", format_local(r.recorded_at));
      add_item(out, line, style);
    }
  }
  if (c.now) out += now_text(c, evidence, verified, names, style);
  return out;
}

std::string finding_case_json(const FindingCase& c, std::span<const Entry> evidence, const VerifiedRecords& verified,
                              Instant as_of, const Names& names) {
  JsonWriter json;
  json.begin_object();
  json.key("as_of").time(as_of);
  json.key("case");
  write_case(json, c, names);
  json.key("finding");
  if (c.now)
    write_finding(json, *c.now, names, c.state, c.outcome ? &*c.outcome : nullptr);
  else
    json.null();
  json.key("causes").begin_list();
  if (c.now) {
    for (const std::string& cause : c.now->likely_causes) {
      const Signs signs = signs_of(*c.now, cause);
      json.begin_object();
      json.key("cause").text(cause);
      for (const auto& [key, of] : std::initializer_list<std::pair<const char*, const std::vector<Sign>*>>{
               {"present", &signs.present}, {"absent", &signs.absent}, {"unknown", &signs.unknown}}) {
        json.key(key).begin_list();
        for (const Sign& s : *of) json.text(s.symptom);
        json.end_list();
      }
      json.end_object();
    }
  }
  json.end_list();
  json.key("cautions").texts(c.now ? c.now->cautions : std::vector<std::string>{});
  json.key("records").begin_list();
  for (const Entry& e : evidence) write_record(json, e, names, verified_in(verified, e.head.id));
  json.end_list();
  json.key("remarks").begin_list();
  for (const FindingRemark& r : c.remarks) write_remark(json, r);
  json.end_list();
  json.end_object();
  return json.take();
}

std::string finding_list_text(std::span<const FindingCase* const> cases, Instant as_of, const Names& names,
                              const TextStyle& style) {
  if (cases.empty()) return "no finding\n";
  TextTable table{{{"id"}, {""}, {"subject"}, {"kind"}, {"state"}}};
  for (const FindingCase* c : cases) {
    std::string state = state_or_open(c->state);
    if (!c->now) state += "; not found any more";
    if (c->now && c->state.status == FindingStatus::closed) state += "; still standing";
    if (c->outcome) state += "; " + c->outcome->says;
    std::vector<std::string> row{short_id(c->id), c->now ? std::string{name_of(c->now->urgency)} : "-",
                                 subject_of(*c, names), spoken(c->kind), std::move(state)};
    table.add(std::move(row));
  }
  return strong(fmt::format("Findings as of {} UTC", format_local({as_of, std::chrono::minutes{0}, Precision::minute})),
                style) +
         '\n' + table.text(style, 2);
}

std::string finding_list_json(std::span<const FindingCase* const> cases, Instant as_of, const Names& names) {
  JsonWriter json;
  json.begin_object();
  json.key("as_of").time(as_of);
  json.key("findings").begin_list();
  for (const FindingCase* c : cases) write_case(json, *c, names);
  json.end_list();
  json.end_object();
  return json.take();
}

std::string finding_list_csv(std::span<const FindingCase* const> cases, const Names& names) {
  std::string out = csv_row({"id", "vessel", "shaft", "lubricator", "kind", "still_found", "urgency", "status",
                             "status_since", "status_by", "status_says", "verdict", "outcome", "summary"});
  for (const FindingCase* c : cases) {
    out += csv_row({format_uuid(c->id), std::string{names.vessel(c->vessel)}, std::string{names.shaft(c->shaft)},
                    std::string{names.lubricator(c->lubricator)}, c->kind, c->now ? "yes" : "no",
                    c->now ? std::string{name_of(c->now->urgency)} : "", std::string{name_of(c->state.status)},
                    c->state.since.utc == Instant{} ? "" : format_utc(c->state.since.utc), c->state.by, c->state.says,
                    c->outcome ? std::string{name_of(c->outcome->verdict)} : "", c->outcome ? c->outcome->says : "",
                    summary_of(*c)});
  }
  return out;
}

std::string remark_text(const FindingRemark& r, const Names& names) {
  return fmt::format("{}: {}, {}, {} ({}){}, {}\n", words_of(r.did), names.vessel(r.vessel),
                     names.subject(r.shaft, r.lubricator), spoken(r.kind), short_id(r.finding),
                     r.by.empty() ? "" : ", by " + r.by, format_both(r.at));
}

std::string remark_json(const FindingRemark& r, const FindingState& state, const Names& names) {
  JsonWriter json;
  json.begin_object();
  json.key("remark");
  write_remark(json, r);
  json.key("vessel").text_or_null(names.vessel(r.vessel));
  json.key("kind").text(r.kind);
  json.key("status").text(name_of(state.status));
  json.end_object();
  return json.take();
}

}  // namespace shaftlog
