#include "analysis/washout.hpp"

#include "analysis/prior_learner.hpp"
#include "base/error.hpp"

#include <algorithm>
#include <cmath>
#include <initializer_list>
#include <limits>

#include <catch2/catch.hpp>

using namespace shaftlog;

namespace {

constexpr Instant kStart = from_unix(1700000000);

/// A manual shaft with a cavity of 400 cm3: (running hours, amount) of each greasing, at 12 running hours a day.
ShaftHistory manual_shaft(std::initializer_list<std::pair<double, double>> greasings) {
  ShaftHistory s;
  s.vessel = VesselId{1};
  s.shaft = ShaftId{1};
  s.cavity_cm3 = 400;
  s.first_is_full = true;
  Instant at = kStart;
  std::uint8_t n = 0;
  for (const auto& [run_h, taken] : greasings) {
    GreasingInterval g;
    g.id.bytes[15] = ++n;
    g.from = at;
    at += std::chrono::seconds{std::isfinite(run_h) ? static_cast<std::int64_t>(run_h * 7200) : 3600};
    g.at = at;
    g.run_h = run_h;
    g.taken_cm3 = taken;
    s.intervals.push_back(g);
  }
  return s;
}

/// A group of healthy sisters about 0.25 cm3/h.
WashoutPrior sisters() {
  WashoutPrior p;
  p.mean_log_w = std::log(0.25);
  p.sd_log_w = 0.3;
  p.shafts = 12;
  return p;
}

std::size_t greasing_at(const ShaftHistory& s, Instant t) {  // 1 for the first; 0: none
  for (std::size_t i = 0; i < s.intervals.size(); ++i)
    if (s.intervals[i].at == t) return i + 1;
  return 0;
}
std::size_t interval_of(const ShaftHistory& s, Instant t) {
  for (std::size_t i = 0; i < s.intervals.size(); ++i)
    if (t >= s.intervals[i].from && t <= s.intervals[i].at) return i + 1;
  return 0;
}

ShaftHistory drifting() {
  return manual_shaft({{300, 72},
                       {300, 81},
                       {300, 69},
                       {300, 78},
                       {300, 75},
                       {300, 74},
                       {300, 84},
                       {300, 93},
                       {300, 105},
                       {300, 123},
                       {300, 138},
                       {300, 156}});
}
ShaftHistory struck() {
  return manual_shaft(
      {{300, 73}, {300, 79}, {300, 70}, {300, 77}, {300, 76}, {300, 74}, {300, 186}, {300, 174}, {300, 195}});
}

}  // namespace

TEST_CASE("washout: a healthy manual shaft is its total over its hours and nothing more", "[analysis][washout]") {
  const ShaftHistory s = manual_shaft({{310, 74}, {295, 81}, {330, 76}, {280, 66}, {340, 92}, {300, 71}});
  for (const WashoutPrior& prior : {WashoutPrior{}, sisters()}) {
    const WashoutResult r = fit_washout(s, prior);
    REQUIRE(r.washout_cm3_per_h);
    CHECK(r.washout_cm3_per_h->value == Approx(460.0 / 1855).epsilon(0.03));
    CHECK(r.washout_cm3_per_h->low < 0.24);
    CHECK(r.washout_cm3_per_h->high > 0.256);
    CHECK(r.exact == 6);
    CHECK_FALSE(r.step);
    CHECK_FALSE(r.wear);
    CHECK_FALSE(r.high);
  }
}

TEST_CASE("washout: a creeping rise is wear, seen by the eleventh greasing, begun about the seventh",
          "[analysis][washout]") {
  const ShaftHistory s = drifting();
  const WashoutResult r = fit_washout(s, sisters());
  REQUIRE(r.wear);
  CHECK_FALSE(r.step);
  const std::size_t seen = greasing_at(s, r.wear->first_seen);
  CHECK(seen >= 9);
  CHECK(seen <= 11);
  const std::size_t began = interval_of(s, r.wear->began.estimate);
  CHECK(began >= 5);
  CHECK(began <= 8);
  CHECK(r.wear->factor.low < 2.08);
  CHECK(r.wear->factor.high > 1.9);
  CHECK(r.baseline_cm3_per_h->value == Approx(0.25).epsilon(0.08));
  CHECK(r.wear->slope_pct_per_1000h.low > 5);
}

TEST_CASE("washout: a jump is a step at its own greasing, not a drift", "[analysis][washout]") {
  const ShaftHistory s = struck();
  const WashoutResult r = fit_washout(s, sisters());
  REQUIRE(r.step);
  CHECK_FALSE(r.wear);
  const std::size_t seen = greasing_at(s, r.step->first_seen);
  CHECK(seen >= 7);
  CHECK(seen <= 8);
  const std::size_t began = interval_of(s, r.step->began.estimate);
  CHECK(began >= 6);
  CHECK(began <= 7);
  CHECK(r.step->factor.value == Approx(2.47).epsilon(0.1));
  CHECK(r.step->factor.low < 2.47);
  CHECK(r.step->factor.high > 2.47);
  REQUIRE_FALSE(r.step->evidence.empty());
  CHECK(r.step->evidence.front().bytes[15] >= 7);
}

TEST_CASE("washout: a jump on top of a jump is told by itself, over the rate the first had brought",
          "[analysis][washout]") {
  // 0.25 cm3/h, from the seventh greasing on 0.6, from the fourteenth on 1.2.
  const ShaftHistory s = manual_shaft({{300, 73},
                                       {300, 79},
                                       {300, 70},
                                       {300, 77},
                                       {300, 76},
                                       {300, 74},
                                       {300, 186},
                                       {300, 174},
                                       {300, 185},
                                       {300, 178},
                                       {300, 182},
                                       {300, 171},
                                       {300, 187},
                                       {300, 362},
                                       {300, 355},
                                       {300, 366}});
  const WashoutResult r = fit_washout(s, sisters());
  REQUIRE(r.step);
  CHECK(greasing_at(s, r.step->first_seen) <= 8);
  REQUIRE(r.further.size() == 1);
  const WashoutRise& more = r.further[0];
  CHECK_FALSE(more.is_wear);
  CHECK(more.over == r.step->first_seen);
  CHECK(greasing_at(s, more.shift.first_seen) >= 14);
  CHECK(greasing_at(s, more.shift.first_seen) <= 15);
  CHECK(interval_of(s, more.shift.began.estimate) == 14);
  CHECK(more.baseline_cm3_per_h.value == Approx(0.6).epsilon(0.08));
  CHECK(more.shift.factor.low < 2);
  CHECK(more.shift.factor.high > 2);
  CHECK(more.shift.factor.low > 1.5);
  // One greasing at the new rate is not yet news, and what was told before does not change.
  ShaftHistory shorter = s;
  shorter.intervals.resize(13);
  const WashoutResult before = fit_washout(shorter, sisters());
  CHECK(before.further.empty());
  REQUIRE(before.step);
  CHECK(before.step->first_seen == r.step->first_seen);
}

TEST_CASE("washout: what climbs on, and a jump that stays, are told once", "[analysis][washout]") {
  ShaftHistory climbing = drifting();
  for (int i = 0; i < 8; ++i) {  // on to four times the baseline
    GreasingInterval g = climbing.intervals.back();
    g.id.bytes[15] = static_cast<std::uint8_t>(100 + i);
    g.from = g.at;
    g.at += std::chrono::seconds{300 * 7200};
    g.taken_cm3 = *g.taken_cm3 * 1.11;
    climbing.intervals.push_back(g);
  }
  const WashoutResult up = fit_washout(climbing, sisters());
  REQUIRE(up.wear);
  CHECK(up.further.empty());
  const ShaftHistory s = manual_shaft({{300, 73},
                                       {300, 79},
                                       {300, 70},
                                       {300, 77},
                                       {300, 76},
                                       {300, 74},
                                       {300, 186},
                                       {300, 174},
                                       {300, 195},
                                       {300, 178},
                                       {300, 190},
                                       {300, 171},
                                       {300, 187},
                                       {300, 181}});
  const WashoutResult level = fit_washout(s, sisters());
  REQUIRE(level.step);
  CHECK(level.further.empty());
}

TEST_CASE("washout: an emptied cavity bounds the loss from below and lowers nothing", "[analysis][washout]") {
  ShaftHistory s = manual_shaft({{300, 74}, {300, 76}, {310, 77}, {290, 73}, {300, 75}, {1900, 400}});
  const double before = fit_washout(manual_shaft({{300, 74}, {300, 76}, {310, 77}, {290, 73}, {300, 75}}), sisters())
                            .baseline_cm3_per_h->value;
  const WashoutResult r = fit_washout(s, sisters());
  CHECK(r.baseline_cm3_per_h->value > 0.985 * before);
  CHECK(r.censored == 1);
  const WashoutResult alone = fit_washout(manual_shaft({{1900, 400}}), WashoutPrior{});
  CHECK(alone.is_lower_bound);
  CHECK(alone.washout_cm3_per_h->high > 0.4);
  CHECK(alone.washout_cm3_per_h->low > 0.17);
}

TEST_CASE("washout: more than the cavity holds, with no pressure, bounds the loss no higher than an emptied cavity",
          "[analysis][washout]") {
  const auto rate_with = [](double charge) {
    ShaftHistory s =
        manual_shaft({{360, 90}, {360, 95}, {360, 85}, {360, 92}, {1600, charge}, {1500, charge}, {1700, charge}});
    for (std::size_t i = 4; i < 7; ++i) s.intervals[i].ended = Ended::limit;
    return fit_washout(s, sisters());
  };
  const WashoutResult emptied = rate_with(400), spilt = rate_with(480);
  CHECK(spilt.washout_cm3_per_h->value == Approx(emptied.washout_cm3_per_h->value));
  CHECK(spilt.washout_cm3_per_h->high == Approx(emptied.washout_cm3_per_h->high));
  CHECK(spilt.baseline_cm3_per_h->value == Approx(emptied.baseline_cm3_per_h->value));
}

TEST_CASE("washout: a slip of ten moves little and opens nothing", "[analysis][washout]") {
  ShaftHistory s = manual_shaft({{300, 74}, {300, 76}, {310, 77}, {290, 650}, {300, 75}, {300, 73}});
  const WashoutResult r = fit_washout(s, sisters());
  CHECK_FALSE(r.step);
  CHECK_FALSE(r.wear);
  CHECK(r.washout_cm3_per_h->value == Approx(0.25).epsilon(0.06));
  CHECK(r.steps[3].surprise > 5);
  CHECK(r.steps[3].expected_cm3 == Approx(72.5).epsilon(0.08));
}

TEST_CASE("washout: a doubling after a change of grease is found on each shaft", "[analysis][washout]") {
  for (const auto& [before, after] : {std::pair{0.25, 0.49}, {0.27, 0.55}, {0.24, 0.46}, {0.26, 0.52}}) {
    ShaftHistory s = manual_shaft({{300, 300 * before},
                                   {300, 300 * before + 4},
                                   {300, 300 * before - 5},
                                   {300, 300 * before + 2},
                                   {300, 300 * after},
                                   {300, 300 * after + 5},
                                   {300, 300 * after - 3}});
    const WashoutResult r = fit_washout(s, sisters());
    REQUIRE(r.step);
    CHECK(r.step->factor.value == Approx(after / before).epsilon(0.12));
    CHECK(r.washout_cm3_per_h->value == Approx(after).epsilon(0.08));
  }
}

TEST_CASE("washout: zeros of a manual shaft are a suspect path, never a low loss", "[analysis][washout]") {
  ShaftHistory zeros = manual_shaft({{300, 0}, {300, 0}, {300, 0}});
  const WashoutResult none = fit_washout(zeros, sisters());
  CHECK_FALSE(none.washout_cm3_per_h);
  CHECK(std::all_of(none.steps.begin(), none.steps.end(), [](const WashoutStep& x) { return x.is_path_suspect; }));
  const WashoutResult one =
      fit_washout(manual_shaft({{300, 74}, {300, 76}, {300, 0}, {300, 75}, {300, 76}}), sisters());
  CHECK(one.steps[2].is_path_suspect);
  CHECK(one.washout_cm3_per_h->value == Approx(0.25).epsilon(0.06));
}

TEST_CASE("washout: zeros under an automatic dose are an upper bound", "[analysis][washout]") {
  ShaftHistory s = manual_shaft({{300, 0}, {300, 0}, {300, 0}, {300, 0}});
  s.is_automatic = true;
  s.cavity_cm3 = 600;
  for (GreasingInterval& g : s.intervals) g.delivered_cm3 = 300;
  const WashoutResult r = fit_washout(s, WashoutPrior{});
  CHECK(r.is_upper_bound);
  CHECK(r.exact == 0);
  CHECK(r.washout_cm3_per_h->high < 1.1);
  CHECK_FALSE(r.steps.back().is_path_suspect);
}

TEST_CASE("washout: loss shows when the dose stops", "[analysis][washout]") {
  ShaftHistory s = manual_shaft({{300, 0}, {300, 0}, {350, 210}});
  s.is_automatic = true;
  s.cavity_cm3 = 600;
  s.intervals[0].delivered_cm3 = s.intervals[1].delivered_cm3 = 300;
  const WashoutResult r = fit_washout(s, WashoutPrior{});
  CHECK(r.washout_cm3_per_h->value == Approx(0.6).epsilon(0.1));
  CHECK(r.exact == 1);
}

TEST_CASE("washout: what a limit leaves is found at the next greasing", "[analysis][washout]") {
  ShaftHistory s = manual_shaft({{300, 40}, {300, 110}, {300, 75}, {300, 75}});
  s.intervals[0].ended = Ended::limit;
  const WashoutResult r = fit_washout(s, sisters());
  CHECK(r.washout_cm3_per_h->value == Approx(0.25).epsilon(0.05));
  CHECK(r.steps[0].missing_after_cm3 == Approx(35).margin(15));
  CHECK(r.censored == 1);
}

TEST_CASE("washout: greasings that tell nothing leave the rate unknown", "[analysis][washout]") {
  for (const Ended ended : {Ended::packed, Ended::not_done}) {
    ShaftHistory s = manual_shaft({{300, 90}, {300, 90}});
    for (GreasingInterval& g : s.intervals) {
      g.ended = ended;
      if (ended == Ended::not_done) g.taken_cm3.reset();
    }
    CHECK_FALSE(fit_washout(s, sisters()).washout_cm3_per_h);
  }
  ShaftHistory untold = manual_shaft({{300, 90}});
  untold.intervals[0].taken_cm3.reset();
  CHECK_FALSE(fit_washout(untold, sisters()).washout_cm3_per_h);
  CHECK_FALSE(fit_washout(manual_shaft({}), sisters()).washout_cm3_per_h);
  CHECK_FALSE(fit_washout(manual_shaft({{0, 30}}), sisters()).washout_cm3_per_h);
}

TEST_CASE("washout: a new seal starts a new baseline", "[analysis][washout]") {
  ShaftHistory s = struck();
  for (const double y : {190.0, 76.0, 74.0, 77.0, 75.0}) {
    GreasingInterval g = s.intervals.back();
    g.from = g.at;
    g.at += std::chrono::hours{600};
    ++g.id.bytes[15];
    g.taken_cm3 = y;
    g.starts_baseline = y == 190.0;
    s.intervals.push_back(g);
  }
  const WashoutResult r = fit_washout(s, sisters());
  CHECK_FALSE(r.step);
  CHECK_FALSE(r.wear);
  CHECK(r.baseline_cm3_per_h->value == Approx(0.25).epsilon(0.08));
  CHECK(r.steps.size() == s.intervals.size());
}

TEST_CASE("washout: a cavity that is not known still gives a rate", "[analysis][washout]") {
  ShaftHistory s = manual_shaft({{300, 74}, {300, 76}, {300, 75}});
  s.cavity_cm3.reset();
  CHECK(fit_washout(s, sisters()).washout_cm3_per_h->value == Approx(0.25).epsilon(0.05));
}

TEST_CASE("washout: high from the start needs a group of sisters", "[analysis][washout]") {
  const ShaftHistory s = manual_shaft({{300, 275}, {300, 280}, {300, 278}, {300, 276}, {300, 282}});
  const WashoutResult r = fit_washout(s, sisters());
  REQUIRE(r.high);
  CHECK(r.high->factor.value == Approx(3.71).epsilon(0.1));
  CHECK_FALSE(r.step);
  WashoutPrior lonely = sisters();
  lonely.shafts = 3;
  CHECK_FALSE(fit_washout(s, lonely).high);
}

TEST_CASE("washout: a huge amount is survived", "[analysis][washout]") {
  const WashoutResult r = fit_washout(manual_shaft({{300, 1e9}, {300, 75}, {1e6, 400}}), sisters());
  REQUIRE(r.washout_cm3_per_h);
  CHECK(std::isfinite(r.washout_cm3_per_h->high));
}

TEST_CASE("washout: negative and unknown figures are refused", "[analysis][washout]") {
  for (const double bad : {-1.0, std::numeric_limits<double>::quiet_NaN(), std::numeric_limits<double>::infinity()}) {
    CHECK_THROWS_AS(fit_washout(manual_shaft({{300, bad}}), sisters()), Error);
    CHECK_THROWS_AS(fit_washout(manual_shaft({{bad, 75}}), sisters()), Error);
    const std::vector<ShaftHistory> fleet{manual_shaft({{300, bad}})};
    CHECK_THROWS_AS(fit_fleet_prior(fleet), Error);
  }
  CHECK_THROWS_WITH(fit_washout(manual_shaft({{300, 75}, {300, -2}}), sisters()),
                    "greasing 2, amount taken: -2 found, a finite number >= 0 expected");
}

TEST_CASE("fleet prior: a group's mean and spread are learnt, in any order of the shafts", "[analysis][washout]") {
  std::vector<ShaftHistory> fleet;
  for (int i = 0; i < 10; ++i) {
    const double w = 0.3 * std::exp(0.3 * (i - 4.5) / 3.0);
    ShaftHistory s = manual_shaft({{300, 300 * w + 6},
                                   {300, 300 * w - 8},
                                   {300, 300 * w + 3},
                                   {300, 300 * w - 4},
                                   {300, 300 * w + 7},
                                   {300, 300 * w - 2}});
    s.shaft = ShaftId{i + 1};
    s.key = "T-01/fin" + std::to_string(i);
    s.group = "fins";
    fleet.push_back(s);
  }
  const FleetPrior p = fit_fleet_prior(fleet);
  const WashoutPrior& fins = p.of("fins");
  CHECK(fins.shafts == 10);
  CHECK(fins.mean_log_w == Approx(std::log(0.3)).margin(0.08));
  CHECK(fins.sd_log_w == Approx(0.29).margin(0.09));
  CHECK(p.of("rudders").shafts == 10);  // no such group: the fleet
  std::reverse(fleet.begin(), fleet.end());
  const FleetPrior q = fit_fleet_prior(fleet);
  CHECK(q.of("fins").mean_log_w == fins.mean_log_w);
  CHECK(q.of("fins").duty_sd == fins.duty_sd);
}

TEST_CASE("fleet prior: no records leave the defaults", "[analysis][washout]") {
  const FleetPrior p = fit_fleet_prior({});
  CHECK(p.fleet.shafts == 0);
  CHECK(p.fleet.mean_log_w == WashoutPrior{}.mean_log_w);
  const std::vector<ShaftHistory> empty{manual_shaft({})};
  CHECK(fit_fleet_prior(empty).of("").shafts == 0);
}

TEST_CASE("fleet prior: learnt again after a change, it is that of learning from nothing", "[analysis][washout]") {
  // 12 ships' shafts with 14 to 160 greasings each: more blocks than the errors are learnt from.
  std::vector<ShaftHistory> fleet;
  std::uint64_t drawn = 1;
  const auto draw = [&drawn] {  // 0 to 1
    drawn = drawn * 6364136223846793005U + 1442695040888963407U;
    return static_cast<double>(drawn >> 40U) / static_cast<double>(1U << 24U);
  };
  const auto greasing = [&draw](ShaftHistory& s, double w) {
    GreasingInterval g;
    g.from = s.intervals.empty() ? kStart : s.intervals.back().at;
    g.at = g.from + std::chrono::hours{24 * 20};
    g.run_h = 200 + 200 * draw();
    g.taken_cm3 = g.run_h * w * std::exp(0.2 * (draw() - 0.5)) + 10 * draw();
    s.intervals.push_back(g);
  };
  for (int i = 0; i < 24; ++i) {
    ShaftHistory s;
    s.shaft = ShaftId{i + 1};
    s.key = "T-" + std::to_string(10 + i) + "/fin";
    s.group = i % 3 == 0 ? "" : i % 3 == 1 ? "alder" : "birch";
    s.cavity_cm3 = 900;
    s.first_is_full = true;
    for (int n = 0; n < (i < 3 ? 4 * i : 14 + 6 * i); ++n) greasing(s, 0.2 + 0.02 * i);
    fleet.push_back(s);
  }
  std::vector<std::uint64_t> serials(fleet.size(), 1);
  PriorLearner learner;
  int changed = 0;
  std::optional<FleetPrior> before;
  for (int step = 0; step < 40; ++step) {
    std::vector<LearntFrom> from;
    for (std::size_t i = 0; i < fleet.size(); ++i) from.push_back({&fleet[i], fleet[i].shaft.value, serials[i]});
    const FleetPrior kept = learner.learn(from), whole = fit_fleet_prior(fleet);
    INFO("step " << step);
    REQUIRE(is_same(kept.fleet, whole.fleet));
    REQUIRE(kept.groups.size() == whole.groups.size());
    for (std::size_t g = 0; g < kept.groups.size(); ++g)
      REQUIRE(is_same(kept.groups[g].second, whole.groups[g].second));
    changed += before && !is_same(before->fleet, kept.fleet) ? 1 : 0;
    before = kept;
    const auto i = static_cast<std::size_t>(draw() * static_cast<double>(fleet.size()));
    if (step % 5 == 4 && !fleet[i].intervals.empty())
      fleet[i].intervals[fleet[i].intervals.size() / 2].taken_cm3 = 30 + 40 * draw();
    else
      greasing(fleet[i], 0.3);
    ++serials[i];
  }
  CHECK(changed > 0);
  CHECK(changed < 39);
}

TEST_CASE("fleet prior: where whole blocks are many, a greasing more at the end of a shaft leaves the errors",
          "[analysis][washout]") {
  std::vector<ShaftHistory> fleet;
  for (int i = 0; i < 30; ++i) {
    ShaftHistory s;
    s.shaft = ShaftId{i + 1};
    s.key = "T-" + std::to_string(10 + i) + "/fin";
    s.first_is_full = true;
    for (int n = 0; n < 5 * 14 + 7; ++n) {
      GreasingInterval g;
      g.from = kStart + std::chrono::hours{480 * n};
      g.at = g.from + std::chrono::hours{480};
      g.run_h = 240;
      g.taken_cm3 = 60 + 5 * ((n * 7 + i * 3) % 11) + i;
      s.intervals.push_back(g);
    }
    fleet.push_back(s);
  }
  const FleetPrior before = fit_fleet_prior(fleet);
  const WashoutPrior usual;
  CHECK((before.fleet.fill_sd_cm3 != usual.fill_sd_cm3 || before.fleet.duty_sd != usual.duty_sd ||
         before.fleet.relative_sd != usual.relative_sd));  // learnt
  std::vector<ShaftHistory> nameless = fleet;
  for (ShaftHistory& s : nameless) s.key.clear();  // they all have the same lots, and all take part
  CHECK(fit_fleet_prior(nameless).fleet.duty_sd == Approx(before.fleet.duty_sd).epsilon(0.3));
  CHECK(fit_fleet_prior(nameless).fleet.duty_sd != usual.duty_sd);
  for (ShaftHistory& s : fleet) {
    s.intervals.push_back(s.intervals.back());
    s.intervals.back().taken_cm3 = 200;
    CHECK(is_same(fit_fleet_prior(fleet).fleet, before.fleet));
  }
  fleet[3].intervals[2].taken_cm3 = 20;  // among the twelve that place the shaft
  CHECK_FALSE(is_same(fit_fleet_prior(fleet).fleet, before.fleet));
}
