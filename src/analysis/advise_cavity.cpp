#include "analysis/advise_cavity.hpp"

#include "analysis/distributions.hpp"
#include "base/error.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <vector>

#include <fmt/format.h>

namespace shaftlog {
namespace {

constexpr double kZ95 = 1.6448536269514722;

/// Midpoints of n equal shares of the standard normal, scaled to variance 1.
template <std::size_t N>
const std::array<double, N>& nodes() {
  static const std::array<double, N> made = [] {
    std::array<double, N> z{};
    double square = 0;
    for (std::size_t i = 0; i < N; ++i) {
      z[i] = normal_quantile((static_cast<double>(i) + 0.5) / static_cast<double>(N));
      square += z[i] * z[i];
    }
    const double scale = std::sqrt(static_cast<double>(N) / square);
    for (double& x : z) x *= scale;
    return z;
  }();
  return made;
}

void require(bool is_good, const char* what, double value, const char* expected) {
  if (!is_good) throw Error{Errc::bad_data, fmt::format("{}: {} found, {} expected", what, value, expected)};
}

void require_plain(const CavityLoss& c) {
  const Estimate& w = c.washout_cm3_per_h;
  require(c.capacity_cm3 > 0 && std::isfinite(c.capacity_cm3), "cavity", c.capacity_cm3, "a volume above 0");
  require(c.reserve_pct >= 0 && c.reserve_pct <= 100, "reserve", c.reserve_pct, "0 to 100 %");
  require(w.value > 0 && w.low > 0 && w.low <= w.value && w.value <= w.high && std::isfinite(w.high), "washout",
          w.value, "a rate above 0 within its interval");
  require(c.scatter_sd >= 0 && std::isfinite(c.scatter_sd), "scatter", c.scatter_sd, "0 or more");
  require(c.fill_sd_cm3 >= 0 && std::isfinite(c.fill_sd_cm3), "fill error", c.fill_sd_cm3, "0 or more");
  require(c.dose_cm3_per_h >= 0 && std::isfinite(c.dose_cm3_per_h), "dose", c.dose_cm3_per_h, "0 or more");
  require(c.ratio.low <= c.ratio.value && c.ratio.value <= c.ratio.high && std::isfinite(c.ratio.high),
          "delivery ratio", c.ratio.value, "a ratio within its interval");
}

double log_sd_of(const Estimate& w) { return (std::log(w.high) - std::log(w.low)) / (2 * kZ95); }
double sd_of(const Estimate& e) { return (e.high - e.low) / (2 * kZ95); }
/// Volume that may be missing with the fill at the reserve.
double limit_of(const CavityLoss& c) { return c.capacity_cm3 * (1 - c.reserve_pct / 100); }
double start_of(const CavityLoss& c, double z) { return std::max(0.0, z * c.fill_sd_cm3); }
double ratio_of(const CavityLoss& c, double z) { return std::max(0.0, c.ratio.value + z * sd_of(c.ratio)); }

// The rate is integrated out in closed form, start and delivery over their nodes.
double p_above(const CavityLoss& c, double run_h) {
  constexpr std::size_t kStarts = 40, kRatios = 20;
  const double limit = limit_of(c), mean = std::log(c.washout_cm3_per_h.value);
  const double sd = std::hypot(log_sd_of(c.washout_cm3_per_h), c.scatter_sd);
  const bool is_dosed = c.dose_cm3_per_h > 0 && c.ratio.high > c.ratio.low;
  double p = 0;
  for (const double zm : nodes<kStarts>()) {
    const double room = limit - start_of(c, zm);
    if (room < 0) continue;
    double of_ratios = 0;
    for (std::size_t i = 0; i < (is_dosed ? kRatios : 1); ++i) {
      const double r = is_dosed ? ratio_of(c, nodes<kRatios>()[i]) : std::max(0.0, c.ratio.value);
      const double rate = run_h > 0 ? room / run_h + r * c.dose_cm3_per_h : HUGE_VAL;
      if (!(rate > 0)) continue;
      const double z = (std::log(rate) - mean);
      of_ratios += sd > 0 ? normal_cdf(z / sd) : (z >= 0 ? 1.0 : 0.0);
    }
    p += of_ratios / static_cast<double>(is_dosed ? kRatios : 1);
  }
  return p / static_cast<double>(kStarts);
}

void require_confidence(double p) { require(p > 0 && p < 1, "confidence", p, "a probability between 0 and 1"); }

/// Running hours of an interval with more than `limit` missing; loss and dose are even over it.
double below(double start, double net, double run_h, double limit) {
  if (start >= limit) return net >= 0 ? run_h : std::min(run_h, (start - limit) / -net);
  if (net <= 0) return 0;
  return std::max(0.0, run_h - (limit - start) / net);
}

Estimate spread(std::vector<double>& values) {
  std::sort(values.begin(), values.end());
  const auto at = [&](double p) {
    const double x =
        std::clamp(p * static_cast<double>(values.size()) - 0.5, 0.0, static_cast<double>(values.size() - 1));
    const auto i = static_cast<std::size_t>(x);
    const double part = x - static_cast<double>(i);
    return i + 1 < values.size() ? values[i] + part * (values[i + 1] - values[i]) : values[i];
  };
  return {at(0.5), at(0.05), at(0.95)};
}

}  // namespace

double p_above_reserve(const CavityLoss& c, double run_h) {
  require_plain(c);
  require(run_h >= 0 && std::isfinite(run_h), "running hours", run_h, "0 or more");
  return p_above(c, run_h);
}

std::optional<double> longest_interval_h(const CavityLoss& c, double confidence) {
  require_plain(c);
  require_confidence(confidence);
  if (p_above(c, kNoLimitH) >= confidence) return std::nullopt;
  if (p_above(c, 0) < confidence) return 0.0;
  double holds = 0, fails = kNoLimitH;
  while (fails - holds > 1e-3 * std::max(1.0, holds)) {
    const double middle = 0.5 * (holds + fails);
    (p_above(c, middle) >= confidence ? holds : fails) = middle;
  }
  return holds;
}

std::optional<double> smallest_dose_cm3_per_h(const CavityLoss& c, double run_h, double confidence) {
  require_plain(c);
  require_confidence(confidence);
  require(run_h >= 0 && std::isfinite(run_h), "running hours", run_h, "0 or more");
  CavityLoss trial = c;
  const auto holds_with = [&](double dose) {
    trial.dose_cm3_per_h = dose;
    return p_above(trial, run_h) >= confidence;
  };
  if (holds_with(0)) return 0.0;
  const double most = 100 * c.washout_cm3_per_h.high;
  if (!holds_with(most)) return std::nullopt;
  double fails = 0, holds = most;
  while (holds - fails > 1e-4 * holds) {
    const double middle = 0.5 * (holds + fails);
    (holds_with(middle) ? holds : fails) = middle;
  }
  return holds;
}

YearOfGrease year_of_grease(const CavityLoss& c, std::optional<double> interval_h, double hours_per_year) {
  require_plain(c);
  require(hours_per_year > 0 && std::isfinite(hours_per_year), "hours a year", hours_per_year, "a number above 0");
  if (interval_h) require(*interval_h > 0 && std::isfinite(*interval_h), "interval", *interval_h, "a number above 0");
  constexpr std::size_t kRates = 20, kRatios = 10, kScatters = 10, kStarts = 10;
  const double run_h = interval_h.value_or(hours_per_year);
  const double limit = limit_of(c), log_sd = log_sd_of(c.washout_cm3_per_h), mean = std::log(c.washout_cm3_per_h.value);
  YearOfGrease out;
  const double stretches = hours_per_year / run_h;
  out.greasings = interval_h ? stretches : 0;
  std::vector<double> by_hand, automatic, to_sea, surplus, below_h;
  for (const double zw : nodes<kRates>()) {
    for (const double zr : nodes<kRatios>()) {
      const double arrives = ratio_of(c, zr) * c.dose_cm3_per_h;
      double taken = 0, left = 0, over = 0, under_h = 0;
      for (const double zs : nodes<kScatters>()) {
        const double w = std::exp(mean + log_sd * zw + c.scatter_sd * zs);
        over += std::max(0.0, arrives - w) * hours_per_year;
        for (const double zm : nodes<kStarts>()) {
          const double start = start_of(c, zm), end = start + (w - arrives) * run_h;
          // What is missing at the end less what was missing at the start went to sea beyond the dose.
          taken += std::clamp(end, 0.0, c.capacity_cm3) * stretches;
          left += (std::clamp(end, 0.0, c.capacity_cm3) - start) * stretches;
          under_h += below(start, w - arrives, run_h, limit) * stretches;
        }
      }
      constexpr double kOwn = kScatters * kStarts;
      by_hand.push_back(interval_h ? taken / kOwn : 0);
      automatic.push_back(arrives * hours_per_year);
      to_sea.push_back(std::max(0.0, automatic.back() + (interval_h ? by_hand.back() : left / kOwn)));
      surplus.push_back(over / static_cast<double>(kScatters));
      below_h.push_back(under_h / kOwn);
    }
  }
  out.by_hand_cm3 = spread(by_hand);
  out.automatic_cm3 = spread(automatic);
  out.to_sea_cm3 = spread(to_sea);
  out.surplus_cm3 = spread(surplus);
  out.below_reserve_h = spread(below_h);
  return out;
}

}  // namespace shaftlog
