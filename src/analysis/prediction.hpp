#pragma once

#include "analysis/distributions.hpp"
#include "analysis/least_squares.hpp"

#include <optional>
#include <span>
#include <vector>

namespace shaftlog {

// Describing one series, and saying what comes next. Formulas and limits of use: docs/methods/prediction.md.

struct Description {
  double mean = 0;
  double sd = 0;    ///< divisor n - 1; nan for one value
  double lag1 = 0;  ///< lag-1 autocorrelation in the order given; nan when the values do not vary
};
/// Two passes with a corrected, compensated mean: as many digits as the doubles hold (NumAcc4: 8 of sd).
/// \throws Error{bad_data} for an empty series or a value that is not finite
/// \source [nist_strd] univariate sets
Description describe(std::span<const double> x);
/// Middle value, mean of the two middle ones for an even count. \throws Error{bad_data} when empty or not finite
double median(std::span<const double> x);

/// What a fitted model says at one new point.
struct Prediction {
  double fit = 0;
  Interval mean;  ///< for the mean there
  Interval next;  ///< for one more observation (of weight 1)
};
/// \param point values of the columns, without the constant
/// \throws Error{bad_data} for another number of values than columns, or no degree of freedom left
/// \source [ezekiel_1930]
Prediction predict(const LinearFit& fit, std::span<const double> point, double confidence = 0.9);

/// Where a fitted straight line reaches a level.
struct Crossing {
  double x = 0;
  std::optional<Interval> limits;  ///< empty: the slope is not told from 0 at this confidence, any x is possible
};
/// Inverse prediction by Fieller's theorem, for the mean line. \throws Error{bad_data} when the slope is 0
/// \source [ezekiel_1930] data
Crossing line_crossing(const LinearFit& line, double level, double confidence = 0.9);

/// Single exponential smoothing. `forecasts[i]` is for y[i + 1], from y[0 .. i].
struct Smoothing {
  std::vector<double> forecasts;  ///< as long as y; the last one is for the value to come
  double sse = 0, mse = 0;        ///< of the one-step forecasts of y[1 ..]
};
/// \param alpha 0 < alpha <= 1; \param y at least 2 values
/// \source [nist_6_4_3_1]
Smoothing smooth_exponential(std::span<const double> y, double alpha);

}  // namespace shaftlog
