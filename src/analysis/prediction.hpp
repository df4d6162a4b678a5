#pragma once

#include "analysis/distributions.hpp"
#include "analysis/least_squares.hpp"

#include <span>

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

/// What a fitted line says at one more x.
struct Prediction {
  double fit = 0;
  Interval mean;  ///< for the mean there
  Interval next;  ///< for one more observation (of weight 1)
};
/// \throws Error{bad_data} when no degree of freedom is left
/// \source [ezekiel_1930]
Prediction predict(const LineFit& line, double x, double confidence = 0.9);

}  // namespace shaftlog
