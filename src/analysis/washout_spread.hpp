#pragma once

#include "analysis/types.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <vector>

/// Quantiles of weighted points, each spread evenly over a small width. Internal to analysis.
namespace shaftlog::washout {

/// Points of known mean and spread, added one by one.
class Histogram {
 public:
  Histogram(double mean, double sd, double widest) noexcept
      : reach_{5 * sd + widest}, from_{mean - reach_}, per_step_{kSlots / (2 * reach_)} {}
  void add(double value, double width, double weight) noexcept {
    const double at = (value - from_) * per_step_, half = 0.5 * width * per_step_;
    const double a = std::clamp(at - half, 0.0, kSlots - 1.0), b = std::clamp(at + half, a, kSlots - 1.0);
    const auto i = static_cast<std::size_t>(a), j = static_cast<std::size_t>(b);
    if (i == j) {
      mass_[i] += weight;
      return;
    }
    const double density = weight / (b - a);
    mass_[i] += density * (static_cast<double>(i + 1) - a);
    mass_[j] += density * (b - static_cast<double>(j));
    slope_[i + 1] += density;
    slope_[j] -= density;
  }
  /// \param sum of all weights
  [[nodiscard]] Estimate quantiles(double sum) const noexcept {
    std::array<double, 3> at{};
    constexpr std::array<double, 3> kLevels{0.05, 0.5, 0.95};
    double running = 0, below = 0;
    std::size_t next = 0;
    for (std::size_t i = 0; i < kSlots && next < 3; ++i) {
      running += slope_[i];
      const double here = mass_[i] + running;
      while (next < 3 && below + here >= kLevels[next] * sum) {
        const double share = here > 0 ? (kLevels[next] * sum - below) / here : 0;
        at[next++] = from_ + (static_cast<double>(i) + share) / per_step_;
      }
      below += here;
    }
    for (; next < 3; ++next) at[next] = from_ + 2 * reach_;
    return {at[1], at[0], at[2]};
  }

 private:
  static constexpr std::size_t kSlots = 160;
  double reach_, from_, per_step_;
  std::array<double, kSlots + 2> slope_{};  ///< differences of the density
  std::array<double, kSlots + 2> mass_{};
};

/// Points kept until all are known.
class Spread {
 public:
  void add(double value, double width, double weight) {
    if (weight > 0) points_.push_back({value, std::max(width, 1e-9), weight});
  }
  [[nodiscard]] Estimate quantiles() const {
    double sum = 0, mean = 0, second = 0;
    for (const Point& p : points_) sum += p.weight, mean += p.weight * p.value;
    if (!(sum > 0)) return {};
    mean /= sum;
    double widest = 0;
    for (const Point& p : points_) {
      second += p.weight * (p.value - mean) * (p.value - mean);
      widest = std::max(widest, p.weight > 1e-6 * sum ? p.width : 0);
    }
    Histogram h{mean, std::sqrt(second / sum), widest};
    for (const Point& p : points_) h.add(p.value, p.width, p.weight);
    return h.quantiles(sum);
  }

 private:
  struct Point {
    double value, width, weight;
  };
  std::vector<Point> points_;
};

inline Estimate exp_of(const Estimate& e) { return {std::exp(e.value), std::exp(e.low), std::exp(e.high)}; }

}  // namespace shaftlog::washout
