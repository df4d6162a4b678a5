#pragma once

#include "analysis/outcome.hpp"
#include "analysis/review.hpp"
#include "domain/finding_remark.hpp"
#include "storage/database.hpp"

#include <map>
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
  bool with_detail = false;      ///< also the details and the logs of the vessels asked for
  bool judge_gone = false;       ///< also say of closed findings not found any more whether the numbers came back
  /// What the fleet taught in an earlier review. Then only the vessels asked for are read. Must live as long.
  const FleetPrior* prior = nullptr;
};

struct FleetReview {
  Instant as_of{};
  Register reg;                       ///< for names and zones
  std::vector<Finding> findings;      ///< most pressing first
  std::vector<VesselReview> vessels;  ///< in order of vessel code; only those asked for
  FleetPrior prior;                   ///< what the fleet taught
  std::vector<VesselLog> logs;        ///< with detail: the records of `vessels`, in the same order
  std::map<Uuid, std::vector<FindingRemark>>
      remarks;                          ///< by finding, also of those not found; of the vessels asked for
  std::map<Uuid, FindingState> states;  ///< of each finding that has a remark
  std::map<Uuid, Outcome> outcomes;     ///< of closed findings that are still found; see judge_gone
};

/// \throws Error{not_found} for a vessel or group that is not registered (names the near ones)
FleetReview review(Database& db, Instant now, const ReviewRequest& request);

}  // namespace shaftlog
