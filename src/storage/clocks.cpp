#include "storage/clocks.hpp"

#include "storage/query.hpp"

#include <algorithm>

namespace shaftlog {

RecordedLater find_recorded_later(Database& db, Instant now) {
  constexpr std::chrono::hours kApart{1};  // clocks differ by minutes, and an hour is set wrongly twice a year
  RecordedLater out;
  const auto look = [&](const char* sql) {
    Query row{db, sql};
    row.bind(now + kApart).step();
    if (row.integer(0) > 0) out.newest = std::max(out.newest, from_unix(row.integer(1)));
    return row.integer(0);
  };
  out.records = look("SELECT count(*), max(recorded_at_utc_s) FROM entry WHERE recorded_at_utc_s > :after");
  out.remarks = look("SELECT count(*), max(recorded_at_utc_s) FROM finding_remark WHERE recorded_at_utc_s > :after");
  return out;
}

}  // namespace shaftlog
