#pragma once

#include "analysis/distributions.hpp"

#include <cstdint>
#include <optional>
#include <span>
#include <vector>

namespace shaftlog {

// Trend by ranks: no law of errors assumed, one wild value moves little. Formulas and limits of use:
// docs/methods/trend.md. Not for series whose successive values depend on each other: the tests then find too much.

/// Kendall's S of y on x: pairs that rise together less pairs that do not.
struct MannKendall {
  std::int64_t s = 0;
  double variance = 0;                               ///< of S, corrected for ties in x and in y
  double z = 0;                                      ///< (S - sign S) / sd, 0 when S is 0 or nothing varies
  double z_plain = 0;                                ///< S / sd, without continuity correction
  double tau_b = 0;                                  ///< nan when x or y does not vary
  double p_two_sided = 1;                            ///< normal, with continuity
  double p_two_sided_plain = 1, p_rising_plain = 1;  ///< normal, without
  std::optional<double> p_rising_exact;              ///< P(S >= s) by counting orders; empty with ties or n above 60
  std::optional<double> p_two_sided_exact;
};
/// \param x, y the same length n >= 2, finite, in any order; x need not be evenly spaced
/// O(n log n) time.
/// \throws Error{bad_data} when lengths differ, n < 2 or a value is not finite
/// \source [gilbert_1987], [epa_g9], [hollander_wolfe_1973]
MannKendall mann_kendall(std::span<const double> x, std::span<const double> y);

/// P(S >= s) among all orders of n different values. \param n 2 to 170
double kendall_tail(std::int64_t s, int n);

/// Theil-Sen slope of y on x: the median of all pairwise slopes.
struct TheilSen {
  std::int64_t pairs = 0;                       ///< with different x
  double slope = 0;                             ///< unit of y per unit of x
  double intercept = 0;                         ///< median of y - slope x
  double intercept_of_medians = 0;              ///< median of y less slope times median of x
  Interval ranks;                               ///< real-valued ranks M1, M2 between which the limits lie
  Interval limits;                              ///< Sen's limits, ranks rounded; unbounded where too few pairs
  std::optional<Interval> limits_interpolated;  ///< Gilbert's; empty where too few pairs
  std::vector<double> slopes;                   ///< sorted
};
/// O(n^2 log n) time, n(n-1)/2 doubles.
/// \throws Error{bad_data} as mann_kendall, and when no two x differ
/// \source [sen_1968], [gilbert_1987]
TheilSen theil_sen(std::span<const double> x, std::span<const double> y, double confidence = 0.9);

/// The slopes of all pairs with different x, in no order. \throws Error{bad_data} as theil_sen
std::vector<double> pair_slopes(std::span<const double> x, std::span<const double> y);

}  // namespace shaftlog
