// The quick ways of the tests by ranks against their definitions, with ties in both coordinates.
#include "analysis/prediction.hpp"
#include "analysis/trend.hpp"

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <map>
#include <numeric>
#include <vector>

#include <catch2/catch.hpp>
#include <rapidcheck/catch.h>

using namespace shaftlog;

namespace {

int sign(double v) { return (v > 0) - (v < 0); }

/// In quarters; few different ones, so that many are equal, or many.
std::vector<double> values(std::size_t n) {
  const int most = *rc::gen::element(2, 5, 2000);
  std::vector<double> v;
  for (std::size_t i = 0; i < n; ++i) v.push_back(*rc::gen::inRange(-most, most) / 4.0);
  return v;
}

std::int64_t s_by_pairs(const std::vector<double>& x, const std::vector<double>& y) {
  std::int64_t s = 0;
  for (std::size_t i = 0; i < x.size(); ++i)
    for (std::size_t j = i + 1; j < x.size(); ++j) s += sign(x[j] - x[i]) * sign(y[j] - y[i]);
  return s;
}

/// Of S, with ties in both. \source [gilbert_1987], docs/methods/trend.md
double variance_by_groups(const std::vector<double>& x, const std::vector<double>& y) {
  const auto sums = [](const std::vector<double>& v) {
    std::map<double, double> groups;
    for (const double a : v) ++groups[a];
    std::vector<double> t(3, 0.0);
    for (const auto& [value, g] : groups) {
      t[0] += g * (g - 1);
      t[1] += g * (g - 1) * (g - 2);
      t[2] += g * (g - 1) * (2 * g + 5);
    }
    return t;
  };
  const auto a = sums(x), b = sums(y);
  const auto n = static_cast<double>(x.size());
  double v = (n * (n - 1) * (2 * n + 5) - a[2] - b[2]) / 18 + a[0] * b[0] / (2 * n * (n - 1));
  if (n > 2) v += a[1] * b[1] / (9 * n * (n - 1) * (n - 2));
  return v;
}

}  // namespace

TEST_CASE("trend: S by sorting is S pair by pair, and its variance that of the groups", "[analysis][property]") {
  rc::prop("with ties", [] {
    const std::size_t n = *rc::gen::inRange<std::size_t>(2, 70);
    const auto x = values(n), y = values(n);
    const MannKendall m = mann_kendall(x, y);
    RC_ASSERT(m.s == s_by_pairs(x, y));
    RC_ASSERT(m.variance == variance_by_groups(x, y));
  });
}

TEST_CASE("trend: the tail of S is counted over all orders of few values", "[analysis][property]") {
  for (int n = 2; n <= 7; ++n) {
    std::vector<double> x(static_cast<std::size_t>(n)), y = x;
    std::iota(x.begin(), x.end(), 0.0);
    std::iota(y.begin(), y.end(), 0.0);
    std::map<std::int64_t, double> orders;
    double all = 0;
    do {
      ++orders[s_by_pairs(x, y)];
      ++all;
    } while (std::next_permutation(y.begin(), y.end()));
    const int most = n * (n - 1) / 2;
    for (int s = -most - 2; s <= most + 2; ++s) {
      double as_large = 0;
      for (const auto& [value, count] : orders)
        if (value >= s) as_large += count;
      INFO(n << " values, S at least " << s);
      CHECK(kendall_tail(s, n) == Approx(as_large / all).margin(1e-14));
    }
  }
  // Where the tails that are kept end: one value more moves the chance of half of the pairs but little.
  CHECK(kendall_tail(1, 60) + kendall_tail(0, 60) == Approx(1));
  CHECK(kendall_tail(1, 61) + kendall_tail(0, 61) == Approx(1));
  CHECK(kendall_tail(300, 61) > kendall_tail(300, 60));
}

TEST_CASE("trend: the slopes that Theil-Sen selects are those of all pairs in order", "[analysis][property]") {
  rc::prop("with ties", [] {
    const std::size_t n = *rc::gen::inRange<std::size_t>(3, 60);
    auto x = values(n), y = values(n);
    x[0] = 1000;  // one at least differs
    const double confidence = *rc::gen::element(0.05, 0.5, 0.9, 0.99);
    std::vector<double> slopes;
    for (std::size_t i = 0; i < n; ++i)
      for (std::size_t j = i + 1; j < n; ++j)
        if (x[i] != x[j]) slopes.push_back((y[j] - y[i]) / (x[j] - x[i]));
    std::sort(slopes.begin(), slopes.end());
    const TheilSen t = theil_sen(x, y, confidence);
    RC_ASSERT(t.pairs == static_cast<std::int64_t>(slopes.size()));
    RC_ASSERT(t.slope == median(slopes));
    const auto pairs = static_cast<double>(slopes.size());
    const auto at = [&](double rank) { return slopes.at(static_cast<std::size_t>(rank) - 1); };
    const double low = std::nearbyint(t.ranks.low), high = std::nearbyint(t.ranks.high) + 1;
    if (low >= 1)
      RC_ASSERT(t.limits.low == at(low));
    else
      RC_ASSERT(std::isinf(t.limits.low));
    if (high <= pairs)
      RC_ASSERT(t.limits.high == at(high));
    else
      RC_ASSERT(std::isinf(t.limits.high));
    RC_ASSERT(t.limits_interpolated.has_value() == (std::floor(t.ranks.low) >= 1));
    if (t.limits_interpolated) {
      const double k = std::floor(t.ranks.low), part = t.ranks.low - k;
      RC_ASSERT(t.limits_interpolated->low == at(k) + part * (at(k + 1) - at(k)));
    }
  });
}
