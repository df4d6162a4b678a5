#pragma once

#include "domain/ids.hpp"
#include "storage/database.hpp"

#include <array>
#include <cstdint>
#include <vector>

namespace shaftlog {

/// How far a file had come: nothing is ever taken out of it.
struct FileMark {
  std::int64_t entry = 0, remark = 0;
  std::array<std::int64_t, 11> reg{};  ///< of the register: its tables and what was put right
  friend bool operator==(const FileMark&, const FileMark&) = default;
};
/// Opens no transaction: the caller in app/ does.
FileMark mark_of(Database& db);
/// Vessels of which a record, a correction, a withdrawal or a remark on a finding has come since; sorted.
std::vector<VesselId> vessels_touched_since(Database& db, const FileMark& since);

}  // namespace shaftlog
