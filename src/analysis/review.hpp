#pragma once

#include "analysis/alarms.hpp"
#include "analysis/delivery.hpp"
#include "analysis/delivery_blame.hpp"
#include "analysis/dockings.hpp"
#include "analysis/fill.hpp"
#include "analysis/forecast.hpp"
#include "analysis/types.hpp"
#include "domain/vessel_log.hpp"

#include <functional>
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
  /// Hours are known, and the loss or what a lubricator delivers: else that nothing is found says nothing.
  bool is_judged = false;
};

struct LubricatorState {
  VesselId vessel;
  LubricatorId lubricator;
  std::optional<Estimate> delivery_ratio, cycle_ratio, level_pct;
  std::optional<Instant> last_level;
  NextRefill next_refill;
  std::optional<Estimate> alarms_per_1000h;
};

/// What the state of a shaft was computed from, as the review used it: for charts and dossiers, on request.
struct ShaftDetail {
  ShaftId shaft;
  HoursCurve hours;        ///< empty: no reading that can be used
  ShaftHistory history;    ///< greasings that are taken for slips of the pen are marked doubtful
  WashoutPrior prior;      ///< what the fleet taught about it
  WashoutResult washout;   ///< `steps`: what was known after each greasing
  FillResult fill;         ///< `points`: the cavity from the first greasing to as_of
  double reserve_pct = 0;  ///< fill below which the shaft counts as starved, at as_of
  NextGreasing next_greasing;
  std::vector<AlarmEpisode> alarms;           ///< of the shaft itself, oldest first
  std::optional<AlarmRateResult> alarm_rate;  ///< empty: no alarm, or no running hours to count against
  /// Lubricators that feed it, at any time; what they gave it tells delivered_cm3.
  std::vector<LubricatorId> lubricators;
};

/// The same of a lubricator.
struct LubricatorDetail {
  LubricatorId lubricator;
  DeliveryResult delivery;                    ///< `steps`: the ratio as it was known after each balance
  std::vector<Span> standstills;              ///< known ones, oldest first
  std::vector<ShaftId> shafts;                ///< fed with a dose above 0 at as_of
  HoursCurve hours;                           ///< of the busiest shaft it feeds; empty: not known
  std::vector<AlarmEpisode> alarms;           ///< of the lubricator as a whole, oldest first
  std::optional<AlarmRateResult> alarm_rate;  ///< empty: no running hours to count against
};

struct VesselDigest;

/// A cavity that stands below its reserve, told as part of the finding that explains it.
struct ToldWithin {
  Uuid by;
  Finding finding;  ///< as it would be told alone
};

struct VesselReview {
  VesselId vessel;
  std::optional<Instant> docked_since;  ///< the docking that stands at as_of; no running is assumed since
  std::vector<Finding> findings;        ///< most urgent first
  std::vector<ToldWithin> within;       ///< of findings above
  std::vector<ShaftState> shafts;
  std::vector<LubricatorState> lubricators;

  // Only where detail was asked for: one a shaft and one a lubricator, in the order of the states.
  std::vector<ShaftDetail> shaft_details;
  std::vector<LubricatorDetail> lubricator_details;
  std::vector<Suspect> suspects;               ///< every record that contradicts others
  std::shared_ptr<const VesselDigest> digest;  ///< schedule, blame, hours; for delivered_cm3
};

/// Everything about one vessel that needs no other vessel: made once, small, kept while the fleet's prior is learnt.
struct VesselDigest {
  VesselId vessel;
  std::map<ShaftId, HoursResult> hours;
  Dockings dockings;
  std::shared_ptr<const Schedule> schedule;
  std::map<LubricatorId, DeliveryResult> delivery;
  std::map<LubricatorId, DeliveryBlame> blame;  ///< of each lubricator whose ratio is lastingly low
  std::map<ShaftId, ShaftHistory> histories;
  std::vector<Suspect> suspects;
};
/// \param with_detail also what only charts show
VesselDigest digest(const VesselLog& log, Instant as_of, bool with_detail = true);

/// Grease that reached the shaft from the automatic system between `a` and `b` [cm3]: doses x cycles, less what a
/// lasting low ratio takes away (from the blamed shaft what its device leaves out, else from each its part).
double delivered_cm3(const VesselDigest& digest, ShaftId shaft, Instant a, Instant b);

/// \param prior learnt from the digests of the whole fleet, whatever part of it is shown
/// \param with_detail also the ShaftDetail of every shaft and the LubricatorDetail of every lubricator
VesselReview review_vessel(const VesselLog& log, const VesselDigest& digest, const FleetPrior& prior, Instant as_of,
                           bool with_detail = false);

/// A vessel between what the fleet learns from it and what the fleet teaches about it.
struct ReadVessel {
  VesselLog log;
  VesselDigest digest;
};

/// Where the logs of a fleet come from.
struct FleetSource {
  std::size_t vessels = 0;
  /// Of the i-th vessel. Called from any thread, one call at a time; twice for the same vessel at most, and then with
  /// the same answer.
  std::function<VesselLog(std::size_t)> load;
  /// Whether the i-th vessel is to be reviewed, not only learnt from; empty: all are.
  std::function<bool(std::size_t)> is_asked;
  bool with_detail = false;         ///< of the vessels asked for
  std::size_t most_held = 500'000;  ///< records, beyond which a log is not kept but loaded again
};

/// Order of findings: by urgency, then the surest, then by id.
bool is_more_pressing(const Finding& a, const Finding& b);

/// digest, FleetLessons and review_vessel for a fleet, in parallel by vessel; the result does not depend on `threads`.
/// Logs are held as long as there are few of them and read again where there are many: memory is bounded.
/// \param take gets each vessel asked for, from any thread, several at a time, in any order
/// \param prior learnt before; null: from the whole fleet, which is then read whole
/// \return the prior
FleetPrior review_fleet(const FleetSource& fleet, Instant as_of, unsigned threads,
                        const std::function<void(std::size_t, VesselLog, VesselReview)>& take,
                        const FleetPrior* prior = nullptr);

struct FleetResult {
  FleetPrior prior;
  std::vector<VesselReview> vessels;  ///< in the order of the logs
};
/// The same of logs that are at hand, with the details of every vessel on request.
FleetResult review_fleet(std::span<const VesselLog> fleet, Instant as_of, unsigned threads, bool with_detail = false);

/// All findings, the most pressing first: by urgency, then strength, then id.
std::vector<Finding> ranked_findings(std::span<const VesselReview> reviews);

}  // namespace shaftlog
