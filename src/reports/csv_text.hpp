#pragma once

#include <string>
#include <string_view>
#include <vector>

namespace shaftlog {

/// One RFC 4180 row with LF; fields are quoted where they must be and never changed.
std::string csv_row(const std::vector<std::string>& fields);

}  // namespace shaftlog
