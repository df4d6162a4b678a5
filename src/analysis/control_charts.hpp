#pragma once

#include "analysis/distributions.hpp"

#include <cstddef>
#include <optional>
#include <span>
#include <vector>

namespace shaftlog {

// Control charts for successive values, and how long they run. Formulas and limits of use:
// docs/methods/control-charts.md. All assume independent normal values of constant spread.

/// d2 and D4 of a moving range of two, exact: 2 / sqrt(pi) and 1 + 3 d3 / d2.
double moving_range_d2() noexcept;
double moving_range_d4() noexcept;

struct IndividualsChart {
  double mean = 0, mean_moving_range = 0;
  double sigma = 0;                  ///< mean moving range / d2
  double low = 0, high = 0;          ///< mean -+ width * sigma
  double moving_range_high = 0;      ///< D4 * mean moving range
  std::vector<std::size_t> outside;  ///< positions beyond a limit
};
/// \param x at least 2 finite values; \param d2 handbooks print 1.128
/// \throws Error{bad_data}; \source [nist_6_3_2_2]
IndividualsChart individuals_chart(std::span<const double> x, double width = 3, double d2 = moving_range_d2());

struct EwmaChart {
  std::vector<double> values;
  std::vector<double> low, high;  ///< exact limits, widening from the start
  double low_asymptotic = 0, high_asymptotic = 0;
  std::optional<std::size_t> first_signal;  ///< position of the first value beyond the exact limits
};
/// z_i = lambda x_i + (1 - lambda) z_(i-1), z_0 = target.
/// \param sigma of one value, > 0; \param lambda above 0, up to 1; \param width L > 0
/// \source [nist_6_3_2_4], [lucas_saccucci_1990]
EwmaChart ewma_chart(std::span<const double> x, double target, double sigma, double lambda, double width = 3);

struct CusumChart {
  std::vector<double> upper, lower;  ///< tabular sums, unit of x, both >= 0
  std::vector<double> sums;          ///< plain sums of x - target
  std::optional<std::size_t> first_signal;
  bool upward = false;               ///< the side of the signal
  std::size_t steps_since_zero = 0;  ///< of that side, up to the signal
  double new_mean = 0;               ///< target +- (k + sum / steps); nan without a signal
};
/// \param k reference value, \param h decision limit, \param head_start fast initial response: all >= 0, unit of x
/// \source [nist_6_3_2_3], [lucas_crosier_1982]
CusumChart cusum_chart(std::span<const double> x, double target, double k, double h, double head_start = 0);

/// Average run lengths of standardised normal values whose mean has moved by `shift` (in sigma) from the start, by
/// Gauss-Legendre solution of the integral equation. \param k, h, head_start in sigma; h > 0, 0 <= head_start <= h
/// \throws Error{bad_data}; \source [brook_evans_1972], [lucas_crosier_1982], [crowder_1987]
double cusum_run_length(double k, double h, double shift, double head_start = 0);
/// Both sides together; the head start holds on both. See the method page for when that holds.
double cusum_run_length_two_sided(double k, double h, double shift, double head_start = 0);
/// EWMA with constant limits -+ width * sqrt(lambda / (2 - lambda)), started at the target.
double ewma_run_length(double lambda, double width, double shift);
/// Shewhart chart of -+ width sigma. \source closed form
double shewhart_run_length(double width, double shift);

/// h that gives the two-sided sum a wanted run length when nothing has changed. \param run_length > 2
double cusum_limit_for(double k, double run_length);
/// L that gives the EWMA a wanted run length when nothing has changed.
double ewma_width_for(double lambda, double run_length);

}  // namespace shaftlog
