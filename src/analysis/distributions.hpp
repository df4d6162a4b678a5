#pragma once

#include <cmath>
#include <cstdint>
#include <span>

namespace shaftlog {

// The laws of chance the analysis uses, as plain functions of double. Every function throws Error{bad_data} naming the
// value when a parameter is outside its range or not a number; p is a probability, 0 <= p <= 1. "tail" is always the
// upper one, P(X > x), kept to full relative accuracy when it is small.
// Accuracy: 1e-12 relative for quantiles, 1e-11 for tails; tests/reference/expected/09_distributions.csv [mpmath].
// Formulas: docs/methods/distributions.md.

/// An interval of a parameter; `high` may be infinite.
struct Interval {
  double low = 0, high = 0;
};

// --- normal ---------------------------------------------------------------------------------------------------------
// The first three are for hot loops: inline, unchecked, a nan goes through.

/// Density of the standard normal law.
inline double normal_pdf(double z) noexcept { return 0.39894228040143267794 * std::exp(-0.5 * z * z); }
/// P(Z <= z); full relative accuracy in the lower tail down to z = -37.
inline double normal_cdf(double z) noexcept { return 0.5 * std::erfc(-0.70710678118654752440 * z); }
/// P(Z > z).
inline double normal_tail(double z) noexcept { return 0.5 * std::erfc(0.70710678118654752440 * z); }

double normal_log_pdf(double z) noexcept;
/// log P(Z <= z), accurate for every z: below -37, where P underflows, by the continued fraction of Mills' ratio.
double normal_log_cdf(double z) noexcept;
/// z with P(Z <= z) = p; -inf at 0, +inf at 1.
double normal_quantile(double p);

// --- Student's t, chi-square, F: degrees of freedom > 0, need not be whole -------------------------------------------
double t_pdf(double t, double dof);
double t_tail(double t, double dof);
double t_quantile(double p, double dof);

double chi_square_cdf(double x, double dof);
double chi_square_tail(double x, double dof);
double chi_square_quantile(double p, double dof);

double f_tail(double f, double dof1, double dof2);

// --- gamma and beta -------------------------------------------------------------------------------------------------
/// Gamma law with `shape` and `rate` (mean shape / rate).
double gamma_cdf(double x, double shape, double rate);
double gamma_tail(double x, double shape, double rate);
double gamma_quantile(double p, double shape, double rate);
/// Regularised incomplete gamma functions P(a, x) and Q(a, x) = 1 - P; a > 0, x >= 0.
double gamma_p(double a, double x);
double gamma_q(double a, double x);
/// Regularised incomplete beta function I_x(a, b), the cdf of the beta law; a, b > 0, 0 <= x <= 1.
double beta_cdf(double x, double a, double b);
double beta_quantile(double p, double a, double b);
/// log |Gamma(x)|, x > 0; no global state, so it may be called from any thread (std::lgamma may not).
double log_gamma(double x);
double digamma(double x);
double trigamma(double x);

// --- Poisson and binomial -------------------------------------------------------------------------------------------
/// log P(N = n) for a count with `mean` >= 0.
double poisson_log_pmf(std::int64_t n, double mean);
/// Binomial law: P(K = k) of n trials with chance p each.
double binomial_pmf(std::int64_t k, std::int64_t n, double p);

/// Exact two-sided limits of a Poisson mean from one count. Divide by the exposure for limits of a rate.
/// \param confidence 0 < confidence < 1, e.g. 0.9: each tail holds 5 %
/// \return low is 0 for n = 0
/// \source [garwood_1936]; docs/methods/event-rates.md
Interval poisson_interval(std::int64_t n, double confidence);

// --- sums -----------------------------------------------------------------------------------------------------------
/// log(exp(a) + exp(b)) without overflow; -inf is the log of 0.
double log_sum_exp(double a, double b) noexcept;
/// log(sum exp(x)); -inf for an empty list.
double log_sum_exp(std::span<const double> x) noexcept;

}  // namespace shaftlog
