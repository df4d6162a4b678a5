#pragma once

#include "analysis/types.hpp"
#include "domain/record.hpp"

#include <span>
#include <vector>

namespace shaftlog {

/// One manual greasing and the interval before it. The first greasing of a shaft has no interval and is not listed.
struct GreasingInterval {
  Uuid id;  ///< of the greasing that closes it
  Instant from{}, at{};
  double run_h = 0;  ///< running hours in it [h]
  double run_sd_h = 0;
  double idle_days = 0;      ///< calendar days in it less run_h / 24
  double delivered_cm3 = 0;  ///< by the automatic system in it, 0 for a manual shaft
  double delivered_sd_cm3 = 0;
  std::optional<double> taken_cm3;  ///< empty: not told
  Ended ended = Ended::pressure;
  bool by_strokes = false;       ///< counted, not weighed or metered
  bool starts_baseline = false;  ///< a seal or bearing was replaced in it: history before says little
  bool is_doubtful = false;      ///< carried by a contradiction; weighs little
  std::uint32_t by = 0;          ///< person (index)
  GunId gun;
  std::optional<Purge> purge;
};

struct ShaftHistory {
  VesselId vessel;
  ShaftId shaft;
  std::string key;    ///< "vessel/shaft" by their codes: the order in which a fleet is learnt from
  std::string group;  ///< shafts that may be compared; empty: none
  std::optional<double> cavity_cm3;
  bool is_automatic = false;                ///< fed by a lubricator at any time
  bool first_is_full = false;               ///< the greasing before the first interval ended full
  std::vector<GreasingInterval> intervals;  // oldest first
};

/// What the fleet teaches about one shaft before its own records are read, and how exact greasings are.
struct WashoutPrior {
  double mean_log_w = -1.2;   ///< of ln(washout [cm3/h]) in the group
  double sd_log_w = 0.9;      ///< between shafts of the group
  double fill_sd_cm3 = 10;    ///< repeatability of "full" at back-pressure; telescopes
  double relative_sd = 0.06;  ///< of an amount: metering, rounding, stroke counting
  double duty_sd = 0.10;      ///< of ln(washout) from interval to interval: sea, angle
  double season_sd = 0.09;    ///< of ln(washout) that lasts for weeks to months: season, trade, draught
  int shafts = 0;             ///< how many it was learnt from; 0: the defaults above
};

/// A lasting rise of the washout rate over the baseline.
struct WashoutShift {
  Estimate factor;               ///< present rate over baseline
  Estimate slope_pct_per_1000h;  ///< of ln(rate); wear only
  When began;
  Instant first_seen{};
  double strength = 0;         ///< natural-log odds
  std::vector<Uuid> evidence;  ///< greasings, decisive first
};

/// A rise on top of another, over a baseline of its own.
struct WashoutRise {
  bool is_wear = false;
  Estimate baseline_cm3_per_h;
  Instant over{};  ///< first_seen of the rise below it
  WashoutShift shift;
};

/// A loss that a new seal or bearing did not bring back to what it was before it rose.
struct WashoutNotBack {
  bool is_wear = false;         ///< as the rise before the work was named
  Instant from{}, at{};         ///< the interval of the work
  Estimate baseline_cm3_per_h;  ///< before the rise
  WashoutShift shift;           ///< factor: present rate over that baseline; began: as told before the work
};

/// What was known after each greasing: for charts, replay and the expected amount.
struct WashoutStep {
  Instant at{};
  Uuid record;
  Estimate washout_cm3_per_h;
  double expected_cm3 = 0, expected_low = 0, expected_high = 0;  ///< predicted amount before it was read, 90 %
  double surprise = 0;  ///< standard deviations by which the amount left the prediction
  double p_step = 0, p_wear = 0;
  double missing_after_cm3 = 0, missing_after_sd = 0;  ///< free volume left after the greasing
  double slow_duty = 0, slow_duty_sd = 0;              ///< of ln(washout): season, trade, draught; fades over weeks
  double slow_duty_cov = 0;  ///< with ln(washout), of the last step: what is one's is not the other's
  /// A manual shaft took next to nothing where it should have taken much: path blocked, water, or not really greased.
  bool is_path_suspect = false;
};

struct WashoutResult {
  std::optional<Estimate> washout_cm3_per_h;   ///< present underlying rate; empty: nothing known but the prior
  std::optional<Estimate> baseline_cm3_per_h;  ///< before any shift, since the last new baseline
  std::optional<Estimate> trend_pct_per_1000h;
  bool is_upper_bound = false;       ///< the dose covered the loss throughout: only bounded above
  bool is_lower_bound = false;       ///< the cavity was emptied throughout: only bounded below
  double fill_sd_cm3 = 0;            ///< repeatability of "full" at this shaft's greasings; 0: no greasing yet
  double duty_sd = 0;                ///< of ln(washout) from interval to interval
  int exact = 0, censored = 0;       ///< intervals that measured the loss, and that only bound it
  std::optional<WashoutShift> step;  ///< a jump, standing now
  std::optional<WashoutShift> wear;  ///< a progressive rise, standing now; at most one of the two is set
  std::optional<WashoutShift> high;  ///< high against the group from the start
  /// Rises on top of the one that stands, each over the rate that the one before had brought; the oldest first.
  std::vector<WashoutRise> further;
  std::optional<WashoutNotBack> not_back;  ///< a rise stood when a new baseline began, and the loss is as high after it
  std::vector<WashoutStep> steps;
};

/// Censored likelihood of the washout of one shaft over a grid of constant, step and wear histories.
/// \param history intervals oldest first; run_h >= 0; amounts finite and >= 0
/// \param prior of the shaft's group
/// \throws Error{bad_data} if an amount or a run is negative or not finite (the message names it)
/// \source docs/methods/washout.md
WashoutResult fit_washout(const ShaftHistory& history, const WashoutPrior& prior);

/// ln(washout) of the stretch that stands, by its own records alone.
struct OwnRate {
  double log_w = 0, sd = 0;
  int measured = 0;  ///< intervals of the stretch that measured the loss
};
/// The same likelihood over the intervals since the last new seal or bearing, or since the step that stands began, the
/// loss constant over them and next to nothing known of it beforehand. Empty where a loss climbs, for then no stretch
/// has one rate, and where there is no interval.
/// \param result of fit_washout with this history and prior
/// \throws Error as fit_washout
/// \source docs/methods/advice.md
std::optional<OwnRate> fit_alone(const ShaftHistory& history, const WashoutPrior& prior, const WashoutResult& result);

/// Group means and spreads by empirical Bayes, and error parameters by a robust fleet likelihood.
/// \return one prior per group name found, "" for shafts with no group, computed from the whole fleet
struct FleetPrior {
  WashoutPrior fleet;
  std::vector<std::pair<std::string, WashoutPrior>> groups;  // sorted by name
  [[nodiscard]] const WashoutPrior& of(std::string_view group) const noexcept;
};
FleetPrior fit_fleet_prior(std::span<const ShaftHistory> fleet);

}  // namespace shaftlog
