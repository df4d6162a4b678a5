#include "app/maintenance.hpp"
#include "base/error.hpp"
#include "support/temp_db.hpp"

#include <fstream>

#include <catch2/catch.hpp>

using namespace shaftlog;
using namespace shaftlog::test;
namespace fs = std::filesystem;

namespace {

std::vector<std::string> names_in(const fs::path& folder) {
  std::vector<std::string> names;
  for (const auto& entry : fs::directory_iterator{folder}) names.push_back(entry.path().filename().string());
  std::sort(names.begin(), names.end());
  return names;
}

void add_hours(TempDb& t, std::uint64_t from, std::uint64_t to) {
  WriteTransaction transaction{t.db};
  for (std::uint64_t n = from; n < to; ++n) LogRepository{t.db}.add(t.entry(Kind::hours, n, static_cast<int>(n)));
  transaction.commit();
}

std::int64_t records_of(const fs::path& file) { return check_database(file, FixedClock{day(400).utc}).records; }

}  // namespace

TEST_CASE("backup: of dated copies the newest stay, and nothing else is touched", "[app][backup]") {
  TempDb t;
  const fs::path safe = t.dir / "safe";
  fs::create_directory(safe);
  std::ofstream{safe / "shaftlog-notes.txt"} << "mine";
  std::ofstream{safe / "other-20200101T000000Z.db"} << "another database's copy";
  std::ofstream{safe / "shaftlog-2020010aT000000Z.db"} << "no copy of ours";
  fs::create_directory(safe / "shaftlog-20200101T000000Z.db");
  for (int day_number = 0; day_number < 5; ++day_number) {
    const auto made = backup_database(t.file, safe, FixedClock{day(day_number).utc}, 3);
    CHECK(made.removed.size() == (day_number < 3 ? 0U : 1U));
  }
  CHECK(names_in(safe) == std::vector<std::string>{"other-20200101T000000Z.db", "shaftlog-20200101T000000Z.db",
                                                   "shaftlog-2020010aT000000Z.db", "shaftlog-20260103T000000Z.db",
                                                   "shaftlog-20260104T000000Z.db", "shaftlog-20260105T000000Z.db",
                                                   "shaftlog-notes.txt"});
}

TEST_CASE("backup: a clock set back costs an older copy, never the one just made", "[app][backup]") {
  TempDb t;
  const fs::path safe = t.dir / "safe";
  fs::create_directory(safe);
  for (const int n : {10, 11, 12}) backup_database(t.file, safe, FixedClock{day(n).utc}, 3);
  const auto made = backup_database(t.file, safe, FixedClock{day(1).utc}, 3);
  CHECK(made.copy.filename() == "shaftlog-20260102T000000Z.db");
  CHECK(fs::exists(made.copy));
  CHECK(names_in(safe).size() == 3);
  CHECK(made.removed == std::vector<fs::path>{safe / "shaftlog-20260111T000000Z.db"});
}

TEST_CASE("backup: where the new copy cannot be made the old ones stay", "[app][backup]") {
  TempDb t;
  const fs::path safe = t.dir / "safe";
  fs::create_directory(safe);
  backup_database(t.file, safe, FixedClock{day(1).utc}, 1);
  CHECK_THROWS_AS(backup_database(t.file, safe, FixedClock{day(1).utc}, 1), Error);  // the name is taken
  CHECK(names_in(safe).size() == 1);
  CHECK_THROWS_AS(backup_database(t.file, t.dir / "x.db", FixedClock{day(1).utc}, 1), Error);
}

TEST_CASE("restore: says what the backup lacks, changes nothing in a dry run, keeps the file that was there",
          "[app][restore]") {
  TempDb t;
  add_hours(t, 1, 11);
  const fs::path copy = t.dir / "copy.db";
  backup_database(t.file, copy, FixedClock{day(0).utc});
  add_hours(t, 11, 14);
  {
    WriteTransaction transaction{t.db};
    LogRepository{t.db}.add(t.entry(Kind::greasing, 50, 20));
    transaction.commit();
  }
  const fs::path file = t.dir / "present.db";
  fs::remove(file);
  backup_database(t.file, file, FixedClock{day(0).utc});

  const auto dry = restore_database(copy, file, FixedClock{day(30).utc}, /*is_dry_run=*/true);
  REQUIRE(dry.lacking.size() == 2);
  CHECK(dry.lacking[0].vessel == "T-01");
  CHECK(dry.lacking[0].kind == Kind::hours);
  CHECK(dry.lacking[0].count == 3);
  CHECK(dry.lacking[0].first == day(11).utc);
  CHECK(dry.lacking[0].last == day(13).utc);
  CHECK(dry.lacking[1].kind == Kind::greasing);
  CHECK(records_of(file) == 14);
  CHECK(dry.aside.empty());

  const auto done = restore_database(copy, file, FixedClock{day(30).utc}, /*is_dry_run=*/false);
  CHECK(done.lacking.size() == 2);
  CHECK(records_of(file) == 10);
  CHECK(done.aside == t.dir / "present.replaced-20260131T000000Z.db");
  CHECK(records_of(done.aside) == 14);
  // And back again: the file put aside is a backup like any other.
  const auto back = restore_database(done.aside, file, FixedClock{day(30).utc}, false);
  CHECK(back.lacking.empty());
  CHECK(records_of(file) == 14);
  CHECK(back.aside == t.dir / "present.replaced-20260131T000000Z-2.db");
}

TEST_CASE("restore: not over a file that another program has open", "[app][restore]") {
  TempDb t;
  add_hours(t, 1, 4);
  const fs::path copy = t.dir / "copy.db";
  backup_database(t.file, copy, FixedClock{day(0).utc});
  add_hours(t, 4, 6);
  try {
    restore_database(copy, t.file, FixedClock{day(1).utc}, false);  // t.db is open
    FAIL("nothing was refused");
  } catch (const Error& e) {
    CHECK(e.code() == Errc::busy);
    CHECK(std::string{e.what()}.find("another program has it open") != std::string::npos);
  }
  add_hours(t, 6, 8);  // it goes on as if nothing had been
  CHECK(records_of(t.file) == 7);
}

TEST_CASE("restore: a damaged file is replaced and kept, its journal with it", "[app][restore]") {
  TempDb t;
  add_hours(t, 1, 30);
  const fs::path copy = t.dir / "copy.db", file = t.dir / "present.db";
  backup_database(t.file, copy, FixedClock{day(0).utc});
  std::ofstream{file, std::ios::binary} << std::string(9000, 'x');
  std::ofstream{file.string() + "-wal", std::ios::binary} << "left over";
  const auto done = restore_database(copy, file, FixedClock{day(1).utc}, false);
  CHECK(!done.unreadable.empty());
  CHECK(records_of(file) == 29);
  CHECK(fs::file_size(done.aside) == 9000);
  CHECK(fs::file_size(done.aside.string() + "-wal") == 9);
  CHECK(!fs::exists(file.string() + "-wal"));
}

TEST_CASE("restore: a damaged backup replaces nothing", "[app][restore]") {
  TempDb t;
  add_hours(t, 1, 300);
  const fs::path copy = t.dir / "copy.db";
  backup_database(t.file, copy, FixedClock{day(0).utc});
  fs::resize_file(copy, fs::file_size(copy) - 5000);
  CHECK_THROWS_AS(restore_database(copy, t.file, FixedClock{day(1).utc}, false), Error);
  CHECK_THROWS_AS(restore_database(t.file, t.file, FixedClock{day(1).utc}, false), Error);
  CHECK(records_of(t.file) == 299);
}
