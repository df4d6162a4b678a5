#pragma once

#include "analysis/review.hpp"
#include "reports/charts/plot.hpp"

#include <optional>
#include <span>
#include <string>

namespace shaftlog {

/// A shaft among others. Holds references only; the review must be one with detail.
struct FleetShaft {
  std::string vessel, shaft;  ///< codes
  const ShaftState& state;
  const ShaftDetail& detail;
  std::optional<Urgency> urgency;  ///< of its most pressing finding; empty: none
};

/// Every shaft's washout over the median of its sisters, against how well it is known. Limits are those of a sister
/// that is known as well: wide at the left, where little is known. Washouts are shrunken towards their group before, so
/// the limits err on the side of naming none. \source docs/methods/shrinkage.md for the shrinkage
Chart washout_funnel(std::span<const FleetShaft> shafts);

/// A small picture a shaft, all on one time axis and one scale: washout over its own baseline, and how full the cavity
/// was. \param title what they have in common; four in a row
Chart small_multiples(std::span<const FleetShaft> shafts, const TimeAxis& axis, std::string title);

}  // namespace shaftlog
