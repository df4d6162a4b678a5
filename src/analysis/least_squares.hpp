#pragma once

#include "analysis/distributions.hpp"

#include <cstddef>
#include <functional>
#include <optional>
#include <span>
#include <string>
#include <vector>

namespace shaftlog {

// Least squares: linear, with or without weights, non-linear curves, and counts with exposure.
// Formulas and limits of use: docs/methods/least-squares.md.

/// A fitted linear model y = X b. With weights, "variance" is that of an observation of weight 1.
struct LinearFit {
  std::vector<double> coefficients;     ///< intercept first when there is one, unit of y per unit of the column
  std::vector<double> standard_errors;  ///< nan when dof is 0
  std::vector<double> unscaled;         ///< (X'WX)^-1, row by row; times residual_sd^2 it is the covariance
  std::vector<double> residuals;        ///< y - fit, unweighted
  std::vector<double> leverages;        ///< diagonal of the hat matrix
  std::vector<double> studentised;      ///< residuals over their sd estimated without that record; nan when undefined
  std::vector<double> cook_distances;
  bool intercept = true;
  double dof = 0;          ///< n - p
  double rss = 0;          ///< weighted
  double residual_sd = 0;  ///< sqrt(rss / dof); nan when dof is 0
  double r_squared = 0;    ///< against the mean; without intercept against 0
  double ms_regression = 0, ms_residual = 0, f_statistic = 0, f_p = 1;
  double durbin_watson = 0;   ///< of the residuals in record order
  double log_likelihood = 0;  ///< normal, at the maximum likelihood variance rss / n
};

/// Ordinary or weighted least squares by Householder QR on scaled columns (certified StRD sets to 1e-8 and better).
/// \param columns each as long as y, finite; the constant column is added by `intercept`
/// \param weights empty: all 1; else as long as y, > 0, proportional to 1 / variance
/// \throws Error{bad_data} when lengths differ, a value is not finite, there are fewer records than coefficients, or
///         the columns are collinear (the message names the column)
/// \source [nist_strd], [weisberg_2005]
LinearFit fit_linear(std::span<const double> y, std::span<const std::vector<double>> columns, bool intercept = true,
                     std::span<const double> weights = {});
/// The straight line y = b0 + b1 x.
LinearFit fit_line(std::span<const double> x, std::span<const double> y, std::span<const double> weights = {});
/// Confidence limits of coefficient i.
Interval coefficient_limits(const LinearFit& fit, std::size_t i, double confidence = 0.9);

/// A curve with parameters b: returns the value at x and writes its derivatives by b into `gradient`.
using Curve = std::function<double(double x, std::span<const double> b, std::span<double> gradient)>;

struct CurveFit {
  std::vector<double> parameters, standard_errors;
  double rss = 0, residual_sd = 0, dof = 0;
  int steps = 0;
  /// True only when the relative offset is small AND every parameter moves the curve: a fit that ran onto a plateau,
  /// where a derivative vanishes, is not converged and its standard errors are infinite.
  bool converged = false;
};
/// Levenberg-Marquardt. Convergence is judged by the relative offset of Bates and Watts (projection of the residuals
/// on the tangent plane), not by how little a step changed.
/// \throws Error{bad_data} when lengths differ, a value is not finite, or there are fewer records than parameters
/// \source [nist_strd] non-linear sets
CurveFit fit_curve(const Curve& curve, std::span<const double> x, std::span<const double> y,
                   std::span<const double> start, int max_steps = 500);

/// y = b1 (1 - exp(-b2 x)): an exponential approach to b1. Needs no start: b1 is linear given b2, so b2 is first
/// searched on a grid from 1e-3 / max(x) to 1e3 / min(x).
/// \param x > 0
/// \return converged = false when the records cannot tell an approach from a straight line or from a plateau
CurveFit fit_exponential_approach(std::span<const double> x, std::span<const double> y);

/// Poisson regression with log link: log mean = log exposure + X b, by iterated weighted least squares.
struct CountFit {
  std::vector<double> coefficients, standard_errors;
  double deviance = 0, pearson_chi2 = 0, dof = 0, dispersion = 0;  ///< dispersion = pearson_chi2 / dof
  bool converged = false;
};
/// \param counts >= 0; \param exposures > 0; \throws Error{bad_data} as fit_linear
/// \source [mccullagh_nelder_1989]
CountFit fit_counts(std::span<const double> counts, std::span<const double> exposures,
                    std::span<const std::vector<double>> columns);

}  // namespace shaftlog
