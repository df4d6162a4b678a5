// The main algorithms alone, over sizes each twice the one before, with the growth that fits best.
// Processor time of one thread; what they are given is always the same.

#include "analysis/change_point.hpp"
#include "analysis/control_charts.hpp"
#include "analysis/hours.hpp"
#include "analysis/review.hpp"
#include "analysis/trend.hpp"

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <string>
#include <vector>

#include <benchmark/benchmark.h>

using namespace shaftlog;

namespace {

constexpr Instant kFirst = from_unix(1'600'000'000);
constexpr auto kWeek = std::chrono::days{7};

/// Between 0 and 1, looks like chance.
class Dice {
 public:
  double roll() {
    state_ = state_ * 6364136223846793005ULL + 1442695040888963407ULL;
    return static_cast<double>(state_ >> 11U) / 9007199254740992.0;
  }

 private:
  std::uint64_t state_ = 20'211'001;
};

Uuid id_of(std::uint64_t n) {
  Uuid id;
  for (std::size_t i = 0; i < 8; ++i) id.bytes[15 - i] = static_cast<std::uint8_t>(n >> (8 * i));
  return id;
}

std::vector<double> some_values(std::int64_t n) {
  Dice dice;
  std::vector<double> x;
  for (std::int64_t i = 0; i < n; ++i) x.push_back(0.3 + 0.1 * dice.roll());
  return x;
}

std::vector<double> some_hours(std::int64_t n) {
  Dice dice;
  std::vector<double> x{0};
  while (static_cast<std::int64_t>(x.size()) < n) x.push_back(x.back() + 100 + 80 * dice.roll());
  return x;
}

/// A shaft greased every three weeks, which loses about 0.3 cm3/h.
ShaftHistory greased(std::int64_t times, std::uint64_t seed = 0) {
  Dice dice;
  for (std::uint64_t i = 0; i < seed % 97; ++i) dice.roll();
  ShaftHistory h;
  h.key = "ship/shaft" + std::to_string(seed);
  h.group = "sisters/manual";
  h.cavity_cm3 = 400;
  h.first_is_full = true;
  Instant at = kFirst;
  for (std::int64_t i = 0; i < times; ++i) {
    GreasingInterval g;
    g.id = id_of(static_cast<std::uint64_t>(i) + seed * 100'000);
    g.from = at;
    g.at = at += std::chrono::days{14 + static_cast<int>(14 * dice.roll())};
    g.run_h = 100 + 150 * dice.roll();
    g.run_sd_h = 4;
    g.taken_cm3 = std::max(0.0, g.run_h * (0.27 + 0.06 * dice.roll()) + 16 * (dice.roll() - 0.5));
    h.intervals.push_back(g);
  }
  return h;
}

template <class What>
Logged<What> logged(std::uint64_t id, Instant at, What what) {
  Logged<What> r;
  r.id = id_of(id);
  r.at = r.recorded_at = at;
  r.what = std::move(what);
  return r;
}

std::vector<Logged<Hours>> read_weekly(std::int64_t weeks, ShaftId shaft) {
  Dice dice;
  std::vector<Logged<Hours>> out;
  double meter = 1000;
  for (std::int64_t i = 0; i < weeks; ++i) {
    meter += 40 + 40 * dice.roll();
    Hours h;
    h.reading = HoursReading::from_base(std::llround(meter * 3600));
    out.push_back(logged(static_cast<std::uint64_t>(10 * i + shaft.value), kFirst + i * kWeek, h));
    out.back().shaft = shaft;
  }
  return out;
}

/// A lubricator that feeds two shafts; level and counter read weekly, filled up when it is low.
VesselLog fed_weekly(std::int64_t weeks) {
  VesselLog log;
  log.vessel.id = VesselId{1};
  log.vessel.code = "ship";
  log.vessel.time_zone = "UTC";
  const LubricatorId lubricator{1};
  log.lubricators.push_back(
      {lubricator, log.vessel.id, "lub1", {{std::nullopt, cm3(5000), std::nullopt, GreaseId{1}}}});
  for (const std::int64_t s : {1, 2}) {
    Shaft shaft;
    shaft.id = ShaftId{s};
    shaft.vessel = log.vessel.id;
    shaft.code = "shaft" + std::to_string(s);
    shaft.settings.emplace_back();
    log.shafts.push_back(shaft);
    log.feeds.push_back({lubricator, shaft.id, std::nullopt, Volume::from_base(250), 1200});
    const auto hours = read_weekly(weeks, shaft.id);
    log.hours.insert(log.hours.end(), hours.begin(), hours.end());
  }
  std::sort(log.hours.begin(), log.hours.end(),
            [](const auto& a, const auto& b) { return a.at != b.at ? a.at < b.at : a.id < b.id; });
  Dice dice;
  double level = 4500, count = 0;
  for (std::int64_t i = 0; i < weeks; ++i) {
    const Instant at = kFirst + i * kWeek + std::chrono::minutes{20};
    const double cycles = 3 * (40 + 40 * dice.roll());
    count += cycles;
    level -= 0.5 * cycles;
    const auto n = static_cast<std::uint64_t>(10 * i);
    if (level < 1500) {
      Refill refill;
      refill.before = Level::from_base(std::llround(level * 2));
      refill.after = Level::from_base(9000);
      level = 4500;
      log.refills.push_back(logged(n + 5, at, refill));
      log.refills.back().lubricator = lubricator;
    } else {
      LevelReading reading;
      reading.level = Level::from_base(std::llround(level * 2 + 150 * (dice.roll() - 0.5)));
      log.levels.push_back(logged(n + 6, at, reading));
      log.levels.back().lubricator = lubricator;
    }
    Cycles counter;
    counter.count = std::llround(count);
    log.cycles.push_back(logged(n + 7, at + std::chrono::minutes{5}, counter));
    log.cycles.back().lubricator = lubricator;
  }
  return log;
}

void BM_washout(benchmark::State& state) {
  const ShaftHistory history = greased(state.range(0));
  for (auto _ : state) benchmark::DoNotOptimize(fit_washout(history, WashoutPrior{}));
  state.SetItemsProcessed(state.iterations() * state.range(0));
  state.SetComplexityN(state.range(0));
}
BENCHMARK(BM_washout)->ArgName("greasings")->RangeMultiplier(2)->Range(32, 512)->Complexity();

void BM_fleet_prior(benchmark::State& state) {
  std::vector<ShaftHistory> fleet;
  for (std::int64_t i = 0; i < state.range(0); ++i) fleet.push_back(greased(60, static_cast<std::uint64_t>(i)));
  for (auto _ : state) benchmark::DoNotOptimize(fit_fleet_prior(fleet));
  state.SetComplexityN(state.range(0));
}
BENCHMARK(BM_fleet_prior)
    ->ArgName("shafts")
    ->RangeMultiplier(2)
    ->Range(64, 1024)
    ->Complexity()
    ->Unit(benchmark::kMillisecond);

void BM_hours(benchmark::State& state) {
  const auto readings = read_weekly(state.range(0), ShaftId{1});
  const Instant as_of = readings.back().at + std::chrono::days{1};
  for (auto _ : state) benchmark::DoNotOptimize(build_hours(readings, std::nullopt, as_of));
  state.SetItemsProcessed(state.iterations() * state.range(0));
  state.SetComplexityN(state.range(0));
}
BENCHMARK(BM_hours)->ArgName("readings")->RangeMultiplier(2)->Range(128, 2048)->Complexity();

/// Contradictions, hours, what was called for, the balance of the reservoir and of the counter.
void BM_digest_of_a_fed_ship(benchmark::State& state) {
  const VesselLog log = fed_weekly(state.range(0));
  const Instant as_of = kFirst + state.range(0) * kWeek;
  const VesselDigest once = digest(log, as_of, /*with_detail=*/false);
  if (!once.delivery.at(LubricatorId{1}).delivery_ratio) state.SkipWithError("there is no ratio");
  for (auto _ : state) benchmark::DoNotOptimize(digest(log, as_of, /*with_detail=*/false));
  state.SetComplexityN(state.range(0));
}
BENCHMARK(BM_digest_of_a_fed_ship)
    ->ArgName("weeks")
    ->RangeMultiplier(2)
    ->Range(64, 1024)
    ->Complexity()
    ->Unit(benchmark::kMillisecond);

void BM_mann_kendall(benchmark::State& state) {
  const auto x = some_hours(state.range(0)), y = some_values(state.range(0));
  for (auto _ : state) benchmark::DoNotOptimize(mann_kendall(x, y));
  state.SetComplexityN(state.range(0));
}
BENCHMARK(BM_mann_kendall)->ArgName("values")->RangeMultiplier(2)->Range(64, 1024)->Complexity();

void BM_theil_sen(benchmark::State& state) {
  const auto x = some_hours(state.range(0)), y = some_values(state.range(0));
  for (auto _ : state) benchmark::DoNotOptimize(theil_sen(x, y));
  state.SetComplexityN(state.range(0));
}
BENCHMARK(BM_theil_sen)->ArgName("values")->RangeMultiplier(2)->Range(64, 1024)->Complexity();

void BM_level_shift(benchmark::State& state) {
  const auto y = some_values(state.range(0));
  for (auto _ : state) benchmark::DoNotOptimize(find_level_shift(y));
  state.SetComplexityN(state.range(0));
}
BENCHMARK(BM_level_shift)->ArgName("values")->RangeMultiplier(2)->Range(64, 1024)->Complexity();

void BM_charts(benchmark::State& state) {
  const auto y = some_values(state.range(0));
  for (auto _ : state) {
    benchmark::DoNotOptimize(ewma_chart(y, 0.35, 0.03, 0.2));
    benchmark::DoNotOptimize(cusum_chart(y, 0.35, 0.015, 0.14));
  }
  state.SetComplexityN(state.range(0));
}
BENCHMARK(BM_charts)->ArgName("values")->RangeMultiplier(2)->Range(64, 1024)->Complexity();

}  // namespace
