#pragma once

#include <cstdint>
#include <string>
#include <string_view>

#include <fmt/format.h>

namespace shaftlog {

/// "1 record", "3 records".
inline std::string counted(std::int64_t n, std::string_view what) {
  return fmt::format("{} {}{}", n, what, n == 1 ? "" : "s");
}

}  // namespace shaftlog
