#pragma once

#include "analysis/review.hpp"

namespace shaftlog {

/// digest() of a log that was cut at `as_of`, its running hours by the readings of the whole record: the one after
/// `as_of` tells the run up to it, so that nothing is assumed there.
/// \param whole digest of the uncut log at a later moment
VesselDigest digest_with_hours_of(const VesselDigest& whole, const VesselLog& log, Instant as_of);

}  // namespace shaftlog
