#pragma once

#include <cstdint>
#include <string_view>

namespace shaftlog {

/// A number that looks like chance and is always the same for the same key and place: FNV-1a, then mixed. For drawing
/// by lot what must not depend on how many others there are.
std::uint64_t lot_of(std::string_view key, std::uint64_t place = 0) noexcept;

}  // namespace shaftlog
