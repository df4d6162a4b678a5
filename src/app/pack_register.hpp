#pragma once

#include "interchange/fields.hpp"
#include "interchange/pack_file.hpp"
#include "storage/database.hpp"

#include <string>
#include <vector>

namespace shaftlog {

/// The register as packs carry it: a part of CSV a table, and a part with the moment each row was last put right. Equal
/// registers give equal parts in every file.
std::string register_parts(Database& db);

struct RegisterMerge {
  std::int64_t added = 0;
  std::vector<std::string> replaced;  ///< "shaft port of T-01": the pack's row was put right later, or counts for more
  std::vector<std::string> kept;      ///< the other way round
};
/// Takes in what register_parts() wrote elsewhere. Where a row differs the one put right later counts; of two as old
/// the one whose line sorts higher: so every file comes to the same. What was replaced stays in register_change.
/// \throws Error{bad_data} naming file, line and value
RegisterMerge merge_register(Database& db, PartReader& parts, const std::string& by);

}  // namespace shaftlog
