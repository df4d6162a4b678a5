#include "analysis/plain.hpp"

#include "support/temp_db.hpp"

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <numeric>
#include <utility>
#include <vector>

#include <catch2/catch.hpp>

using namespace shaftlog;
using shaftlog::test::day;
using shaftlog::test::nth_id;

namespace {

const std::vector<double> kSteady{0.24, 0.26, 0.25, 0.23, 0.27, 0.25, 0.26, 0.24, 0.25, 0.26, 0.24, 0.25};

const PlainSignal& of(const std::vector<PlainSignal>& all, PlainMethod m) {
  return all.at(static_cast<std::size_t>(m));
}

std::vector<double> with_step(double factor) {
  std::vector<double> x = kSteady;
  for (std::size_t i = 8; i < x.size(); ++i) x[i] *= factor;
  return x;
}

}  // namespace

TEST_CASE("plain methods: a steady series gives no signal", "[plain]") {
  for (const PlainSignal& s : plain_signals(kSteady, {}, false)) {
    INFO(name_of(s.method));
    CHECK(s.untold.empty());
    CHECK_FALSE(s.signals);
  }
}

TEST_CASE("plain methods: a threefold step is seen by all, where it is", "[plain]") {
  const auto all = plain_signals(with_step(3), {}, false);
  REQUIRE(all.size() == 7);
  for (const PlainSignal& s : all) {
    INFO(name_of(s.method));
    CHECK(s.signals);
    CHECK(s.is_up);
  }
  CHECK(of(all, PlainMethod::fixed_rule).since == 8U);
  CHECK(of(all, PlainMethod::fixed_rule).statistic == Approx(3 * 0.26 / 0.25).epsilon(0.01));
  CHECK(of(all, PlainMethod::shewhart).since == 8U);
  CHECK(of(all, PlainMethod::change_point).since == 8U);
}

TEST_CASE("plain methods: the fixed rule looks up only, of a ratio down too", "[plain]") {
  const auto rate = plain_signals(with_step(0.3), {}, false), ratio = plain_signals(with_step(0.3), {}, true);
  CHECK_FALSE(of(rate, PlainMethod::fixed_rule).signals);
  CHECK(of(ratio, PlainMethod::fixed_rule).signals);
  CHECK_FALSE(of(ratio, PlainMethod::fixed_rule).is_up);
  CHECK(of(ratio, PlainMethod::fixed_rule).limit == 0.5);
}

TEST_CASE("plain methods: a slope is told per 1000 h of the median", "[plain]") {
  std::vector<double> x, h;
  for (int i = 0; i < 11; ++i) {
    h.push_back(200.0 * i);
    x.push_back(1.0 + 0.1 * (h.back() / 1000 - 1));  // 1 at the middle, 10 % per 1000 h
  }
  const auto all = plain_signals(x, h, false);
  const PlainSignal& s = of(all, PlainMethod::mann_kendall);
  CHECK(s.signals);
  REQUIRE(s.slope_pct_per_1000h);
  CHECK(s.slope_pct_per_1000h->value == Approx(10));
}

TEST_CASE("plain methods: too few values and values that do not vary are said", "[plain]") {
  for (const PlainSignal& s : plain_signals({1, 2, 3}, {}, false)) CHECK(s.untold == "too few values: 3 of 8");
  const auto same = plain_signals(std::vector<double>(9, 0.25), {}, false);
  CHECK(of(same, PlainMethod::shewhart).untold == "the first six do not vary");
  CHECK(of(same, PlainMethod::change_point).untold == "the values do not vary");
  CHECK_FALSE(of(same, PlainMethod::fixed_rule).signals);
  CHECK(of(plain_signals(std::vector<double>(9, 0.0), {}, false), PlainMethod::fixed_rule).untold ==
        "the first six are 0");
}

TEST_CASE("plain washout: amount and doses over the hours, between full cavities only", "[plain]") {
  ShaftHistory h;
  h.vessel = VesselId{1};
  h.shaft = ShaftId{2};
  h.first_is_full = true;
  const auto add = [&](double taken, Ended ended) {
    GreasingInterval i;
    i.id = nth_id(h.intervals.size() + 1);
    i.at = day(static_cast<int>(10 * h.intervals.size())).utc;
    i.run_h = 100;
    i.delivered_cm3 = 5;
    i.taken_cm3 = taken;
    i.ended = ended;
    h.intervals.push_back(i);
  };
  add(20, Ended::pressure);
  add(30, Ended::limit);     // bounds the loss only
  add(40, Ended::pressure);  // begins with a cavity that was not full
  add(25, Ended::pressure);
  PlainSeries s = plain_washout(h);
  REQUIRE(s.values.size() == 2);
  CHECK(s.values[0] == Approx(0.25));
  CHECK(s.values[1] == Approx(0.30));
  CHECK(s.records[1] == nth_id(4));
  CHECK(s.left_out == 2);
  h.intervals[2].starts_baseline = true;  // a new seal: what was before is another series
  s = plain_washout(h);
  CHECK(s.values.size() == 1);
  CHECK(s.left_out == 0);
}

TEST_CASE("plain delivery: used over called for, stretches with nothing called for left out", "[plain]") {
  DeliveryResult d;
  d.lubricator = LubricatorId{3};
  for (int i = 0; i < 3; ++i) {
    RatioStep step;
    step.expected_cm3 = i == 1 ? 0 : 200;
    step.used_cm3 = 190;
    d.steps.push_back(step);
  }
  const PlainSeries s = plain_delivery(VesselId{1}, d);
  CHECK(s.values == std::vector<double>{0.95, 0.95});
  CHECK(s.left_out == 1);
}

namespace {

/// A shaft greased every ten days of 100 h with 75 cm3, fed with half a cm3 an hour beside it by a lubricator.
VesselLog fed_ship() {
  VesselLog log;
  log.vessel = {VesselId{1}, "T-01", "Testholm", std::nullopt, "UTC", std::nullopt};
  ShaftSetting setting;
  setting.cavity = cm3(400);
  log.shafts = {{ShaftId{1}, VesselId{1}, "fin_port", {setting}}};
  Lubricator l;
  l.id = LubricatorId{1};
  l.code = "lub1";
  l.settings.push_back({std::nullopt, cm3(4000), std::nullopt, {}});
  log.lubricators.push_back(l);
  log.feeds.push_back({l.id, ShaftId{1}, std::nullopt, Volume::from_base(500), 3600});
  std::uint64_t id = 1;
  const auto at = [&](auto& list, int d) -> auto& {
    auto& r = list.emplace_back();
    r.id = nth_id(id++);
    r.at = r.recorded_at = day(d).utc;
    return r;
  };
  for (int d = 0; d <= 200; d += 10) {
    auto& h = at(log.hours, d);
    h.shaft = ShaftId{1};
    h.what.reading = HoursReading::from_base(d * 10 * 3600);
    auto& g = at(log.greasings, d);
    g.shaft = ShaftId{1};
    g.what.amount = Amount{"75", Unit::cm3, cm3(75), std::nullopt};
    auto& level = at(log.levels, d);
    level.lubricator = l.id;
    // Full use up to day 100, then a third of it: 50 cm3 of 4000 in ten days are 1.25 %.
    level.what.level = Level::from_base(9500 - 125 * std::min(d, 100) / 10 - 41 * std::max(0, d - 100) / 10);
  }
  return log;
}

}  // namespace

TEST_CASE("plain series: a failing device is taken at its word, and shows in its own ratio", "[plain]") {
  const std::vector<PlainSeries> all = list_plain_series(fed_ship(), day(200).utc);
  REQUIRE(all.size() == 2);
  REQUIRE(all[0].values.size() == 20);
  for (const double v : all[0].values) CHECK(v == Approx((75 + 50) / 100.0));
  REQUIRE(all[1].values.size() == 20);
  CHECK(all[1].lubricator == LubricatorId{1});
  CHECK(all[1].values.front() == Approx(1));
  CHECK(all[1].values.back() == Approx(0.33).margin(0.01));
}

TEST_CASE("plain series: tenfold amounts stay, what is written twice counts once", "[plain]") {
  VesselLog log = fed_ship();
  log.greasings[5].what.amount->volume = Volume::from_base(7500);  // the review would take it for a slip of the point
  Logged<Greasing> twice = log.greasings[8];
  twice.id = nth_id(900);
  twice.recorded_at += std::chrono::hours{3};
  twice.at += std::chrono::minutes{4};
  twice.by = 1;
  log.people.push_back("second hand");
  log.greasings.insert(log.greasings.begin() + 9, twice);
  const PlainSeries s = list_plain_series(log, day(200).utc).front();
  REQUIRE(s.values.size() == 20);
  CHECK(s.values[4] == Approx((7.5 + 50) / 100));
  CHECK(s.values[7] == Approx(1.25));
  CHECK(s.values[8] == Approx(1.25));
}

TEST_CASE("plain series: a meter replaced goes on where the old one ended", "[plain]") {
  VesselLog log = fed_ship();
  for (std::size_t i = 10; i < log.hours.size(); ++i) {
    Hours& h = log.hours[i].what;
    if (i == 10) {
      h.is_new_meter = true;
      h.old_meter = h.reading;
    }
    h.reading = HoursReading::from_base(static_cast<std::int64_t>(i - 10) * 100 * 3600);
  }
  const PlainSeries s = list_plain_series(log, day(200).utc).front();
  REQUIRE(s.values.size() == 20);
  for (const double v : s.values) CHECK(v == Approx(1.25));
}

namespace {

/// The p of the change test as its page says it: the sums of squares of every split, order by order.
double counted_p(const std::vector<double>& values) {
  const auto largest = [](const std::vector<double>& x) {
    const double total = std::accumulate(x.begin(), x.end(), 0.0);
    double left = 0, best = 0;
    for (std::size_t k = 1; k + 1 < x.size(); ++k) {
      left += x[k - 1];
      const double right = total - left;
      if (k >= 2)
        best = std::max(best, left * left / static_cast<double>(k) + right * right / static_cast<double>(x.size() - k));
    }
    return best;
  };
  const double seen = largest(values);
  std::vector<double> shuffled = values;
  std::uint64_t state = 0x53484654ULL;
  int as_large = 0;
  for (int order = 0; order < 1999; ++order) {
    for (std::size_t i = shuffled.size() - 1; i > 0; --i) {
      state = state * 6364136223846793005ULL + 1442695040888963407ULL;
      std::swap(shuffled[i], shuffled[(state >> 33) % (i + 1)]);
    }
    if (largest(shuffled) >= seen * (1 - 1e-12)) ++as_large;
  }
  return (as_large + 1.0) / 2000.0;
}

}  // namespace

TEST_CASE("plain methods: the change test counts the orders one by one would count", "[plain]") {
  for (const std::size_t n : {8U, 9U, 15U, 61U}) {
    for (const double step : {0.0, 0.05, 0.4}) {
      for (const bool is_coarse : {false, true}) {  // coarse: many values are the same, and so are many splits
        std::vector<double> x;
        std::uint64_t state = n;
        for (std::size_t i = 0; i < n; ++i) {
          state = state * 6364136223846793005ULL + 1442695040888963407ULL;
          const double chance = static_cast<double>(state >> 40U) / 16777216.0;
          x.push_back(3 + (is_coarse ? std::round(3 * chance) : chance) + (i >= n / 2 ? step : 0.0));
        }
        const PlainSignal s = of(plain_signals(x, {}, false), PlainMethod::change_point);
        REQUIRE(s.method == PlainMethod::change_point);
        CHECK(s.statistic == counted_p(x));
      }
    }
  }
}

// Published: Norris of the NIST Statistical Reference Datasets is in tests/reference; here weights and the next value.
TEST_CASE("plain methods: regression weighs by running hours and foretells the next value", "[plain]") {
  // A steady loss, and a last interval of one hour that is far off.
  std::vector<double> x = kSteady, at, run_h;
  for (std::size_t i = 0; i < x.size(); ++i) {
    at.push_back(200.0 * static_cast<double>(i));
    run_h.push_back(200);
  }
  x.back() = 0.9;
  const PlainSignal even = of(plain_signals(x, at, false), PlainMethod::regression);
  run_h.back() = 0.2;
  const PlainSignal weighed = of(plain_signals(x, at, false, run_h), PlainMethod::regression);
  CHECK(weighed.statistic > even.statistic);
  REQUIRE(weighed.next);
  CHECK(weighed.next->value == Approx(0.25).margin(0.02));
  CHECK(even.next->value > 0.35);
  CHECK(weighed.next->low < 0.24);
  CHECK(weighed.next->high > 0.26);
  // A line: ordinary least squares by the textbook's sums, 1 to 8 on 0, 100, .. 700 h with one value off by 1.
  std::vector<double> y{1, 2, 3, 4, 5, 6, 7, 9}, h{0, 100, 200, 300, 400, 500, 600, 700};
  const PlainSignal line = of(plain_signals(y, h, false), PlainMethod::regression);
  CHECK(line.signals);
  CHECK(line.is_up);
  // mean 4.625 at 350 h; sum of products 4550, of squares 420000: slope 0.0108333 per hour, median 4.5
  REQUIRE(line.slope_pct_per_1000h);
  CHECK(line.slope_pct_per_1000h->value == Approx(0.0108333333 * 1e5 / 4.5).epsilon(1e-6));
  CHECK(line.next->value == Approx(4.625 + 0.0108333333 * 450).epsilon(1e-6));
  // Values on a line to the last bit, and moments far from 0.
  for (std::size_t i = 0; i < y.size(); ++i) {
    y[i] = static_cast<double>(i + 1);
    h[i] += 1e9;
  }
  const PlainSignal exact = of(plain_signals(y, h, false), PlainMethod::regression);
  CHECK(exact.signals);
  CHECK(exact.next->value == Approx(9).epsilon(1e-9));
}

TEST_CASE("plain methods of alarms: evenly spread ones give no signal, crowded ones more often, both ways round",
          "[plain]") {
  std::vector<double> even, late, early;
  for (int i = 1; i <= 20; ++i) {
    even.push_back(100.0 * i - 50);
    late.push_back(2000 * std::sqrt(std::sqrt((i - 0.5) / 20)));
    early.push_back(2000 * std::pow((i - 0.5) / 20, 4));
  }
  for (const PlainSignal& s : alarm_signals(even, 2000)) {
    INFO(name_of(s.method));
    CHECK(s.untold.empty());
    CHECK_FALSE(s.signals);
  }
  for (const PlainSignal& s : alarm_signals(late, 2000)) {
    INFO(name_of(s.method));
    CHECK(s.signals);
    CHECK(s.is_up);
  }
  for (const PlainSignal& s : alarm_signals(early, 2000)) {
    INFO(name_of(s.method));
    CHECK(s.signals);
    CHECK_FALSE(s.is_up);
  }
  const PlainSignal law = alarm_signals(late, 2000).back();
  REQUIRE(law.shape);
  CHECK(law.shape->low < 4);
  CHECK(law.shape->high > 4);
  CHECK(law.shape->low > 1);
}

TEST_CASE("plain methods of alarms: halves is the exact test of two rates", "[plain]") {
  // 1 and 7 of 8: two-sided 2 (1 + 8) / 2^8, by hand.
  const std::vector<double> at_h{100, 510, 600, 650, 700, 800, 900, 950};
  const PlainSignal s = alarm_signals(at_h, 1000).front();
  CHECK(s.method == PlainMethod::halves);
  CHECK(s.statistic == Approx(2 * 9 / 256.0).epsilon(1e-9));
  CHECK_FALSE(s.signals);
}

TEST_CASE("plain methods of alarms: few alarms are said to be too few, all at the end give no shape", "[plain]") {
  for (const PlainSignal& s : alarm_signals({10, 20, 30, 40}, 100)) CHECK(s.untold == "too few alarms: 4 of 5");
  const auto all = alarm_signals({100, 100, 100, 100, 100}, 100);
  CHECK(all.back().signals);
  CHECK_FALSE(all.back().shape);
}

TEST_CASE("plain methods of alarms: an alarm before any running hour is left out and counted", "[plain]") {
  WatchedAlarms w;
  w.lubricator = LubricatorId{3};
  w.from_h = 1000;
  w.to_h = 2000;
  w.run_h = {1000, 1100, 1500, 1900};
  for (std::size_t i = 0; i < w.run_h.size(); ++i) {
    AlarmEpisode& e = w.episodes.emplace_back();
    e.raised = day(static_cast<int>(i)).utc;
    e.records = {nth_id(i + 1)};
  }
  const PlainSeries s = plain_alarms(VesselId{1}, w);
  CHECK(s.left_out == 1);
  CHECK(s.values == std::vector<double>{100, 400, 400});
  CHECK(s.records.front() == nth_id(2));
  CHECK(s.lubricator == LubricatorId{3});
  CHECK(s.signals.size() == 3);
}
