#pragma once

#include "analysis/types.hpp"

#include <optional>

namespace shaftlog {

/// What one cavity loses and is given, as far as it is known: what interval and dose are advised from.
/// \source docs/methods/advice.md
struct CavityLoss {
  double capacity_cm3 = 0;     ///< > 0
  double reserve_pct = 20;     ///< fill below which the shaft counts as starved [% of the cavity], 0 to 100
  Estimate washout_cm3_per_h;  ///< present rate, taken as log-normal; 0 < low <= value <= high
  double scatter_sd = 0.13;    ///< of ln(rate) from interval to interval: duty and season together
  double fill_sd_cm3 = 10;     ///< repeatability of "full" at back-pressure
  double dose_cm3_per_h = 0;   ///< called for by the settings, per running hour; 0: greased by hand only
  Estimate ratio{1, 1, 1};     ///< arrived / called for, taken as normal, cut at 0
};

/// Running hours that stand for "not in the life of the shaft".
constexpr double kNoLimitH = 50'000;

/// Probability that the fill is at or above the reserve `run_h` after a greasing that ended with back-pressure.
/// \param run_h >= 0 \throws Error{bad_data} naming a value that cannot be
double p_above_reserve(const CavityLoss& c, double run_h);

/// The longest interval after which the fill is at or above the reserve with probability `confidence` [h].
/// Empty: no limit below kNoLimitH, the dose covers the loss. 0: not even right after a greasing.
/// \param confidence above 0, below 1
std::optional<double> longest_interval_h(const CavityLoss& c, double confidence);

/// The smallest dose rate with the same property after `run_h` running hours [cm3 per running hour].
/// Empty: none has it (next to nothing arrives, or the fill error alone reaches the reserve).
std::optional<double> smallest_dose_cm3_per_h(const CavityLoss& c, double run_h, double confidence);

/// Grease of a year at given settings, with what is uncertain about the mean rate and the delivery in each interval.
struct YearOfGrease {
  double greasings = 0;
  Estimate by_hand_cm3;      ///< what the manual greasings take
  Estimate automatic_cm3;    ///< what arrives from the automatic system
  Estimate to_sea_cm3;       ///< all that goes in comes out in the long run
  Estimate surplus_cm3;      ///< of it: dose beyond the loss
  Estimate below_reserve_h;  ///< expected running hours with the fill below the reserve
};
/// \param interval_h running hours between manual greasings, > 0; empty: none in the year, which begins with a full
/// cavity
/// \param hours_per_year > 0
YearOfGrease year_of_grease(const CavityLoss& c, std::optional<double> interval_h, double hours_per_year);

}  // namespace shaftlog
