// The reader of damaged files against the published description of the file format ("Database File Format",
// sqlite.org/fileformat2.html; the worked numbers are those of SQLite's own btreeInt.h) and against what SQLite writes.
#include "storage/query.hpp"
#include "storage/salvage/tree_page.hpp"
#include "support/temp_db.hpp"

#include <bit>
#include <limits>
#include <random>
#include <sqlite3.h>

#include <SQLiteCpp/Database.h>
#include <SQLiteCpp/Statement.h>
#include <catch2/catch.hpp>
#include <fmt/format.h>

using namespace shaftlog;
using namespace shaftlog::salvage;
using shaftlog::test::TempDir;
using Raw = std::vector<std::uint8_t>;

namespace {

std::optional<Varint> varint(const Raw& bytes) { return read_varint(bytes); }

std::optional<std::vector<Value>> decoded(const Raw& payload) {
  std::vector<Value> values;
  if (!decode_record(payload, values)) return std::nullopt;
  return values;
}

/// Every value of every leaf below a table's page.
void collect(const PageFile& file, std::uint32_t page, std::map<std::int64_t, std::string>& out) {
  const TreePage read = read_tree_page(file, page);
  REQUIRE(read.kind != TreePage::Kind::none);
  REQUIRE(read.damaged == 0);
  for (const Cell& cell : read.cells) {
    if (read.kind == TreePage::Kind::table_interior) {
      collect(file, cell.child, out);
      continue;
    }
    std::vector<Value> values;
    REQUIRE(decode_record(cell.payload, values));
    std::string text;
    for (const Value& v : values) {
      text += fmt::format("{}:{}:{:x}:", static_cast<int>(v.kind), v.integer, std::bit_cast<std::uint64_t>(v.real));
      text.append(reinterpret_cast<const char*>(v.bytes.data()), v.bytes.size());
      text += '|';
    }
    out.emplace(cell.key, text);
  }
  if (read.kind == TreePage::Kind::table_interior) collect(file, read.last_child, out);
}

}  // namespace

TEST_CASE("reference: variable-length integers as in the published examples", "[reference][recover]") {
  const std::vector<std::pair<Raw, std::uint64_t>> kPublished{{{0x00}, 0x00000000},
                                                              {{0x7f}, 0x0000007f},
                                                              {{0x81, 0x00}, 0x00000080},
                                                              {{0x82, 0x00}, 0x00000100},
                                                              {{0x80, 0x7f}, 0x0000007f},
                                                              {{0x81, 0x91, 0xd1, 0xac, 0x78}, 0x12345678},
                                                              {{0x81, 0x81, 0x81, 0x81, 0x01}, 0x10204081}};
  for (const auto& [bytes, value] : kPublished) {
    const auto read = varint(bytes);
    REQUIRE(read);
    CHECK(read->value == value);
    CHECK(read->length == bytes.size());
  }
  // "nine bytes, whichever is shorter": all eight bits of the ninth count, whatever follows.
  const auto minus_one = varint(Raw(12, 0xff));
  REQUIRE(minus_one);
  CHECK(minus_one->value == std::numeric_limits<std::uint64_t>::max());
  CHECK(minus_one->length == 9);
  CHECK(varint({0x80, 0x80, 0x80, 0x80, 0x80, 0x80, 0x80, 0x80, 0x80})->value == 0x80);
  CHECK(!varint({}));
  CHECK(!varint({0x81}));
  CHECK(!varint(Raw(8, 0xff)));
}

TEST_CASE("reference: each serial type of the record format", "[reference][recover]") {
  using Kind = Value::Kind;
  const auto one = [](const Raw& payload) {
    const auto values = decoded(payload);
    REQUIRE(values);
    REQUIRE(values->size() == 1);
    return values->front();
  };
  CHECK(one({2, 0}).kind == Kind::null);
  CHECK(one({2, 1, 0x80}).integer == -128);
  CHECK(one({2, 2, 0x80, 0x00}).integer == -32768);
  CHECK(one({2, 3, 0x7f, 0xff, 0xff}).integer == 8'388'607);
  CHECK(one({2, 4, 0x80, 0, 0, 0}).integer == -2'147'483'648LL);
  CHECK(one({2, 5, 0x7f, 0xff, 0xff, 0xff, 0xff, 0xff}).integer == 140'737'488'355'327);
  CHECK(one({2, 6, 0x80, 0, 0, 0, 0, 0, 0, 0}).integer == std::numeric_limits<std::int64_t>::min());
  CHECK(one({2, 7, 0x40, 0x09, 0x21, 0xfb, 0x54, 0x44, 0x2d, 0x18}).real == 3.141592653589793);
  CHECK(one({2, 8}).integer == 0);
  CHECK(one({2, 9}).integer == 1);
  const Raw blob{2, 16, 0xaa, 0xbb}, text{2, 17, 'h', 'i'}, empty_blob{2, 12}, empty_text{2, 13};
  CHECK(one(blob).kind == Kind::blob);
  CHECK(one(blob).bytes.size() == 2);
  CHECK(one(text).kind == Kind::text);
  CHECK(one(text).bytes[1] == 'i');
  CHECK(one(empty_blob).kind == Kind::blob);
  CHECK(one(empty_text).kind == Kind::text);
}

TEST_CASE("reference: what no writer makes of a record is not taken for one", "[reference][recover]") {
  CHECK(!decoded({}));
  CHECK(!decoded({2, 10}));                               // reserved
  CHECK(!decoded({2, 11}));                               // reserved
  CHECK(!decoded({2, 1, 0}));                             // 0 and 1 have types of their own
  CHECK(!decoded({2, 2, 0, 5}));                          // 5 needs one byte
  CHECK(!decoded({2, 2, 0}));                             // ends inside the value
  CHECK(!decoded({2, 1, 7, 7}));                          // bytes are left over
  CHECK(!decoded({9, 1, 7}));                             // a head longer than all
  CHECK(!decoded({0}));                                   // a head shorter than itself
  CHECK(!decoded({2, 7, 0x7f, 0xf8, 0, 0, 0, 0, 0, 0}));  // not a number
}

TEST_CASE("reference: pages of every size with payloads around each limit read as SQLite wrote them",
          "[reference][recover]") {
  std::mt19937_64 random{17};
  for (std::uint32_t page_size = 512; page_size <= 65536; page_size *= 2) {
    INFO("pages of " << page_size << " bytes");
    const TempDir dir;
    const auto path = dir / "x.db";
    std::map<std::int64_t, std::string> wanted;
    std::uint32_t root = 0;
    {
      SQLite::Database db{path.string(), SQLite::OPEN_READWRITE | SQLite::OPEN_CREATE};
      db.exec(fmt::format("PRAGMA page_size = {}; CREATE TABLE t (a, b, c); BEGIN", page_size));
      SQLite::Statement insert{db, "INSERT INTO t VALUES (?, ?, ?)"};
      const std::int64_t most = std::int64_t{page_size} - 35;  // all of it in the page: "U-35"
      std::vector<std::int64_t> sizes{0, 1, 100};
      for (std::int64_t n = most - 12; n <= most + 3; ++n) sizes.push_back(n);
      for (std::int64_t n = 2 * std::int64_t{page_size} - 50; n < 2 * std::int64_t{page_size} + 10; n += 3) {
        sizes.push_back(n);
      }
      sizes.push_back(5 * std::int64_t{page_size});
      for (const std::int64_t size : sizes) {
        insert.reset();
        const auto bits = 1 + static_cast<int>(random() % 63);
        insert.bind(1, static_cast<std::int64_t>(random() >> bits) * (random() % 2 == 0 ? 1 : -1));
        insert.bind(2, std::string(static_cast<std::size_t>(std::max<std::int64_t>(0, size)), 't'));
        insert.bind(3, static_cast<double>(random() % 1000) / 7);
        insert.exec();
      }
      db.exec("COMMIT");
      root = static_cast<std::uint32_t>(db.execAndGet("SELECT rootpage FROM sqlite_schema").getInt64());
      SQLite::Statement row{db, "SELECT rowid, a, b, c FROM t"};
      while (row.executeStep()) {
        wanted[row.getColumn(0).getInt64()] =
            fmt::format("1:{}:0:|3:0:0:{}|2:0:{:x}:|", row.getColumn(1).getInt64(), row.getColumn(2).getString(),
                        std::bit_cast<std::uint64_t>(row.getColumn(3).getDouble()));
      }
    }
    const PageFile file{open_bytes(path), nullptr, "x.db"};
    CHECK(file.page_size() == page_size);
    CHECK(file.notes().empty());
    std::map<std::int64_t, std::string> found;
    collect(file, root, found);
    // A REAL without a fraction is kept as an integer; the value is the same.
    for (auto& [key, text] : found) {
      const auto& want = wanted.at(key);
      CHECK(text.substr(0, text.rfind('|', text.size() - 2)) == want.substr(0, want.rfind('|', want.size() - 2)));
    }
    CHECK(found.size() == wanted.size());
  }
}
