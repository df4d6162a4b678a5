#pragma once

#include <cstddef>
#include <span>
#include <vector>

namespace shaftlog {

// Regression when some values are only known to lie below, above or between limits.
// Formulas and limits of use: docs/methods/censored-regression.md.

/// A value known only within limits: low == high is exact, low = -inf left-censored, high = +inf right-censored.
struct CensoredValue {
  double low = 0, high = 0;
};

enum class ErrorLaw : unsigned char { normal, smallest_extreme };

/// value = intercept + columns * b + scale * error.
struct CensoredFit {
  std::vector<double> coefficients;     ///< intercept first
  std::vector<double> standard_errors;  ///< of the coefficients, from the observed information
  double scale = 0, log_scale = 0, log_scale_se = 0;
  std::vector<double> covariance;      ///< of (coefficients, log_scale), row by row
  double log_likelihood = 0;           ///< of the values as given (no log-transformation counted)
  double log_likelihood_constant = 0;  ///< of the intercept-only fit
  double lr_chi2 = 0;                  ///< against it; as many degrees of freedom as columns
  std::size_t exact = 0, left = 0, right = 0, interval = 0;
  bool converged = false;
};
/// Maximum likelihood by damped Newton steps on (b, log scale).
/// For log-normal lives pass logarithms with ErrorLaw::normal, for Weibull lives logarithms with smallest_extreme
/// (shape 1 / scale); the log-likelihood of the lives is lower by the sum of the logs of the exact ones.
/// \throws Error{bad_data} when lengths differ, low > high, a value says nothing (both ends infinite), too few values
///         carry information (fewer exact or interval ones than make a scale), or columns are collinear
/// \source [tobin_1958], [schmee_hahn_1979]
CensoredFit fit_censored(std::span<const CensoredValue> y, std::span<const std::vector<double>> columns,
                         ErrorLaw law = ErrorLaw::normal);

struct LinearPredictor {
  double value = 0, se = 0;
};
/// \param point values of the columns
LinearPredictor predict_censored(const CensoredFit& fit, std::span<const double> point);
/// p-quantile of a value at the point (on the scale of y: take exp for lives).
double quantile_censored(const CensoredFit& fit, std::span<const double> point, double p,
                         ErrorLaw law = ErrorLaw::normal);

}  // namespace shaftlog
