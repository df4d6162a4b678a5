#pragma once

#include "analysis/review.hpp"

#include <optional>
#include <vector>

namespace shaftlog {

// What was done and used in a stretch of calendar time, from the records in force: for reports and audits.

/// The manual greasings of one shaft.
struct GreasingTally {
  ShaftId shaft;
  bool is_planned = false;                     ///< has an interval at the end of the stretch
  int done = 0;                                ///< that ended in any way but not_done
  int late = 0;                                ///< of those, later than kLateBeyond of the interval then agreed
  int in_doubt = 0;                            ///< of the late ones, by a record that others contradict
  int not_done = 0;                            ///< recorded as not done
  std::optional<double> worst_interval_share;  ///< the longest interval over the agreed one [1]; empty: none to compare
};
/// Beyond this share of the agreed interval a greasing counts as late: hours come from the sea, not from a calendar.
constexpr double kLateBeyond = 1.10;

/// One tally a shaft, in the order of the log. \param review of the same log, with detail
std::vector<GreasingTally> tally_greasings(const VesselLog& log, const VesselReview& review, Instant from, Instant to);

/// Grease of one grade on one vessel.
struct GreaseUse {
  GreaseId grease;          ///< not set: neither recorded nor registered
  double poured_cm3 = 0;    ///< into reservoirs
  double by_hand_cm3 = 0;   ///< into cavities, by hand
  double by_doses_cm3 = 0;  ///< into cavities, from the automatic systems
  int unmeasured = 0;       ///< refills and greasings whose amount is not known: not in the sums
  /// Left the cavities past the seals: what went in less what the cavity holds more than before [cm3]. Where it went -
  /// to sea or inboard - the records do not tell.
  Estimate past_seals_cm3;
  int unknown_fill = 0;  ///< shafts whose fill is not known at both ends: taken as unchanged
  /// Left the reservoir beyond what the doses account for: by a leak of a line or a setting that is not as recorded.
  double beyond_doses_cm3 = 0;
};

/// By grease, those with the most used first. Amounts are kept as recorded then; a poured percentage counts by the
/// reservoir's size. \param review of the same log, with detail
/// \source mass balance of each cavity; docs/guide/print-a-report.md says what it leaves out
std::vector<GreaseUse> grease_used(const VesselLog& log, const VesselReview& review, Instant from, Instant to);

}  // namespace shaftlog
