#pragma once

#include "analysis/washout.hpp"

#include <optional>
#include <vector>

/// What a bearing greased by hand takes for an hour run, greasing by greasing, and whether it takes much less than it
/// did. Internal to analysis.
namespace shaftlog {

/// A bearing that since some day takes a fraction of what it took, at back-pressure.
struct IntakeFall {
  Estimate factor;  ///< taken for an hour run, over what it was
  When began;
  Instant first_seen{};
  double strength = 0;                    ///< natural-log odds against the fall of a season or a berth
  double usual_cm3 = 0, now_cm3 = 0;      ///< a greasing (medians)
  double usual_run_h = 0, now_run_h = 0;  ///< running hours between greasings (medians)
  std::vector<Uuid> evidence;             ///< greasings, the one at which it sufficed first
};

/// Median, of an even number the upper of the two in the middle; 0 of none.
double middle_of(std::vector<double> x);

constexpr double kLeastFall = 0.6;  ///< a fall to more than this is not told: seasons and berths lower a loss
constexpr double kNearStop = 0.2;   ///< next to nothing goes in

/// The fall that stands after the last record, by the records since the last new seal or bearing. Causal: `first_seen`
/// is the greasing up to which the records sufficed.
/// \param prior with the errors of the shaft's own greasings
/// \source docs/methods/washout.md, "Less grease taken"
std::optional<IntakeFall> fall_of_intake(const ShaftHistory& history, const WashoutPrior& prior);

/// Taken for an hour run after a moment over before it (90 %), each by two greasings or more; empty: they do not tell.
std::optional<Estimate> intake_ratio(const ShaftHistory& history, const WashoutPrior& prior, Instant split);

}  // namespace shaftlog
