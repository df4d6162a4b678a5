#include "analysis/outcome.hpp"

#include <cmath>

#include <catch2/catch.hpp>

using namespace shaftlog;
using Catch::Matchers::Contains;

namespace {

constexpr Instant kStart = from_unix(1700000000);
constexpr ShaftId kShaft{1};
constexpr LubricatorId kLubricator{1};
Instant day(double d) { return kStart + std::chrono::seconds{static_cast<std::int64_t>(d * 86400)}; }

/// A greasing every 25 days and 300 running hours; each entry is the loss in that interval [cm3/h].
struct Ship {
  VesselLog log;
  VesselDigest d;
  Ship() { log.vessel.time_zone = "UTC"; }
  void lose(std::initializer_list<double> rates) {
    ShaftHistory& h = d.histories[kShaft];
    h.cavity_cm3 = 900;
    h.first_is_full = true;
    for (const double w : rates) {
      GreasingInterval g;
      g.from = day(25.0 * static_cast<double>(h.intervals.size()));
      g.at = g.from + std::chrono::days{25};
      g.run_h = 300;
      g.taken_cm3 = w * 300;
      h.intervals.push_back(g);
    }
  }
  [[nodiscard]] Outcome washout(double since_day, double as_of_day) const {
    const FoundBefore found{FindingKind::abnormal_washout, kShaft, {}, day(200), "factor", 2.0};
    return outcome_since(log, d, found, day(since_day), day(as_of_day));
  }
};

/// Twelve running hours a day, one cycle of 1 cm3 each quarter of an hour, a counter read every ten days.
struct Fed {
  VesselLog log;
  explicit Fed(std::initializer_list<double> cycles_per_day) {
    log.vessel.time_zone = "UTC";
    log.shafts.push_back({kShaft, {}, "port", {ShaftSetting{}}});
    log.lubricators.push_back({kLubricator, {}, "lub1", {{std::nullopt, cm3(5000), std::nullopt, GreaseId{1}}}});
    log.feeds.push_back({kLubricator, kShaft, std::nullopt, cm3(1), 900});
    double count = 0, at = 0;
    read(at, count);
    for (const double per_day : cycles_per_day) {
      at += 10;
      count += 10 * per_day;
      read(at, count);
    }
  }
  void read(double at, double count) {
    Logged<Hours> h;
    h.shaft = kShaft;
    h.at = h.recorded_at = day(at);
    h.id.bytes[0] = static_cast<std::uint8_t>(log.hours.size() + 1);
    h.what.reading = HoursReading::from_base(std::llround(at * 12 * 3600));
    log.hours.push_back(h);
    Logged<Cycles> c;
    c.lubricator = kLubricator;
    c.at = c.recorded_at = day(at);
    c.id.bytes[0] = static_cast<std::uint8_t>(log.hours.size() + 100);
    c.what.count = std::llround(count);
    log.cycles.push_back(c);
  }
  [[nodiscard]] Outcome cycles(double since_day, double as_of_day) const {
    const FoundBefore found{FindingKind::missed_cycles, {}, kLubricator, day(60), "cycle_ratio", 0.0};
    return outcome_since(log, digest(log, day(as_of_day)), found, day(since_day), day(as_of_day));
  }
};

}  // namespace

TEST_CASE("outcome: a loss that is at its baseline again after the seal came back", "[analysis][outcome]") {
  Ship s;
  s.lose({.24, .26, .25, .25, .24, .26, .25, .25, .50, .49, .51, .25, .24, .26, .25});
  const Outcome o = s.washout(275, 376);
  CHECK(o.verdict == Verdict::came_back);
  CHECK(o.records == 4);
  CHECK(o.run_h == 1200);
  REQUIRE(o.factor);
  CHECK(o.factor->value == Approx(1).margin(0.1));
  CHECK(o.factor->low < 1);
  CHECK(o.factor->high > 1);
  CHECK_THAT(o.says, Contains("4 greasing intervals over 1200 running hours"));
  CHECK_THAT(o.says, Contains("it was 2.00 times: the numbers came back"));
}

TEST_CASE("outcome: a loss that stays where it was found has not come back", "[analysis][outcome]") {
  Ship s;
  s.lose({.24, .26, .25, .25, .24, .26, .25, .25, .50, .49, .51, .50, .49, .51, .50});
  const Outcome o = s.washout(275, 376);
  CHECK(o.verdict == Verdict::not_back);
  CHECK(o.factor->value == Approx(2).margin(0.25));
  CHECK_THAT(o.says, Contains("have not come back"));
}

TEST_CASE("outcome: with no whole interval since it is too early to say", "[analysis][outcome]") {
  Ship s;
  s.lose({.24, .26, .25, .25, .24, .26, .25, .25, .50, .49, .51, .25});
  // The work lies inside the last interval: what that one took tells of both before and after.
  const Outcome o = s.washout(285, 301);
  CHECK(o.verdict == Verdict::too_early);
  CHECK(o.records == 0);
  CHECK_FALSE(o.now);
  CHECK_THAT(o.says, Contains("no greasing interval lies wholly after"));
}

TEST_CASE("outcome: a rate between the two is too early or partly, never plainly back", "[analysis][outcome]") {
  Ship s;
  s.lose({.24, .26, .25, .25, .24, .26, .25, .25, .50, .49, .51, .36, .35});
  const Outcome o = s.washout(275, 330);
  CHECK((o.verdict == Verdict::too_early || o.verdict == Verdict::partly));
}

TEST_CASE("outcome: without a record before it began the baseline is what was found over its factor",
          "[analysis][outcome]") {
  Ship s;
  s.lose({.50, .49, .51, .50, .25, .26, .24, .25});
  const FoundBefore found{FindingKind::abnormal_washout, kShaft, {}, day(-1), "factor", 2.0};
  const Outcome o = outcome_since(s.log, s.d, found, day(100), day(201));
  REQUIRE(o.baseline);
  CHECK(o.baseline->value == Approx(0.25).margin(0.03));
  CHECK(o.verdict == Verdict::came_back);
}

TEST_CASE("outcome: cycles are counted from the first reading after the action", "[analysis][outcome]") {
  // 48 a day are called for; the system stands from day 60 to 110.
  const Fed mended{48, 48, 48, 48, 48, 48, 0, 0, 0, 0, 0, 48, 48, 48};
  const Outcome back = mended.cycles(110, 140);
  INFO(back.says);
  CHECK(back.verdict == Verdict::came_back);
  CHECK(back.now->value == Approx(1).margin(0.02));
  CHECK(mended.cycles(110, 115).verdict == Verdict::too_early);  // one reading
  const Fed still{48, 48, 48, 48, 48, 48, 0, 0, 0, 0, 0, 0, 0, 0};
  const Outcome o = still.cycles(110, 140);
  CHECK(o.verdict == Verdict::not_back);
  CHECK(o.now->value == Approx(0).margin(0.01));
  const Fed half{48, 48, 48, 48, 48, 48, 0, 0, 0, 0, 0, 36, 36, 36};
  CHECK(half.cycles(110, 140).verdict == Verdict::partly);
}

TEST_CASE("outcome: an overdue greasing is answered by one that filled the cavity", "[analysis][outcome]") {
  VesselLog log;
  log.vessel.time_zone = "UTC";
  Logged<Greasing> g;
  g.shaft = kShaft;
  g.at = day(12);
  g.what.ended = Ended::stopped;
  log.greasings.push_back(g);
  const FoundBefore found{FindingKind::greasing_overdue, kShaft, {}, day(1), "", std::nullopt};
  CHECK(outcome_since(log, {}, found, day(10), day(20)).verdict == Verdict::too_early);
  log.greasings.back().what.ended = Ended::pressure;
  CHECK(outcome_since(log, {}, found, day(10), day(20)).verdict == Verdict::came_back);
  CHECK(outcome_since(log, {}, found, day(14), day(20)).verdict == Verdict::too_early);  // it was before
}

TEST_CASE("outcome: one sample never tells, two on one side of the middle do", "[analysis][outcome]") {
  VesselLog log;
  log.vessel.time_zone = "UTC";
  const auto sample = [&](double at, std::int64_t water_ppm) {
    Logged<Inspection> i;
    i.shaft = kShaft;
    i.at = day(at);
    i.what.water_ppm = water_ppm;
    log.inspections.push_back(i);
  };
  sample(0, 2000);
  sample(50, 3000);
  sample(100, 25000);
  const FoundBefore found{FindingKind::water_ingress, kShaft, {}, day(90), "water", 2.5};
  const auto verdict = [&] { return outcome_since(log, {}, found, day(110), day(400)).verdict; };
  CHECK(verdict() == Verdict::too_early);
  sample(150, 4000);
  CHECK(verdict() == Verdict::too_early);
  sample(200, 3000);
  CHECK(verdict() == Verdict::came_back);
  sample(250, 26000);
  CHECK(verdict() == Verdict::too_early);
}

TEST_CASE("outcome: a kind without a figure says so", "[analysis][outcome]") {
  VesselLog log;
  log.vessel.time_zone = "UTC";
  const FoundBefore found{FindingKind::record_suspect, kShaft, {}, std::nullopt, "", std::nullopt};
  const Outcome o = outcome_since(log, {}, found, day(1), day(2));
  CHECK(o.verdict == Verdict::no_measure);
  CHECK_THAT(o.says, Contains("whether it is still found"));
}

TEST_CASE("outcome: the telling figure is the one the finding was found by", "[analysis][outcome]") {
  Finding f;
  f.kind = FindingKind::missed_cycles;
  f.figures = {{"cycle_ratio", {0, 0, 0}, "1"}, {"delivery_ratio", {0.9, 0.8, 1}, "1"}};
  f.began = When{day(3), day(2), day(4)};
  const FoundBefore before = found_before(f);
  CHECK(before.measure == "cycle_ratio");
  CHECK(before.value == 0);
  CHECK(before.began == day(3));
  f.kind = FindingKind::starved;
  CHECK(telling_figure(f) == nullptr);
}
