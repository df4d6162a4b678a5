#include "analysis/forecast.hpp"

#include <catch2/catch.hpp>

using namespace shaftlog;

namespace {

const Instant kStart = from_unix(1767225600);
constexpr LubricatorId kPump{1};
Instant day(int d) { return kStart + std::chrono::days{d}; }

struct Ship {
  VesselLog log;
  std::map<ShaftId, HoursCurve> hours;
  DeliveryResult delivery;
  explicit Ship(double h_per_day = 10) {  // 10 cm3 a day at 10 h a day
    Lubricator l;
    l.id = kPump;
    l.settings.push_back({std::nullopt, cm3(2000), std::nullopt, {}});
    log.lubricators.push_back(l);
    log.feeds.push_back({kPump, ShaftId{1}, std::nullopt, Volume::from_base(250), 900});
    std::vector<HoursCurve::Point> points;
    for (int d = 0; d <= 364; d += 7) points.push_back({day(d), h_per_day * d});
    hours[ShaftId{1}] = HoursCurve{points};
    delivery.lubricator = kPump;
    delivery.level_pct = Estimate{60, 58, 62};
    delivery.delivery_ratio = Estimate{1, 0.97, 1.03};
  }
  [[nodiscard]] NextRefill forecast() const {
    return forecast_refill(log, log.lubricators[0], delivery, Schedule{log, hours, day(364)}, hours, day(364));
  }
};

}  // namespace

TEST_CASE("next refill: what lies above the low mark over the daily use", "[analysis][forecast]") {
  const NextRefill n = Ship{}.forecast();  // 1200 - 200 = 1000 cm3 at 10 a day
  REQUIRE(n.p50);
  CHECK(days_between(day(364), *n.p50) == Approx(100).margin(1.5));
  CHECK(*n.p10 < *n.p50);
  CHECK(*n.p50 < *n.p90);
  CHECK(n.amount_cm3->value == Approx(1800));
}

TEST_CASE("next refill: below the low mark it says since when, and what it takes now", "[analysis][forecast]") {
  Ship ship;  // 160 cm3 left where the mark is at 200: 40 cm3 at 10 a day
  ship.delivery.level_pct = Estimate{8, 6, 10};
  ship.delivery.level_read = day(344);
  ship.delivery.level_then_pct = 18;
  const NextRefill n = ship.forecast();
  REQUIRE(n.p50);
  CHECK(days_between(*n.p50, day(364)) == Approx(4).margin(0.1));
  CHECK(*n.p10 < *n.p50);
  CHECK(*n.p90 > *n.p50);
  CHECK(*n.p90 <= day(364));
  CHECK(n.amount_cm3->value == Approx(1840));
  CHECK(n.amount_cm3->low < 1800 + 1);
  CHECK(n.amount_cm3->high > 1880 - 1);
}

TEST_CASE("next refill: the day on which the mark was met does not move while nobody reads", "[analysis][forecast]") {
  Ship ship;
  ship.delivery.level_read = day(300);
  ship.delivery.level_then_pct = 30;  // 600 cm3: 40 days above the mark, 60 until it is empty
  ship.delivery.level_pct = Estimate{0, 0, 3};
  const NextRefill n = ship.forecast();
  CHECK(days_between(day(300), *n.p50) == Approx(40).margin(0.1));
  // 640 cm3 used leave 40 below 0 and 95 % below 60, so 60.8 is 1 sd: 14 of the reading, 59.2 of the use, 0.0925 of it.
  CHECK(days_between(day(300), *n.p10) == Approx((400 - 1.2816 * 14) / (10 * (1 + 1.2816 * 0.0925))).margin(0.1));
  CHECK(days_between(day(300), *n.p90) == Approx((400 + 1.2816 * 14) / (10 * (1 - 1.2816 * 0.0925))).margin(0.1));
  CHECK(n.amount_cm3->value == Approx(2000));
  ship.delivery.level_then_pct = 9;  // read below the mark
  CHECK(ship.forecast().p50 == day(300));
}

TEST_CASE("next refill: while the lubricator stands the days hold if it is set going today", "[analysis][forecast]") {
  Ship off;
  Logged<Work> w;
  w.at = day(360);
  w.lubricator = kPump;
  w.what.work = WorkKind::lubricator_off;
  off.log.work.push_back(w);
  const NextRefill n = off.forecast();
  REQUIRE(n.stands_since);
  CHECK(*n.stands_since == day(360));
  REQUIRE(n.p50);
  CHECK(days_between(day(364), *n.p50) == Approx(100).margin(2));
  CHECK_FALSE(Ship{}.forecast().stands_since);
  Ship silent;  // a counter that stands says the same
  silent.delivery.cycle_ratio = Estimate{0, 0, 0.01};
  REQUIRE(silent.forecast().stands_since);
  CHECK(silent.forecast().p50);
}

TEST_CASE("next refill: nothing is said with no level, with no use, or beyond 18 months", "[analysis][forecast]") {
  Ship unknown;
  unknown.delivery.level_pct.reset();
  CHECK_FALSE(unknown.forecast().p50);
  CHECK_FALSE(Ship{0}.forecast().p50);
  CHECK_FALSE(Ship{1}.forecast().p50);  // 1000 days
  Ship no_dose;
  no_dose.log.feeds[0].dose = cm3(0);
  CHECK_FALSE(no_dose.forecast().p50);
}

TEST_CASE("next refill: half the ratio lasts twice as long", "[analysis][forecast]") {
  Ship ship;
  ship.delivery.delivery_ratio = Estimate{0.5, 0.48, 0.52};
  CHECK(days_between(day(364), *ship.forecast().p50) == Approx(200).margin(4));
}
