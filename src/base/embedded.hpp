#pragma once

#include <span>
#include <string_view>

namespace shaftlog {

/// A text file compiled into the program.
struct EmbeddedFile {
  std::string_view name;
  std::string_view text;
};

}  // namespace shaftlog
