#pragma once

#include "storage/chain.hpp"
#include "storage/database.hpp"
#include "storage/query.hpp"

#include <string>
#include <utility>
#include <vector>

#include <fmt/format.h>

namespace shaftlog::test {

/// What somebody with an SQLite shell does, who knows the triggers.
inline void tamper(Database& db, const std::vector<std::string>& statements) {
  std::vector<std::pair<std::string, std::string>> triggers;
  {
    Query row{db, "SELECT name, sql FROM sqlite_schema WHERE type = 'trigger'"};
    while (row.step()) triggers.emplace_back(row.text(0), row.text(1));
  }
  execute(handle_of(db), "PRAGMA foreign_keys = OFF");
  execute(handle_of(db), "BEGIN");  // once to the disk, not a hundred times
  for (const auto& [name, text] : triggers) execute(handle_of(db), "DROP TRIGGER " + name);
  for (const std::string& sql : statements) execute(handle_of(db), sql);
  for (const auto& [name, text] : triggers) execute(handle_of(db), text);
  execute(handle_of(db), "COMMIT");
  execute(handle_of(db), "PRAGMA foreign_keys = ON");
}

/// The same by one who also knows how the hashes are made, and makes all of them anew.
inline void rewrite(Database& db, const std::string& sql) {
  tamper(db, {sql});
  std::vector<std::string> updates;
  {
    Query link{db,
               "SELECT origin_id, position, entry_id, finding_remark_id, verification_id FROM link ORDER BY origin_id, "
               "position"};
    LinkedContent content{handle_of(db)};
    std::int64_t origin = 0;
    Hash hash{};
    while (link.step()) {
      if (link.integer(0) != origin) hash = {};
      origin = link.integer(0);
      std::string bytes;
      content.append(bytes, link_target(link, 2));
      hash = link_hash(hash, bytes);
      updates.push_back(fmt::format("UPDATE link SET hash = x'{}' WHERE origin_id = {} AND position = {}", hex(hash),
                                    origin, link.integer(1)));
    }
  }
  tamper(db, updates);
}

}  // namespace shaftlog::test
