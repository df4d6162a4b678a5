#pragma once

#include "analysis/hours.hpp"
#include "analysis/types.hpp"
#include "domain/vessel_log.hpp"

#include <span>
#include <vector>

namespace shaftlog {

/// Alarms of one kind and subject that stood together or came again within minutes, counted as one.
struct AlarmEpisode {
  AlarmKind alarm{};
  LubricatorId lubricator;
  ShaftId shaft;  ///< not set: of the lubricator as a whole
  Instant raised{};
  std::optional<Instant> cleared;  ///< empty: standing at as_of
  std::vector<Uuid> records;       ///< in order of raising
};

/// Merges chatter: same subject and kind, raised again while standing or within `apart` after clearing.
/// A standing alarm that is followed by the same alarm raised anew is taken as cleared unnoticed when it is older than
/// 30 days; that is said by the record checks, not here.
std::vector<AlarmEpisode> merge_alarms(std::span<const Logged<Alarm>> alarms, Instant as_of,
                                       std::chrono::minutes apart = std::chrono::minutes{30});

/// A lasting rise of an alarm rate.
struct AlarmShift {
  Estimate factor;     ///< present rate over the rate before
  Estimate per_1000h;  ///< since it began
  When began;
  Instant first_seen{};
  double strength = 0;  ///< natural-log odds
  std::vector<Uuid> evidence;
};

struct AlarmRateResult {
  double run_h = 0;  ///< running hours watched since the last work on the subject
  int episodes = 0;
  Estimate per_1000h;  ///< exact Poisson interval (Garwood 1936), 90 %
  std::optional<AlarmShift> rise;
};

/// Rate of the episodes of one subject per running hour, with change detection (gamma-Poisson with over-dispersion:
/// one burst is not a trend).
/// \param episodes of one subject, oldest first; \param run_h_at running hours at each episode's raising [h]
/// \param watched_from_h, watched_to_h running hours at the start and the end of watching [h]
AlarmRateResult rate_alarms(std::span<const AlarmEpisode> episodes, std::span<const double> run_h_at,
                            double watched_from_h, double watched_to_h);

}  // namespace shaftlog
