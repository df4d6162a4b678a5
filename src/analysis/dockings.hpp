#pragma once

#include "analysis/hours.hpp"
#include "domain/vessel_log.hpp"

#include <map>
#include <optional>
#include <vector>

namespace shaftlog {

/// When the ship lay in dock, as written. A docking that no record ends lasts as long as no meter of the ship shows
/// more running than a trial of the gear takes.
struct Dockings {
  std::vector<Span> spans;             ///< oldest first, not overlapping; none goes beyond as_of
  std::optional<Instant> standing;     ///< in dock since, at as_of; empty: she is not
  std::optional<Instant> known_until;  ///< while it stands: the docking or the last reading in it, what is later
  Uuid standing_record;
  /// Stretches with no running: the spans, the standing one without an end.
  [[nodiscard]] std::vector<Span> rests() const;
};
/// A docking whose end nobody wrote is believed for so long after the last that is known of it [d]; common practice,
/// no source.
constexpr double kUsualStay_days = 120;

/// \param hours curve of each shaft that has readings
Dockings dockings_of(const VesselLog& log, const std::map<ShaftId, HoursCurve>& hours, Instant as_of);

}  // namespace shaftlog
