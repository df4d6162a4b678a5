#pragma once

#include "base/embedded.hpp"

#include <span>

namespace shaftlog {

/// The demo fleet's log folder (demo_db/log), compiled into the program; sorted by file name.
std::span<const EmbeddedFile> demo_files();

}  // namespace shaftlog
