#pragma once

#include "analysis/hours.hpp"
#include "analysis/washout.hpp"

#include <functional>
#include <vector>

namespace shaftlog {

struct FillPoint {
  Instant at{};
  Estimate fill_pct;         ///< of the cavity, 5 to 95 %
  bool is_greasing = false;  ///< the point right after a greasing
};

/// Running hours with the cavity below its reserve: never one number.
struct StarvedHours {
  double least = 0, best = 0, most = 0;  ///< 5 %, median, 95 % [h]
};

struct FillResult {
  std::vector<FillPoint> points;
  std::optional<Estimate> fill_pct;          ///< at as_of; empty: cavity or washout not known
  std::optional<StarvedHours> starved_h;     ///< since the first record or the last new seal or bearing
  std::optional<Instant> starved_since;      ///< median fill first below the reserve in the present interval
  std::optional<Estimate> hours_to_reserve;  ///< running hours from as_of until the reserve is met; 0: already
  double p_below_now = 0;                    ///< probability of being below the reserve at as_of
  double p_below_before_due = 0;             ///< ... before the next greasing falls due
};

/// The day on which the reserve is met at the present use; empty: it hardly runs, or so late that no day says anything.
std::optional<Instant> meets_reserve_at(double hours_to_reserve, double use_h_per_day, Instant as_of);

/// Grease delivered by the automatic system between two moments [cm3].
using Delivered = std::function<double(Instant, Instant)>;

/// Carries the missing volume through every interval with the washout of that time. Quantiles carry over, since the
/// missing volume rises with the washout and falls with the delivery.
/// \param reserve_pct fill below which the shaft counts as starved [% of the cavity]
/// \param due the moment at which the next manual greasing falls due; empty: none is planned
/// \source docs/methods/fill.md
FillResult reconstruct_fill(const ShaftHistory& history, const WashoutResult& washout, const WashoutPrior& prior,
                            const HoursCurve& hours, const Delivered& delivered, double reserve_pct, Instant as_of,
                            std::optional<Instant> due);

}  // namespace shaftlog
