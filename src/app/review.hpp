#pragma once

#include "analysis/review.hpp"
#include "storage/database.hpp"

#include <optional>
#include <string>
#include <vector>

namespace shaftlog {

struct ReviewRequest {
  std::optional<Instant> as_of;  ///< empty: now
  std::optional<Instant> known;  ///< only what was recorded by then
  std::string vessel;            ///< code; empty: all. The fleet's prior is learnt from all vessels in any case
  std::string group;             ///< sister vessels; empty: all
  unsigned threads = 0;          ///< 0: as many as the machine has
};

struct FleetReview {
  Instant as_of{};
  Register reg;                       ///< for names and zones
  std::vector<Finding> findings;      ///< most pressing first
  std::vector<VesselReview> vessels;  ///< in order of vessel code; only those asked for
};

/// \throws Error{not_found} for a vessel or group that is not registered (names the near ones)
FleetReview review(Database& db, Instant now, const ReviewRequest& request);

}  // namespace shaftlog
