#include "base/uuid.hpp"
#include "reports/csv_text.hpp"
#include "reports/review_report.hpp"

namespace shaftlog {

namespace {

FindingState status_of(const ReviewView& view, const Finding& f) {
  const auto found = view.states.find(f.id);
  return found == view.states.end() ? FindingState{} : found->second;
}

const Outcome* outcome_of(const ReviewView& view, const Finding& f) {
  const auto found = view.outcomes.find(f.id);
  return found == view.outcomes.end() ? nullptr : &found->second;
}

std::optional<Estimate> as_estimate(const std::optional<StarvedHours>& h) {
  if (!h) return std::nullopt;
  return Estimate{h->best, h->least, h->most};
}

}  // namespace

void write_outcome(JsonWriter& json, const Outcome& o) {
  json.begin_object();
  json.key("since").time(o.since);
  json.key("verdict").text(name_of(o.verdict));
  json.key("measure").text_or_null(o.measure);
  json.key("unit").text_or_null(o.unit);
  json.key("baseline").estimate(o.baseline);
  json.key("now").estimate(o.now);
  json.key("factor").estimate(o.factor);
  json.key("found").number(o.found);
  json.key("records").integer(o.records);
  json.key("run_h").number(o.run_h);
  json.key("text").text(o.says);
  json.end_object();
}

void write_finding(JsonWriter& json, const Finding& f, const Names& names, const FindingState& state,
                   const Outcome* outcome) {
  json.begin_object();
  json.key("id").text(format_uuid(f.id));
  json.key("vessel").text_or_null(names.vessel(f.vessel));
  json.key("shaft").text_or_null(names.shaft(f.shaft));
  json.key("lubricator").text_or_null(names.lubricator(f.lubricator));
  json.key("kind").text(name_of(f.kind));
  json.key("urgency").text(name_of(f.urgency));
  json.key("first_seen").time(f.first_seen);
  json.key("began");
  if (f.began) {
    json.begin_object();
    json.key("estimate").time(f.began->estimate);
    json.key("low").time(f.began->low);
    json.key("high").time(f.began->high);
    json.end_object();
  } else {
    json.null();
  }
  json.key("summary").text(f.summary);
  json.key("quantities").begin_object();
  for (const Figure& q : f.figures) {
    json.key(q.name).begin_object();
    json.key("value").number(q.estimate.value);
    json.key("low").number(q.estimate.low);
    json.key("high").number(q.estimate.high);
    json.key("unit").text(q.unit);
    json.end_object();
  }
  json.end_object();
  json.key("evidence").ids(f.evidence);
  json.key("likely_causes").texts(f.likely_causes);
  json.key("checks").texts(f.checks);
  json.key("status").text(name_of(state.status));
  const bool is_moved = state.status != FindingStatus::open || !state.by.empty() || !state.says.empty();
  json.key("status_since");
  if (is_moved)
    json.time(state.since.utc);
  else
    json.null();
  json.key("status_by").text_or_null(state.by);
  json.key("status_says").text_or_null(state.says);
  json.key("remarks").integer(state.notes);
  json.key("outcome");
  if (outcome == nullptr)
    json.null();
  else
    write_outcome(json, *outcome);
  json.end_object();
}

std::string review_json(const ReviewView& view) {
  const Names names{view.reg};
  JsonWriter json;
  json.begin_object();
  json.key("as_of").time(view.as_of);
  if (view.known) json.key("known").time(*view.known);
  json.key("version").text(view.version);
  json.key("findings").begin_list();
  for (const Finding& f : view.findings) write_finding(json, f, names, status_of(view, f), outcome_of(view, f));
  json.end_list();
  json.key("shafts").begin_list();
  for (const VesselReview& v : view.vessels) {
    for (const ShaftState& s : v.shafts) {
      json.begin_object();
      json.key("vessel").text(names.vessel(s.vessel));
      json.key("shaft").text(names.shaft(s.shaft));
      json.key("running_h").number(s.running_h, 7);
      json.key("washout_cm3_per_h").estimate(s.washout_cm3_per_h);
      json.key("trend_pct_per_1000h").estimate(s.trend_pct_per_1000h);
      json.key("cavity_fill_pct").estimate(s.cavity_fill_pct);
      json.key("starved_h").estimate(as_estimate(s.starved_h));
      json.key("next_greasing").begin_object();
      json.key("due_at").time(s.next_greasing.due_at);
      json.key("due_h").number(s.next_greasing.due_in_h);
      json.key("overdue").boolean(s.next_greasing.is_overdue);
      json.end_object();
      json.key("alarms_per_1000h").estimate(s.alarms_per_1000h);
      json.end_object();
    }
  }
  json.end_list();
  json.key("lubricators").begin_list();
  for (const VesselReview& v : view.vessels) {
    for (const LubricatorState& l : v.lubricators) {
      json.begin_object();
      json.key("vessel").text(names.vessel(l.vessel));
      json.key("lubricator").text(names.lubricator(l.lubricator));
      json.key("delivery_ratio").estimate(l.delivery_ratio);
      json.key("cycle_ratio").estimate(l.cycle_ratio);
      json.key("level_pct").estimate(l.level_pct);
      json.key("next_refill").begin_object();
      json.key("p10").time(l.next_refill.p10);
      json.key("p50").time(l.next_refill.p50);
      json.key("p90").time(l.next_refill.p90);
      json.key("stands_since").time(l.next_refill.stands_since);
      json.end_object();
      json.end_object();
    }
  }
  json.end_list();
  json.end_object();
  return json.take();
}

namespace {

std::string cell(const std::optional<double>& v) { return v ? format_figure(*v, 6) : ""; }
std::string cell(const std::optional<Instant>& t) { return t ? format_utc(*t) : ""; }

void add_estimate(std::vector<std::string>& row, const std::optional<Estimate>& e) {
  for (const double Estimate::*part : {&Estimate::value, &Estimate::low, &Estimate::high})
    row.push_back(e ? format_figure((*e).*part, 6) : "");
}

std::string joined(const std::vector<std::string>& texts) {
  std::string out;
  for (const std::string& t : texts) out += (out.empty() ? "" : "; ") + t;
  return out;
}

}  // namespace

std::string findings_csv(const ReviewView& view) {
  const Names names{view.reg};
  std::string out =
      csv_row({"id",         "vessel",   "shaft",        "lubricator", "kind",        "urgency",  "status",
               "first_seen", "began",    "began_low",    "began_high", "summary",     "strength", "likely_causes",
               "checks",     "evidence", "status_since", "status_by",  "status_says", "outcome"});
  for (const Finding& f : view.findings) {
    std::string strength;
    for (const Figure& q : f.figures)
      if (q.name == "strength") strength = format_figure(q.estimate.value, 6);
    std::vector<std::string> ids;
    for (const Uuid& id : f.evidence) ids.push_back(format_uuid(id));
    const FindingState state = status_of(view, f);
    const Outcome* outcome = outcome_of(view, f);
    out += csv_row({format_uuid(f.id),
                    std::string{names.vessel(f.vessel)},
                    std::string{names.shaft(f.shaft)},
                    std::string{names.lubricator(f.lubricator)},
                    std::string{name_of(f.kind)},
                    std::string{name_of(f.urgency)},
                    std::string{name_of(state.status)},
                    format_utc(f.first_seen),
                    f.began ? format_utc(f.began->estimate) : "",
                    f.began ? format_utc(f.began->low) : "",
                    f.began ? format_utc(f.began->high) : "",
                    f.summary,
                    strength,
                    joined(f.likely_causes),
                    joined(f.checks),
                    joined(ids),
                    state.since.utc == Instant{} ? "" : format_utc(state.since.utc),
                    state.by,
                    state.says,
                    outcome == nullptr ? "" : outcome->says});
  }
  return out;
}

std::string shafts_csv(const ReviewView& view) {
  const Names names{view.reg};
  std::string out = csv_row({"vessel",
                             "shaft",
                             "running_h",
                             "washout_cm3_per_h",
                             "washout_low",
                             "washout_high",
                             "trend_pct_per_1000h",
                             "trend_low",
                             "trend_high",
                             "cavity_fill_pct",
                             "fill_low",
                             "fill_high",
                             "starved_h",
                             "starved_low",
                             "starved_high",
                             "due_at",
                             "due_h",
                             "overdue",
                             "alarms_per_1000h",
                             "alarms_low",
                             "alarms_high"});
  for (const VesselReview& v : view.vessels) {
    for (const ShaftState& s : v.shafts) {
      std::vector<std::string> row{std::string{names.vessel(s.vessel)}, std::string{names.shaft(s.shaft)},
                                   cell(s.running_h)};
      add_estimate(row, s.washout_cm3_per_h);
      add_estimate(row, s.trend_pct_per_1000h);
      add_estimate(row, s.cavity_fill_pct);
      add_estimate(row, as_estimate(s.starved_h));
      row.push_back(cell(s.next_greasing.due_at));
      row.push_back(cell(s.next_greasing.due_in_h));
      row.push_back(s.next_greasing.is_overdue ? "yes" : "no");
      add_estimate(row, s.alarms_per_1000h);
      out += csv_row(row);
    }
  }
  return out;
}

std::string lubricators_csv(const ReviewView& view) {
  const Names names{view.reg};
  std::string out =
      csv_row({"vessel", "lubricator", "delivery_ratio", "delivery_low", "delivery_high", "cycle_ratio", "cycle_low",
               "cycle_high", "level_pct", "level_low", "level_high", "refill_p10", "refill_p50", "refill_p90"});
  for (const VesselReview& v : view.vessels) {
    for (const LubricatorState& l : v.lubricators) {
      std::vector<std::string> row{std::string{names.vessel(l.vessel)}, std::string{names.lubricator(l.lubricator)}};
      add_estimate(row, l.delivery_ratio);
      add_estimate(row, l.cycle_ratio);
      add_estimate(row, l.level_pct);
      row.push_back(cell(l.next_refill.p10));
      row.push_back(cell(l.next_refill.p50));
      row.push_back(cell(l.next_refill.p90));
      out += csv_row(row);
    }
  }
  return out;
}

}  // namespace shaftlog
