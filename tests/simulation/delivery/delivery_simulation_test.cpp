#include "analysis/delivery.hpp"

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <optional>
#include <random>
#include <vector>

#include <catch2/catch.hpp>

using namespace shaftlog;

// Lubricators with known truth. Settings were chosen on seeds from 200000 and 300000; the seeds here were judged on
// once.
namespace {

const Instant kStart = from_unix(1640995200);  // 2022-01-01T00:00:00Z
constexpr LubricatorId kPump{1};

struct Truth {
  double ratio = 1;  // after the change
  double change_day = 1e9;
  int days = 730;
};

struct Lubricated {
  VesselLog log;
  std::map<ShaftId, HoursCurve> hours;
  Instant end{};
  double full = 0, level_sd_pct = 0, dose_error = 1;
};

/// One lubricator: reservoir 2 to 30 dm3, refills every 3 to 10 weeks, levels before and after, sometimes weekly ones.
Lubricated simulate(std::uint32_t seed, const Truth& truth) {
  std::mt19937 random{seed};
  const auto uniform = [&random](double a, double b) {
    return a + (b - a) * (static_cast<double>(random()) / 4294967296.0);
  };
  const auto normal = [&] {  // Box-Muller: the same on every library
    const double u = uniform(1e-12, 1), v = uniform(0, 1);
    return std::sqrt(-2 * std::log(u)) * std::cos(6.283185307179586 * v);
  };
  Lubricated s;
  s.end = kStart + std::chrono::days{truth.days};
  const int shafts = random() % 2 ? 2 : 4;
  const double use = uniform(6, 18);
  const double weeks = uniform(3, 10);
  const double per_day = shafts * use;  // 0.25 cm3 four times an hour
  s.full = std::clamp(per_day * weeks * 7 / uniform(0.5, 0.8), 2000.0, 30000.0);
  s.level_sd_pct = uniform(0.6, 2.0);
  const bool weekly = random() % 2 != 0;
  const double dose_error = s.dose_error = 1 + 0.025 * normal();
  Lubricator l;
  l.id = kPump;
  l.settings.push_back({std::nullopt, Volume::from_base(static_cast<std::int64_t>(s.full * 1000)), std::nullopt, {}});
  s.log.lubricators.push_back(l);
  std::vector<double> run(static_cast<std::size_t>(truth.days) + 1, 0.0);  // running hours by day
  double slow = 0;
  for (std::size_t d = 1; d < run.size(); ++d) {
    slow = 0.9 * slow + 1.2 * normal();
    run[d] = run[d - 1] + std::clamp(use + slow + 3 * normal(), 0.0, 24.0);
  }
  for (int k = 1; k <= shafts; ++k) {
    s.log.feeds.push_back({kPump, ShaftId{k}, std::nullopt, Volume::from_base(250), 900});
    std::vector<HoursCurve::Point> points;
    for (int d = 0; d <= truth.days; d += 7)
      points.push_back({kStart + std::chrono::days{d}, run[static_cast<std::size_t>(d)]});
    s.hours[ShaftId{k}] = HoursCurve{points};
  }
  std::uint8_t serial = 0;
  const auto id = [&](int d) {
    Uuid u;
    u.bytes[0] = static_cast<std::uint8_t>(d >> 8);
    u.bytes[1] = static_cast<std::uint8_t>(d);
    u.bytes[2] = ++serial;
    return u;
  };
  const auto read = [&](double v) {
    const double pct = std::round(100 * v / s.full + s.level_sd_pct * normal());
    return Level::from_base(static_cast<std::int64_t>(100 * std::clamp(pct, 0.0, 100.0)));
  };
  double v = 0.92 * s.full;
  double next_refill = uniform(0.5, 1) * weeks * 7;
  for (int d = 1; d <= truth.days; ++d) {
    const auto i = static_cast<std::size_t>(d);
    const double r = (d > truth.change_day ? truth.ratio : 1.0) * dose_error;
    v = std::max(0.0, v - r * (run[i] - run[i - 1]) * shafts);
    if (d >= next_refill || v < 0.12 * s.full) {
      Logged<Refill> f;
      f.id = id(d);
      f.at = kStart + std::chrono::days{d};
      f.lubricator = kPump;
      f.what.before = read(v);
      const double poured = std::max(0.0, 0.92 * s.full - v) * 1.0;
      v += poured;
      f.what.after = read(v);
      Amount a;
      a.volume = Volume::from_base(static_cast<std::int64_t>(1000 * poured * (1 + 0.01 * normal())));
      f.what.amount = a;
      s.log.refills.push_back(f);
      next_refill = d + weeks * 7 * uniform(0.8, 1.2);
    } else if (weekly && d % 7 == 0) {
      Logged<LevelReading> f;
      f.id = id(d);
      f.at = kStart + std::chrono::days{d};
      f.lubricator = kPump;
      f.what.level = read(v);
      s.log.levels.push_back(f);
    }
  }
  return s;
}

DeliveryResult balance(const Lubricated& s, Instant as_of) {
  return balance_delivery(s.log, s.log.lubricators[0], Schedule{s.log, s.hours, as_of}, as_of);
}

/// Days from the change until the ratio was first seen beyond the margin by one who knows the true ratios, the true
/// reading error and the moment of the change: log-likelihood ratio of the telescoped use above ln(19 / 0.05).
double oracle_days(const Lubricated& s, const Truth& truth, const DeliveryResult& r) {
  const auto level_at = [&s](Instant t, bool after) {
    for (const auto& f : s.log.refills)
      if (f.at == t) return in_pct(after ? *f.what.after : *f.what.before) / 100 * s.full;
    for (const auto& f : s.log.levels)
      if (f.at == t) return in_pct(f.what.level) / 100 * s.full;
    return 0.0;
  };
  double expected = 0;
  std::optional<Instant> first;
  for (const RatioStep& step : r.steps) {
    if (days_between(kStart, step.from) < truth.change_day) continue;
    if (!first) first = step.from;
    expected += step.expected_cm3;
    double used = level_at(*first, true) - level_at(step.at, false);
    for (const auto& f : s.log.refills)
      if (f.at > *first && f.at < step.at) used += in_cm3(*f.what.amount->volume);
    const double var = 2 * std::pow(s.level_sd_pct / 100 * s.full, 2);
    const double llr = (std::pow(used - expected, 2) - std::pow(used - truth.ratio * expected, 2)) / (2 * var);
    if (llr > std::log(19 / 0.05)) return days_between(kStart, step.at) - truth.change_day;
  }
  return truth.days - truth.change_day;
}

double median(std::vector<double> x) {
  std::sort(x.begin(), x.end());
  return x[x.size() / 2];
}

}  // namespace

TEST_CASE("delivery: healthy lubricators seldom show a shift, and the interval of the ratio holds",
          "[simulation][delivery]") {
  int opened = 0, covered = 0, told = 0;
  const int n = 150;
  double width = 0;
  for (int k = 0; k < n; ++k) {
    const Lubricated s = simulate(700000u + static_cast<std::uint32_t>(k), Truth{});
    const DeliveryResult r = balance(s, s.end);
    bool is_open = false;
    for (const RatioStep& step : r.steps) {
      const bool beyond = std::max(step.p_low, step.p_high) >= 0.95;
      if (beyond && !is_open) ++opened;
      is_open = beyond || (is_open && std::max(step.p_low, step.p_high) >= 0.5);
    }
    if (!r.delivery_ratio) continue;
    ++told;
    const double truth = s.dose_error;
    covered += r.delivery_ratio->low <= truth && truth <= r.delivery_ratio->high;
    width += r.delivery_ratio->high - r.delivery_ratio->low;
  }
  const double years = 2.0 * n;
  std::printf(
      "healthy: %.1f false shifts per 100 lubricator-years (%d in %.0f); true ratio inside %d of %d, mean width "
      "%.3f\n",
      100 * opened / years, opened, years, covered, told, width / told);
  CHECK(100 * opened / years < 2.0);
  CHECK(told == n);
  // 150 draws of a 90 % interval have an sd of 2.4 %. The interval is wider than it says (97 %): only the unsafe side
  // is held here, docs/methods/delivery.md tells the other.
  CHECK(covered >= 0.84 * told);
}

TEST_CASE("delivery: shifts are found nearly as soon as by one who knows them", "[simulation][delivery]") {
  for (const double ratio : {0.0, 0.5, 0.75, 1.3, 1.74}) {
    std::vector<double> ours, limit;
    int found = 0, covered = 0;
    const int n = 40;
    for (int k = 0; k < n; ++k) {
      const auto seed = 800000u + static_cast<std::uint32_t>(k) + static_cast<std::uint32_t>(1000 * ratio);
      const Truth truth{ratio, 300.0 + k, 600};
      const Lubricated s = simulate(seed, truth);
      const DeliveryResult r = balance(s, s.end);
      const auto& shift = ratio < 1 ? r.low : r.high;
      limit.push_back(oracle_days(s, truth, r));
      ours.push_back(truth.days - truth.change_day);
      if (!shift) continue;
      ++found;
      ours.back() = days_between(kStart, shift->first_seen) - truth.change_day;
      const double began = days_between(kStart, shift->began.low), until = days_between(kStart, shift->began.high);
      covered += began <= truth.change_day + 1 && truth.change_day <= until + 1;
    }
    std::printf(
        "ratio %.2f: found %d of %d, median delay %.0f d (limit %.0f d), beginning inside its interval %d of %d\n",
        ratio, found, n, median(ours), median(limit), covered, found);
    CHECK(found >= n * 9 / 10);
    CHECK(median(ours) <= 1.25 * median(limit) + 14);
  }
}
