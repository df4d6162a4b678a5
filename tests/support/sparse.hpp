#pragma once

#include "base/sanitizer.hpp"

#include <cstddef>

namespace shaftlog::test {

/// Of places and rounds that walk the same code one in so many is tried: under sanitizers each takes ten times as long.
inline constexpr std::size_t kSparse = SHAFTLOG_SANITIZED ? 5 : 1;

}  // namespace shaftlog::test
