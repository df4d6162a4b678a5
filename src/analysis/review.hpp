#pragma once

#include "analysis/delivery.hpp"
#include "analysis/fill.hpp"
#include "analysis/forecast.hpp"
#include "analysis/types.hpp"
#include "domain/vessel_log.hpp"

#include <map>
#include <memory>
#include <span>
#include <string>
#include <vector>

namespace shaftlog {

/// State of one shaft at `as_of`. Empty: not known.
struct ShaftState {
  VesselId vessel;
  ShaftId shaft;
  std::optional<double> running_h;  ///< what the meter shows, unbroken over meter changes
  std::optional<double> use_h_per_day;
  std::optional<Instant> last_hours, last_greasing;
  std::optional<Estimate> washout_cm3_per_h;
  std::optional<Estimate> baseline_cm3_per_h;
  std::optional<Estimate> trend_pct_per_1000h;
  std::optional<Estimate> cavity_fill_pct;
  std::optional<StarvedHours> starved_h;
  std::optional<Estimate> hours_to_reserve;
  NextGreasing next_greasing;
  std::optional<Estimate> alarms_per_1000h;
  int exact_intervals = 0, censored_intervals = 0;
};

struct LubricatorState {
  VesselId vessel;
  LubricatorId lubricator;
  std::optional<Estimate> delivery_ratio, cycle_ratio, level_pct;
  std::optional<Instant> last_level;
  NextRefill next_refill;
  std::optional<Estimate> alarms_per_1000h;
};

struct VesselReview {
  VesselId vessel;
  std::vector<Finding> findings;  ///< most urgent first
  std::vector<ShaftState> shafts;
  std::vector<LubricatorState> lubricators;
};

/// Which device a lasting low delivery ratio of a lubricator can be laid to.
struct DeliveryBlame {
  ShaftId shaft;                ///< not set: cannot be told
  bool fits_one_share = false;  ///< the ratio is about 1 less the share of one shaft
  double strength = 0;          ///< natural-log odds of `shaft` against the next likely one
  std::vector<Uuid> evidence;   ///< manual greasings that tell
};

/// Everything about one vessel that needs no other vessel: made once, small, kept while the fleet's prior is learnt.
struct VesselDigest {
  VesselId vessel;
  std::map<ShaftId, HoursResult> hours;
  std::shared_ptr<const Schedule> schedule;
  std::map<LubricatorId, DeliveryResult> delivery;
  std::map<LubricatorId, DeliveryBlame> blame;  ///< of each lubricator whose ratio is lastingly low
  std::map<ShaftId, ShaftHistory> histories;
  std::vector<Suspect> suspects;
};
VesselDigest digest(const VesselLog& log, Instant as_of);

/// Grease that reached the shaft from the automatic system between `a` and `b` [cm3]: doses x cycles, less what a
/// lasting low ratio takes away (from the blamed shaft all of it, else from each its part).
double delivered_cm3(const VesselDigest& digest, ShaftId shaft, Instant a, Instant b);

/// \param prior learnt from the digests of the whole fleet, whatever part of it is shown
VesselReview review_vessel(const VesselLog& log, const VesselDigest& digest, const FleetPrior& prior, Instant as_of);

/// digest, fit_fleet_prior and review_vessel for all, in parallel by vessel; the result does not depend on `threads`.
std::vector<VesselReview> review_fleet(std::span<const VesselLog> fleet, Instant as_of, unsigned threads);

/// All findings, the most pressing first: by urgency, then strength, then id.
std::vector<Finding> ranked_findings(std::span<const VesselReview> reviews);

}  // namespace shaftlog
