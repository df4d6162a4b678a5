#pragma once

#include "base/time.hpp"
#include "storage/database.hpp"

#include <cstdint>

namespace shaftlog {

/// Records and remarks that say they were recorded more than an hour after now: a clock was ahead, or is behind.
struct RecordedLater {
  std::int64_t records = 0, remarks = 0;
  Instant newest{};  ///< recorded_at; meaningless without any
};
RecordedLater find_recorded_later(Database& db, Instant now);

}  // namespace shaftlog
