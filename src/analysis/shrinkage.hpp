#pragma once

#include "analysis/distributions.hpp"

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
/// \throws Error{bad_data}; \source [gelfand_smith_1990]
GammaPoisson shrink_rates(std::span<const double> counts, std::span<const double> exposures, double confidence = 0.9);

// --- estimates with known variances: random effects -----------------------------------------------------------------

struct RandomEffects {
  double tau2 = 0;             ///< variance between units, >= 0
  double mean = 0, se = 0;     ///< of the law of units
  std::vector<double> shrunk;  ///< a unit's own value drawn towards the mean
};
/// Restricted maximum likelihood. \param y estimates; \param v their variances, > 0; at least 2 units
/// \throws Error{bad_data}; \source [viechtbauer_2010]
RandomEffects random_effects(std::span<const double> y, std::span<const double> v);

}  // namespace shaftlog
