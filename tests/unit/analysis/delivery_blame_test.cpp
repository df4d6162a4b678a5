#include "analysis/delivery_blame.hpp"

#include "support/poured.hpp"

#include <catch2/catch.hpp>

using namespace shaftlog;

namespace {

const Instant kStart = from_unix(1767225600);  // 2026-01-01T00:00:00Z
constexpr LubricatorId kPump{1};
Instant day(int d) { return kStart + std::chrono::days{d}; }

/// Reservoir of 5000 cm3, three shafts of 12 h a day; since day 100 the device of shaft 2 delivers `device` of its
/// dose.
struct Ship {
  VesselLog log;
  std::map<ShaftId, HoursResult> hours;
  std::uint8_t n = 0;
  double level_cm3 = 4500;

  Ship(double device, std::vector<double> dose_cm3, bool is_greased) {
    Lubricator l;
    l.id = kPump;
    l.settings.push_back({std::nullopt, cm3(5000), std::nullopt, {}});
    log.lubricators.push_back(l);
    std::map<ShaftId, HoursCurve> curves;
    for (std::size_t s = 0; s < dose_cm3.size(); ++s) {
      const ShaftId shaft{static_cast<std::int64_t>(s) + 1};
      log.feeds.push_back(
          {kPump, shaft, std::nullopt, Volume::from_base(static_cast<std::int64_t>(1000 * dose_cm3[s])), 900});
      std::vector<HoursCurve::Point> points;
      for (int d = 0; d <= 200; d += 5) points.push_back({day(d), 12.0 * d});
      hours[shaft].curve = HoursCurve{points};
    }
    for (int d = 0; d <= 200; d += 10) {
      if (d > 0)
        for (std::size_t s = 0; s < dose_cm3.size(); ++s)
          level_cm3 -= 480 * dose_cm3[s] * (d > 100 && s == 1 ? device : 1.0);
      if (level_cm3 < 1000) {
        Logged<Refill> r = logged<Refill>(d);
        r.what = test::poured(3500);
        log.refills.push_back(r);
        level_cm3 += 3500;
      }
      Logged<LevelReading> r = logged<LevelReading>(d);
      r.what.level = Level::from_base(static_cast<std::int64_t>(level_cm3 / 50 * 100));
      log.levels.push_back(r);
    }
    for (int d = 25; d <= 200 && is_greased; d += 25)
      for (std::size_t s = 0; s < dose_cm3.size(); ++s) {
        Logged<Greasing> g = logged<Greasing>(d);
        g.shaft = ShaftId{static_cast<std::int64_t>(s) + 1};
        Amount a;
        a.volume =
            cm3(d > 100 && s == 1 ? static_cast<std::int64_t>(1200 * dose_cm3[s] * std::max(0.0, 0.7 - device)) : 10);
        g.what.amount = a;
        log.greasings.push_back(g);
      }
  }
  template <class What>
  Logged<What> logged(int d) {
    Logged<What> r;
    r.id.bytes[15] = ++n;
    r.at = day(d);
    r.lubricator = kPump;
    return r;
  }
  /// \param level_sd_pct the error of a level; 0: as found
  [[nodiscard]] DeliveryBlame blame(double level_sd_pct = 0) const {
    std::map<ShaftId, HoursCurve> curves;
    for (const auto& [id, h] : hours) curves[id] = h.curve;
    const Schedule schedule{log, curves, day(200)};
    DeliveryResult r = balance_delivery(log, log.lubricators[0], schedule, day(200));
    REQUIRE(r.low);
    if (level_sd_pct > 0) r.level_sd_pct = level_sd_pct;
    return blame_device(log, hours, schedule, kPump, r, day(200));
  }
};

}  // namespace

TEST_CASE("blame: the shaft that takes more by hand and whose share is missing is named", "[analysis][delivery]") {
  const DeliveryBlame b = Ship{0, {0.25, 0.25, 0.25}, true}.blame();
  CHECK(b.shaft == ShaftId{2});
  CHECK(b.device_ratio == Approx(0).margin(0.1));
  CHECK(b.fits_one_share);
  CHECK(b.strength > 2);
  CHECK(b.evidence.size() >= 3);
}

TEST_CASE("blame: with unequal shares and a device that still delivers a part", "[analysis][delivery]") {
  const DeliveryBlame b = Ship{0.25, {0.15, 0.4, 0.25}, true}.blame();
  CHECK(b.shaft == ShaftId{2});
  CHECK(b.device_ratio == Approx(0.25).margin(0.12));
}

TEST_CASE("blame: equal shares and no manual greasings leave open which shaft it is", "[analysis][delivery]") {
  const DeliveryBlame b = Ship{0, {0.25, 0.25, 0.25}, false}.blame();
  CHECK_FALSE(b.shaft.is_set());
  CHECK(b.fits_one_share);
  CHECK(b.evidence.empty());
}

TEST_CASE("blame: nobody is blamed for a matter of all shafts", "[analysis][delivery]") {
  Ship ship{1, {0.25, 0.25, 0.25}, true};  // 36 cm3 a day; since day 100 a half of it
  double level = 90;
  ship.log.levels.clear();
  ship.log.refills.clear();
  for (int d = 0; d <= 200; d += 10) {
    if (d > 0) level -= d > 100 ? 3.6 : 7.2;
    if (level < 20) {
      Logged<Refill> r = ship.logged<Refill>(d);
      r.what = test::poured(3500);
      ship.log.refills.push_back(r);
      level += 70;
    }
    Logged<LevelReading> r = ship.logged<LevelReading>(d);
    r.what.level = Level::from_base(static_cast<std::int64_t>(level * 100));
    ship.log.levels.push_back(r);
  }
  const DeliveryBlame b = ship.blame();
  CHECK_FALSE(b.shaft.is_set());
  CHECK_FALSE(b.fits_one_share);
}

TEST_CASE("blame: one device of two is not told for what is missing of both", "[analysis][delivery]") {
  Ship ship{0, {0.1, 0.1}, false};  // by the levels neither gets more than next to nothing, but they are read badly
  for (Logged<LevelReading>& r : ship.log.levels) {
    const double left =
        4500.0 - std::min(days_between(day(0), r.at), 100.0) * 9.6 - std::max(0.0, days_between(day(100), r.at)) * 0.6;
    r.what.level = Level::from_base(static_cast<std::int64_t>(left / 50 * 100));
  }
  ship.log.refills.clear();
  const DeliveryBlame b = ship.blame(20);
  CHECK_FALSE(b.shaft.is_set());
  CHECK_FALSE(b.fits_one_share);
}
