#pragma once

#include "analysis/advise_cavity.hpp"
#include "analysis/review.hpp"

#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <vector>

namespace shaftlog {

/// Probability with which interval and dose are to keep the cavity above its reserve.
constexpr double kAdviceConfidence = 0.95;
/// Intervals between greasings that must have told something about the loss.
constexpr int kAdviceIntervals = 3;

enum class AdviceVerdict : std::uint8_t {
  unknown,            ///< too little is known; `reason` says what
  keep,               ///< the present settings hold
  keep_to_it,         ///< the registered interval holds, but is not kept: overdue, or greasings too far apart of late
  may_be_longer,      ///< they hold, and a longer interval would
  dose_may_be_lower,  ///< they hold, and a smaller dose would
  shorten,            ///< the interval is too long
  raise_dose          ///< the dose is too small
};
std::string_view name_of(AdviceVerdict v) noexcept;

/// A metering device's settings as they stand.
struct FeedSetting {
  LubricatorId lubricator;
  double dose_cm3 = 0;  ///< per full cycle
  double cycle_min = 0;
};

/// Interval and dose of one shaft. Empty: not known, or there is none.
struct ShaftAdvice {
  VesselId vessel;
  ShaftId shaft;
  AdviceVerdict verdict = AdviceVerdict::unknown;
  std::string reason;  ///< why nothing can be advised, lower case, no full stop
  std::vector<std::string>
      causes_first;  ///< standing findings whose cause comes before any setting: "seal wear (plan)"

  std::optional<Estimate> washout_cm3_per_h;
  int intervals = 0;               ///< greasings that told something about the loss
  bool is_mostly_bounded = false;  ///< few of them measured it: the doses covered it, or the cavity was emptied
  std::optional<double> cavity_cm3;
  double reserve_pct = 0;
  bool is_automatic = false;
  bool is_dose_vouched = true;  ///< a level, refill or counter reading of late says that the doses leave
  std::optional<double> hours_per_year, hours_per_day;

  std::optional<double> registered_h;  ///< running hours: by hours or days, whichever comes first
  std::optional<int> registered_days;  ///< where the days come first: `registered_h` is then by its usual use
  std::optional<double> practised_h;   ///< median of the last intervals
  std::optional<double> present_h;     ///< registered, else practised
  std::optional<double> p_practised;   ///< the same for `practised_h`, where that is longer than the registered one
  std::optional<double> p_holds;       ///< probability of ending an interval of `present_h` above the reserve
  bool is_overdue = false;             ///< by hours or days
  std::optional<double> since_last_h;  ///< running hours since the last greasing
  std::optional<double> p_now;         ///< probability of being above the reserve after them
  bool has_limit = true;               ///< false: the dose covers the loss whatever the interval
  std::optional<double> longest_h;     ///< that holds with kAdviceConfidence

  std::vector<FeedSetting> feeds;
  double dose_cm3_per_h = 0;     ///< called for
  Estimate arrives{1, 1, 1};     ///< share of it that arrives
  bool is_as_if_mended = false;  ///< smallest doses are reckoned as if the doses arrived again
  /// Smallest dose rates that hold: at the present interval, and with no manual greasing for a year.
  std::optional<double> smallest_dose_cm3_per_h, smallest_alone_cm3_per_h;

  std::optional<double> advised_h;  ///< interval of the second year below; empty: none by hand
  std::optional<double> advised_dose_cm3_per_h;
  std::optional<YearOfGrease> year_now, year_advised;
  std::optional<double> density_g_cm3;
  std::vector<std::string> says;  ///< whole sentences: what to set, and what that costs
};

/// \param review with detail, of the vessel of `log`
/// \param detail of one of its shafts
/// \source docs/methods/advice.md
ShaftAdvice advise_shaft(const VesselLog& log, const VesselReview& review, const ShaftDetail& detail, Instant as_of);

/// What every advice ends with, from the table of cautions and makers' right to decide.
std::vector<std::string> advice_cautions();

// --- the fleet ---------------------------------------------------------------------------------------------------

/// One shaft among its sisters.
struct PeerLoss {
  VesselId vessel;
  ShaftId shaft;
  std::string group;          ///< "alder/manual, fin"
  int sisters = 0;            ///< others it is compared with
  Estimate own_cm3_per_h;     ///< from its own records alone
  Estimate shrunk_cm3_per_h;  ///< drawn towards the sisters' mean
  double factor = 1;          ///< own over the median of the others
  double p = 1, adjusted_p = 1;
  bool stands_out = false;  ///< adjusted p at most the level asked for
};

/// What a shaft's own records say of ln(washout) as it stands now: fit_alone; where it climbs, or a step is too young
/// to have three measured intervals, the review's estimate.
struct OwnLoss {
  VesselId vessel;
  ShaftId shaft;
  std::string key;           ///< "vessel/shaft" by their codes
  std::string group, place;  ///< of the history; first part of the shaft's code: "fin", "rudder"
  double log_w = 0, sd = 0;
};
/// Empty where fewer than three intervals measured the loss, or they tell next to nothing.
std::optional<OwnLoss> own_loss(const ShaftDetail& detail);

/// Where a shaft is, by the first part of its code: "fin" of "fin_aft_port".
std::string place_of(std::string_view shaft_code);

/// Each shaft against the others of its group and place, or of its whole group where those are fewer than 3; shafts
/// with fewer than 3 others are left out. The spread between sisters is learnt robustly over the fleet;
/// Benjamini-Hochberg over all.
/// \param q level of the false discovery rate
/// \return sorted by adjusted p, then by p and key
std::vector<PeerLoss> compare_losses(std::span<const OwnLoss> shafts, double q = 0.05);

/// Alarms of one lubricator since the last work that may have ended their cause.
struct OwnAlarms {
  VesselId vessel;
  LubricatorId lubricator;
  std::string key;   ///< "vessel/lubricator" by their codes
  int episodes = 0;  ///< what came again within minutes counted once
  double run_h = 0;  ///< running hours watched; 0: not known
};

/// One lubricator among those of the fleet.
struct PeerAlarms {
  VesselId vessel;
  LubricatorId lubricator;
  int episodes = 0;
  double run_h = 0;
  Estimate own_per_1000h;     ///< exact Poisson interval
  Estimate shrunk_per_1000h;  ///< drawn towards the fleet's rate
  double factor = 1;          ///< own rate over that of all together
  double p = 1, adjusted_p = 1;
  bool stands_out = false;  ///< more often: adjusted p at most the level asked for
};

/// Rates of alarms by gamma-Poisson shrinkage; p: of as many or more, of a lubricator drawn from the fleet's law, which
/// is fitted to all, so that one that stands out widens it. Benjamini-Hochberg over all.
/// \param lubricators without those of unknown running hours at least 4 with one alarm among them; else nothing is said
/// \param q level of the false discovery rate
/// \return sorted by adjusted p, then by p and key
/// \source docs/methods/advice.md
std::vector<PeerAlarms> compare_alarms(std::span<const OwnAlarms> lubricators, double q = 0.05);

// --- the store ---------------------------------------------------------------------------------------------------

/// Grease of one grade that a vessel will use from as_of until a day.
struct OrderLine {
  VesselId vessel;
  GreaseId grease;
  std::optional<double> p50_cm3, p90_cm3;  ///< empty: nothing of it can be foreseen
  std::optional<double> by_hand_p50_cm3, automatic_p50_cm3;
  double density_g_cm3 = 0;
  std::vector<ShaftId> left_out;  ///< their manual greasings: loss or interval not known
};

/// By replaying past weeks in blocks, with the loss, the delivery and the amounts drawn anew each time: the same answer
/// on every run. What stands in reservoirs and in the store is not taken off.
/// \param days > 0
std::vector<OrderLine> order_grease(const VesselLog& log, const VesselReview& review, Instant as_of, double days);

}  // namespace shaftlog
