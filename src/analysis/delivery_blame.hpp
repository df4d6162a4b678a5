#pragma once

#include "analysis/delivery.hpp"
#include "analysis/hours.hpp"
#include "analysis/schedule.hpp"
#include "domain/vessel_log.hpp"

#include <map>
#include <vector>

namespace shaftlog {

/// Which device a lasting low delivery ratio of a lubricator can be laid to.
struct DeliveryBlame {
  ShaftId shaft;                ///< not set: cannot be told
  double device_ratio = 0;      ///< what the device of `shaft` still delivers of its dose [0..1]
  bool fits_one_share = false;  ///< one device alone explains the ratio better than all of them do
  double strength = 0;          ///< natural-log odds of `shaft` against the next likely account
  std::vector<Uuid> evidence;   ///< manual greasings of `shaft` that tell
};

/// A dual-line system is silent about one device: its mark is a ratio of 1 less that shaft's share, with only that
/// shaft's manual greasings rising, and a use that follows the other shafts' hours. Weighs every shaft fed, and all
/// shafts together, by the levels and the greasings since the ratio fell.
/// \param log records of the vessel that count; \param hours of its shafts
/// \source docs/methods/delivery.md
DeliveryBlame blame_device(const VesselLog& log, const std::map<ShaftId, HoursResult>& hours, const Schedule& schedule,
                           LubricatorId lubricator, const DeliveryResult& delivery, Instant as_of);

}  // namespace shaftlog
