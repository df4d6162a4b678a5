// What a command was doing is done or not done, whichever of its calls to the system fails or is its last.
#include "interchange/pack_file.hpp"
#include "storage/migration.hpp"
#include "support/damaged_log.hpp"
#include "support/run.hpp"

#include <functional>

#include <catch2/catch.hpp>
#include <fmt/format.h>

using namespace shaftlog;
using namespace shaftlog::test;
namespace fs = std::filesystem;

namespace {

const fs::path kSource{SHAFTLOG_SOURCE_DIR};

struct Way {
  const char* how;
  bool stays;
  bool is_death;
};
constexpr Way kWays[]{
    {"die", true, true}, {"die_half", true, true}, {"full", true, false}, {"io", true, false}, {"io", false, false}};

/// What lies in a folder, names to contents; journals and files under way, which no command reads, left out.
std::map<std::string, std::string> files_in(const fs::path& folder) {
  std::map<std::string, std::string> files;
  for (const auto& entry : fs::directory_iterator{folder}) {
    const std::string name = entry.path().filename().string();
    if (!name.starts_with(".") && entry.is_regular_file()) files[name] = read_text(entry.path());
  }
  return files;
}

/// Readings of 28 days to import.
std::string more_hours() {
  std::string more = "vessel,shaft,at,meter_h\n";
  for (int n = 1; n <= 28; ++n) more += fmt::format("T-01,fin_port,2026-03-{:02},{}\n", n, 2000 + n);
  return more;
}

std::int64_t records_of(const fs::path& file) {
  Database db = Database::open(file, Database::Mode::read_write);
  const CheckResult checked = check(db);
  CHECK(checked.faults == std::vector<std::string>{});
  return checked.records;
}

/// Runs a command with its 1st, 2nd, ... call failing, in every way, each from a fresh copy of `before`, until it goes
/// through undisturbed. `verify` is told whether it said that it succeeded. \return calls that were made to fail
int each_call(const fs::path& before, const std::vector<std::string>& args,
              const std::function<void(const fs::path& folder, bool succeeded)>& verify) {
  int failed = 0;
  for (const Way& way : kWays) {
    for (int n = 1;; n += SHAFTLOG_STEP) {
      REQUIRE(n < 3000);
      const TempDir dir;
      const fs::path folder = dir / "aboard", mark = dir / "fired";
      fs::copy(before, folder, fs::copy_options::recursive);
      const Ran ran =
          run_program_file(SHAFTLOG_BINARY, args, folder, "",
                           {fmt::format("LD_PRELOAD={}", SHAFTLOG_FAILING_CALLS), fmt::format("FAILING_CALL={}", n),
                            fmt::format("FAILING_HOW={}", way.how), fmt::format("FAILING_STAYS={}", way.stays ? 1 : 0),
                            fmt::format("FAILING_FIRED={}", mark.string())});
      const bool fired = fs::exists(mark);
      INFO(args.front() << ", call " << n << ", " << way.how << (way.stays ? " for good" : "") << ": " << ran.code
                        << ' ' << ran.out << ran.err);
      if (!fired) REQUIRE(ran.code == 0);
      // In words and with a code of its own, unless it could be done all the same (a file left behind, say).
      if (fired && way.is_death) REQUIRE(ran.code == 99);
      if (fired && !way.is_death) REQUIRE((ran.code == 0 || ran.code == 4));
      if (ran.code == 4) CHECK(ran.err.find("shaftlog: ") != std::string::npos);
      verify(folder, ran.code == 0);
      failed += fired;
      if (!fired) break;
    }
  }
  return failed;
}

/// A folder with a ship's file, closed, and what the commands are given.
class Before {
 public:
  Before() {
    aboard.ok({"init"});
    fs::copy(kSource / "tests/errors/ship", aboard.dir / "log", fs::copy_options::recursive);
    aboard.ok({"import", "log"});
    records = records_of(aboard.dir / "shaftlog.db");
  }
  [[nodiscard]] const fs::path& folder() const noexcept { return aboard.dir.path(); }
  Aboard aboard;
  std::int64_t records = 0;
};

}  // namespace

TEST_CASE("calls: a new database is there and whole, or not there", "[fault][calls]") {
  const TempDir empty;
  const int failed = each_call(empty.path(), {"init"}, [](const fs::path& folder, bool succeeded) {
    const bool is_there = fs::exists(folder / "shaftlog.db");
    if (succeeded) CHECK(is_there);
    if (is_there) CHECK(records_of(folder / "shaftlog.db") == 0);
  });
  CHECK(failed > 50 / SHAFTLOG_STEP);
}

TEST_CASE("calls: a record is kept or not, and kept when it was said so", "[fault][calls]") {
  const Before before;
  const int failed = each_call(before.folder(), {"add", "hours", "shaft=fin_port", "at=2026-03-01", "meter_h=2000"},
                               [&](const fs::path& folder, bool succeeded) {
                                 const auto n = records_of(folder / "shaftlog.db");
                                 CHECK((n == before.records + 1 || (!succeeded && n == before.records)));
                               });
  CHECK(failed > 25 / SHAFTLOG_STEP);
}

TEST_CASE("calls: an import keeps all or nothing", "[fault][calls]") {
  Before before;
  write_text(before.folder() / "more/hours.csv", more_hours());
  const std::vector<std::string> command{"import", "more"};
  const int failed = each_call(before.folder(), command, [&](const fs::path& folder, bool succeeded) {
    const auto n = records_of(folder / "shaftlog.db");
    CHECK((n == before.records + 28 || (!succeeded && n == before.records)));
    CHECK(run_program_file(SHAFTLOG_BINARY, command, folder).code == 0);
    CHECK(records_of(folder / "shaftlog.db") == before.records + 28);
  });
  CHECK(failed > 25 / SHAFTLOG_STEP);
}

TEST_CASE("calls: a ship's records are verified all or none", "[fault][calls]") {
  const Before before;
  const std::vector<std::string> command{"verify", "--vessel", "T-01"};
  const auto verified = [](const fs::path& folder) {
    Database db = Database::open(folder / "shaftlog.db", Database::Mode::read_write);
    const CheckResult checked = check(db);
    CHECK(checked.faults == std::vector<std::string>{});
    return checked.verifications;
  };
  const int failed = each_call(before.folder(), command, [&](const fs::path& folder, bool succeeded) {
    const auto n = verified(folder);
    CHECK((n == 4 || (!succeeded && n == 0)));
    CHECK(run_program_file(SHAFTLOG_BINARY, command, folder).code == 0);
    CHECK(verified(folder) == 4);
  });
  CHECK(failed > 25 / SHAFTLOG_STEP);
}

TEST_CASE("calls: a pack is there whole or not at all, and can be made then", "[fault][calls]") {
  const Before before;
  const std::vector<std::string> command{"pack", "out.pack", "--all", "--name", "office"};
  const int failed = each_call(before.folder(), command, [&](const fs::path& folder, bool succeeded) {
    CHECK(records_of(folder / "shaftlog.db") == before.records);
    if (succeeded) CHECK(fs::exists(folder / "out.pack"));
    if (!fs::exists(folder / "out.pack")) CHECK(run_program_file(SHAFTLOG_BINARY, command, folder).code == 0);
    CHECK(read_pack(read_text(folder / "out.pack")).manifest.strands.at(0).last == before.records);
  });
  CHECK(failed > 25 / SHAFTLOG_STEP);
}

TEST_CASE("calls: a pack is taken in or not, the pack stays as it is, and once more takes in the rest",
          "[fault][calls]") {
  const Before office;
  office.aboard.ok({"pack", "first.pack", "--all", "--name", "office"});
  const Aboard ship;
  ship.ok({"init"});
  ship.ok({"unpack", (office.folder() / "first.pack").string()});
  write_text(office.folder() / "more/hours.csv", more_hours());
  office.aboard.ok({"import", "more"});
  office.aboard.ok({"pack", (ship.dir / "second.pack").string(), "--all"});
  const std::string bytes = read_text(ship.dir / "second.pack");
  const std::vector<std::string> command{"unpack", "second.pack"};
  const int failed = each_call(ship.dir.path(), command, [&](const fs::path& folder, bool succeeded) {
    const auto n = records_of(folder / "shaftlog.db");
    CHECK((n == office.records + 28 || (!succeeded && n == office.records)));
    CHECK(read_text(folder / "second.pack") == bytes);
    CHECK(run_program_file(SHAFTLOG_BINARY, command, folder).code == 0);
    CHECK(records_of(folder / "shaftlog.db") == office.records + 28);
  });
  CHECK(failed > 25 / SHAFTLOG_STEP);
}

TEST_CASE("calls: an export is there whole or not at all", "[fault][calls]") {
  const Before before;
  before.aboard.ok({"export", "good"});
  const auto good = files_in(before.folder() / "good");
  const int failed = each_call(before.folder(), {"export", "out"}, [&](const fs::path& folder, bool succeeded) {
    const bool is_there = fs::exists(folder / "out");
    if (succeeded) CHECK(is_there);
    if (is_there) CHECK(files_in(folder / "out") == good);
  });
  CHECK(failed > 40 / SHAFTLOG_STEP);
}

TEST_CASE("calls: an export over an older one is the old or the new, or known not to be whole", "[fault][calls]") {
  const Before before;
  before.aboard.ok({"export", "out"});
  const auto old = files_in(before.folder() / "out");
  before.aboard.ok({"add", "hours", "shaft=fin_port", "at=2026-03-01", "meter_h=2000"});
  before.aboard.ok({"export", "good"});
  const auto good = files_in(before.folder() / "good");
  fs::remove_all(before.folder() / "good");
  int marked = 0;
  each_call(before.folder(), {"export", "out", "--overwrite"}, [&](const fs::path& folder, bool succeeded) {
    const auto now = files_in(folder / "out");
    if (now.contains("export-unfinished.txt")) {
      CHECK(!succeeded);
      CHECK(run_program_file(SHAFTLOG_BINARY, {"import", "out", "--dry-run"}, folder).code == 3);
      ++marked;
    } else {
      CHECK((now == good || (!succeeded && now == old)));
    }
  });
  if (SHAFTLOG_STEP == 1) CHECK(marked > 0);  // some calls alone may all lie before or after
}

TEST_CASE("calls: a backup is there and whole, or not there, and no older one goes before", "[fault][calls]") {
  const Before before;
  fs::create_directory(before.folder() / "safe");
  const std::string older = "safe/shaftlog-20200101T000000Z.db";
  before.aboard.ok({"backup", older});
  int left = 0;
  const int failed =
      each_call(before.folder(), {"backup", "safe", "--keep", "1"}, [&](const fs::path& folder, bool succeeded) {
        int whole = 0;
        for (const auto& [name, bytes] : files_in(folder / "safe")) {
          if (name.ends_with(".db")) whole += records_of(folder / "safe" / name) == before.records;
        }
        CHECK(whole >= 1);
        if (succeeded) CHECK(fs::exists(folder / older) == false);
        for (const auto& entry : fs::directory_iterator{folder / "safe"}) {
          const std::string name = entry.path().filename().string();
          if (name.find(".part") == std::string::npos) continue;
          REQUIRE(fs::exists(folder / older));
          const Ran checked = run_program_file(SHAFTLOG_BINARY, {"--db", older, "check"}, folder);
          CHECK(checked.out.find("note: safe/" + name + " was left by a program that was killed") != std::string::npos);
          ++left;
        }
        CHECK(records_of(folder / "shaftlog.db") == before.records);
      });
  CHECK(left > 0);
  CHECK(failed > 50 / SHAFTLOG_STEP);
}

TEST_CASE("calls: an upgrade is done or not done", "[fault][calls]") {
  const TempDir dir;
  {
    SQLite::Database old{(dir / "shaftlog.db").string(), SQLite::OPEN_READWRITE | SQLite::OPEN_CREATE};
    old.exec(read_text(kSource / "tests/migration/v0001.sql"));
    old.exec("PRAGMA journal_mode = WAL");
  }
  const AllRows rows = all_rows(dir / "shaftlog.db");
  const auto version = [](const fs::path& file) {
    SQLite::Database db{file.string(), SQLite::OPEN_READWRITE};
    return single_integer(db.getHandle(), "PRAGMA user_version");
  };
  const int failed = each_call(dir.path(), {"upgrade"}, [&](const fs::path& folder, bool succeeded) {
    const auto now = version(folder / "shaftlog.db");
    CHECK((now == schema_version() || (!succeeded && now == 1)));
    CHECK(all_rows(folder / "shaftlog.db").at("entry").size() == rows.at("entry").size());
    int copies = 0;
    for (const auto& [name, bytes] : files_in(folder)) {
      if (!name.starts_with("shaftlog.v1-") || !name.ends_with(".db")) continue;
      ++copies;
      CHECK(all_rows(folder / name) == rows);
    }
    if (now == 1) {
      CHECK(all_rows(folder / "shaftlog.db") == rows);
    } else {
      CHECK(copies == 1);
      CHECK(records_of(folder / "shaftlog.db") == static_cast<std::int64_t>(rows.at("entry").size()));
    }
  });
  CHECK(failed > 20 / SHAFTLOG_STEP);
}

TEST_CASE("calls: after a restore one of the two files stands under the name, and the other is not lost",
          "[fault][calls]") {
  const Before before;
  before.aboard.ok({"backup", "b.db"});
  before.aboard.ok({"add", "hours", "shaft=fin_port", "at=2026-03-01", "meter_h=2000"});
  const int failed = each_call(before.folder(), {"restore", "b.db"}, [&](const fs::path& folder, bool succeeded) {
    const auto now = records_of(folder / "shaftlog.db");
    CHECK((now == before.records || (!succeeded && now == before.records + 1)));
    if (now == before.records) {
      std::int64_t aside = 0;
      for (const auto& [name, bytes] : files_in(folder)) {
        if (name.starts_with("shaftlog.replaced-") && name.ends_with(".db")) aside = records_of(folder / name);
      }
      CHECK(aside == before.records + 1);
    }
    CHECK(records_of(folder / "b.db") == before.records);
  });
  CHECK(failed > 50 / SHAFTLOG_STEP);
}

TEST_CASE("calls: what was recovered is there and whole, or not there", "[fault][calls]") {
  const Before before;
  before.aboard.ok({"backup", "damaged.db"});
  const std::string bytes = read_text(before.folder() / "damaged.db");
  const int failed =
      each_call(before.folder(), {"recover", "damaged.db", "new.db"}, [&](const fs::path& folder, bool succeeded) {
        const bool is_there = fs::exists(folder / "new.db");
        if (succeeded) CHECK(is_there);
        if (is_there) CHECK(records_of(folder / "new.db") == before.records);
        CHECK(read_text(folder / "damaged.db") == bytes);
      });
  CHECK(failed > 25 / SHAFTLOG_STEP);
}
