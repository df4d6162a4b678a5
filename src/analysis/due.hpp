#pragma once

#include "analysis/review.hpp"

#include <optional>
#include <span>
#include <vector>

namespace shaftlog {

/// A manual greasing or a refill that is due, overdue, or to be expected; or a lubricator to be set going again.
struct DueItem {
  VesselId vessel;
  ShaftId shaft;                 ///< of a greasing
  LubricatorId lubricator;       ///< of a refill, or to be set going
  bool is_to_set_going = false;  ///< recorded off, and bearings get nothing: overdue since then
  bool is_overdue = false;
  std::optional<Instant> due_at;       ///< of a refill the median day on which the low mark is reached
  std::optional<Instant> early, late;  ///< of a refill: 10 % and 90 %
  std::optional<double> due_in_h;      ///< running hours left; below 0: overdue
  std::optional<double> overdue_h, overdue_days;
  std::optional<Estimate> expected_cm3;  ///< what it will take, 5 to 95 %
  std::optional<Estimate> fill_pct;      ///< of the cavity, or level of the reservoir, now
  std::optional<Instant> last;           ///< last greasing done, or last level known
};

/// What falls due up to `within_days` after `as_of`, and what is overdue: by vessel as given, the most overdue first,
/// then by day, shafts before lubricators. A greasing that has no interval, and a refill that no forecast reaches, are
/// not due.
/// \param within_days >= 0
std::vector<DueItem> list_due(std::span<const VesselReview> reviews, Instant as_of, double within_days);

}  // namespace shaftlog
