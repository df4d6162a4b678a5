#pragma once

#include "analysis/distributions.hpp"

#include <span>

namespace shaftlog {

// A straight line by least squares, with or without weights. Formulas and limits of use: docs/methods/least-squares.md.

/// y = intercept + slope x. With weights, "variance" is that of an observation of weight 1.
struct LineFit {
  double intercept = 0, slope = 0;
  double slope_se = 0;     ///< nan when dof is 0
  double p = 1;            ///< two-sided, of a slope of 0; nan when dof is 0
  double centre = 0;       ///< weighted mean of x: there and only there the level does not depend on the slope
  double level = 0;        ///< of the line at the centre: the weighted mean of y
  double weight = 0;       ///< sum of the weights
  double spread = 0;       ///< weighted squares of x about the centre
  double dof = 0;          ///< n - 2
  double rss = 0;          ///< weighted
  double residual_sd = 0;  ///< sqrt(rss / dof); nan when dof is 0
};

/// By sums about the weighted means (Norris of the StRD sets to 1e-10, a line far from 0 as well).
/// \param weights empty: all 1; else as long as y, > 0, proportional to 1 / variance
/// \throws Error{bad_data} when lengths differ, a value is not finite, there are fewer than 2 records, or x is the same
///         in all
/// \source [nist_strd], [weisberg_2005]
LineFit fit_line(std::span<const double> x, std::span<const double> y, std::span<const double> weights = {});
/// Confidence limits of the slope. \throws Error{bad_data} for a confidence not between 0 and 1
Interval slope_limits(const LineFit& line, double confidence = 0.9);

}  // namespace shaftlog
