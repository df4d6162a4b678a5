#pragma once

#include "app/review.hpp"

#include <map>
#include <vector>

namespace shaftlog {

/// What a review says of one vessel. But for the fleet's prior, vessels need nothing of one another.
struct VesselPart {
  VesselReview review;
  std::map<Uuid, std::vector<FindingRemark>> remarks;
  std::map<Uuid, FindingState> states;
  std::map<Uuid, Outcome> outcomes;
};

/// \param log what was reviewed
/// \param remarks on findings of that vessel, sorted by is_before()
/// \param judge_gone see ReviewRequest
VesselPart part_of(VesselReview review, const VesselLog& log, const std::vector<FindingRemark>& remarks, Instant as_of,
                   bool judge_gone);

/// Adds a vessel to the review of a fleet; in the order of their codes. `findings` is for the caller to rank at the
/// end.
void join(FleetReview& fleet, VesselPart part);

}  // namespace shaftlog
