// Shafts with known truth: how often a healthy one is accused, how soon a sick one is found, whether stated intervals
// hold. SHAFTLOG_SIM_SEED chooses other seeds for tuning; the default ones are for judging only.
#include "analysis/washout.hpp"
#include "analysis/washout_filter.hpp"

#include <algorithm>
#include <chrono>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <numbers>
#include <random>

#include <catch2/catch.hpp>

using namespace shaftlog;

namespace {

std::uint64_t seed() {
  const char* given = std::getenv("SHAFTLOG_SIM_SEED");
  return given != nullptr ? std::strtoull(given, nullptr, 10) : 77001122;
}
#ifdef NDEBUG
constexpr int kShafts = 200;
#else
constexpr int kShafts = 40;
#endif

// Our own Gaussian and uniform numbers: the library's distributions differ from one standard library to the next.
class Dice {
 public:
  explicit Dice(std::uint64_t s) : bits_{s} {}
  double uniform() { return (static_cast<double>(bits_() >> 11) + 0.5) / 9007199254740992.0; }
  double between(double a, double b) { return a + (b - a) * uniform(); }
  double normal() { return std::sqrt(-2 * std::log(uniform())) * std::cos(2 * std::numbers::pi * uniform()); }

 private:
  std::mt19937_64 bits_;
};

enum class Fault { none, step, wear };

struct Truth {
  Fault fault = Fault::none;
  double base = 0.25, from_h = 0, factor = 1, doubling_h = 3000;
  double duty = 0.1, fill = 15, season = 0.15, season_at = 0;
  [[nodiscard]] double rate(double h) const {  // without season and duty
    if (fault == Fault::step && h > from_h) return base * factor;
    if (fault == Fault::wear && h > from_h) return base * std::exp2((h - from_h) / doubling_h);
    return base;
  }
};

struct Run {
  Truth truth;
  ShaftHistory history;
  double years = 0, hours = 0;
  std::size_t first_after = 0;  ///< first interval that holds any of the fault
  std::vector<double> h_at;
};

Run sail(Dice& dice, Fault fault, bool is_automatic, int greasings) {
  Run run;
  Truth& t = run.truth;
  t.fault = fault;
  t.base = (is_automatic ? 0.6 : 0.25) * std::exp(0.25 * dice.normal());
  t.duty = dice.between(0.10, 0.20);
  t.fill = dice.between(10, 25);
  t.season = dice.between(0, 0.20);
  t.season_at = dice.uniform();
  t.factor = dice.between(1.5, 4);
  t.doubling_h = dice.between(1500, 6000);
  ShaftHistory& s = run.history;
  s.vessel = VesselId{1};
  s.group = is_automatic ? "automatic" : "manual";
  s.is_automatic = is_automatic;
  s.cavity_cm3 = is_automatic ? 600 : 400;
  s.first_is_full = true;
  const double usual_h = dice.between(150, 400), dose = is_automatic ? dice.between(0.2, 0.9) * t.base : 0;
  const int onset = 8 + static_cast<int>(dice.uniform() * 20);
  t.from_h = (onset + dice.uniform()) * usual_h;
  double h = 0, day = 0, m = t.fill * dice.normal();
  for (int i = 0; i < greasings; ++i) {
    GreasingInterval g;
    g.id.bytes[14] = static_cast<std::uint8_t>(i / 256);
    g.id.bytes[15] = static_cast<std::uint8_t>(i % 256);
    g.run_h = std::round(usual_h * std::exp(0.2 * dice.normal()));
    g.run_sd_h = 1;
    const double days = g.run_h / 9;
    g.from = from_unix(1600000000 + static_cast<std::int64_t>(day * 86400));
    g.at = from_unix(1600000000 + static_cast<std::int64_t>((day + days) * 86400));
    double loss = 0;
    for (int k = 0; k < 20; ++k) {
      const double part = (k + 0.5) / 20;
      const double season = std::sin(2 * std::numbers::pi * ((day + days * part) / 365.25 + t.season_at));
      loss += t.rate(h + part * g.run_h) * std::exp(t.season * season) * g.run_h / 20;
    }
    loss *= std::exp(t.duty * dice.normal());
    g.delivered_cm3 = dose * g.run_h;
    if (run.first_after == 0 && h + g.run_h > t.from_h) run.first_after = static_cast<std::size_t>(i) + 1;
    h += g.run_h;
    day += days;
    const double x = std::clamp(m + loss - g.delivered_cm3, 0.0, *s.cavity_cm3);
    m = t.fill * dice.normal();
    const double y = (x - m) * (1 + 0.05 * dice.normal());
    g.taken_cm3 = std::max(0.0, std::round(y));
    s.intervals.push_back(g);
    run.h_at.push_back(h);
    if (t.rate(h) > 5 * t.base) break;  // nobody waits for more
  }
  run.years = day / 365.25;
  run.hours = h;
  return run;
}

/// What a test that knows every parameter but the moment would need: CUSUM of the exact log likelihood ratio of the
/// cumulated innovations (season unknown to it too, as added scatter), alarm at a height that healthy shafts reach
/// about as rarely as ours open.
std::size_t oracle(const Run& run, double height) {
  const Truth& t = run.truth;
  double sum = 0;
  for (std::size_t i = 0; i < run.history.intervals.size(); ++i) {
    const GreasingInterval& g = run.history.intervals[i];
    const double before = run.h_at[i] - g.run_h;
    double low = t.base * g.run_h, high = 0;
    for (int k = 0; k < 10; ++k) high += t.rate(before + (k + 0.5) / 10 * g.run_h) * g.run_h / 10;
    if (t.fault == Fault::none) high = low * 2;
    low = std::clamp(low - g.delivered_cm3, 0.0, *run.history.cavity_cm3);
    high = std::clamp(high - g.delivered_cm3, 0.0, *run.history.cavity_cm3);
    const double y = *g.taken_cm3;
    const auto log_like = [&](double mean) {
      const double loss = mean + g.delivered_cm3;
      const double var =
          2 * t.fill * t.fill + loss * loss * (t.duty * t.duty + t.season * t.season / 2) + 0.0025 * mean * mean + 1;
      return -0.5 * (y - mean) * (y - mean) / var - 0.5 * std::log(var);
    };
    sum = std::max(0.0, sum + log_like(high) - log_like(low));
    if (sum > height && i + 1 >= run.first_after) return i + 1;
  }
  return 0;
}

WashoutPrior prior_of(std::vector<Run>& runs) {
  std::vector<ShaftHistory> fleet;
  std::int64_t id = 0;
  for (Run& r : runs) {
    r.history.shaft = ShaftId{++id};
    fleet.push_back(r.history);
  }
  const auto from = std::chrono::steady_clock::now();
  const FleetPrior p = fit_fleet_prior(fleet);
  const double s = std::chrono::duration<double>(std::chrono::steady_clock::now() - from).count();
  const WashoutPrior& g = p.of(runs.front().history.group);
  std::printf("  prior: w %.3f sd %.2f fill %.1f rel %.3f duty %.3f season %.3f from %d shafts in %.2f s\n",
              std::exp(g.mean_log_w), g.sd_log_w, g.fill_sd_cm3, g.relative_sd, g.duty_sd, g.season_sd, g.shafts, s);
  return g;
}

double median(std::vector<double> v) {
  if (v.empty()) return NAN;
  std::sort(v.begin(), v.end());
  return v[v.size() / 2];
}

struct Opened {
  std::size_t at = 0;  ///< greasing, 1 for the first; 0: never
  bool is_wear = false;
};

/// Opening moments from the steps of one fit: they use earlier records only.
std::vector<Opened> openings(const WashoutResult& r) {
  std::vector<Opened> found;
  bool is_open = false;
  for (std::size_t i = 0; i < r.steps.size(); ++i) {
    const double p = r.steps[i].p_step + r.steps[i].p_wear;
    if (!is_open && p >= washout::kOpens) {
      found.push_back({i + 1, r.steps[i].p_wear > r.steps[i].p_step});
      is_open = true;
    } else if (p < washout::kCloses) {
      is_open = false;
    }
  }
  return found;
}

}  // namespace

TEST_CASE("simulation: healthy shafts are rarely accused and their rates are bracketed", "[simulation][washout]") {
  for (const bool is_automatic : {false, true}) {
    Dice dice{seed() + (is_automatic ? 1U : 0U)};
    std::vector<Run> runs;
    for (int i = 0; i < kShafts; ++i) runs.push_back(sail(dice, Fault::none, is_automatic, 50));
    std::printf("healthy %s shafts\n", is_automatic ? "automatic" : "manual");
    const WashoutPrior prior = prior_of(runs);
    double years = 0, width = 0;
    int steps = 0, wears = 0, highs = 0, covered = 0, predicted = 0, amounts = 0, oracle_false = 0;
    std::size_t greasings = 0;
    const auto from = std::chrono::steady_clock::now();
    for (const Run& run : runs) {
      const WashoutResult r = fit_washout(run.history, prior);
      years += run.years;
      greasings += run.history.intervals.size();
      for (const Opened& o : openings(r)) (o.is_wear ? wears : steps)++;
      highs += r.high ? 1 : 0;
      oracle_false += oracle(run, 6.0) > 0 ? 1 : 0;
      width += std::log(r.washout_cm3_per_h->high / r.washout_cm3_per_h->low);
      covered += r.washout_cm3_per_h->low <= run.truth.base && run.truth.base <= r.washout_cm3_per_h->high ? 1 : 0;
      for (std::size_t i = 5; i < r.steps.size(); ++i) {
        ++amounts;
        const double y = *run.history.intervals[i].taken_cm3;
        predicted += r.steps[i].expected_low <= y && y <= r.steps[i].expected_high ? 1 : 0;
      }
    }
    const double s = std::chrono::duration<double>(std::chrono::steady_clock::now() - from).count();
    const double cover = 100.0 * covered / kShafts, cover_amount = 100.0 * predicted / amounts;
    std::printf("  %.0f shaft-years; false per 100 shaft-years: step %.2f wear %.2f high %.2f (oracle at 6: %.2f)\n",
                years, 100 * steps / years, 100 * wears / years, 100 * highs / years, 100 * oracle_false / years);
    std::printf(
        "  90 %% interval of the rate holds %.1f %% (width %.2f in ln), of the next amount %.1f %%; %.0f us a "
        "greasing\n",
        cover, width / kShafts, cover_amount, 1e6 * s / static_cast<double>(greasings));
    CHECK(100 * steps / years < 2.5);
    CHECK(100 * wears / years < 2.5);
    CHECK(100 * highs / years < 2);
    CHECK(cover > (kShafts > 100 ? 85 : 75));
    CHECK(cover_amount > 82);
    CHECK(cover_amount < 96);
  }
}

TEST_CASE("simulation: steps and wear are found soon and called by their name", "[simulation][washout]") {
  for (const bool is_automatic : {false, true})
    for (const Fault fault : {Fault::step, Fault::wear}) {
      Dice dice{seed() + 10 + (is_automatic ? 1U : 0U) + (fault == Fault::wear ? 2U : 0U)};
      std::vector<Run> runs, healthy;
      for (int i = 0; i < kShafts; ++i) healthy.push_back(sail(dice, Fault::none, is_automatic, 50));
      for (int i = 0; i < kShafts; ++i) runs.push_back(sail(dice, fault, is_automatic, 50));
      std::printf("%s, %s\n", fault == Fault::step ? "step x1.5-4" : "wear doubling in 1500-6000 h",
                  is_automatic ? "automatic" : "manual");
      const WashoutPrior prior = prior_of(healthy);
      int found = 0, right = 0, right_end = 0, covered = 0, began = 0, standing = 0;
      double width = 0;
      std::vector<double> delay, limit, excess;
      for (const Run& run : runs) {
        const WashoutResult r = fit_washout(run.history, prior);
        std::size_t at = 0;
        bool is_wear = false;
        for (const Opened& o : openings(r))
          if (at == 0 && o.at >= run.first_after) at = o.at, is_wear = o.is_wear;
        const std::size_t best = oracle(run, 6.0);
        if (best > 0) limit.push_back(static_cast<double>(best - run.first_after + 1));
        if (at > 0) {
          ++found;
          delay.push_back(static_cast<double>(at - run.first_after + 1));
          right += is_wear == (fault == Fault::wear) ? 1 : 0;
        }
        const double truth = run.truth.rate(run.hours);
        width += std::log(r.washout_cm3_per_h->high / r.washout_cm3_per_h->low);
        covered += r.washout_cm3_per_h->low <= truth && truth <= r.washout_cm3_per_h->high ? 1 : 0;
        if (const auto& shift = fault == Fault::wear ? r.wear : r.step) {
          ++right_end;
          const std::size_t k = run.first_after - 1;
          const GreasingInterval& g = run.history.intervals[k];
          const double share = 1 - (run.h_at[k] - run.truth.from_h) / g.run_h;
          const Instant truly =
              g.from +
              std::chrono::seconds{static_cast<std::int64_t>(share * static_cast<double>((g.at - g.from).count()))};
          began += shift->began.low <= truly && truly <= shift->began.high ? 1 : 0;
        }
        standing += r.wear || r.step ? 1 : 0;
      }
      std::printf(
          "  found %.1f %%; median delay %.0f records, oracle %.0f; right kind at opening %.0f %%, at the end %.0f "
          "%%\n",
          100.0 * found / kShafts, median(delay), median(limit), 100.0 * right / std::max(1, found),
          100.0 * right_end / std::max(1, standing));
      std::printf("  90 %% intervals: rate %.1f %% (width %.2f in ln), begin %.1f %%\n", 100.0 * covered / kShafts,
                  width / kShafts, 100.0 * began / std::max(1, right_end));
      CHECK(found >= 0.9 * kShafts);
      CHECK(median(delay) <= median(limit) * 1.25 + 1);
      CHECK(right_end >= 0.85 * standing);
      CHECK(covered > (kShafts > 100 ? 0.85 : 0.75) * kShafts);
    }
}
