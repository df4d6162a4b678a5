#pragma once

#include "analysis/review.hpp"
#include "domain/record.hpp"

#include <optional>
#include <string>
#include <vector>

namespace shaftlog {

/// How a refill, a level, a counter or a sample contradicts what stood in the log before it: what a slip of the pen or
/// of the unit makes of a value, told while it can still be put right. Lower case, no full stop.
/// \param before records of the vessel without the draft
/// \param d of `before`, as of the draft
/// \param expected of a refill [cm3]; empty: not known
std::vector<std::string> odd_values(const VesselLog& before, const VesselDigest& d, const Entry& draft,
                                    const std::optional<Estimate>& expected);

}  // namespace shaftlog
