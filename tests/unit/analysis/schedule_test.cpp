#include "analysis/schedule.hpp"

#include <catch2/catch.hpp>

using namespace shaftlog;

namespace {

const Zone kUtc = Zone::utc();
Instant at(std::string_view text) { return parse_stamp(text, kUtc)->utc; }
constexpr ShaftId kPort{1}, kStbd{2};
constexpr LubricatorId kPump{1};

/// Two shafts, 0.25 cm3 every 15 min of running, 10 h a day from 2026-01-01 to 2026-04-11.
struct Ship {
  VesselLog log;
  std::map<ShaftId, HoursCurve> hours;
  Instant as_of = at("2026-04-11T00:00Z");
  Ship() {
    Lubricator l;
    l.id = kPump;
    l.settings.push_back({std::nullopt, cm3(5000), std::nullopt, {}});
    log.lubricators.push_back(l);
    for (const ShaftId s : {kPort, kStbd}) {
      log.feeds.push_back({kPump, s, std::nullopt, Volume::from_base(250), 900});
      hours[s] = HoursCurve{{{at("2026-01-01T00:00Z"), 0}, {as_of, 1000}}};
    }
  }
  void work(std::string_view when, WorkKind kind) {
    Logged<Work> w;
    w.at = at(when);
    w.lubricator = kPump;
    w.what.work = kind;
    log.work.push_back(w);
  }
  void counter(std::string_view when, std::int64_t n, bool is_new = false) {
    Logged<Cycles> c;
    c.at = at(when);
    c.lubricator = kPump;
    c.what = {n, is_new};
    log.cycles.push_back(c);
  }
  [[nodiscard]] Schedule schedule() const { return Schedule{log, hours, as_of}; }
};

const Instant kA = at("2026-01-01T00:00Z"), kB = at("2026-04-11T00:00Z");

}  // namespace

TEST_CASE("schedule: hours and dose give what is called for", "[analysis][schedule]") {
  const Schedule s = Ship{}.schedule();
  CHECK(s.called_for_cm3(kPump, kPort, kA, kB) == Approx(1000));
  CHECK(s.called_for_cm3(kPump, kA, kB) == Approx(2000));
  CHECK(s.called_for_cycles(kPump, kA, kB) == Approx(4000));
  CHECK(s.expected_cm3(kPump, kA, kB) == Approx(2000));
  CHECK(s.share(kPump, kPort, kA, kB) == Approx(0.5));
  CHECK_FALSE(s.counted_cycles(kPump, kA, kB));
  CHECK(s.shafts_fed(kPump, kA).size() == 2);
  CHECK(s.lubricators_of(kStbd) == std::vector{kPump});
}

TEST_CASE("schedule: an unknown lubricator calls for nothing", "[analysis][schedule]") {
  const Schedule s = Ship{}.schedule();
  CHECK(s.called_for_cm3(LubricatorId{9}, kA, kB) == 0);
  CHECK(s.standstills(LubricatorId{9}).empty());
}

TEST_CASE("schedule: a setting holds from its moment on, dose 0 is off", "[analysis][schedule]") {
  Ship ship;
  ship.log.feeds.insert(ship.log.feeds.begin() + 1,
                        {kPump, kPort, parse_stamp("2026-02-20T00:00Z", kUtc), Volume::from_base(0), 900});
  const Schedule s = ship.schedule();
  CHECK(s.called_for_cm3(kPump, kPort, kA, kB) == Approx(500));
  CHECK(s.called_for_cm3(kPump, kStbd, kA, kB) == Approx(1000));
  CHECK(s.shafts_fed(kPump, kB) == std::vector{kStbd});
}

TEST_CASE("schedule: a lubricator switched off is not expected to deliver", "[analysis][schedule]") {
  Ship ship;
  ship.work("2026-01-11T00:00Z", WorkKind::lubricator_off);
  ship.work("2026-01-21T00:00Z", WorkKind::lubricator_on);
  ship.work("2026-04-01T00:00Z", WorkKind::lubricator_off);  // still off
  const Schedule s = ship.schedule();
  CHECK(s.called_for_cm3(kPump, kA, kB) == Approx(2000));
  CHECK(s.expected_cm3(kPump, kA, kB) == Approx(1600));
  REQUIRE(s.standstills(kPump).size() == 2);
  CHECK(s.standstills(kPump)[1].to == ship.as_of);
}

TEST_CASE("schedule: counted cycles go before hours", "[analysis][schedule]") {
  Ship ship;
  ship.counter("2026-01-01T00:00Z", 100);
  ship.counter("2026-02-20T00:00Z", 1100);
  const Schedule s = ship.schedule();
  CHECK(*s.counted_cycles(kPump, kA, at("2026-02-20T00:00Z")) == Approx(1000));
  CHECK(*s.counted_cycles(kPump, kA, at("2026-01-26T00:00Z")) == Approx(500));
  CHECK(s.expected_cm3(kPump, kA, at("2026-02-20T00:00Z")) == Approx(500));
  CHECK(s.expected_cm3(kPump, kA, kB) == Approx(1500));  // hours after the last count
  CHECK_FALSE(s.counted_cycles(kPump, kA, kB));
}

TEST_CASE("schedule: what a counter made before it was changed or reset is unknown, a slip is left out",
          "[analysis][schedule]") {
  Ship ship;
  ship.counter("2026-01-01T00:00Z", 5000);
  ship.counter("2026-01-11T00:00Z", 5400);
  ship.counter("2026-01-12T00:00Z", 0, true);
  ship.counter("2026-01-21T00:00Z", 360);
  ship.counter("2026-01-24T00:00Z", 480);
  ship.counter("2026-01-26T00:00Z", 80);  // reset at power-up, not noted
  ship.counter("2026-02-01T00:00Z", 320);
  ship.counter("2026-02-05T00:00Z", 4480);  // slip of the pen for 448
  ship.counter("2026-02-11T00:00Z", 720);
  const Schedule s = ship.schedule();
  CHECK(*s.counted_cycles(kPump, kA, at("2026-01-11T00:00Z")) == Approx(400));
  CHECK(*s.counted_cycles(kPump, at("2026-01-12T00:00Z"), at("2026-01-24T00:00Z")) == Approx(480));
  CHECK(*s.counted_cycles(kPump, at("2026-01-26T00:00Z"), at("2026-02-11T00:00Z")) == Approx(240 + 400));
  CHECK_FALSE(s.counted_cycles(kPump, kA, at("2026-01-20T00:00Z")));
  CHECK_FALSE(s.counted_cycles(kPump, at("2026-01-24T00:00Z"), at("2026-01-26T00:00Z")));
  // In between the hours tell: 40 cycles a day of 0.25 cm3 and two shafts.
  CHECK(s.expected_cm3(kPump, at("2026-01-11T00:00Z"), at("2026-01-12T00:00Z")) == Approx(20));
  CHECK(s.expected_cm3(kPump, at("2026-01-24T00:00Z"), at("2026-01-26T00:00Z")) == Approx(40));
}

TEST_CASE("schedule: nothing runs in dock as far as the readings leave room", "[analysis][schedule]") {
  Ship ship;
  const auto dock = [&](std::string_view when, WorkKind kind) {
    ship.work(when, kind);
    ship.log.work.back().lubricator = {};
  };
  // 250 h between the readings of 1 and 26 January, ten days of them in dock; then readings end and it docks again.
  for (auto& [shaft, curve] : ship.hours)
    curve = HoursCurve{{{kA, 0}, {at("2026-01-26T00:00Z"), 250}, {at("2026-02-20T00:00Z"), 500}}};
  dock("2026-01-11T00:00Z", WorkKind::docked);
  dock("2026-01-21T00:00Z", WorkKind::undocked);
  dock("2026-03-02T00:00Z", WorkKind::docked);
  const Schedule s = ship.schedule();
  CHECK(s.called_for_cm3(kPump, kPort, at("2026-01-11T00:00Z"), at("2026-01-21T00:00Z")) == Approx(0).margin(1e-9));
  CHECK(s.called_for_cm3(kPump, kPort, kA, at("2026-01-26T00:00Z")) == Approx(250));
  CHECK(s.called_for_cm3(kPump, kPort, at("2026-02-20T00:00Z"), at("2026-03-02T00:00Z")) == Approx(100));
  CHECK(s.called_for_cm3(kPump, kPort, at("2026-03-02T00:00Z"), kB) == Approx(0).margin(1e-9));
}

TEST_CASE("schedule: hours that show running in dock are believed before the docking", "[analysis][schedule]") {
  Ship ship;
  for (auto& [shaft, curve] : ship.hours) curve = HoursCurve{{{kA, 0}, {at("2026-01-11T00:00Z"), 200}}};
  ship.work("2026-01-02T00:00Z", WorkKind::docked);
  ship.log.work.back().lubricator = {};
  const Schedule s = ship.schedule();
  CHECK(s.called_for_cm3(kPump, kPort, kA, at("2026-01-06T00:00Z")) == Approx(100));
}

TEST_CASE("schedule: between its readings a shaft ran as its sisters did", "[analysis][schedule]") {
  Ship ship;
  ship.hours[kPort] = HoursCurve{{{kA, 0}, {at("2026-01-31T00:00Z"), 300}}};
  ship.hours[kStbd] = HoursCurve{
      {{kA, 0}, {at("2026-01-11T00:00Z"), 200}, {at("2026-01-21T00:00Z"), 200}, {at("2026-01-31T00:00Z"), 300}}};
  const Schedule s = ship.schedule();
  CHECK(s.called_for_cm3(kPump, kPort, kA, at("2026-01-31T00:00Z")) == Approx(300));
  CHECK(s.called_for_cm3(kPump, kPort, kA, at("2026-01-11T00:00Z")) == Approx(200).margin(12));
  CHECK(s.called_for_cm3(kPump, kPort, at("2026-01-11T00:00Z"), at("2026-01-21T00:00Z")) == Approx(0).margin(12));
  CHECK(s.called_for_moment_sd_cm3(kPump, at("2026-01-31T00:00Z")) == Approx(0).margin(1e-9));
  CHECK(s.called_for_moment_sd_cm3(kPump, at("2026-03-31T00:00Z")) > 100);
}
