#pragma once

#include "analysis/schedule.hpp"
#include "analysis/types.hpp"
#include "domain/vessel_log.hpp"

#include <vector>

namespace shaftlog {

/// A lasting departure of a ratio from 1, as it stands at the end of the records.
struct RatioShift {
  Estimate ratio;  ///< since it began
  When began;
  Instant first_seen{};  ///< time of the record at which P(beyond the margin) first reached 95 %
  int number = 1;        ///< of this departure among all to this side that the records show, the first being 1
  double strength = 0;   ///< natural-log odds of a departure to this side against none since it was first seen
  Estimate amount_cm3;   ///< missing (below 1) or excess (above 1) grease since it began [cm3], >= 0
  double equivalent_cycles = 0;
  std::vector<Uuid> evidence;  ///< level and refill records (cycle readings for the cycle ratio), decisive first
};

/// The ratio as it was known after each balance: for charts and replay.
struct RatioStep {
  Instant from{}, at{};
  double expected_cm3 = 0;        ///< doses x cycles in this stretch
  double used_cm3 = 0;            ///< level difference and what was poured
  std::optional<Estimate> ratio;  ///< present ratio after this stretch; empty: was not asked for
  double p_low = 0, p_high = 0;   ///< probability of being beyond the margin; where the ratio was asked for
  Uuid record;                    ///< that closed the stretch
};

/// A lubricator that is recorded off and not on again, though its counter or its reservoir go on as if it were on.
struct SetGoing {
  Instant off{};            ///< as recorded
  Uuid record;              ///< that it was set off
  Instant by{};             ///< it goes from here on at the latest
  bool by_counter = false;  ///< the counter goes on
  bool by_level = false;    ///< the reservoir empties
};

struct DeliveryResult {
  LubricatorId lubricator;
  std::optional<Estimate> delivery_ratio;  ///< present ratio left / (dose x cycles); empty: the records cannot tell
  std::optional<Estimate> cycle_ratio;     ///< present counted / called-for cycles; empty: no counter
  std::optional<Estimate> level_pct;       ///< at as_of
  Instant level_read{};                    ///< when it was last read or poured up to ...
  double level_then_pct = 0;               ///< ... and what it was then
  std::vector<RatioStep> steps;
  std::optional<RatioShift> low, high;  ///< of the delivery ratio (with no counter: of the product)
  std::optional<RatioShift> cycles_low, cycles_high;
  /// Part of the cycles called for that is taken to be made since `last_count`: too few were made up to it, and neither
  /// work nor levels since then tell otherwise. Empty: all.
  std::optional<double> cycles_since;
  Instant last_count{};
  bool is_counter_wrong = false;  ///< cycles_low is of a counter that the reservoir contradicts: hours tell instead
  std::optional<SetGoing> set_going;
  std::optional<double> stretch_sd;  ///< sd that the ratio of the newest stretch alone would have: "too short to say"
  double level_sd_pct = 0;           ///< level reading error used, 1 sd [% of full]
};

/// Balance of one lubricator's reservoir against its schedule. Level errors belong to the level and telescope.
/// \param log records of the vessel, without those that must not be counted (uncounted(), contradictions.hpp)
/// \param as_of nothing later is used
/// \param with_ratios also the ratio after each step; they are a third of the work and only charts show them
/// \source docs/methods/delivery.md
DeliveryResult balance_delivery(const VesselLog& log, const Lubricator& lubricator, const Schedule& schedule,
                                Instant as_of, bool with_ratios = true);

/// Dose of all devices that work, as Schedule::expected_cm3, less the cycles that are taken not to be made
/// (cycles_since). \param shaft not set: of all shafts
double doses_cm3(const Schedule& schedule, const DeliveryResult& delivery, ShaftId shaft, Instant a, Instant b);

/// Grease that left the reservoir between its levels, against what the hours run call for, whatever a counter shows.
struct UseByHours {
  double used_cm3 = 0, called_for_cm3 = 0;
  double sd_cm3 = 0;  ///< of the difference, from levels and hours
  [[nodiscard]] bool is_known() const { return called_for_cm3 > 6 * sd_cm3 && sd_cm3 > 0; }
};
/// \param since levels before it are left out
UseByHours use_by_hours(const VesselLog& log, const Lubricator& lubricator, const Schedule& schedule, Instant since,
                        Instant as_of);

/// Whether it goes although it is recorded off: most of what the hours call for is counted or leaves the reservoir.
std::optional<SetGoing> set_going_of(const VesselLog& log, const Lubricator& lubricator, const Schedule& schedule,
                                     Instant as_of);

/// Whether the counter that shows too few cycles is at fault: the reservoir empties as the hours call for.
bool contradicts_counter(const VesselLog& log, const Lubricator& lubricator, const Schedule& schedule,
                         const DeliveryResult& result, Instant as_of);

/// Practical margin within which a ratio counts as 1.
constexpr double kRatioMargin = 0.10;

}  // namespace shaftlog
