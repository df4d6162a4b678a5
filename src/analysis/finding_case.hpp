#pragma once

#include "analysis/outcome.hpp"
#include "analysis/types.hpp"
#include "domain/finding_remark.hpp"

#include <optional>
#include <string>
#include <vector>

namespace shaftlog {

/// A finding with all that was done about it.
struct FindingCase {
  Uuid id;
  std::string kind;
  VesselId vessel;
  ShaftId shaft;
  LubricatorId lubricator;
  std::optional<Finding> now;          ///< as it is found; empty: it is not found any more
  std::vector<FindingRemark> remarks;  ///< in the order of is_before()
  FindingState state;
  std::optional<Outcome> outcome;  ///< since it was closed; empty: it is not
};

}  // namespace shaftlog
