#include "analysis/forecast.hpp"

#include <cmath>
#include <vector>

#include <catch2/catch.hpp>

using namespace shaftlog;

namespace {

constexpr Instant kStart = from_unix(1700000000);
Instant day(double d) { return kStart + std::chrono::seconds{static_cast<std::int64_t>(d * 86400)}; }

/// One manual shaft at 12 running hours a day, greased every 25 days (300 h) with 75 cm3, eight times.
struct Ship {
  VesselLog log;
  Shaft shaft;
  HoursCurve hours;
  ShaftHistory history;
  WashoutPrior prior;
  Ship() {
    shaft.id = ShaftId{1};
    ShaftSetting s;
    s.cavity = cm3(400);
    s.interval = RunTime::from_base(360 * 3600);
    shaft.settings.push_back(s);
    std::vector<HoursCurve::Point> points;
    for (int i = 0; i <= 60; ++i) points.push_back({day(5 * i), 60.0 * i, false, 0.1});
    hours = HoursCurve{points};
    history.cavity_cm3 = 400;
    history.first_is_full = true;
    prior.mean_log_w = std::log(0.25);
    prior.sd_log_w = 0.3;
    for (int i = 0; i <= 8; ++i) {
      greased(25 * i, Ended::pressure);
      if (i == 0) continue;
      GreasingInterval g;
      g.from = day(25 * (i - 1));
      g.at = day(25 * i);
      g.run_h = 300;
      g.taken_cm3 = i % 2 == 0 ? 72 : 78;
      history.intervals.push_back(g);
    }
  }
  void greased(double d, Ended ended) {
    Logged<Greasing> g;
    g.id.bytes[15] = static_cast<std::uint8_t>(log.greasings.size() + 1);
    g.at = day(d);
    g.shaft = shaft.id;
    g.what.ended = ended;
    log.greasings.push_back(g);
  }
  [[nodiscard]] NextGreasing next(double d) const {
    return forecast_greasing(log, shaft, hours, history, fit_washout(history, prior), prior, {}, day(d));
  }
};

}  // namespace

TEST_CASE("next greasing: hours left and the day by recent use", "[analysis][forecast]") {
  const NextGreasing n = Ship{}.next(210);  // 120 h after the last one
  REQUIRE(n.due_in_h);
  CHECK(*n.due_in_h == Approx(240).margin(1));
  CHECK(days_between(day(210), *n.due_at) == Approx(20).margin(0.5));
  CHECK_FALSE(n.is_overdue);
  REQUIRE(n.expected_cm3);
  CHECK(n.expected_cm3->value == Approx(90).epsilon(0.06));
  CHECK(n.expected_cm3->low > 50);
  CHECK(n.expected_cm3->low < 80);
  CHECK(n.expected_cm3->high > 100);
  CHECK(n.expected_cm3->high < 140);
  CHECK(n.last->bytes[15] == 9);
}

TEST_CASE("next greasing: after a quiet spell the hours to come are drawn towards what is usual",
          "[analysis][forecast]") {
  // Two years of four months at sea and two in port, then 60 days in port: the interval has most of its hours left.
  Ship s;
  std::vector<HoursCurve::Point> points;
  double h = 0;
  for (int d = 0; d <= 720; d += 5) {
    points.push_back({day(d - 480), h, false, 0.1});
    h += 5 * (d % 180 < 120 ? 12 : 1);
  }
  s.hours = HoursCurve{points};
  const Instant now = s.hours.last();
  const auto at = [&](const Instant t) {
    return forecast_greasing(s.log, s.shaft, s.hours, s.history, fit_washout(s.history, s.prior), s.prior, {}, t);
  };
  const NextGreasing n = at(now);
  REQUIRE(n.expected_cm3);
  REQUIRE(n.due_at);
  const double foreseen = s.hours.use_h_per_day() * days_between(now, *n.due_at);
  const double by_recent_use = 0.25 * (s.hours.run_h(day(200), now) + foreseen);
  CHECK(foreseen > 50);
  CHECK(n.expected_cm3->value > 1.05 * by_recent_use);
  CHECK(n.expected_cm3->high > 1.3 * n.expected_cm3->value);
}

TEST_CASE("next greasing: where the doses cover the loss it may still take what a full cavity shows",
          "[analysis][forecast]") {
  Ship s;
  s.history.is_automatic = true;
  for (GreasingInterval& g : s.history.intervals) {
    g.delivered_cm3 = 300;  // 1 cm3/h
    g.taken_cm3 = 0;
  }
  const Delivered one_cm3_per_h = [](Instant a, Instant b) { return days_between(a, b) * 12; };
  const NextGreasing n = forecast_greasing(s.log, s.shaft, s.hours, s.history, fit_washout(s.history, s.prior), s.prior,
                                           one_cm3_per_h, day(210));
  REQUIRE(n.expected_cm3);
  CHECK(n.expected_cm3->value == 0);
  CHECK(n.expected_cm3->low == 0);
  CHECK(n.expected_cm3->high == Approx(1.645 * std::hypot(s.prior.fill_sd_cm3, 1.0)));
}

TEST_CASE("next greasing: the calendar comes first where it is shorter", "[analysis][forecast]") {
  Ship s;
  s.shaft.settings[0].interval_days = 14;
  CHECK(*s.next(210).due_at == day(214));
  CHECK_FALSE(s.next(210).is_overdue);
  const NextGreasing late = s.next(220);
  CHECK(late.is_overdue);
  CHECK(*late.overdue_days == Approx(6).margin(0.01));
  CHECK_FALSE(late.overdue_h);
}

TEST_CASE("next greasing: overdue by hours, and by how many", "[analysis][forecast]") {
  const NextGreasing n = Ship{}.next(240);
  CHECK(n.is_overdue);
  CHECK(*n.overdue_h == Approx(120).margin(2));
  CHECK(n.expected_cm3->value == Approx(120).epsilon(0.06));
}

TEST_CASE("next greasing: one that was not done does not count", "[analysis][forecast]") {
  Ship s;
  s.greased(208, Ended::not_done);
  CHECK(*s.next(210).due_in_h == Approx(240).margin(1));
  s.greased(209, Ended::stopped);
  CHECK(*s.next(210).due_in_h == Approx(348).margin(1));
}

TEST_CASE("next greasing: without an interval or records nothing is due", "[analysis][forecast]") {
  Ship s;
  s.shaft.settings[0].interval.reset();
  CHECK_FALSE(s.next(210).due_at);
  CHECK(s.next(210).expected_cm3);
  Ship bare;
  bare.log.greasings.clear();
  bare.history.intervals.clear();
  bare.hours = HoursCurve{};
  CHECK_FALSE(bare.next(210).due_at);
  CHECK_FALSE(bare.next(210).expected_cm3);
}
