#pragma once

#include "storage/families.hpp"
#include "storage/log_repository.hpp"
#include "storage/log_sql.hpp"
#include "storage/query.hpp"

#include <string>
#include <unordered_map>

namespace shaftlog {

/// What a LogRepository keeps between calls. Writing statements are prepared when the first record is added: a file
/// opened for reading needs none.
struct LogRepository::Statements {
  struct Adding {
    explicit Adding(Database& db);
    Query find_person, add_person, find_source, add_source, entry;
    Query hours, cycles, level, refill, greasing, alarm, work, inspection;
    std::unordered_map<std::string, std::int64_t> people, sources;
    std::int64_t as_of_undone = 0;  ///< Database::undone() when the two maps were last known to be true
  };
  std::optional<Adding> adding;
};

/// Ids of a vessel's records that are not in force, by what was recorded by `known`.
std::unordered_set<Uuid> find_not_in_force(Database& db, VesselId vessel, Instant known);

}  // namespace shaftlog
