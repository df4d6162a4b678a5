#pragma once

#include "analysis/hours.hpp"
#include "analysis/schedule.hpp"
#include "analysis/washout.hpp"
#include "domain/vessel_log.hpp"

#include <map>
#include <vector>

namespace shaftlog {

/// Of the registered capacity: what is written beyond it went elsewhere or is a slip. Capacities are known to about
/// 10 %, guns to 15 %, and a cavity is packed fuller at times (common practice, no source).
constexpr double kOverCavity = 1.3, kOverReservoir = 1.05;

/// Records of one vessel that contradict each other by themselves: duplicates, dates in the future, alarms cleared
/// before they were raised, amounts beyond reservoir or cavity, refill levels that do not agree with the amount,
/// refills into a nearly full reservoir. Hour readings are judged by build_hours.
std::vector<Suspect> find_contradictions(const VesselLog& log, Instant as_of);

/// The ship's clock for what is told of its records; UTC where none is registered that this system knows.
Zone zone_of(const VesselLog& log);

/// The ids among `suspects` that must not be counted twice (the later of two duplicates).
std::vector<Uuid> uncounted(const std::vector<Suspect>& suspects);

/// Names the meter readings among `suspects` that fit when they are exchanged with that of another shaft of the same
/// day: the two become one Suspect.
/// \param rollover_h of a shaft [h]; empty: its meter does not start again
void name_exchanged_meters(const VesselLog& log, const std::map<ShaftId, std::optional<double>>& rollover_h,
                           Instant as_of, std::vector<Suspect>& suspects);

/// Amounts that a slip explains far better (factor 10, unit, gun, digits, date, two shafts exchanged) or that nothing
/// explains, weighed against the scatter and the changes of the shaft's own amounts (AmountLaw), and series of the same
/// round number.
std::vector<Suspect> find_amount_slips(const VesselLog& log, const std::map<ShaftId, ShaftHistory>& histories,
                                       const std::map<ShaftId, WashoutResult>& washouts,
                                       const std::map<ShaftId, WashoutPrior>& priors);

/// Silence: hours or time run with no record where this vessel normally writes one.
struct Silence {
  ShaftId shaft;  ///< not set: of the lubricator or, with neither, the whole vessel
  LubricatorId lubricator;
  Kind kind{};      ///< of the record that is missing
  Instant since{};  ///< last record of that kind
  double days = 0;
  double usual_days = 0;        ///< this subject's own habit: the 90 % quantile of its gaps
  std::optional<double> run_h;  ///< running hours since, where they are known
  Instant first_seen{};
  double strength = 0;
  Uuid last_record;
  bool in_dock = false;  ///< the whole vessel, docked `since` by its last record of that: no undocking is written
};
std::vector<Silence> find_silences(const VesselLog& log, const std::map<ShaftId, HoursCurve>& hours, Instant as_of);

}  // namespace shaftlog
