#include "analysis/contradictions.hpp"

#include <cmath>

#include <catch2/catch.hpp>

using namespace shaftlog;

namespace {

const Instant kDay0 = from_unix(1'770'000'000);
Instant on_day(double d) { return kDay0 + std::chrono::seconds{static_cast<std::int64_t>(d * 86400)}; }

struct Ship {
  VesselLog log;
  int next_id = 1;
  Ship() {
    log.vessel = {VesselId{1}, "T-01", "Test", std::nullopt, "UTC", std::nullopt};
    Shaft s;
    s.id = ShaftId{1};
    s.code = "port";
    log.shafts.push_back(s);
    Lubricator l;
    l.id = LubricatorId{1};
    log.lubricators.push_back(l);
  }
  template <class What>
  void add(std::vector<Logged<What>>& into, double day, bool of_shaft) {
    Logged<What> r;
    r.id.bytes[14] = static_cast<std::uint8_t>(next_id / 256);
    r.id.bytes[15] = static_cast<std::uint8_t>(next_id++ % 256);
    r.at = on_day(day);
    r.recorded_at = r.at;
    if (of_shaft) {
      r.shaft = ShaftId{1};
    } else {
      r.lubricator = LubricatorId{1};
    }
    into.push_back(r);
  }
  void hours_until(double day) {
    for (double d = 0; d <= day; d += 7) add(log.hours, d, true);
  }
  void greasings_until(double day) {
    for (double d = 0.1; d <= day; d += 20) add(log.greasings, d, true);
  }
};

}  // namespace

TEST_CASE("silences: none while the habit is kept", "[analysis][silences]") {
  Ship s;
  s.hours_until(400);
  s.greasings_until(400);
  CHECK(find_silences(s.log, {}, on_day(400)).empty());
  CHECK(find_silences(s.log, {}, on_day(410)).empty());
}

TEST_CASE("silences: greasings stopped while the hours go on", "[analysis][silences]") {
  Ship s;
  s.hours_until(400);
  s.greasings_until(200);
  const auto all = find_silences(s.log, {}, on_day(400));
  REQUIRE(all.size() == 1);
  CHECK(all[0].shaft == ShaftId{1});
  CHECK(all[0].kind == Kind::greasing);
  CHECK(all[0].usual_days == Approx(20));
  CHECK(all[0].days == Approx(219.9).margin(0.2));
  CHECK(all[0].first_seen == on_day(245));  // the first reading of hours beyond 3.05 x 20 days
  CHECK(all[0].strength > 3);
  CHECK(find_silences(s.log, {}, all[0].first_seen - std::chrono::hours{1}).empty());
}

TEST_CASE("silences: a ship that sends nothing is one silence", "[analysis][silences]") {
  Ship s;
  s.hours_until(200);
  s.greasings_until(200);
  const auto all = find_silences(s.log, {}, on_day(300));
  REQUIRE(all.size() == 1);
  CHECK_FALSE(all[0].shaft.is_set());
  CHECK_FALSE(all[0].lubricator.is_set());
  CHECK(all[0].since == on_day(196));
}

TEST_CASE("silences: four gaps are no habit", "[analysis][silences]") {
  Ship s;
  s.hours_until(400);
  s.greasings_until(81);
  CHECK(find_silences(s.log, {}, on_day(400)).empty());
}

TEST_CASE("silences: in dock nothing is expected, for a time", "[analysis][silences]") {
  Ship s;
  s.hours_until(200);
  s.add(s.log.work, 200, true);
  s.log.work[0].what.work = WorkKind::docked;
  CHECK(find_silences(s.log, {}, on_day(300)).empty());
  const auto late = find_silences(s.log, {}, on_day(400));
  REQUIRE(late.size() == 1);
  CHECK(late[0].in_dock);
  CHECK(late[0].since == on_day(200));
  CHECK(late[0].first_seen == on_day(320));
}

TEST_CASE("silences: a docking that the meters deny explains none", "[analysis][silences]") {
  Ship s;
  s.hours_until(200);
  s.add(s.log.work, 100, true);
  s.log.work[0].what.work = WorkKind::docked;
  std::vector<HoursCurve::Point> points;
  for (int d = 0; d <= 196; d += 7) points.push_back({on_day(d), 12.0 * d});
  const auto all = find_silences(s.log, {{ShaftId{1}, HoursCurve{points}}}, on_day(300));
  REQUIRE(all.size() == 1);
  CHECK_FALSE(all[0].in_dock);
  for (auto& p : points) p.hours = std::min(p.hours, 12.0 * 100);
  CHECK(find_silences(s.log, {{ShaftId{1}, HoursCurve{points}}}, on_day(300)).empty());
}

TEST_CASE("silences: records that come in batches are waited for as long as batches take", "[analysis][silences]") {
  Ship s;
  s.hours_until(400);
  s.greasings_until(400);
  const auto known_on = [&](double day) {  // sent every 28 days
    VesselLog log = s.log;
    const auto keep = [&](auto& records) {
      for (auto& r : records) r.recorded_at = on_day(28 * std::ceil(days_between(kDay0, r.at) / 28));
      std::erase_if(records, [&](const auto& r) { return r.recorded_at > on_day(day); });
    };
    keep(log.hours);
    keep(log.greasings);
    return log;
  };
  for (double d = 200; d < 390; d += 3) CHECK(find_silences(known_on(d), {}, on_day(d)).empty());
  CHECK(find_silences(known_on(400), {}, on_day(500)).size() == 1);
}

TEST_CASE("silences: a part of the ship is judged as it was at the last record", "[analysis][silences]") {
  Ship s;
  s.hours_until(400);
  s.greasings_until(345);
  CHECK(find_silences(s.log, {}, on_day(415)).empty());
}

TEST_CASE("silences: an empty log says nothing", "[analysis][silences]") {
  CHECK(find_silences(Ship{}.log, {}, on_day(100)).empty());
}
