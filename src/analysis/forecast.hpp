#pragma once

#include "analysis/delivery.hpp"
#include "analysis/fill.hpp"
#include "analysis/hours.hpp"
#include "analysis/washout.hpp"
#include "domain/vessel_log.hpp"

#include <map>
#include <optional>

namespace shaftlog {

struct NextGreasing {
  std::optional<double> due_in_h;      ///< running hours left by interval_h; below 0: overdue
  std::optional<Instant> due_at;       ///< whichever comes first, by recent use
  std::optional<Instant> due_by_days;  ///< by interval_days alone
  bool is_overdue = false;
  std::optional<double> overdue_h, overdue_days;
  std::optional<Estimate> expected_cm3;  ///< amount to expect at due_at (now when overdue), 90 %
  std::optional<Uuid> last;              ///< the greasing counted from
};

/// Counted from the last greasing done (any `ended` but not_done), else from the first hours reading.
/// \param delivered by the automatic system [cm3]
/// \source docs/methods/greasing-forecast.md
NextGreasing forecast_greasing(const VesselLog& log, const Shaft& shaft, const HoursCurve& hours,
                               const ShaftHistory& history, const WashoutResult& washout, const WashoutPrior& prior,
                               const Delivered& delivered, Instant as_of);

struct NextRefill {
  /// The level meets the low mark if nobody pours; empty beyond 18 months. Where it is met: when, by the balance.
  std::optional<Instant> p10, p50, p90;
  std::optional<Instant> stands_since;  ///< nothing is used now: the days hold if it is set going today
  std::optional<Estimate> amount_cm3;   ///< a refill to the full mark would take: at the low mark, or now if below it
};

/// From the spread of past weeks' use and of the delivery ratio: replays the weekly use of the fed shafts in blocks.
/// \source docs/methods/refill-forecast.md
NextRefill forecast_refill(const VesselLog& log, const Lubricator& lubricator, const DeliveryResult& delivery,
                           const Schedule& schedule, const std::map<ShaftId, HoursCurve>& hours, Instant as_of);

}  // namespace shaftlog
