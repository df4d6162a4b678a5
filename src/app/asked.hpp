#pragma once

#include "app/review.hpp"

namespace shaftlog {

// What a ReviewRequest asks for.

/// \throws Error{not_found} for a vessel or group that is not registered (names the near ones); Error{usage} the vessel
/// is of another group
void require_known(const Register& reg, const ReviewRequest& request);
bool is_asked(const Vessel& vessel, const ReviewRequest& request);
unsigned threads_of(const ReviewRequest& request);

}  // namespace shaftlog
