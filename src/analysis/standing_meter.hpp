#pragma once

#include "analysis/hours.hpp"
#include "domain/vessel_log.hpp"

#include <map>
#include <vector>

namespace shaftlog {

/// An hour meter that shows the same since long while shafts run with which its shaft used to run: either the shaft is
/// out of use, or the meter is stuck.
struct StandingMeter {
  Instant since{};                 ///< the first reading of what it shows now
  Uuid since_record, last_record;  ///< that reading, and the newest
  double shows_h = 0;
  std::vector<ShaftId> others;           ///< shafts that it used to run with and that ran on
  double others_h = 0;                   ///< least running of one of them since [h]
  double ratio_low = 0, ratio_high = 0;  ///< its hours over theirs in the months before
  int months = 0;                        ///< compared
  Instant first_seen{};
};

/// \param hours of each shaft of the vessel, readings up to as_of
/// \source docs/methods/running-hours.md
std::map<ShaftId, StandingMeter> find_standing_meters(const VesselLog& log, const std::map<ShaftId, HoursResult>& hours,
                                                      Instant as_of);

}  // namespace shaftlog
