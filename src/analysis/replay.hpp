#pragma once

#include "analysis/review.hpp"

#include <cstddef>
#include <functional>
#include <optional>
#include <span>
#include <string>
#include <vector>

namespace shaftlog {

/// What a review would have shown at one moment, from what was known then.
struct ReplayStep {
  Instant at{};
  std::vector<Finding> findings;  ///< most pressing first
};

/// Neighbouring steps at which a finding was shown with the same urgency and kind, on the same device.
struct LifeStretch {
  std::size_t first = 0, last = 0;  ///< steps, both inclusive
  Urgency urgency = Urgency::note;
  FindingKind kind{};
  ShaftId shaft;  ///< set once the device can be told
};

/// One matter from the step that first shows it to the step that no longer does.
struct FindingLife {
  std::vector<Uuid> ids;  ///< of the findings it was told as, oldest first
  VesselId vessel;
  ShaftId shaft;  ///< as last shown
  LubricatorId lubricator;
  FindingKind kind{};                  ///< as last shown
  Instant first_seen{};                ///< when the evidence first sufficed, as the first step told it
  std::vector<LifeStretch> stretches;  ///< oldest first; a gap between two: it was not shown there
  bool is_standing = false;            ///< shown at the last step
  std::string summary;                 ///< as last shown

  [[nodiscard]] std::size_t shown() const { return stretches.front().first; }
  [[nodiscard]] std::size_t last_shown() const { return stretches.back().last; }
};

/// Joins the findings of successive steps into lives, in order of the step that first shows them, then of rank there.
/// A finding with a known id goes on with that life. So does one with a new id that takes, at the same step, the place
/// of one that is gone: of the same kind and subject, or a washout that is told as wear from then on (or back), or
/// missed cycles of one lubricator that a device is now, or no longer, named for. Findings that are about a record or a
/// greasing never take the place of another.
/// \param steps oldest first
std::vector<FindingLife> tell_lives(std::span<const ReplayStep> steps);

}  // namespace shaftlog
