#pragma once

#include "analysis/distributions.hpp"

#include <cstdint>
#include <optional>
#include <span>
#include <vector>

namespace shaftlog {

// Units of one kind borrow strength from each other. Formulas and limits of use: docs/methods/shrinkage.md.

// --- counts over exposures: gamma-Poisson empirical Bayes -----------------------------------------------------------

struct ShrunkRate {
  double raw = 0;     ///< count / exposure
  double shrunk = 0;  ///< posterior mean
  Interval limits;    ///< posterior quantiles; the uncertainty of the fitted law itself is not in them
};
struct GammaPoisson {
  double shape = 0, rate = 0;  ///< of the gamma law of unit rates, mean shape / rate
  double shape_se = 0, rate_se = 0;
  double log_likelihood = 0;
  double pooled_rate = 0;
  /// True when the units do not vary more than chance: the likelihood rises towards one common rate, `shape` and
  /// `rate` are infinite, every shrunk rate is the pooled one.
  bool one_rate = false;
  std::vector<ShrunkRate> units;
};
/// Marginal maximum likelihood. \param counts >= 0, whole; \param exposures > 0; at least 2 units, at least 1 event
/// \throws Error{bad_data}; \source [gelfand_smith_1990] data and moments
GammaPoisson shrink_rates(std::span<const double> counts, std::span<const double> exposures, double confidence = 0.9);

struct GammaMoments {
  double shape = 0, rate = 0;
};
/// Moment estimates; empty when the rates vary no more than chance. \source [gelfand_smith_1990]
std::optional<GammaMoments> gamma_moments(std::span<const double> counts, std::span<const double> exposures);

// --- estimates with known variances: random effects -----------------------------------------------------------------

enum class BetweenVariance : std::uint8_t {
  dersimonian_laird,
  paule_mandel,
  restricted_likelihood,
  maximum_likelihood,
  hedges
};
struct RandomEffects {
  double fixed_mean = 0, fixed_se = 0;  ///< no variance between units
  double q = 0, q_dof = 0, q_p = 1;     ///< Cochran's heterogeneity
  double tau2 = 0;                      ///< variance between units, >= 0
  std::optional<double> tau2_se;        ///< restricted likelihood only
  double mean = 0, se = 0;              ///< of the law of units
  Interval mean_limits;                 ///< normal
  double knapp_hartung_se = 0;
  Interval knapp_hartung_limits;  ///< Student's t with units - 1: better with few units
  Interval prediction;            ///< for the true value of one more unit, normal
  double i2_percent_from_q = 0;   ///< never below 0
  double i2_percent = 0, h2 = 1;  ///< from tau2 and a typical variance
  std::vector<double> shrunk;     ///< a unit's own value drawn towards the mean
};
/// \param y estimates; \param v their variances, > 0; at least 2 units
/// \throws Error{bad_data}; \source [viechtbauer_2010]
RandomEffects random_effects(std::span<const double> y, std::span<const double> v,
                             BetweenVariance how = BetweenVariance::restricted_likelihood, double confidence = 0.95);

// --- repeated values of units: one-way layout -----------------------------------------------------------------------

struct OneWay {
  double ss_between = 0, ms_between = 0, ss_within = 0, ms_within = 0;
  double f_statistic = 0, p = 1, r_squared = 0, residual_sd = 0;
  double variance_between = 0;  ///< moments, of a balanced layout or with the mean group size; never below 0
};
/// \param groups values of each unit; at least 2 units, at least one with 2 values
/// \source [nist_strd] analysis of variance
OneWay one_way(std::span<const std::vector<double>> groups);

struct RandomIntercepts {
  double mean = 0, mean_se = 0, sd_between = 0, sd_within = 0;
  double log_likelihood = 0;      ///< restricted
  std::vector<double> shrunk;     ///< unit means drawn towards the mean
  std::vector<double> shrinkage;  ///< share of a unit's own deviation that is kept
};
/// Restricted maximum likelihood, balanced or not. \param groups as one_way, none empty
/// \source [pinheiro_bates_2000]
RandomIntercepts random_intercepts(std::span<const std::vector<double>> groups);

// --- many means with one known variance: James-Stein -----------------------------------------------------------------

struct JamesStein {
  double mean = 0, sum_squares = 0, multiplier = 0;  ///< multiplier may be negative: see `positive`
  std::vector<double> shrunk;
};
/// Towards the common mean, multiplier 1 - (k - 3) variance / sum of squares. \param x at least 4 values
/// \param positive cut the multiplier at 0, which is never worse
/// \source [efron_morris_1975]
JamesStein james_stein(std::span<const double> x, double variance, bool positive = true);

}  // namespace shaftlog
