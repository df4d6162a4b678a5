#pragma once

#include "storage/finding_repository.hpp"
#include "storage/query.hpp"
#include "support/temp_db.hpp"

#include <fstream>
#include <iterator>
#include <map>
#include <string>
#include <vector>

#include <SQLiteCpp/Database.h>

namespace shaftlog::test {

/// Every row of every table as text that tells all values and types apart, by table and rowid; read through SQLite.
/// Tables without a rowid hold what is made anew (strands) and are left to check().
using AllRows = std::map<std::string, std::map<std::int64_t, std::string>>;
inline AllRows all_rows(const std::filesystem::path& path) {
  SQLite::Database db{path.string(), SQLite::OPEN_READWRITE};  // one that only reads leaves its journal behind
  sqlite3* const raw = db.getHandle();
  std::vector<std::string> tables;
  {
    Query table{raw, R"sql(
SELECT s.name FROM sqlite_schema s JOIN pragma_table_list(s.name) l ON l.schema = 'main'
WHERE s.type = 'table' AND l.wr = 0 AND s.name NOT LIKE 'sqlite_%' )sql"};
    while (table.step()) tables.emplace_back(table.text(0));
  }
  AllRows rows;
  for (const std::string& name : tables) {
    std::string columns;
    Query column{raw, "SELECT name FROM pragma_table_info(:table)"};
    column.bind(name);
    while (column.step())
      columns += (columns.empty() ? "quote(" : " || ',' || quote(") + std::string{column.text(0)} + ")";
    Query row{raw, "SELECT rowid, " + columns + " FROM " + name};
    auto& out = rows[name];
    while (row.step()) out.emplace(row.integer(0), row.text(1));
  }
  return rows;
}

inline std::string read_bytes(const std::filesystem::path& path) {
  std::ifstream in{path, std::ios::binary};
  return {std::istreambuf_iterator<char>{in}, std::istreambuf_iterator<char>{}};
}
inline void write_bytes(const std::filesystem::path& path, const std::string& bytes) {
  std::ofstream{path, std::ios::binary} << bytes;
}

/// A log of all kinds of records with corrections, withdrawals, long remarks (some go over a page) and remarks on
/// findings; as one file without a journal.
class WholeLog {
 public:
  explicit WholeLog(int records) {
    TempDb t;
    LogRepository log{t.db};
    {
      WriteTransaction transaction{t.db};
      for (int n = 1; n <= records; ++n) {
        const auto number = static_cast<std::uint64_t>(n);
        Entry e = t.entry(static_cast<Kind>(n % 8), number, n % 300);
        if (n % 11 == 0) e.head.remark = "Filter changed; " + std::string(static_cast<std::size_t>(n) % 160, 'r');
        if (n % 97 == 0) e.head.remark = std::string(9'000, 'o');
        log.add(e);
        if (n % 13 == 0) log.add(t.correction(e, 100'000 + number, 300));
        if (n % 29 == 0) log.add(t.withdrawal(e, 200'000 + number, 301));
      }
      transaction.commit();
    }
    backup(t.db, dir_ / "whole.db");
    bytes = read_bytes(dir_ / "whole.db");
    rows = all_rows(dir_ / "whole.db");
  }
  [[nodiscard]] std::filesystem::path file() const { return dir_ / "whole.db"; }
  [[nodiscard]] std::size_t pages() const noexcept { return bytes.size() / 4096; }
  std::string bytes;
  AllRows rows;

 private:
  TempDir dir_;
};

}  // namespace shaftlog::test
