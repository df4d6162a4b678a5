#include "analysis/trend.hpp"

#include "analysis/prediction.hpp"
#include "base/error.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <map>
#include <numeric>

#include <fmt/format.h>

namespace shaftlog {

namespace {

constexpr double kInf = std::numeric_limits<double>::infinity();
constexpr std::size_t kExactUpTo = 60;

void need_pairs(std::span<const double> x, std::span<const double> y) {
  if (x.size() != y.size())
    throw Error{Errc::bad_data, fmt::format("y: {} values found, {} expected", y.size(), x.size())};
  if (x.size() < 2) throw Error{Errc::bad_data, fmt::format("records: {} found, at least 2 expected", x.size())};
  for (std::size_t i = 0; i < x.size(); ++i) {
    if (!std::isfinite(x[i])) throw Error{Errc::bad_data, fmt::format("x, row {}: {} is not finite", i + 1, x[i])};
    if (!std::isfinite(y[i])) throw Error{Errc::bad_data, fmt::format("y, row {}: {} is not finite", i + 1, y[i])};
  }
}
int sign(double v) { return (v > 0) - (v < 0); }

// Sums over groups of equal values that the variance needs.
struct Ties {
  double pairs = 0, triples = 0, weighted = 0;  // g(g-1), g(g-1)(g-2), g(g-1)(2g+5)
};
Ties ties_of(std::span<const double> v) {
  std::map<double, double> groups;
  for (const double x : v) ++groups[x];
  Ties t;
  for (const auto& [value, g] : groups) {
    t.pairs += g * (g - 1);
    t.triples += g * (g - 1) * (g - 2);
    t.weighted += g * (g - 1) * (2 * g + 5);
  }
  return t;
}

}  // namespace

double kendall_tail(std::int64_t s, int n) {
  if (n < 2 || n > 170) throw Error{Errc::bad_data, fmt::format("n: {} is not between 2 and 170", n)};
  // Chance of each number of inversions, one factor (1 + x + ... + x^(k-1)) / k at a time by running sums.
  std::vector<double> law{1};
  for (int k = 2; k <= n; ++k) {
    std::vector<double> next(law.size() + static_cast<std::size_t>(k) - 1, 0.0);
    for (std::size_t i = 0; i < law.size(); ++i)
      for (std::size_t j = 0; j < static_cast<std::size_t>(k); ++j) next[i + j] += law[i] / k;
    law = std::move(next);
  }
  const std::int64_t most = static_cast<std::int64_t>(n) * (n - 1) / 2;
  double p = 0;
  for (std::size_t i = 0; i < law.size(); ++i)
    if (most - 2 * static_cast<std::int64_t>(i) >= s) p += law[i];
  return std::min(1.0, p);
}

MannKendall mann_kendall(std::span<const double> x, std::span<const double> y) {
  need_pairs(x, y);
  const auto n = static_cast<double>(x.size());
  MannKendall r;
  for (std::size_t i = 0; i < x.size(); ++i)
    for (std::size_t j = i + 1; j < x.size(); ++j) r.s += sign(x[j] - x[i]) * sign(y[j] - y[i]);
  const Ties tx = ties_of(x), ty = ties_of(y);
  r.variance = (n * (n - 1) * (2 * n + 5) - tx.weighted - ty.weighted) / 18 + tx.pairs * ty.pairs / (2 * n * (n - 1));
  if (n > 2) r.variance += tx.triples * ty.triples / (9 * n * (n - 1) * (n - 2));
  const auto s = static_cast<double>(r.s);
  const double all = n * (n - 1);
  r.tau_b = 2 * s / std::sqrt((all - tx.pairs) * (all - ty.pairs));
  if (r.variance > 0) {
    const double sd = std::sqrt(r.variance);
    r.z = (s - sign(s)) / sd;
    r.z_plain = s / sd;
    r.p_two_sided = 2 * normal_tail(std::abs(r.z));
    r.p_two_sided_plain = 2 * normal_tail(std::abs(r.z_plain));
    r.p_rising_plain = normal_tail(r.z_plain);
  }
  if (tx.pairs == 0 && ty.pairs == 0 && x.size() <= kExactUpTo) {
    r.p_rising_exact = kendall_tail(r.s, static_cast<int>(x.size()));
    r.p_two_sided_exact = std::min(1.0, 2 * kendall_tail(std::abs(r.s), static_cast<int>(x.size())));
  }
  return r;
}

TheilSen theil_sen(std::span<const double> x, std::span<const double> y, double confidence) {
  need_pairs(x, y);
  if (!(confidence > 0 && confidence < 1))
    throw Error{Errc::bad_data, fmt::format("confidence: {} is not between 0 and 1", confidence)};
  TheilSen r;
  for (std::size_t i = 0; i < x.size(); ++i)
    for (std::size_t j = i + 1; j < x.size(); ++j)
      if (x[i] != x[j]) r.slopes.push_back((y[j] - y[i]) / (x[j] - x[i]));
  if (r.slopes.empty())
    throw Error{Errc::bad_data, fmt::format("x: all {} values are {}, so there is no slope", x.size(), x[0])};
  std::sort(r.slopes.begin(), r.slopes.end());
  r.pairs = static_cast<std::int64_t>(r.slopes.size());
  r.slope = median(r.slopes);
  std::vector<double> rest;
  for (std::size_t i = 0; i < x.size(); ++i) rest.push_back(y[i] - r.slope * x[i]);
  r.intercept = median(rest);
  r.intercept_of_medians = median(y) - r.slope * median(x);
  const double n = static_cast<double>(r.pairs);
  const double half = normal_quantile(0.5 * (1 + confidence)) * std::sqrt(mann_kendall(x, y).variance);
  r.ranks = {0.5 * (n - half), 0.5 * (n + half)};
  // Half-way ranks round to even, as IEC 60559 does. Below rank 1 no limit can be given.
  const double low = std::nearbyint(r.ranks.low), high = std::nearbyint(r.ranks.high) + 1;
  const auto at = [&](double rank) { return r.slopes[static_cast<std::size_t>(rank) - 1]; };
  r.limits = {low >= 1 ? at(low) : -kInf, high <= n ? at(high) : kInf};
  if (std::floor(r.ranks.low) >= 1) {
    const auto between = [&](double rank) {
      const double k = std::floor(rank);
      return k >= n ? at(n) : at(k) + (rank - k) * (at(k + 1) - at(k));
    };
    r.limits_interpolated = Interval{between(r.ranks.low), between(r.ranks.high + 1)};
  }
  return r;
}

}  // namespace shaftlog
