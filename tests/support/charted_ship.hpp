#pragma once

#include "analysis/review.hpp"
#include "reports/charts/fleet_charts.hpp"
#include "reports/charts/shaft_charts.hpp"

#include <algorithm>
#include <chrono>
#include <cmath>
#include <string>
#include <vector>

namespace shaftlog::test {

/// An invented ship of two years with something for every chart: fin_port whose seal wears, fin_stbd fed by lub1 whose
/// doses stop arriving half-way, rudder of which nothing was written. Reviewed with detail.
class ChartedShip {
 public:
  ChartedShip() {
    log.vessel = {VesselId{1}, "T-01", "Testholm", std::nullopt, "Europe/Lisbon", std::nullopt};
    log.greases.push_back({GreaseId{1}, "G-1", Thickener::calcium, "2", Density::from_base(920), true});
    ShaftSetting setting;
    setting.cavity = cm3(400);
    setting.interval = RunTime::from_base(std::int64_t{400} * 3600);
    setting.grease = GreaseId{1};
    const char* codes[] = {"fin_port", "fin_stbd", "rudder"};
    for (std::int64_t i = 0; i < 3; ++i) log.shafts.push_back({ShaftId{i + 1}, VesselId{1}, codes[i], {setting}});
    log.lubricators.push_back(
        {LubricatorId{1}, VesselId{1}, "lub1", {{std::nullopt, cm3(5000), std::nullopt, GreaseId{1}}}});
    log.feeds.push_back({LubricatorId{1}, ShaftId{2}, std::nullopt, Volume::from_base(250), 900});
    for (int d = 0; d <= kDays; d += 10) {
      for (std::int64_t shaft = 1; shaft <= 2; ++shaft) {
        Logged<Hours> h = at<Hours>(d, shaft);
        h.what.reading = HoursReading::from_base(std::int64_t{d} * 10 * 3600);
        log.hours.push_back(h);
      }
      Logged<Cycles> c = at<Cycles>(d, 0);
      c.lubricator = LubricatorId{1};
      c.what.count = std::int64_t{d} * 40;
      log.cycles.push_back(c);
    }
    // 0.25 cm3/h until day 400, then climbing to three times as much; one greasing each ends otherwise.
    for (int d = 0; d <= kDays; d += 30) {
      Logged<Greasing> g = at<Greasing>(d, 1);
      const double rate = 0.25 * (d <= 400 ? 1.0 : 1.0 + 2.0 * (d - 400) / 300.0);
      const double noise = 1 + 0.06 * std::sin(1.7 * d);
      g.what.amount = amount(d == 0 ? 40 : rate * 300 * noise);
      if (d == 240) g.what.ended = Ended::limit;
      if (d == 480) g.what.ended = Ended::stopped;
      log.greasings.push_back(g);
    }
    Logged<Greasing> not_done = at<Greasing>(315, 1);
    not_done.what.ended = Ended::not_done;
    log.greasings.push_back(not_done);
    for (int d = 5; d <= kDays; d += 60) {
      Logged<Greasing> g = at<Greasing>(d, 2);
      g.what.amount = amount(d < 400 ? 4 : 150);
      log.greasings.push_back(g);
    }
    // 10 cm3 a day leave the reservoir, from day 400 on six tenths of it.
    double level = 5000;
    for (int d = 0; d <= kDays; d += 20) {
      Logged<LevelReading> l = at<LevelReading>(d, 0);
      l.lubricator = LubricatorId{1};
      if (level < 1500) {
        Logged<Refill> r = at<Refill>(d, 0);
        r.lubricator = LubricatorId{1};
        r.what.before = Level::from_base(std::lround(level * 2));
        r.what.after = Level::from_base(10000);
        log.refills.push_back(r);
        level = 5000;
      } else {
        l.what.level = Level::from_base(std::lround(level * 2));
        log.levels.push_back(l);
      }
      level -= 20 * (d < 400 ? 10 : 6);
    }
    for (const int d : {60, 61, 190, 350, 520, 640}) {
      Logged<Alarm> a = at<Alarm>(d, 0);
      a.lubricator = LubricatorId{1};
      a.what.alarm = d == 640 ? AlarmKind::cycle_fault : AlarmKind::no_pressure;
      if (d != 640) a.what.cleared = Stamp{a.at + std::chrono::hours{30}};
      log.alarms.push_back(a);
    }
    Logged<Work> work = at<Work>(330, 0);
    work.what.work = WorkKind::docked;
    log.work.push_back(work);
    work = at<Work>(395, 1);
    work.what.work = WorkKind::contact;
    log.work.push_back(work);
    Logged<Inspection> look = at<Inspection>(560, 1);
    look.what.water_ppm = 21000;
    log.inspections.push_back(look);
    const auto by_time = [](const auto& a, const auto& b) { return a.at < b.at; };
    std::stable_sort(log.greasings.begin(), log.greasings.end(), by_time);
    const std::vector<VesselLog> fleet{log};
    review = review_fleet(fleet, as_of, 1, true).vessels.front();
  }

  [[nodiscard]] ShaftChartInput shaft(std::size_t i) const {
    return {log, log.shafts[i], review.shafts[i], review.shaft_details[i], as_of, zone};
  }
  [[nodiscard]] LubricatorChartInput lubricator() const {
    return {log, log.lubricators[0], review.lubricator_details[0], *review.digest, as_of, zone};
  }
  [[nodiscard]] std::vector<LubricatorChartInput> feeding(std::size_t i) const {
    return i == 1 ? std::vector<LubricatorChartInput>{lubricator()} : std::vector<LubricatorChartInput>{};
  }
  [[nodiscard]] std::vector<FleetShaft> fleet() const {
    std::vector<FleetShaft> out;
    for (std::size_t i = 0; i < log.shafts.size(); ++i) {
      out.push_back({log.vessel.code, log.shafts[i].code, review.shafts[i], review.shaft_details[i],
                     i == 0 ? std::optional{Urgency::plan} : std::nullopt});
    }
    return out;
  }
  /// A range in the middle of all that is known.
  [[nodiscard]] static DayRange spring_days() {
    using namespace std::chrono;
    return {local_days{year{2025} / 3 / 1}, local_days{year{2025} / 6 / 30}};
  }
  /// Every chart that there is, of every shaft.
  [[nodiscard]] std::vector<Chart> charts() const {
    std::vector<Chart> out;
    for (std::size_t i = 0; i < log.shafts.size(); ++i) {
      const ShaftChartInput in = shaft(i);
      for (const Panel& p : shaft_panels(in, feeding(i))) out.push_back(chart_of(p, time_axis_of(in)));
      out.push_back(stacked(shaft_panels(in, feeding(i)), time_axis_of(in), log.shafts[i].code));
      if (i < 2)  // of the rudder too little is known
        out.push_back(stacked(shaft_panels(in, feeding(i)), part_of(time_axis_of(in), spring_days()), "spring"));
      out.push_back(grease_against_hours(in));
    }
    const LubricatorChartInput pump = lubricator();
    out.push_back(chart_of(delivery_panel(pump), time_axis_of(pump)));
    out.push_back(washout_funnel(fleet()));
    out.push_back(small_multiples(fleet(), time_axis_of(shaft(0)), "T-01"));
    return out;
  }

  static constexpr int kDays = 700;
  Instant as_of = from_unix(kDay0 + std::int64_t{kDays + 8} * 86400);
  Zone zone{"Europe/Lisbon"};
  VesselLog log;
  VesselReview review;

 private:
  static constexpr std::int64_t kDay0 = 1704110400;  // 2024-01-01T12:00Z

  template <class What>
  Logged<What> at(int d, std::int64_t shaft_id) {
    Logged<What> r;
    r.id.bytes[15] = static_cast<std::uint8_t>(next_id_ & 0xFF);
    r.id.bytes[14] = static_cast<std::uint8_t>(next_id_ >> 8);
    ++next_id_;
    r.at = from_unix(kDay0 + std::int64_t{d} * 86400);
    r.recorded_at = r.at;
    if (shaft_id != 0) r.shaft = ShaftId{shaft_id};
    return r;
  }
  static Amount amount(double cubic) {
    const auto whole = std::lround(cubic);
    return Amount{std::to_string(whole), Unit::cm3, cm3(whole), std::nullopt};
  }

  int next_id_ = 1;
};

}  // namespace shaftlog::test
