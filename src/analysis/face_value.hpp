#pragma once

#include "analysis/review.hpp"

#include <vector>

namespace shaftlog {

// What can be read off a vessel's records when nothing is weighed: for plain methods. Each device is taken to deliver
// what it is called for.

/// The stretches of balance_delivery() with what was used and called for in each, and nothing weighed: `ratio` is
/// empty, `p_low` and `p_high` are 0. The same parameters; the same figures to the last bit.
std::vector<RatioStep> list_stretches(const VesselLog& log, const Lubricator& lubricator, const Schedule& schedule,
                                      Instant as_of);

/// digest() with the stretches alone of each lubricator.
VesselDigest digest_at_face_value(const VesselLog& log, Instant as_of);

}  // namespace shaftlog
