#pragma once

#include "analysis/distributions.hpp"

#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <vector>

namespace shaftlog {

// Rates of point events (alarms) over running hours, and their trend. Time and exposure are in any one unit, for us
// running hours [h]; rates are per that unit. Formulas and limits of use: docs/methods/event-rates.md.

/// A rate with its exact interval.
struct Rate {
  double rate = 0;  ///< events per unit of exposure
  Interval limits;  ///< exact (Garwood); low is 0 for no event
};

/// \param exposure > 0, finite
/// \throws Error{bad_data} naming what is out of range
/// \source [garwood_1936]
Rate event_rate(std::int64_t events, double exposure, double confidence = 0.9);

/// Rate 1 against rate 2 as a ratio.
struct RateRatio {
  double ratio = 0;        ///< rate1 / rate2; infinite when only the second has no event, nan when neither has
  Interval limits;         ///< exact conditional (Clopper-Pearson)
  double p_two_sided = 1;  ///< of equal rates; counts every split no likelier than the one seen
};
/// Exact conditional comparison: given n1 + n2, n1 is binomial.
/// \source [gu_2008]; `p_two_sided` as in R's poisson.test
RateRatio compare_rates(std::int64_t n1, double exposure1, std::int64_t n2, double exposure2, double confidence = 0.95);

/// Events of one system watched from 0 to `end`.
struct WatchedSystem {
  double end = 0;              ///< > 0
  std::vector<double> events;  ///< in (0, end], any order
};

/// Tests of a constant rate against a trend, pooled over systems (each with its own end).
struct TrendTest {
  std::int64_t events = 0;
  double laplace_z = 0;  ///< standard normal when the rate is constant; above 0: events come faster
  double laplace_p_rising = 1, laplace_p_falling = 1;
  double milhdbk_chi2 = 0;  ///< 2 sum log(end / t); small: events come faster
  double milhdbk_dof = 0;   ///< 2 x events
  double milhdbk_p_rising = 1, milhdbk_p_falling = 1;
};
/// \throws Error{bad_data} with no event, an end that is not positive or an event outside (0, end]
/// \source [mil_hdbk_189], [nist_8_2_3_4]
TrendTest trend_of_events(std::span<const WatchedSystem> systems);

/// Power-law process: expected events up to t are scale * t^shape; shape above 1: events come faster.
struct PowerLaw {
  std::int64_t events = 0;
  double shape = 0, scale = 0;           ///< maximum likelihood
  std::optional<Interval> shape_limits;  ///< exact chi-square limits (equal ends)
  double intensity_at_end = 0;           ///< of one system at the latest end
};
/// Several systems with one law, each watched from 0 to its own end; one system is the usual case.
/// \throws Error{bad_data} as trend_of_events, and when every event lies at its end
/// \source [mil_hdbk_189], [crow_1975]; unequal ends by the score equation of the handbook
PowerLaw fit_power_law(std::span<const WatchedSystem> systems, double confidence = 0.9);

}  // namespace shaftlog
