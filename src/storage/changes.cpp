#include "storage/changes.hpp"

#include "storage/change_sql.hpp"
#include "storage/query.hpp"

#include <algorithm>

namespace shaftlog {

FileMark mark_of(Database& db) {
  FileMark m;
  m.entry = single_integer(handle_of(db), change_sql::kLastEntry);
  m.remark = single_integer(handle_of(db), change_sql::kLastRemark);
  Query row{db, change_sql::kLastOfRegister};
  if (row.step())
    for (std::size_t i = 0; i < m.reg.size(); ++i) m.reg[i] = row.integer(static_cast<int>(i));
  return m;
}

std::vector<VesselId> vessels_touched_since(Database& db, const FileMark& since) {
  std::vector<VesselId> out;
  const auto add = [&](const char* sql, std::int64_t last) {
    Query row{db, sql};
    row.bind(last);
    while (row.step()) out.push_back(row.key<VesselId>(0));
  };
  add(change_sql::kEntriesSince, since.entry);
  add(change_sql::kRemarksSince, since.remark);
  std::sort(out.begin(), out.end());
  out.erase(std::unique(out.begin(), out.end()), out.end());
  return out;
}

}  // namespace shaftlog
