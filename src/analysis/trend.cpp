#include "analysis/trend.hpp"

#include "analysis/prediction.hpp"
#include "analysis/wide.hpp"
#include "base/error.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numeric>
#include <utility>

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
  std::vector<double> sorted{v.begin(), v.end()};
  std::sort(sorted.begin(), sorted.end());
  Ties t;
  for (std::size_t i = 0; i < sorted.size();) {
    std::size_t end = i + 1;
    while (end < sorted.size() && sorted[end] == sorted[i]) ++end;
    const auto g = static_cast<double>(end - i);
    t.pairs += g * (g - 1);
    t.triples += g * (g - 1) * (g - 2);
    t.weighted += g * (g - 1) * (2 * g + 5);
    i = end;
  }
  return t;
}

double variance_of(double n, const Ties& x, const Ties& y) {
  double v = (n * (n - 1) * (2 * n + 5) - x.weighted - y.weighted) / 18 + x.pairs * y.pairs / (2 * n * (n - 1));
  if (n > 2) v += x.triples * y.triples / (9 * n * (n - 1) * (n - 2));
  return v;
}

/// Pairs i < j with v[i] > v[j]; sorts v on the way.
std::int64_t sort_counting(std::vector<double>& v) {
  std::int64_t count = 0;
  std::vector<double> other(v.size());
  for (std::size_t width = 1; width < v.size(); width *= 2) {
    for (std::size_t from = 0; from < v.size(); from += 2 * width) {
      const std::size_t middle = std::min(from + width, v.size()), end = std::min(from + 2 * width, v.size());
      std::size_t left = from, right = middle;
      for (std::size_t k = from; k < end; ++k) {
        if (left < middle && (right == end || !(v[right] < v[left]))) {
          other[k] = v[left++];
        } else {
          count += static_cast<std::int64_t>(middle - left);
          other[k] = v[right++];
        }
      }
    }
    v.swap(other);
  }
  return count;
}

/// Kendall's S by sorting: all pairs, less those that are equal in x or in y, less twice those that fall.
/// \source the way of W. R. Knight, J. Am. Stat. Assoc. 61 (1966), 436-439
std::int64_t kendall_s(std::span<const double> x, std::span<const double> y, const Ties& tx, const Ties& ty) {
  std::vector<std::pair<double, double>> points(x.size());
  for (std::size_t i = 0; i < x.size(); ++i) points[i] = {x[i], y[i]};
  std::sort(points.begin(), points.end());
  std::int64_t both = 0, run = 0;  // pairs that are equal in x and y
  for (std::size_t i = 1; i < points.size(); ++i) {
    run = points[i] == points[i - 1] ? run + 1 : 0;
    both += run;
  }
  std::vector<double> in_order(y.size());
  for (std::size_t i = 0; i < points.size(); ++i) in_order[i] = points[i].second;
  const auto n = static_cast<std::int64_t>(x.size());
  const auto half = [](double pairs) { return static_cast<std::int64_t>(pairs) / 2; };
  return n * (n - 1) / 2 - half(tx.pairs) - half(ty.pairs) + both - 2 * sort_counting(in_order);
}

/// Chance of each number of inversions of one more value: a factor (1 + x + ... + x^(k-1)) / k.
std::vector<double> with_one_more(const std::vector<double>& law, int k) {
  std::vector<double> next(law.size() + static_cast<std::size_t>(k) - 1, 0.0);
  for (std::size_t i = 0; i < law.size(); ++i) {
    const double part = law[i] / k;
    for (std::size_t j = 0; j < static_cast<std::size_t>(k); ++j) next[i + j] += part;
  }
  return next;
}

/// For each n up to kExactUpTo the chance of up to so many inversions.
std::vector<std::vector<double>> make_tails() {
  std::vector<std::vector<double>> tails(kExactUpTo + 1);
  std::vector<double> law{1};
  for (std::size_t n = 2; n <= kExactUpTo; ++n) {
    law = with_one_more(law, static_cast<int>(n));
    tails[n].resize(law.size());
    std::partial_sum(law.begin(), law.end(), tails[n].begin());
  }
  return tails;
}

/// Slopes of the first point with every other; all x differ.
SHAFTLOG_WIDE void put_slopes(std::span<const double> x, std::span<const double> y, double* out) {
  for (std::size_t j = 1; j < x.size(); ++j) out[j - 1] = (y[j] - y[0]) / (x[j] - x[0]);
}

/// Puts what sorting would put at `ranks` (from 0, rising) there; the rest stays in no order.
/// \param offset rank of v's first place
void select_all(std::span<double> v, std::span<const std::size_t> ranks, std::size_t offset = 0) {
  if (ranks.empty()) return;
  const std::size_t m = ranks.size() / 2, at = ranks[m] - offset;
  std::nth_element(v.begin(), v.begin() + static_cast<std::ptrdiff_t>(at), v.end());
  select_all(v.first(at), ranks.first(m), offset);
  select_all(v.subspan(at + 1), ranks.subspan(m + 1), offset + at + 1);
}

}  // namespace

double kendall_tail(std::int64_t s, int n) {
  if (n < 2 || n > 170) throw Error{Errc::bad_data, fmt::format("n: {} is not between 2 and 170", n)};
  const std::int64_t most = static_cast<std::int64_t>(n) * (n - 1) / 2;
  if (s > most) return 0;
  const auto last = static_cast<std::size_t>((most - std::max(s, -most)) / 2);  // inversions, of up to which all count
  if (static_cast<std::size_t>(n) <= kExactUpTo) {
    static const std::vector<std::vector<double>> kTails = make_tails();
    return std::min(1.0, kTails[static_cast<std::size_t>(n)][last]);
  }
  std::vector<double> law{1};
  for (int k = 2; k <= n; ++k) law = with_one_more(law, k);
  return std::min(1.0, std::accumulate(law.begin(), law.begin() + static_cast<std::ptrdiff_t>(last) + 1, 0.0));
}

MannKendall mann_kendall(std::span<const double> x, std::span<const double> y) {
  need_pairs(x, y);
  const auto n = static_cast<double>(x.size());
  MannKendall r;
  const Ties tx = ties_of(x), ty = ties_of(y);
  r.s = kendall_s(x, y, tx, ty);
  r.variance = variance_of(n, tx, ty);
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

std::vector<double> pair_slopes(std::span<const double> x, std::span<const double> y) {
  need_pairs(x, y);
  std::vector<double> slopes(x.size() * (x.size() - 1) / 2);
  std::size_t k = 0;
  if (ties_of(x).pairs == 0) {
    for (std::size_t i = 0; i + 1 < x.size(); ++i) {
      put_slopes(x.subspan(i), y.subspan(i), slopes.data() + k);
      k += x.size() - i - 1;
    }
  } else {
    for (std::size_t i = 0; i < x.size(); ++i)
      for (std::size_t j = i + 1; j < x.size(); ++j)
        if (x[i] != x[j]) slopes[k++] = (y[j] - y[i]) / (x[j] - x[i]);
  }
  slopes.resize(k);
  if (slopes.empty())
    throw Error{Errc::bad_data, fmt::format("x: all {} values are {}, so there is no slope", x.size(), x[0])};
  return slopes;
}

TheilSen theil_sen(std::span<const double> x, std::span<const double> y, double confidence) {
  need_pairs(x, y);
  if (!(confidence > 0 && confidence < 1))
    throw Error{Errc::bad_data, fmt::format("confidence: {} is not between 0 and 1", confidence)};
  TheilSen r;
  std::vector<double> slopes = pair_slopes(x, y);
  r.pairs = static_cast<std::int64_t>(slopes.size());
  const double n = static_cast<double>(r.pairs);
  const double half = normal_quantile(0.5 * (1 + confidence)) *
                      std::sqrt(variance_of(static_cast<double>(x.size()), ties_of(x), ties_of(y)));
  r.ranks = {0.5 * (n - half), 0.5 * (n + half)};
  // Half-way ranks round to even, as IEC 60559 does. Below rank 1 no limit can be given.
  const double low = std::nearbyint(r.ranks.low), high = std::nearbyint(r.ranks.high) + 1;
  // Only the slopes that are told need their place.
  std::vector<std::size_t> ranks{slopes.size() / 2, (slopes.size() - 1) / 2};
  for (const double rank : {r.ranks.low, r.ranks.low + 1, low, r.ranks.high + 1, r.ranks.high + 2, high})
    if (std::floor(rank) >= 1 && std::floor(rank) <= n) ranks.push_back(static_cast<std::size_t>(rank) - 1);
  std::sort(ranks.begin(), ranks.end());
  ranks.erase(std::unique(ranks.begin(), ranks.end()), ranks.end());
  select_all(slopes, ranks);
  const double upper = slopes[slopes.size() / 2], lower = slopes[(slopes.size() - 1) / 2];
  r.slope = lower + 0.5 * (upper - lower);
  std::vector<double> rest;
  for (std::size_t i = 0; i < x.size(); ++i) rest.push_back(y[i] - r.slope * x[i]);
  r.intercept = median(rest);
  r.intercept_of_medians = median(y) - r.slope * median(x);
  const auto at = [&](double rank) { return slopes[static_cast<std::size_t>(rank) - 1]; };
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
