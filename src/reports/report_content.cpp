#include "reports/report_content.hpp"

#include "reports/charts/fleet_charts.hpp"
#include "reports/charts/shaft_charts.hpp"
#include "reports/record_report.hpp"
#include "reports/report_parts.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

namespace shaftlog {
namespace {

std::vector<FleetShaft> fleet_shafts(const VesselReview& v, const VesselLog& log) {
  std::vector<FleetShaft> out;
  for (std::size_t i = 0; i < v.shafts.size(); ++i) {
    std::optional<Urgency> urgency;
    const std::vector<LubricatorId>& feeding = v.shaft_details[i].lubricators;
    for (const Finding& f : v.findings) {
      const bool is_of_its_grease =
          !f.shaft.is_set() && (std::find(feeding.begin(), feeding.end(), f.lubricator) != feeding.end() ||
                                f.kind == FindingKind::grease_mixed);
      if ((f.shaft == v.shafts[i].shaft || is_of_its_grease) && (!urgency || f.urgency < *urgency)) urgency = f.urgency;
    }
    out.push_back({log.vessel.code, log.shafts[i].code, v.shafts[i], v.shaft_details[i], urgency});
  }
  return out;
}

void add_chart(Report& report, Chart chart) {
  ChartBlock block;
  block.figures.emplace_back(chart.title, chart.figures);
  block.chart = std::move(chart);
  report.blocks.emplace_back(std::move(block));
}

// Panels in as many pictures as it takes so that none is higher than a page.
void add_stack(Report& report, std::vector<Panel> panels, const TimeAxis& axis, const std::string& title) {
  constexpr double kMostHeight = 820;
  std::size_t from = 0;
  while (from < panels.size()) {
    double height = 60;
    std::size_t to = from;
    while (to < panels.size() && (to == from || height + panels[to].height + 34 <= kMostHeight)) {
      height += panels[to].height + 34;
      ++to;
    }
    const std::vector<Panel> part(panels.begin() + static_cast<std::ptrdiff_t>(from),
                                  panels.begin() + static_cast<std::ptrdiff_t>(to));
    ChartBlock block;
    block.chart = stacked(part, axis, title);
    for (const Panel& p : part) {
      if (!p.figures.rows.empty()) block.figures.emplace_back(p.title, p.figures);
    }
    report.blocks.emplace_back(std::move(block));
    from = to;
  }
}

std::vector<LubricatorChartInput> feeding(const ReportInput& in, std::size_t vessel, const ShaftDetail& shaft,
                                          const Zone& zone) {
  std::vector<LubricatorChartInput> out;
  const VesselReview& v = in.view.vessels[vessel];
  const VesselLog& log = in.logs[vessel];
  for (std::size_t l = 0; l < log.lubricators.size(); ++l) {
    if (std::find(shaft.lubricators.begin(), shaft.lubricators.end(), log.lubricators[l].id) == shaft.lubricators.end())
      continue;
    out.push_back({log, log.lubricators[l], v.lubricator_details[l], *v.digest, in.view.as_of, zone});
  }
  return out;
}

std::string setting_words(const Shaft& shaft, const ReportInput& in, const Names& names) {
  const ShaftSetting* s = setting_at(shaft.settings, in.view.as_of);
  if (s == nullptr) return "nothing is registered yet";
  std::string text =
      s->cavity ? "cavity " + format_figure(in_cm3(*s->cavity), 5) + " cm3" : "cavity capacity not known";
  if (s->interval) text += ", greased every " + format_figure(in_h(*s->interval), 5) + " h";
  if (s->interval_days) text += fmt::format("{} {} days", s->interval ? " or" : ", greased every", *s->interval_days);
  text += ", grease " + std::string{names.grease(s->grease)};
  if (!s->position.empty()) text += ", " + s->position;
  return typeset(text);
}

}  // namespace

Report fleet_report(const ReportInput& in) {
  const Names names{in.view.reg};
  const std::string scope = in.view.scope == "fleet" ? "Fleet report" : "Report of the " + in.view.scope;
  Report r = start_report(in, scope);
  std::size_t shafts = 0, lubricators = 0;
  for (const VesselReview& v : in.view.vessels) {
    shafts += v.shafts.size();
    lubricators += v.lubricators.size();
  }
  r.blocks.emplace_back(Paragraph{
      fmt::format("{} vessels, {} shafts, {} lubricators.", in.view.vessels.size(), shafts, lubricators), false});
  r.blocks.emplace_back(Heading{2, "What asks for attention", "findings"});
  add_findings(r, in, {in.view.findings.begin(), in.view.findings.end()});
  add_ships(r, in);
  add_silent_ships(r, in);

  r.blocks.emplace_back(Heading{2, "The fleet in pictures", "pictures"});
  std::vector<FleetShaft> all;
  std::vector<std::vector<FleetShaft>> by_ship;
  for (std::size_t i = 0; i < in.view.vessels.size(); ++i) {
    by_ship.push_back(fleet_shafts(in.view.vessels[i], in.logs[i]));
    for (const FleetShaft& s : by_ship.back()) all.push_back(s);
  }
  add_chart(r, washout_funnel(all));
  r.blocks.emplace_back(Heading{3, "Every shaft, the last two years", "multiples"});
  r.blocks.emplace_back(Paragraph{
      "Above: washout over the shaft's own baseline, the dotted line at 1, all on one scale; at the right the present "
      "factor, where the baseline is known. Below: how full the cavity was, the reserve dashed; at the right how full "
      "it "
      "is now. A mark before the name: a finding about the shaft or what feeds it asks to act or to plan.",
      true, true});
  for (std::size_t i = 0; i < by_ship.size(); ++i) {
    if (by_ship[i].empty()) continue;
    const TimeAxis axis{in.view.as_of - std::chrono::days{730}, in.view.as_of, names.zone(in.view.vessels[i].vessel)};
    ChartBlock block;
    block.chart = small_multiples(by_ship[i], axis, by_ship[i].front().vessel);
    block.is_titled = true;
    r.blocks.emplace_back(std::move(block));
  }
  add_grease(r, in);
  add_planned_work(r, in);
  add_audit_extract(r, in);
  add_shaft_states(r, in);
  add_lubricator_states(r, in);
  add_notes(r);
  return r;
}

Report vessel_report(const ReportInput& in) {
  const Names names{in.view.reg};
  const VesselReview& v = in.view.vessels.front();
  const VesselLog& log = in.logs.front();
  const Zone& zone = names.zone(v.vessel);
  Report r = start_report(in, fmt::format("Vessel report: {}", log.vessel.code));
  Facts facts;
  facts.rows = {{"vessel", log.vessel.name},
                {"IMO number", log.vessel.imo.value_or("-")},
                {"group", log.vessel.group.value_or("-")},
                {"clock", log.vessel.time_zone},
                {"shafts, lubricators", fmt::format("{}, {}", log.shafts.size(), log.lubricators.size())}};
  r.blocks.emplace_back(std::move(facts));
  r.blocks.emplace_back(Heading{2, "What asks for attention", "findings"});
  add_findings(r, in, v.findings);
  add_shaft_states(r, in);
  add_lubricator_states(r, in);
  for (std::size_t l = 0; l < log.lubricators.size(); ++l) {
    const LubricatorChartInput lubricator{log,       log.lubricators[l], v.lubricator_details[l],
                                          *v.digest, in.view.as_of,      zone};
    const TimeAxis axis = time_axis_of(lubricator);
    std::vector<Panel> panels{delivery_panel(lubricator)};
    const auto& alarms = v.lubricator_details[l].alarms;
    if (!alarms.empty()) panels.push_back(alarm_panel(alarms, axis));
    r.blocks.emplace_back(Heading{3, "Lubricator " + log.lubricators[l].code, "lubricator-" + std::to_string(l + 1)});
    add_stack(r, std::move(panels), axis, "Lubricator " + log.lubricators[l].code);
  }
  r.blocks.emplace_back(Heading{2, "Each shaft", "each"});
  for (std::size_t i = 0; i < log.shafts.size(); ++i) {
    const ShaftChartInput shaft{log, log.shafts[i], v.shafts[i], v.shaft_details[i], in.view.as_of, zone, &v.findings};
    r.blocks.emplace_back(Heading{3, log.shafts[i].code, "shaft-" + std::to_string(i + 1)});
    r.blocks.emplace_back(Paragraph{setting_words(log.shafts[i], in, names) + ".", true, true});
    add_stack(r, {washout_panel(shaft), fill_panel(shaft)}, time_axis_of(shaft), log.shafts[i].code);
  }
  add_silent_ships(r, in);
  add_grease(r, in);
  add_planned_work(r, in);
  add_audit_extract(r, in);
  add_notes(r);
  return r;
}

Report shaft_report(const ReportInput& in, ShaftId shaft_id, std::span<const Entry> records) {
  const Names names{in.view.reg};
  const VesselReview& v = in.view.vessels.front();
  const VesselLog& log = in.logs.front();
  const Zone& zone = names.zone(v.vessel);
  std::size_t i = 0;
  while (log.shafts[i].id != shaft_id) ++i;
  const Shaft& shaft = log.shafts[i];
  const ShaftState& state = v.shafts[i];
  const ShaftDetail& detail = v.shaft_details[i];
  Report r = start_report(in, fmt::format("Shaft report: {}, {}", log.vessel.code, shaft.code));

  Facts facts;
  facts.rows = {
      {"vessel", log.vessel.name},
      {"settings", setting_words(shaft, in, names)},
      {"meter", state.running_h ? format_figure(*state.running_h, 6) + " h" : "not known"},
      {"use", state.use_h_per_day ? format_figure(*state.use_h_per_day, 2) + " h a day of late" : "not known"},
      {"washout",
       state.washout_cm3_per_h ? format_estimate(*state.washout_cm3_per_h, 2) + typeset(" cm3/h") : "not known"},
      {"cavity", state.cavity_fill_pct ? format_estimate(*state.cavity_fill_pct, 2) + " % full" : "not known"},
      {"hours to reserve", format_estimate(state.hours_to_reserve, 2)},
      {"last greasing", state.last_greasing ? format_day(*state.last_greasing, zone) : "never"}};
  const NextGreasing& next = state.next_greasing;
  std::string due = next.due_at     ? format_day(*next.due_at, zone)
                    : next.due_in_h ? format_due(next, zone)
                                    : "no interval is agreed, or no day can be told";
  if (next.is_overdue) due = "overdue since " + due;
  if (next.expected_cm3) due += ", takes about " + typeset(format_expected_cm3(*next.expected_cm3));
  facts.rows.emplace_back("next greasing", due);
  r.blocks.emplace_back(std::move(facts));

  r.blocks.emplace_back(Heading{2, "Findings", "findings"});
  add_findings(r, in, findings_of_shaft(v, detail));

  r.blocks.emplace_back(Heading{2, "Its history on one time axis", "charts"});
  const ShaftChartInput input{log, shaft, state, detail, in.view.as_of, zone, &v.findings};
  add_stack(r, shaft_panels(input, feeding(in, 0, detail, zone)), part_of(time_axis_of(input), in.shown), shaft.code);
  r.blocks.emplace_back(Heading{2, "Grease against running hours", "hours"});
  add_chart(r, grease_against_hours(input));

  r.blocks.emplace_back(Heading{2, "Records", "records"});
  ReportTable t;
  t.columns = {{"time", false}, {"kind", false}, {"says", false}, {"by", false}, {"remark", false}, {"id", false}};
  t.when_empty = "No record is about this shaft.";
  std::size_t readings = 0;
  for (const Entry& e : records) {
    if (e.kind == Kind::hours || e.kind == Kind::cycles || e.kind == Kind::level) {
      ++readings;
      continue;
    }
    t.rows.push_back({{{format_both(e.head.at), {}},
                       {std::string{name_of(e.kind)} +
                            (e.shaft == shaft_id ? "" : ", " + std::string{names.lubricator(e.lubricator)}),
                        {}},
                       {typeset(says(e, names)), {}},
                       {e.head.by, {}},
                       {e.head.remark, {}},
                       {format_uuid(e.head.id).substr(0, 8), {}}}});
  }
  std::reverse(t.rows.begin(), t.rows.end());
  r.blocks.emplace_back(std::move(t));
  r.blocks.emplace_back(Paragraph{
      fmt::format(
          "In force at the time of the view, the newest first. {} readings of hour meters, cycle counters and levels "
          "are not listed; `shaftlog list` shows them, and what was corrected or withdrawn.",
          readings),
      true});
  r.blocks.emplace_back(Heading{2, "How it is computed", "methods"});
  r.blocks.emplace_back(BulletList{
      "",
      {"Running hours: the longest row of readings that do not contradict each other, over meter changes and "
       "roll-overs "
       "(docs/methods/running-hours.md).",
       "Washout: a censored likelihood over constant, stepped and climbing histories, with what the sister shafts lose "
       "as a "
       "start. A greasing that ended at the limit or was stopped only bounds the loss (docs/methods/washout.md).",
       "Fill: the missing volume carried from greasing to greasing with the washout of that time, less what the "
       "automatic "
       "system delivered (docs/methods/fill.md).",
       "Delivery: level balance of the reservoir against doses and cycles; errors of the level belong to the level "
       "(docs/methods/delivery.md).",
       "A cavity whose back-pressure comes from a blocked path looks full. An amount near 0 after many hours with no "
       "automatic dose says so, and is not taken for \xE2\x80\x9Cno loss\xE2\x80\x9D."}});
  add_notes(r);
  return r;
}

}  // namespace shaftlog
