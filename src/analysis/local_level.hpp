#pragma once

#include "analysis/distributions.hpp"

#include <cstddef>
#include <span>
#include <vector>

namespace shaftlog {

// Local level model: y = level + noise, level a random walk. Formulas and limits of use: docs/methods/local-level.md.

struct LocalLevel {
  // One entry an observation; before the first value the level is unknown and entries are nan.
  std::vector<double> predicted, predicted_variance;      ///< of the level, before seeing y; nan at the first value
  std::vector<double> filtered, filtered_variance;        ///< of the level, having seen y
  std::vector<double> innovations, innovation_variances;  ///< y - predicted; nan at the first value and at gaps
  std::vector<double> smoothed, smoothed_variance;        ///< of the level, having seen all
  double next = 0, next_variance = 0;                     ///< level predicted one step past the end
  std::size_t observed = 0;                               ///< values that are not gaps
  double log_likelihood = 0;                              ///< exact diffuse, constant (observed - 1) log(2 pi) / 2
};
/// Kalman filter and fixed-interval smoother with an exactly diffuse first level.
/// \param y a nan is a gap; at least one value
/// \param noise, walk variances of an observation and of one step of the level, >= 0, not both 0
/// \throws Error{bad_data} when no value is left, one is infinite, or a variance is out of range
/// \source [durbin_koopman_2012] chapter 2
LocalLevel filter_local_level(std::span<const double> y, double noise, double walk);

/// One observation `ahead` >= 1 steps past the end: mean and variance.
struct Forecast {
  double mean = 0, variance = 0;
};
Forecast forecast_local_level(const LocalLevel& filtered, double noise, double walk, std::size_t ahead);

struct LocalLevelFit {
  double noise = 0, walk = 0;  ///< maximum likelihood variances; either may be 0
  double signal_to_noise = 0;  ///< walk / noise
  double log_likelihood = 0;   ///< diffuse, as above
  double concentrated = 0;     ///< concentrated likelihood without constants
};
/// Variances by maximum diffuse likelihood: noise is concentrated out and the ratio searched from 1e-8 to 1e8.
/// \throws Error{bad_data} for fewer than 3 values, or values that do not vary
LocalLevelFit fit_local_level(std::span<const double> y);
/// Concentrated diffuse log-likelihood of a ratio q = walk / noise, without additive constants.
double concentrated_likelihood(std::span<const double> y, double q);

/// Share of an innovation that the level takes over in the steady state of ratio q; the alpha of exponential
/// smoothing. The predicted variance there is noise * gain / (1 - gain).
double steady_gain(double q);

}  // namespace shaftlog
