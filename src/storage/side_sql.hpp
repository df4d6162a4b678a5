#pragma once

// Every statement about whose file this is, in one place so that a test can prepare and explain each.

#include <string>
#include <vector>

namespace shaftlog::side_sql {

inline constexpr const char* kSide = R"sql( SELECT side FROM side ORDER BY side_id DESC LIMIT 1 )sql";
inline constexpr const char* kSay = R"sql(
INSERT INTO side (side_id, side, at_utc_s, by_name)
SELECT ifnull(max(side_id), 0) + 1, :side, :at, :by FROM side )sql";
/// Of the strands in which a record stands, this file's own first.
inline constexpr const char* kWrittenIn = R"sql(
SELECT o.own, o.name, o.uuid FROM entry e JOIN link l ON l.entry_id = e.entry_id JOIN origin o USING (origin_id)
WHERE e.uuid = :record ORDER BY o.own IS NULL, o.uuid LIMIT 1 )sql";

inline std::vector<std::string> all() { return {kSide, kSay, kWrittenIn}; }

}  // namespace shaftlog::side_sql
