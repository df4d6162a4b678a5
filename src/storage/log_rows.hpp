#pragma once

#include "domain/record.hpp"
#include "storage/query.hpp"

#include <string>

namespace shaftlog {

/// The number a kind has on disk, 1..8.
constexpr int code_of(Kind kind) noexcept { return static_cast<int>(kind) + 1; }
constexpr std::size_t index_of(Kind kind) noexcept { return static_cast<std::size_t>(kind); }

// Detail rows, from the column on at which log_sql::kDetails begin. \throws Error{damaged} on a word we do not know
void read_detail(const Query& row, int column, Hours& out);
void read_detail(const Query& row, int column, Cycles& out);
void read_detail(const Query& row, int column, LevelReading& out);
void read_detail(const Query& row, int column, Refill& out);
void read_detail(const Query& row, int column, Greasing& out);
void read_detail(const Query& row, int column, Alarm& out);
void read_detail(const Query& row, int column, Work& out);
void read_detail(const Query& row, int column, Inspection& out);
Detail read_detail(Kind kind, const Query& row, int column);

/// What log_sql::kHeadColumns say; the detail is left for the caller.
Entry read_head(const Query& row);
/// The same of log_sql::kListColumns, into `out`, of which everything but the detail is written over.
void read_listed(const Query& row, const std::string& by, const std::string& source, Entry& out);

}  // namespace shaftlog
