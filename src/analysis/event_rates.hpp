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

/// Mean time between events of a constant rate, watched for a fixed time. Limits are the inverted Garwood limits of
/// the rate with the upper end infinite for no event. \source [nist_8_4_5_2]
Interval mean_time_limits(std::int64_t events, double exposure, double confidence = 0.9);

/// Rate 1 against rate 2 as a ratio.
struct RateRatio {
  double ratio = 0;        ///< rate1 / rate2; infinite when only the second has no event, nan when neither has
  Interval limits;         ///< exact conditional (Clopper-Pearson)
  double p_two_sided = 1;  ///< of `null_ratio`; counts every split no likelier than the one seen
  double p_greater = 1;    ///< exact conditional, ratio above null_ratio
  double p_mid = 1;        ///< p_greater less half the chance of the split itself
  double p_wald = 1, p_score = 1, p_sqrt = 1;  ///< normal approximations of p_greater; nan when they do not exist
};
/// Exact conditional comparison: given n1 + n2, n1 is binomial.
/// \source [gu_2008]; `p_two_sided` as in R's poisson.test
RateRatio compare_rates(std::int64_t n1, double exposure1, std::int64_t n2, double exposure2, double null_ratio = 1,
                        double confidence = 0.95);

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

/// Reverse arrangements of the gaps between events: how many later gaps are longer than an earlier one; large: events
/// come slower. The exact p holds without ties. \source [nist_8_2_3_4]
struct ReverseArrangements {
  std::int64_t count = 0;
  double p_slower = 1;  ///< P(R >= count)
};
ReverseArrangements reverse_arrangements(std::span<const double> event_times);

/// Power-law process: expected events up to t are scale * t^shape; shape above 1: events come faster.
struct PowerLaw {
  std::int64_t events = 0;
  double shape = 0, scale = 0;           ///< maximum likelihood
  double shape_unbiased = 0;             ///< (n - 1) / n of it; exact for equal ends only. nan for one event
  double scale_of_unbiased = 0;          ///< scale that goes with the unbiased shape
  std::optional<Interval> shape_limits;  ///< exact chi-square limits (equal ends)
  double intensity_at_end = 0;           ///< of one system at the latest end
  double cramer_von_mises = 0;           ///< distance from the law, with the unbiased shape; see cvm_critical
  double lr_constant_rate = 0;           ///< 2 log likelihood ratio against a constant rate, one degree of freedom
};
/// Several systems with one law, each watched from 0 to its own end; one system is the usual case.
/// \throws Error{bad_data} as trend_of_events, and when every event lies at its end
/// \source [mil_hdbk_189], [crow_1975]; unequal ends by the score equation of the handbook
PowerLaw fit_power_law(std::span<const WatchedSystem> systems, double confidence = 0.9);

/// Do the systems share one shape? 2 log likelihood ratio of a shape for each against one for all, equal ends only;
/// `dof` systems with events less one. \source [crow_1975]
struct EqualShapes {
  double lr = 0, dof = 0, p = 1;
};
EqualShapes test_equal_shapes(std::span<const WatchedSystem> systems);

/// Counts per interval instead of times. \param ends rising, > 0; \param counts as many as ends
struct GroupedPowerLaw {
  double shape = 0, scale = 0, intensity_at_end = 0;
  double mean_intensity_last = 0;  ///< over the last interval
  double chi2 = 0, chi2_dof = 0;   ///< fit
};
GroupedPowerLaw fit_power_law_grouped(std::span<const double> ends, std::span<const std::int64_t> counts);

/// Exact factors by which the mean time between events at the end, maximum likelihood, is to be multiplied for its
/// limits; one time-terminated system with n >= 2 events. \source [crow_1982]
Interval mtbf_factors(std::int64_t n, double confidence = 0.9);
/// Normal approximation of the limits for the mean time at the end from the unbiased shape. The upper limit is
/// infinite when n <= z^2 / 2. \source [nist_8_4_5_2]
Interval mtbf_limits_normal(double mtbf_unbiased, std::int64_t n, double confidence);

/// Critical value of the Cramer-von Mises statistic of a power-law fit with the unbiased shape and n events.
/// \param alpha 0.20, 0.15, 0.10, 0.05 or 0.01; \param n >= 2; interpolated in 1/n, beyond 100 that of 100
/// \throws Error{bad_data} for another alpha or n < 2
/// \source [mil_hdbk_189] table; values of the table, not computed
double cvm_critical(std::int64_t n, double alpha);

/// Are the counts those of one rate? Pearson chi-square over exposure.
struct Homogeneity {
  double chi2 = 0, dof = 0, p = 1;
};
Homogeneity test_equal_rates(std::span<const double> counts, std::span<const double> exposures);

/// Mean cumulative function: expected events of one system up to each event time, with systems leaving at their ends.
struct McfPoint {
  double time = 0, mean = 0;
};
/// \source [nelson_1995]
std::vector<McfPoint> mean_cumulative_function(std::span<const WatchedSystem> systems);

}  // namespace shaftlog
