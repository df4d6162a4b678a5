#pragma once

#include "analysis/types.hpp"

#include <optional>
#include <span>
#include <vector>

namespace shaftlog {

/// A lasting rise of the rate at which bursts of events begin, standing at the end of watching.
struct RateRise {
  Estimate factor;          ///< rate now over the rate before
  Estimate began_h;         ///< on the scale of the events [h]
  std::size_t seen_at = 0;  ///< index of the event at which the evidence first sufficed
  double strength = 0;      ///< natural-log odds
};

/// Events that follow each other within this many running hours are one burst.
constexpr double kBurst_h = 18.0;

struct RateWatch {
  std::vector<std::size_t> opened;   ///< index of each event at which a rise was first seen, those that passed included
  std::optional<RateRise> standing;  ///< at the end of watching
};

/// Sequential search for a rise by a factor that is not known, at a moment that is not known, from a rate that is not
/// known; each event is judged from the events before it.
///
/// \param events running hours of each [h]; not falling, within [from_h, to_h], finite
/// \param from_h, to_h start and end of watching [h]
/// \return O(n) time, and O(n) more where a rise stands
/// \source docs/methods/alarms.md
RateWatch watch_rate(std::span<const double> events, double from_h, double to_h);

}  // namespace shaftlog
