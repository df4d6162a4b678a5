#include "web/kept_open.hpp"

#include "base/error.hpp"
#include "storage/query.hpp"
#include "support/temp_db.hpp"

#include <sqlite3.h>

#include <catch2/catch.hpp>

using namespace shaftlog;
using namespace shaftlog::test;
using web::KeptOpen;

namespace {

void make(const std::filesystem::path& file) { Database::create(file); }

}  // namespace

TEST_CASE("kept open: a connection given back is lent again, and never to two at once", "[web][kept_open]") {
  const TempDir dir;
  make(dir / "d.db");
  KeptOpen open{dir / "d.db", KeptOpen::For::reading};
  {
    auto lent = open.lend();
    execute(handle_of(*lent), "PRAGMA cache_size = 17");
  }
  auto a = open.lend();
  auto b = open.lend();
  CHECK(single_integer(handle_of(*a), "PRAGMA cache_size") == 17);
  CHECK(single_integer(handle_of(*b), "PRAGMA cache_size") != 17);
}

TEST_CASE("kept open: what is lent to write, writes; what is lent to read, does not", "[web][kept_open]") {
  const TempDir dir;
  make(dir / "d.db");
  const auto put = [](Database& db) {
    Vessel v;
    v.code = "T-01";
    v.time_zone = "UTC";
    RegisterRepository{db}.put(v, {day(0).utc, "tester", false});
  };
  KeptOpen reading{dir / "d.db", KeptOpen::For::reading}, writing{dir / "d.db", KeptOpen::For::writing};
  for (int again = 0; again < 2; ++again) {  // new, and kept
    auto read = reading.lend();
    CHECK_THROWS_AS(put(*read), Error);
  }
  auto write = writing.lend();
  put(*write);
  auto read = reading.lend();
  CHECK(RegisterRepository{*read}.load().vessels.size() == 1);
}

TEST_CASE("kept open: a file that was put in place of the first is opened, not the first", "[web][kept_open]") {
  const TempDir dir;
  make(dir / "d.db");
  KeptOpen open{dir / "d.db", KeptOpen::For::reading};
  { auto lent = open.lend(); }
  {
    TempDb other;
    backup(other.db, dir / "other.db");
  }
  for (const char* suffix : {"", "-wal", "-shm"})
    if (std::filesystem::exists(dir / (std::string{"d.db"} + suffix)))
      std::filesystem::rename(dir / (std::string{"d.db"} + suffix), dir / (std::string{"away.db"} + suffix));
  CHECK_THROWS_AS(open.lend(), Error);  // there is none
  std::filesystem::rename(dir / "other.db", dir / "d.db");
  auto lent = open.lend();
  CHECK(RegisterRepository{*lent}.load().vessels.size() == 1);
}

TEST_CASE("kept open: a file that a newer program has brought to its schema is told of", "[web][kept_open]") {
  const TempDir dir;
  make(dir / "d.db");
  KeptOpen open{dir / "d.db", KeptOpen::For::reading};
  { auto lent = open.lend(); }
  sqlite3* db = nullptr;
  REQUIRE(sqlite3_open((dir / "d.db").c_str(), &db) == SQLITE_OK);
  REQUIRE(sqlite3_exec(db, "PRAGMA user_version = 9999", nullptr, nullptr, nullptr) == SQLITE_OK);
  sqlite3_close(db);
  try {
    auto lent = open.lend();
    FAIL("it was lent");
  } catch (const Error& e) {
    CHECK(e.code() == Errc::schema_too_new);
  }
}

TEST_CASE("kept open: a connection is not lent again with a transaction left open", "[web][kept_open]") {
  const TempDir dir;
  make(dir / "d.db");
  KeptOpen open{dir / "d.db", KeptOpen::For::writing};
  {
    auto lent = open.lend();
    execute(handle_of(*lent), "BEGIN IMMEDIATE");
  }
  auto lent = open.lend();
  CHECK_NOTHROW(WriteTransaction{*lent}.commit());
}

TEST_CASE("kept open: a connection is not lent again after a fault", "[web][kept_open]") {
  const TempDir dir;
  make(dir / "d.db");
  KeptOpen open{dir / "d.db", KeptOpen::For::reading};
  const auto mark_of = [&open] {
    auto lent = open.lend();
    return single_integer(handle_of(*lent), "PRAGMA cache_size");
  };
  {
    auto lent = open.lend();
    execute(handle_of(*lent), "PRAGMA cache_size = 17");
  }
  REQUIRE(mark_of() == 17);
  try {
    auto lent = open.lend();
    throw Error{Errc::io, "the disk is gone"};
  } catch (const Error&) {
  }
  CHECK(mark_of() != 17);
}
