// Of a shaft's workbook: its records, the series behind its charts, and the charts.
#include "reports/charts/shaft_charts.hpp"
#include "reports/record_report.hpp"
#include "reports/workbook_parts.hpp"

#include <algorithm>

#include <fmt/format.h>

namespace shaftlog {
namespace {

Sheet series_sheet(std::string name, std::string what) {
  Sheet s;
  s.name = std::move(name);
  s.what = std::move(what);
  return s;
}

const std::optional<Amount>* amount_of(const Entry& e) {
  if (const auto* r = std::get_if<Refill>(&e.detail)) return &r->amount;
  if (const auto* g = std::get_if<Greasing>(&e.detail)) return &g->amount;
  return nullptr;
}

Sheet records_sheet(const ReportInput& in, std::span<const Entry> records) {
  const Names names{in.view.reg};
  Sheet s = series_sheet("Records", "What was written down about the shaft and what feeds it, in force, oldest first.");
  s.keys = 2;
  s.columns.push_back({"time (as written)", SheetColumn::Kind::time, 0});
  ColumnMaker{s}.words({"kind"}).time("time").words({"told to the", "shaft", "lubricator"});
  // In the words and the order of the log's files.
  struct Value {
    const char* name;
    bool is_number;
    int decimals;
  };
  static constexpr Value kValues[] = {
      {"meter_h", true, 1},         {"meter", false, 0},      {"old_meter_h", true, 1},
      {"count", true, 0},           {"counter", false, 0},    {"level_pct", true, 1},
      {"amount", true, 1},          {"unit", false, 0},       {"level_before_pct", true, 1},
      {"level_after_pct", true, 1}, {"gun", false, 0},        {"ended", false, 0},
      {"purge", false, 0},          {"grease", false, 0},     {"batch", false, 0},
      {"alarm", false, 0},          {"work", false, 0},       {"water_pct", true, 4},
      {"iron_ppm", true, 1},        {"clearance_mm", true, 3}};
  for (const Value& v : kValues) {
    s.columns.push_back({v.name, v.is_number ? SheetColumn::Kind::number : SheetColumn::Kind::text, v.decimals});
  }
  ColumnMaker{s}.number("volume cm3", 1).time("alarm cleared").words({"by", "remark", "source"}).time("recorded");
  ColumnMaker{s}.words({"id"});
  for (const Entry& e : records) {
    CellMaker c;
    c.time(e.head.at.utc + e.head.at.offset).word(name_of(e.kind)).time(e.head.at.utc);
    c.word(e.head.at.precision == Precision::day      ? "day"
           : e.head.at.precision == Precision::minute ? "minute"
                                                      : "second");
    c.word(names.shaft(e.shaft)).word(names.lubricator(e.lubricator));
    const std::vector<NamedValue> values = values_of(e, names);
    for (const Value& v : kValues) {
      const auto it = std::find_if(values.begin(), values.end(), [&](const NamedValue& x) { return x.name == v.name; });
      if (it == values.end())
        c.word("");
      else if (v.is_number)
        c.number(it->number, 15);
      else
        c.word(it->text);
    }
    const auto* amount = amount_of(e);
    const bool has_volume = amount != nullptr && amount->has_value() && (**amount).volume.has_value();
    c.number(has_volume ? std::optional{in_cm3(*(**amount).volume)} : std::nullopt, 15);
    const auto* alarm = std::get_if<Alarm>(&e.detail);
    c.time(alarm != nullptr && alarm->cleared ? std::optional{alarm->cleared->utc} : std::nullopt);
    c.word(e.head.by).word(e.head.remark).word(e.head.source).time(e.head.recorded_at.utc).word(format_uuid(e.head.id));
    s.rows.push_back(c.row());
  }
  return s;
}

Sheet washout_sheet(const ShaftChartInput& in) {
  Sheet s = series_sheet("Washout",
                         "What was known of the loss after each greasing. `this interval alone`: between two greasings "
                         "that both ended full, of 24 running hours or more.");
  ColumnMaker{s}.time("greasing").number("running h in the interval", 1).number("taken cm3", 1);
  ColumnMaker{s}.number("delivered by doses cm3", 1).words({"ended", "doubtful"});
  ColumnMaker{s}.number("this interval alone cm3/h", 3).estimate("known then", "cm3/h", 3);
  ColumnMaker{s}.number("baseline now cm3/h", 3).estimate("was expected", "cm3", 0).number("surprise, sd", 1);
  ColumnMaker{s}.words({"record"});
  bool was_full = in.detail.history.first_is_full;
  for (const GreasingInterval& i : in.detail.history.intervals) {
    const auto& steps = in.detail.washout.steps;
    const auto step = std::find_if(steps.begin(), steps.end(), [&](const WashoutStep& x) { return x.record == i.id; });
    const bool is_known = step != steps.end();
    std::optional<double> alone;
    constexpr double kLeastRun = 24;  // fewer hours say nothing: the mark for "full" is not that exact
    if (was_full && i.ended == Ended::pressure && i.taken_cm3 && i.run_h >= kLeastRun && !i.is_doubtful)
      alone = (*i.taken_cm3 + i.delivered_cm3) / i.run_h;
    CellMaker c;
    c.time(i.at).number(i.run_h).number(i.taken_cm3).number(i.delivered_cm3).word(spoken(name_of(i.ended)));
    c.word(i.is_doubtful ? "yes" : "no").number(alone);
    c.estimate(is_known ? std::optional{step->washout_cm3_per_h} : std::nullopt);
    const auto& baseline = in.detail.washout.baseline_cm3_per_h;
    c.number(baseline ? std::optional{baseline->value} : std::nullopt);
    c.estimate(is_known ? std::optional{Estimate{step->expected_cm3, step->expected_low, step->expected_high}}
                        : std::nullopt);
    c.number(is_known ? std::optional{step->surprise} : std::nullopt).word(format_uuid(i.id));
    s.rows.push_back(c.row());
    was_full = i.ended == Ended::pressure || i.ended == Ended::packed;
  }
  return s;
}

Sheet fill_sheet(const ShaftChartInput& in) {
  Sheet s = series_sheet("Fill", "How full the cavity was, reconstructed from the records; nobody looks into it.");
  ColumnMaker{s}.time("time").estimate("cavity fill", "%", 1).number("reserve %", 0).words({"after the greasing"});
  const FillResult& f = in.detail.fill;
  // Where nothing vouches for the doses any more, the curve ends at the last greasing.
  std::vector<FillPoint> points = f.points;
  if (!f.fill_pct) {
    while (!points.empty() && !points.back().is_greasing) points.pop_back();
  }
  for (const FillPoint& p : points) {
    CellMaker c;
    c.time(p.at).estimate(p.fill_pct).number(in.detail.reserve_pct).word(p.is_greasing ? "yes" : "");
    s.rows.push_back(c.row());
  }
  return s;
}

Sheet sums_sheet(const ShaftChartInput& in) {
  Sheet s = series_sheet("Grease added up",
                         "Grease by hand, added up over running hours, beside what the baseline lets "
                         "expect.");
  ColumnMaker{s}.time("greasing").number("running h", 1).number("taken cm3", 1).number("taken in all cm3", 1);
  ColumnMaker{s}.estimate("expected in all", "cm3", 1).words({"ended"});
  for (const GreaseSum& g : grease_sums(in)) {
    CellMaker c;
    c.time(g.record->at).number(g.running_h).number(g.taken_cm3).number(g.total_cm3).estimate(g.expected_cm3);
    c.word(spoken(name_of(g.record->what.ended)));
    s.rows.push_back(c.row());
  }
  return s;
}

Sheet hours_sheet(const ShaftChartInput& in) {
  Sheet s = series_sheet("Running hours",
                         "Readings of the hour meter that do not contradict each other, joined over "
                         "meter changes.");
  ColumnMaker{s}.time("reading").number("running h since the first", 1).number("h a day since the one before", 1);
  ColumnMaker{s}.words({"estimated"});
  const auto& points = in.detail.hours.points();
  for (std::size_t i = 0; i < points.size(); ++i) {
    const double days = i == 0 ? 0 : days_between(points[i - 1].at, points[i].at);
    CellMaker c;
    c.time(points[i].at).number(points[i].hours, 7);
    c.number(days > 0.5 ? std::optional{(points[i].hours - points[i - 1].hours) / days} : std::nullopt);
    c.word(points[i].is_estimated ? "yes" : "no");
    s.rows.push_back(c.row());
  }
  return s;
}

Sheet delivery_sheet(const VesselLog& log, const VesselReview& v, const ShaftDetail& shaft) {
  Sheet s = series_sheet("Delivery",
                         "Balances of each reservoir that feeds the shaft: what left it against what was "
                         "called for.");
  ColumnMaker{s}.time("to").words({"lubricator"}).time("from").number("called for cm3", 1).number("left cm3", 1);
  ColumnMaker{s}.estimate("ratio known then", "(1)", 3).number("ratio asked for (1)", 2).words({"record"});
  for (std::size_t l = 0; l < log.lubricators.size(); ++l) {
    const auto& fed = shaft.lubricators;
    if (std::find(fed.begin(), fed.end(), log.lubricators[l].id) == fed.end()) continue;
    for (const RatioStep& step : v.lubricator_details[l].delivery.steps) {
      CellMaker c;
      c.time(step.at).word(log.lubricators[l].code).time(step.from).number(step.expected_cm3).number(step.used_cm3);
      c.estimate(step.ratio).number(1).word(format_uuid(step.record));
      s.rows.push_back(c.row());
    }
  }
  return s;
}

Sheet alarms_sheet(const VesselLog& log, const VesselReview& v, const ShaftDetail& shaft, const Names& names,
                   Instant as_of) {
  Sheet s = series_sheet("Alarms",
                         "Alarms of the shaft and of what feeds it; those that came again within minutes are "
                         "one.");
  ColumnMaker{s}.time("raised").time("cleared").number("stood h", 1).words({"standing", "alarm", "subject"});
  ColumnMaker{s}.number("records");
  std::vector<AlarmEpisode> all = shaft.alarms;
  for (std::size_t l = 0; l < log.lubricators.size(); ++l) {
    const auto& fed = shaft.lubricators;
    if (std::find(fed.begin(), fed.end(), log.lubricators[l].id) == fed.end()) continue;
    const auto& more = v.lubricator_details[l].alarms;
    all.insert(all.end(), more.begin(), more.end());
  }
  std::stable_sort(all.begin(), all.end(),
                   [](const AlarmEpisode& a, const AlarmEpisode& b) { return a.raised < b.raised; });
  for (const AlarmEpisode& a : all) {
    CellMaker c;
    c.time(a.raised).time(a.cleared).number(hours_between(a.raised, a.cleared.value_or(as_of)));
    c.word(a.cleared ? "no" : "yes").word(spoken(name_of(a.alarm))).word(names.subject(a.shaft, a.lubricator));
    c.count(a.records.size());
    s.rows.push_back(c.row());
  }
  return s;
}

}  // namespace

void add_shaft_sheets(Workbook& book, const ReportInput& in, std::size_t i, std::span<const Entry> records) {
  const Names names{in.view.reg};
  const VesselReview& v = in.view.vessels.front();
  const VesselLog& log = in.logs.front();
  const ShaftDetail& detail = v.shaft_details[i];
  const ShaftChartInput input{log,           log.shafts[i],        v.shafts[i], detail,
                              in.view.as_of, names.zone(v.vessel), &v.findings};
  Sheet charts = series_sheet("Charts", "Charts over the sheets that follow.");
  charts.is_listing = false;
  charts.keys = 0;
  using Look = SheetChart::Look;
  std::vector<Sheet> series;

  series.push_back(sums_sheet(input));
  if (series.back().rows.size() > 1) {
    SheetChart c;
    c.title = "Grease by hand against running hours, added up";
    c.x_title = "running hours";
    c.y_title = typeset("cm3");
    c.y_least = 0;
    const std::string x = "running h", from = series.back().name;
    c.series = {{"taken", from, x, typeset("taken in all cm3"), Look::main},
                {"expected at the baseline", from, x, typeset("expected in all cm3"), Look::base},
                {"expected, 5 %", from, x, typeset("expected in all cm3, 5 %"), Look::edge},
                {"expected, 95 %", from, x, typeset("expected in all cm3, 95 %"), Look::edge}};
    charts.charts.push_back(std::move(c));
  }
  series.push_back(washout_sheet(input));
  if (!detail.washout.steps.empty()) {
    SheetChart c;
    c.title = "Washout, with its 90 % limits";
    c.x_title = "greasing (UTC)";
    c.y_title = typeset("cm3 lost per running hour");
    c.x_is_time = true;
    c.y_least = 0;
    const std::string x = "greasing (UTC)", from = series.back().name;
    c.series = {{"known then", from, x, typeset("known then cm3/h"), Look::main},
                {"5 %", from, x, typeset("known then cm3/h, 5 %"), Look::edge},
                {"95 %", from, x, typeset("known then cm3/h, 95 %"), Look::edge},
                {"baseline now", from, x, typeset("baseline now cm3/h"), Look::base},
                {"one interval alone", from, x, typeset("this interval alone cm3/h"), Look::marks}};
    charts.charts.push_back(std::move(c));
  }
  series.push_back(fill_sheet(input));
  if (!series.back().rows.empty()) {
    SheetChart c;
    c.title = "How full the cavity was";
    c.x_title = "time (UTC)";
    c.y_title = "% of the cavity";
    c.x_is_time = true;
    c.y_least = 0;
    c.y_most = 100;
    const std::string x = "time (UTC)", from = series.back().name;
    c.series = {{"fill", from, x, "cavity fill %", Look::main},
                {"5 %", from, x, "cavity fill %, 5 %", Look::edge},
                {"95 %", from, x, "cavity fill %, 95 %", Look::edge},
                {"reserve", from, x, "reserve %", Look::limit}};
    charts.charts.push_back(std::move(c));
  }
  series.push_back(hours_sheet(input));
  if (!detail.lubricators.empty()) {
    series.push_back(delivery_sheet(log, v, detail));
    if (!series.back().rows.empty() && detail.lubricators.size() == 1) {
      SheetChart c;
      c.title = "Grease that left the reservoir over what was called for";
      c.x_title = "balance (UTC)";
      c.y_title = "ratio";
      c.x_is_time = true;
      c.y_least = 0;
      const std::string x = "to (UTC)", from = series.back().name;
      c.series = {{"known then", from, x, "ratio known then (1)", Look::main},
                  {"5 %", from, x, "ratio known then (1), 5 %", Look::edge},
                  {"95 %", from, x, "ratio known then (1), 95 %", Look::edge},
                  {"as called for", from, x, "ratio asked for (1)", Look::base}};
      charts.charts.push_back(std::move(c));
    }
  }
  Sheet alarms = alarms_sheet(log, v, detail, names, in.view.as_of);
  if (!alarms.rows.empty()) series.push_back(std::move(alarms));

  if (!charts.charts.empty()) book.sheets.push_back(std::move(charts));
  book.sheets.push_back(records_sheet(in, records));
  for (Sheet& s : series) book.sheets.push_back(std::move(s));
}

}  // namespace shaftlog
