#pragma once

#include "analysis/alarms.hpp"
#include "analysis/review.hpp"

#include <span>
#include <vector>

namespace shaftlog {

/// Alarm episodes of one subject on a scale of running hours, since the last work that may have ended their cause.
struct WatchedAlarms {
  LubricatorId lubricator;             ///< set, or
  ShaftId shaft;                       ///< set
  std::vector<AlarmEpisode> episodes;  ///< oldest first
  std::vector<double> run_h;           ///< at each raising [h]
  double from_h = 0, to_h = 0;         ///< watched from, to [h]
};

/// Running hours against which a lubricator's alarms are counted: those of the busiest shaft it feeds.
/// \return null: not known
const HoursCurve* busiest_curve(const VesselLog& log, const VesselDigest& digest, LubricatorId lubricator);

/// Every lubricator, then every shaft with an episode, each by id; without those whose running hours are not known.
/// \param episodes of the vessel, as merge_alarms() gives them
std::vector<WatchedAlarms> watch_alarms(const VesselLog& log, const VesselDigest& digest,
                                        std::span<const AlarmEpisode> episodes, Instant as_of);

}  // namespace shaftlog
