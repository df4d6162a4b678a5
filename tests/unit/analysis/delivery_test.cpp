#include "analysis/delivery.hpp"

#include "analysis/face_value.hpp"

#include <catch2/catch.hpp>

using namespace shaftlog;

namespace {

const Instant kStart = from_unix(1767225600);  // 2026-01-01T00:00:00Z
constexpr LubricatorId kPump{1};

Instant day(int d) { return kStart + std::chrono::days{d}; }

/// Reservoir of 5000 cm3, shafts at 0.25 cm3 every quarter of an hour, 12 h a day.
struct Ship {
  VesselLog log;
  std::map<ShaftId, HoursCurve> hours;
  std::uint8_t n = 0;

  explicit Ship(int shafts, int days) {
    Lubricator l;
    l.id = kPump;
    l.settings.push_back({std::nullopt, cm3(5000), std::nullopt, {}});
    log.lubricators.push_back(l);
    for (int s = 1; s <= shafts; ++s) {
      log.feeds.push_back({kPump, ShaftId{s}, std::nullopt, Volume::from_base(250), 900});
      std::vector<HoursCurve::Point> points;
      for (int d = 0; d <= days; d += 5) points.push_back({day(d), 12.0 * d});
      hours[ShaftId{s}] = HoursCurve{points};
    }
  }
  template <class What>
  Logged<What> logged(int d, What what) {
    Logged<What> r;
    r.id.bytes[15] = ++n;
    r.at = day(d);
    r.lubricator = kPump;
    r.what = std::move(what);
    return r;
  }
  Uuid level(int d, double pct) {
    log.levels.push_back(logged(d, LevelReading{Level::from_base(static_cast<std::int64_t>(pct * 100 + 0.5))}));
    return log.levels.back().id;
  }
  void refill(int d, double amount_cm3) {
    Amount a;
    a.volume = Volume::from_base(static_cast<std::int64_t>(amount_cm3 * 1000));
    log.refills.push_back(logged(d, Refill{a, std::nullopt, std::nullopt, {}, ""}));
  }
  void counter(int d, std::int64_t count) { log.cycles.push_back(logged(d, Cycles{count, false})); }
  [[nodiscard]] DeliveryResult balance(int d) const {
    return balance_delivery(log, log.lubricators[0], Schedule{log, hours, day(d)}, day(d));
  }
};

}  // namespace

TEST_CASE("delivery: with no records nothing is claimed", "[analysis][delivery]") {
  const DeliveryResult r = Ship{4, 40}.balance(40);
  CHECK_FALSE(r.delivery_ratio);
  CHECK_FALSE(r.cycle_ratio);
  CHECK_FALSE(r.level_pct);
  CHECK_FALSE(r.low);
}

TEST_CASE("delivery: one level tells the level and no ratio", "[analysis][delivery]") {
  Ship ship{4, 40};
  ship.level(0, 80);
  const DeliveryResult r = ship.balance(0);
  CHECK_FALSE(r.delivery_ratio);
  REQUIRE(r.level_pct);
  CHECK(r.level_pct->value == Approx(80).margin(0.5));
}

TEST_CASE("delivery: a leak of the main line is seen with the first balance", "[analysis][delivery]") {
  Ship ship{4, 40};  // 480 h, 1920 cm3 called for, 3340 used
  ship.counter(0, 1000);
  ship.counter(40, 2920);
  ship.level(0, 90);
  const Uuid last = ship.level(40, 90 - 66.8);
  const DeliveryResult r = ship.balance(40);
  REQUIRE(r.delivery_ratio);
  CHECK(r.delivery_ratio->value == Approx(1.74).margin(0.07));
  CHECK(r.delivery_ratio->low > 1.5);
  REQUIRE(r.cycle_ratio);
  CHECK(r.cycle_ratio->value == Approx(1.0).margin(0.02));
  REQUIRE(r.high);
  CHECK(r.high->first_seen == day(40));
  CHECK(r.high->evidence.front() == last);
  CHECK_FALSE(r.low);
  CHECK(r.steps.back().used_cm3 - r.steps.back().expected_cm3 == Approx(1420).margin(1));
}

TEST_CASE("delivery: one stuck device of four leaves a ratio of three quarters", "[analysis][delivery]") {
  Ship ship{4, 60};  // 720 h, 2880 called for, 2150 used
  ship.counter(0, 0);
  ship.counter(60, 2880);
  ship.level(0, 80);
  ship.level(60, 37);
  const DeliveryResult r = ship.balance(60);
  REQUIRE(r.delivery_ratio);
  CHECK(r.delivery_ratio->value == Approx(0.75).margin(0.03));
  REQUIRE(r.low);
  CHECK_FALSE(r.high);
  CHECK_FALSE(r.cycles_low);
}

TEST_CASE("delivery: switched off is a cycle ratio of 0 and an unknown delivery ratio", "[analysis][delivery]") {
  Ship ship{4, 30};
  ship.counter(0, 5000);
  ship.counter(30, 5000);
  ship.level(0, 70);
  ship.level(30, 70);
  const DeliveryResult r = ship.balance(30);
  CHECK_FALSE(r.delivery_ratio);
  CHECK_FALSE(r.low);
  REQUIRE(r.cycle_ratio);
  CHECK(r.cycle_ratio->value == Approx(0).margin(0.03));
  REQUIRE(r.cycles_low);
  CHECK(r.cycles_low->first_seen == day(30));
}

TEST_CASE("delivery: a week is too short to say, and says so", "[analysis][delivery]") {
  Ship ship{1, 10};
  ship.level(0, 80);
  ship.level(5, 78);
  const DeliveryResult r = ship.balance(5);
  CHECK_FALSE(r.delivery_ratio);
  REQUIRE(r.stretch_sd);
  CHECK(*r.stretch_sd > 0.5);
}

TEST_CASE("delivery: refills to the full mark are enough", "[analysis][delivery]") {
  Ship ship{4, 200};
  for (int d = 0; d <= 200; d += 40) ship.refill(d, d == 0 ? 1000 : 1920);
  const DeliveryResult r = ship.balance(200);
  REQUIRE(r.delivery_ratio);
  CHECK(r.delivery_ratio->value == Approx(1.0).margin(0.03));
  CHECK_FALSE(r.low);
  CHECK_FALSE(r.high);
}

TEST_CASE("delivery: a known standstill explains what did not leave", "[analysis][delivery]") {
  Ship ship{4, 80};
  ship.level(0, 90);
  ship.level(40, 51.6);
  for (int d = 50; d <= 80; d += 10) ship.level(d, 51.6);
  Logged<Work> off;
  off.at = day(40);
  off.lubricator = kPump;
  off.what.work = WorkKind::lubricator_off;
  CHECK(ship.balance(80).low);
  ship.log.work.push_back(off);
  CHECK_FALSE(ship.balance(80).low);
}

TEST_CASE("delivery: a single slip of a level does not make a shift", "[analysis][delivery]") {
  Ship ship{4, 80};  // 48 cm3 a day: 0.96 % a day
  for (int d = 0; d <= 80; d += 10) ship.level(d, 95 - 0.96 * d + (d == 40 ? 15 : 0));
  const DeliveryResult r = ship.balance(80);
  CHECK_FALSE(r.low);
  CHECK_FALSE(r.high);
  CHECK(r.delivery_ratio->value == Approx(1.0).margin(0.05));
}

TEST_CASE("delivery: a refill that nobody wrote down is no shift", "[analysis][delivery]") {
  Ship ship{4, 120};  // 0.96 % a day, up by 40 % between two levels
  for (int d = 0; d <= 120; d += 10) ship.level(d, 95 - 0.96 * d + (d > 55 ? 40 : 0));
  for (int d = 60; d <= 120; d += 10) {
    const DeliveryResult r = ship.balance(d);
    CHECK_FALSE(r.low);
    CHECK_FALSE(r.high);
  }
}

TEST_CASE("delivery: what a changed counter made before nobody read it is no missed cycle", "[analysis][delivery]") {
  Ship ship{4, 200};  // 48 cycles a day
  for (int d = 0; d <= 100; d += 20) ship.counter(d, 48 * d);
  ship.counter(120, 0);
  ship.log.cycles.back().what.is_new_counter = true;
  for (int d = 140; d <= 200; d += 20) ship.counter(d, 48 * (d - 120));
  const DeliveryResult r = ship.balance(200);
  REQUIRE(r.cycle_ratio);
  CHECK(r.cycle_ratio->value == Approx(1).margin(0.01));
  CHECK_FALSE(r.cycles_low);
}

TEST_CASE("delivery: counts behind the last hours reading say nothing of missed cycles", "[analysis][delivery]") {
  Ship ship{4, 100};  // hours are read up to day 100
  for (int d = 0; d <= 100; d += 10) ship.counter(d, 48 * d);
  for (int d = 110; d <= 130; d += 10) ship.counter(d, 4800);
  CHECK_FALSE(ship.balance(130).cycles_low);
}

TEST_CASE("delivery: a departure that dips for a while is the same one", "[analysis][delivery]") {
  Ship ship{4, 300};
  double level = 95;
  for (int d = 0; d <= 300; d += 10) {
    const bool is_low = d > 100 && !(d > 160 && d <= 190);
    if (d > 0) level -= 9.6 * (is_low ? 0.5 : 1.0);
    if (level < 20) {
      ship.refill(d, 3500);
      level += 70;
    }
    ship.level(d, level);
  }
  const DeliveryResult before = ship.balance(160), after = ship.balance(300);
  REQUIRE(before.low);
  REQUIRE(after.low);
  CHECK(after.low->number == before.low->number);
  CHECK(after.low->first_seen == before.low->first_seen);
}

TEST_CASE("delivery: the longer a shift holds, the stronger it is, and odds do not tie", "[analysis][delivery]") {
  Ship ship{4, 400};
  double level = 95;
  for (int d = 0; d <= 400; d += 10) {
    if (d > 0) level -= 9.6 * (d > 100 ? 0.6 : 1.0);
    if (level < 20) {
      ship.refill(d, 3500);
      level += 70;
    }
    ship.level(d, level);
  }
  double before = 0;
  for (const int d : {180, 250, 320, 400}) {
    const DeliveryResult r = ship.balance(d);
    REQUIRE(r.low);
    CHECK(r.low->strength > before);
    before = r.low->strength;
  }
}

TEST_CASE("delivery: the stretches listed without weighing are those of the balance", "[analysis][delivery]") {
  Ship ship{4, 400};
  ship.counter(0, 0);
  ship.counter(200, 9000);
  ship.counter(400, 18000);
  double pct = 95;
  for (int d = 0; d <= 400; d += 9) {
    ship.level(d, pct);
    pct -= d < 250 ? 7.5 : 5;  // a device fails on the way
    if (pct > 30) continue;
    ship.refill(d + 1, 3000);                                     // of unknown levels: measured by its amount
    if (d % 2 == 0) ship.log.refills.back().what.amount.reset();  // not measured: begins anew
    ship.log.refills.back().what.after = Level::from_base(9000);
    pct = 90;
  }
  LubricatorSetting larger = ship.log.lubricators[0].settings[0];
  larger.from = Stamp{day(300)};
  larger.reservoir = cm3(6000);
  ship.log.lubricators[0].settings.push_back(larger);
  const Schedule schedule{ship.log, ship.hours, day(400)};
  const std::vector<RatioStep> weighed = ship.balance(400).steps;
  const std::vector<RatioStep> listed = list_stretches(ship.log, ship.log.lubricators[0], schedule, day(400));
  REQUIRE(weighed.size() > 30);
  REQUIRE(listed.size() == weighed.size());
  for (std::size_t i = 0; i < listed.size(); ++i) {
    CHECK(listed[i].from == weighed[i].from);
    CHECK(listed[i].at == weighed[i].at);
    CHECK(listed[i].expected_cm3 == weighed[i].expected_cm3);
    CHECK(listed[i].used_cm3 == weighed[i].used_cm3);
    CHECK(listed[i].record == weighed[i].record);
    CHECK_FALSE(listed[i].ratio);
  }
}

TEST_CASE("delivery: what does not cycle is taken to stand still when nobody reads the counter any more",
          "[analysis][delivery]") {
  Ship ship{2, 200};
  for (int d = 0; d <= 60; d += 10) ship.counter(d, 48 * d);  // 48 cycles a day
  for (int d = 70; d <= 120; d += 10) ship.counter(d, 48 * 60);
  const Schedule schedule{ship.log, ship.hours, day(200)};
  const DeliveryResult r = balance_delivery(ship.log, ship.log.lubricators[0], schedule, day(200));
  REQUIRE(r.cycles_low);
  REQUIRE(r.cycles_since);
  CHECK(r.last_count == day(120));
  CHECK(schedule.expected_cm3(kPump, ShaftId{1}, day(120), day(200)) == Approx(960).margin(1));  // 12 cm3 a day
  CHECK(doses_cm3(schedule, r, ShaftId{1}, day(120), day(200)) < 0.06 * 960);
  CHECK(doses_cm3(schedule, r, {}, day(120), day(200)) < 0.06 * 1920);
  CHECK(doses_cm3(schedule, r, ShaftId{1}, day(0), day(60)) == Approx(720).margin(1));
  CHECK(doses_cm3(schedule, r, ShaftId{1}, day(0), day(200)) < 720 + 0.06 * 960);

  SECTION("but not after a repair") {
    Logged<Work> w;
    w.at = day(125);
    w.lubricator = kPump;
    w.what.work = WorkKind::controller_changed;
    ship.log.work.push_back(w);
    CHECK_FALSE(ship.balance(200).cycles_since);
  }
  SECTION("nor where levels show that grease is used") {
    ship.level(120, 80);
    ship.level(200, 80 - 1920.0 / 50);
    CHECK_FALSE(ship.balance(200).cycles_since);
  }
  SECTION("a level read with the last count tells nothing of the time after it") {
    ship.level(60, 80);
    ship.level(120, 80);
    const DeliveryResult level = ship.balance(200);
    REQUIRE(level.cycles_since);
    REQUIRE(level.level_pct);
    CHECK(level.level_pct->value == Approx(80).margin(3));
  }
}

TEST_CASE("delivery: a counter that keeps up is not thought to have stopped", "[analysis][delivery]") {
  Ship ship{2, 200};
  for (int d = 0; d <= 120; d += 10) ship.counter(d, 48 * d);
  CHECK_FALSE(ship.balance(200).cycles_since);
}
