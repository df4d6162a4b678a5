// A small world through the whole review, with loose bounds: `judge` measures, this only sees that nothing breaks by a
// mile, and that the measuring itself can tell good from bad.
#include "simulation/judge/tables.hpp"

#include <algorithm>
#include <cmath>
#include <cstdio>

#include <catch2/catch.hpp>

using namespace shaftlog;
using namespace shaftlog::judge;

namespace {

world::WorldPlan plan_of(std::uint64_t seed, int vessels, double years, double faults) {
  world::WorldPlan plan;
  plan.seed = seed;
  plan.vessels = vessels;
  plan.years = years;
  plan.fault_share = faults;
  plan.threads = 2;
  return plan;
}

}  // namespace

TEST_CASE("judge: a small world is reviewed with few false findings, and most plain faults are found",
          "[simulation][judge]") {
  const auto fleet = world::make_world(plan_of(1700, 24, 4, 0.62));
  const Instant last = fleet.front().truth.last;
  const Replay r = replay(fleet, ReplayPlan{28, 182, 2}, {last});
  std::printf("%s%s", table_of_false(fleet, r, nullptr).c_str(), list_of_misses(fleet, r, nullptr).c_str());
  CHECK(false_per_100_years(fleet, r, {FindingKind::abnormal_washout, FindingKind::seal_wear}) < 8);
  CHECK(false_per_100_years(fleet, r, {FindingKind::line_leak}) < 12);
  CHECK(false_per_100_years(fleet, r, {FindingKind::alarm_rate}) < 12);
  CHECK(false_per_100_years(fleet, r, {FindingKind::missed_cycles}) < 40);
  int faults = 0, found = 0;
  for (std::size_t i = 0; i < fleet.size(); ++i) {
    for (std::size_t j = 0; j < fleet[i].truth.faults.size(); ++j) {
      ++faults;
      found += meet(fleet[i], r.vessels[i], j).is_found ? 1 : 0;
    }
  }
  REQUIRE(faults >= 8);
  CHECK(2 * found >= faults);
  // Each vessel is shown at the date asked for, with all its subjects.
  for (std::size_t i = 0; i < fleet.size(); ++i) {
    REQUIRE(r.vessels[i].snapshots.size() == 1);
    CHECK(r.vessels[i].snapshots.front().as_of == last);
    CHECK(r.vessels[i].snapshots.front().shafts.size() == fleet[i].log.shafts.size());
  }
}

TEST_CASE("judge: the replay is the same whatever the threads", "[simulation][judge]") {
  const auto fleet = world::make_world(plan_of(1701, 5, 2, 0.62));
  const Replay one = replay(fleet, ReplayPlan{28, 182, 1}, {}), three = replay(fleet, ReplayPlan{28, 182, 3}, {});
  CHECK(list_of_misses(fleet, one, nullptr) == list_of_misses(fleet, three, nullptr));
  CHECK(table_of_false(fleet, one, nullptr) == table_of_false(fleet, three, nullptr));
}

TEST_CASE("judge: who knows all finds a large step within few records and hardly ever a small one that is not there",
          "[simulation][judge]") {
  const auto healthy = world::make_world(plan_of(1702, 120, 5, 0));
  const Limits limits = tune_limits(healthy, {2, 2, 2, 2, 2, 2, 2}, 2);
  for (const double t : limits.threshold) {
    CHECK(t > 0.5);
    CHECK(t < 15);
  }
  const auto other = world::make_world(plan_of(1703, 120, 5, 0));  // tuned on one fleet, counted on another
  double years = 0;
  std::size_t n = 0;
  for (const world::MadeVessel& v : other) {
    for (const world::ShaftTruth& s : v.truth.shafts) {
      if (!s.is_greased) continue;
      world::Fault f{world::FaultKind::step, s.shaft, {}, v.truth.last, kLatest, 2.5};
      n += signals(series_of(v, f), limits.threshold[0]).size();
      years += days_between(v.truth.first, v.truth.last) / 365.25;
    }
  }
  const double rate = 100 * static_cast<double>(n) / years;
  std::printf("limit: thresholds %.2f %.2f, %.2f false per 100 years on another fleet (2 wanted)\n",
              limits.threshold[0], limits.threshold[1], rate);
  CHECK(rate < 5);
  CHECK(rate > 0.3);
  const auto sick = world::make_world(plan_of(1704, 120, 5, 1.0));
  int steps = 0, found = 0;
  for (const world::MadeVessel& v : sick) {
    for (const world::Fault& f : v.truth.faults) {
      if (f.kind != world::FaultKind::step || f.size < 2) continue;
      ++steps;
      found += limit_finds(v, f, limits) ? 1 : 0;
    }
  }
  REQUIRE(steps >= 8);
  CHECK(found >= 0.8 * steps);
}

// Against the law of all records at once: ln N(y; a, C) - ln N(y; 0, C), C with the usual rate's spread in it.
TEST_CASE("judge: a usual rate that is not known is integrated out", "[simulation][judge]") {
  constexpr std::size_t n = 7;
  Series s;
  s.residual = {3, -8, 5, 20, 31, 14, 40};
  s.usual = {50, 60, 0, 55, 70, 40, 65};
  s.variance = {120, 90, 150, 100, 130, 80, 110};
  s.shared = {0, -40, 0, -50, -30, -35, -45};
  s.usual_sd = 0.3;
  for (std::size_t i = 0; i < n; ++i) {
    s.from.push_back(from_unix(100000 * static_cast<std::int64_t>(i)));
    s.at.push_back(from_unix(100000 * static_cast<std::int64_t>(i + 1)));
  }
  s.known = s.at;
  s.adds = [&](std::size_t k, std::size_t i) { return 0.5 * s.usual[i] + 2 * static_cast<double>(i - k); };
  double best = 0;
  for (std::size_t k = 0; k < n; ++k) {
    // C x = a by elimination; the ratio is x'y - x'a / 2.
    std::vector<std::vector<double>> c(n, std::vector<double>(n + 1));
    for (std::size_t i = 0; i < n; ++i) {
      for (std::size_t j = 0; j < n; ++j) c[i][j] = s.usual_sd * s.usual_sd * s.usual[i] * s.usual[j];
      c[i][i] += s.variance[i];
      if (i > 0) c[i][i - 1] += s.shared[i];
      if (i + 1 < n) c[i][i + 1] += s.shared[i + 1];
      c[i][n] = i < k ? 0.0 : s.adds(k, i);
    }
    for (std::size_t p = 0; p < n; ++p) {
      for (std::size_t i = 0; i < n; ++i) {
        if (i == p) continue;
        const double f = c[i][p] / c[p][p];
        for (std::size_t j = p; j <= n; ++j) c[i][j] -= f * c[p][j];
      }
    }
    double ratio = 0;
    for (std::size_t i = 0; i < n; ++i) ratio += c[i][n] / c[i][i] * (s.residual[i] - (i < k ? 0.0 : s.adds(k, i)) / 2);
    best = std::max(best, ratio);
  }
  REQUIRE(best > 0.5);
  const std::vector<Series> ways{s};
  const auto last_passes = [&](double threshold) {
    const std::vector<Signal> all = signals(ways, threshold);
    return !all.empty() && all.back().at == s.at.back();
  };
  CHECK(last_passes(best - 1e-9));
  CHECK_FALSE(last_passes(best + 1e-9));
  Series known = s;
  known.usual_sd = 0;
  CHECK_FALSE(signals(known, best + 0.5).empty());  // who knows the rate is surer here
}

TEST_CASE("judge: a finding with no fault behind it is false, with one it is right", "[simulation][judge]") {
  world::MadeVessel v;
  v.log.vessel.code = "x";
  v.truth.first = from_unix(1600000000);
  v.truth.last = v.truth.first + std::chrono::days{1000};
  Shaft shaft;
  shaft.id = ShaftId{1};
  ShaftSetting by_days;
  by_days.interval_days = 60;
  shaft.settings.push_back(by_days);
  v.log.shafts.push_back(shaft);
  world::ShaftTruth s;
  s.shaft = ShaftId{1};
  s.is_greased = true;
  s.cavity_cm3 = 300;
  s.usual.assign(1001, 0.3);
  s.missing.assign(1001, 30.0);
  v.truth.shafts.push_back(s);
  Track t;
  t.kind = FindingKind::seal_wear;
  t.shaft = ShaftId{1};
  t.first_seen = v.truth.first + std::chrono::days{400};
  CHECK(judge_track(v, t, {}).verdict == Verdict::wrong);
  CHECK(judge_track(v, t, {{"=x/manual", 0.1}}).verdict == Verdict::excused);  // it truly loses more than its peers
  v.truth.faults.push_back({world::FaultKind::step,
                            ShaftId{1},
                            {},
                            v.truth.first + std::chrono::days{300},
                            v.truth.first + std::chrono::days{350},
                            2});
  CHECK(judge_track(v, t, {}).verdict == Verdict::right);
  CHECK(healthy_years(v, FindingKind::seal_wear) == Approx((1000 - 50 - 120) / 365.25));
  t.first_seen = v.truth.first + std::chrono::days{299 - 2};
  CHECK(judge_track(v, t, {}).verdict == Verdict::wrong);
  t.first_seen = v.truth.first + std::chrono::days{350 + 121};
  CHECK(judge_track(v, t, {}).verdict == Verdict::wrong);
  t.kind = FindingKind::starved;
  t.shown = t.first_seen;
  CHECK(judge_track(v, t, {}).verdict == Verdict::wrong);
  // Foretold: it comes near its reserve after 50 days without a greasing, of the 60 that its interval gives.
  s.reserve_share = 0.25;
  for (std::size_t i = 0; i < 1001; ++i) {
    s.demand.push_back(3.5 * static_cast<double>(i));
    s.delivered.push_back(0);
  }
  s.hours.assign(1001, 0);
  v.truth.shafts.front() = s;
  CHECK(judge_track(v, t, {}).verdict == Verdict::wrong);  // no greasing from which to count
  Logged<Greasing> g;
  g.shaft = ShaftId{1};
  g.at = g.recorded_at = t.shown - std::chrono::days{1};
  v.log.greasings.push_back(g);
  CHECK(judge_track(v, t, {}).verdict == Verdict::right);
  v.log.shafts.front().settings.front().interval_days = 40;
  CHECK(judge_track(v, t, {}).verdict == Verdict::wrong);
  v.truth.shafts.front().missing.assign(1001, 250.0);
  CHECK(judge_track(v, t, {}).verdict == Verdict::right);
}

TEST_CASE("judge: the kind of a found fault at its end is what it was called then, not at first",
          "[simulation][judge]") {
  world::MadeVessel v;
  v.truth.first = from_unix(1600000000);
  v.truth.last = v.truth.first + std::chrono::days{1000};
  const auto day = [&](int n) { return v.truth.first + std::chrono::days{n}; };
  v.truth.faults.push_back({world::FaultKind::wear, ShaftId{1}, {}, day(300), day(600), 2000});
  Track t;
  t.kind = FindingKind::abnormal_washout;
  t.shaft = ShaftId{1};
  t.told = t.shown = day(350);
  t.last_shown = day(620);
  t.named = {{day(350), FindingKind::abnormal_washout}, {day(450), FindingKind::seal_wear}};
  const auto met = [&] { return meet(v, VesselReplay{{t}, {}}, 0); };
  CHECK_FALSE(met().right_kind_at_open);
  CHECK(met().right_kind_at_last);
  t.named.back().first = day(610);  // after the repair
  CHECK_FALSE(met().right_kind_at_last);
  CHECK(kind_at(t, day(400)) == FindingKind::abnormal_washout);
  CHECK(kind_at(t, day(610)) == FindingKind::seal_wear);
}

TEST_CASE("judge: the likelihood ratio of a shift among known errors is the textbook one", "[simulation][judge]") {
  // Independent errors of variance 4, a shift of 2 from the third value on: the best sum over the moment of beginning
  // is that of (2 x - 2) / 4 over the values from there, counted by hand.
  Series s;
  for (int i = 0; i < 6; ++i) {
    s.from.push_back(from_unix(86400 * i));
    s.at.push_back(from_unix(86400 * (i + 1)));
    s.known.push_back(from_unix(86400 * (i == 3 ? 9 : i == 0 ? 20 : i + 1)));
    s.residual.push_back(i < 2 ? -1.0 : 3.0);
    s.variance.push_back(4);
    s.shared.push_back(0);
  }
  s.adds = [](std::size_t, std::size_t) { return 2.0; };
  // Each value of 3 adds (2*3 - 2)/4 = 1: after the k-th of them the sum is k.
  // The fourth was written on the ninth day, and nobody knows before; the first, later still, has no part in it.
  CHECK(signals(s, 2.5) == std::vector<Signal>{{from_unix(86400 * 5), from_unix(86400 * 9)}});
  CHECK(signals(s, 4.5).empty());
  // Errors that telescope: the same first difference is better known, so the evidence of a lasting shift is larger.
  for (std::size_t i = 1; i < 6; ++i) s.shared[i] = -1.9;
  CHECK(!signals(s, 4.5).empty());
}

TEST_CASE("judge: the evidence for a fault is averaged over the days on which it may have begun",
          "[simulation][judge]") {
  Series s;
  for (int i = 0; i < 2; ++i) {
    s.from.push_back(from_unix(86400 * i));
    s.at.push_back(from_unix(86400 * (i + 1)));
    s.known.push_back(s.at.back());
    s.residual.push_back(3);
    s.variance.push_back(4);
    s.shared.push_back(0);
  }
  s.adds = [](std::size_t, std::size_t) { return 2.0; };
  // Each value adds (2*3 - 2)/4 = 1: begun with the first day e^2, with the second e^1.
  CHECK(log_evidence(s, from_unix(86400 * 2)) == Approx(std::log((std::exp(2) + std::exp(1)) / 2)));
  // The second is not in the log yet: it says nothing for or against, and the fault may have begun on the first day
  // alone.
  s.known[1] = from_unix(86400 * 5);
  CHECK(log_evidence(s, from_unix(86400)) == Approx(1));
}
