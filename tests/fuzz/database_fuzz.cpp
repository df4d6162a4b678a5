#include "base/error.hpp"
#include "base/text.hpp"
#include "fuzz_input.hpp"
#include "storage/salvage/page_map.hpp"

#include <sqlite3.h>
#include <tuple>

using namespace shaftlog;
using namespace shaftlog::salvage;

namespace {

/// A small schema with what ours has: references, a row that an index says once more, texts and bytes that overflow.
constexpr const char* kSchema = R"sql(
CREATE TABLE ship (ship_id INTEGER PRIMARY KEY, code TEXT NOT NULL UNIQUE) STRICT;
CREATE TABLE item (item_id INTEGER PRIMARY KEY, ship_id INTEGER NOT NULL REFERENCES ship, at INTEGER NOT NULL,
                   size REAL, remark TEXT, uuid BLOB NOT NULL UNIQUE) STRICT;
CREATE INDEX item_of_ship ON item (ship_id, at); )sql";

struct Fresh {
  Fresh() {
    must(sqlite3_open(":memory:", &db) == SQLITE_OK, "a database in memory can be opened");
    must(sqlite3_exec(db, kSchema, nullptr, nullptr, nullptr) == SQLITE_OK, "the schema can be made");
    tables = table_shapes(db);
    roots = root_pages(db);
  }
  sqlite3* db = nullptr;
  std::vector<TableShape> tables;
  std::map<std::string, std::uint32_t> roots;
};

using Told = std::vector<std::tuple<std::string, std::int64_t, std::vector<std::uint8_t>>>;

Told read_all(Bytes main, Bytes wal, const Fresh& fresh) {
  Told told;
  const PageFile file{bytes_in_memory(main), wal.empty() ? nullptr : bytes_in_memory(wal), "x.db"};
  const auto fits = [](const TableShape&, const Row& row) { return row.key < 1'000'000; };
  PageMap map{file, fresh.tables, fresh.roots, fits};
  std::vector<const TableShape*> tables;
  for (const TableShape& t : fresh.tables) tables.push_back(&t);
  map.find_by_content(tables, fits);
  for (const TableShape& t : fresh.tables) {
    map.each_row(t, [&](const Row& row) {
      must(row.key > 0, "a key is above 0");
      must(row.values.size() == t.columns.size(), "a row has the table's columns");
      for (std::size_t i = 0; i < row.values.size(); ++i) {
        const Value& v = row.values[i];
        must(v.kind != Value::Kind::null || !t.columns[i].not_null, "what may not be empty is not");
        must(v.kind != Value::Kind::text ||
                 !find_bad_utf8({reinterpret_cast<const char*>(v.bytes.data()), v.bytes.size()}),
             "text is UTF-8");
      }
      told.emplace_back(t.name, row.key, row.payload);
    });
    static_cast<void>(map.is_end_lost(t.name));
  }
  map.each_index_row("item_of_ship",
                     [&](const std::vector<Value>& values) { must(!values.empty(), "it says something"); });
  return told;
}

}  // namespace

// The first two bytes say how many bytes (in units of 16) are the journal at the end, the rest before it the database.
extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  static const Fresh fresh;
  if (size < 2) return 0;
  const Bytes all{data + 2, size - 2};
  const std::size_t wal = std::min<std::size_t>(all.size(), std::size_t{16} * (data[0] * 256U + data[1]));
  const Bytes main = all.first(all.size() - wal), journal = all.last(wal);
  try {
    const Told once = read_all(main, journal, fresh);
    must(once == read_all(main, journal, fresh), "the same bytes give the same rows");
  } catch (const Error& e) {
    must(e.code() == Errc::damaged && e.what()[0] != '\0', "a refusal says why");
  }
  return 0;
}
