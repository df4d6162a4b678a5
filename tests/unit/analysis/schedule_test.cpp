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

TEST_CASE("schedule: counter resets are counted across, a slip is left out", "[analysis][schedule]") {
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
  CHECK(*s.counted_cycles(kPump, kA, at("2026-02-11T00:00Z")) == Approx(400 + 480 + 80 + 240 + 400));
}
