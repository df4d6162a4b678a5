// The power fails at each write, sync and truncation in turn: what was said to be kept is there, the rest is not there
// by half, and the file is sound.
#include "app/import.hpp"
#include "app/pack.hpp"
#include "base/error.hpp"
#include "storage/migration.hpp"
#include "storage/restore.hpp"
#include "support/damaged_log.hpp"
#include "support/power_vfs.hpp"
#include "support/sparse.hpp"

#include <functional>

#include <catch2/catch.hpp>
#include <fmt/format.h>

using namespace shaftlog;
using namespace shaftlog::test;
namespace fs = std::filesystem;

namespace {

struct Found {
  std::int64_t records = 0;
  std::vector<std::string> faults;
};
Found find(const fs::path& file) {
  Database db = Database::open(file, Database::Mode::read_write);
  const CheckResult checked = check(db);
  return {checked.records, checked.faults};
}

/// The power fails at the 1st, 2nd, ... operation until the work goes through, each time with several ends.
/// \return operations gone through
int fail_each(const fs::path& original, const fs::path& file, const std::function<int()>& work,
              const std::function<void(int said)>& verify) {
  PowerVfs power;
  for (int n = 1;; n += int{kSparse}) {
    REQUIRE(n < 5000);
    for (std::uint64_t seed = 0; seed < 2; ++seed) {
      for (const auto& entry : fs::directory_iterator{file.parent_path()}) fs::remove(entry.path());
      fs::copy_file(original, file);
      power.arm(n);
      const int said = work();
      const bool failed = power.settle(seed * 7919 + static_cast<std::uint64_t>(n));
      INFO("the power failed at operation " << n << ", end " << seed);
      verify(said);
      if (!failed) return n - 1;
    }
  }
}

}  // namespace

TEST_CASE("power: records said to be kept are there after the power failed, others whole or not", "[fault][power]") {
  const WholeLog log{60};
  const TempDir dir;
  const fs::path file = dir / "x.db";
  const auto before = static_cast<std::int64_t>(log.rows.at("entry").size());
  const TempDb t;
  const int operations = fail_each(
      log.file(), file,
      [&] {
        int said = 0;
        try {
          Database db = Database::open(file, Database::Mode::read_write);
          // Every few records what is in the journal goes into the file, so that this is cut short as well.
          execute(handle_of(db), "PRAGMA wal_autocheckpoint = 8");
          LogRepository repository{db};
          for (std::uint64_t n = 0; n < 4; ++n) {
            WriteTransaction transaction{db};
            for (std::uint64_t part = 0; part < 2; ++part) {
              Entry e = t.entry(Kind::greasing, 700'000 + 2 * n + part, 310);
              e.head.remark = std::string(2'500, 'p');
              repository.add(e);
            }
            transaction.commit();
            said += 2;
          }
        } catch (const Error&) {
        }
        return said;
      },
      [&](int said) {
        const Found found = find(file);
        CHECK(found.faults == std::vector<std::string>{});
        const auto added = found.records - before;
        CHECK(added >= said);
        CHECK(added <= said + 2);
        CHECK(added % 2 == 0);
      });
  CHECK(operations > 40);
  WARN(operations << " operations");
}

TEST_CASE("power: a file that is not brought to the disk is seen to suffer", "[fault][power]") {
  // That the layer takes anything away at all.
  const WholeLog log{20};
  const TempDir dir, t;
  const fs::path file = dir / "x.db";
  int harmed = 0;
  PowerVfs power;
  for (std::uint64_t n = 1; n < 120; ++n) {
    for (const auto& entry : fs::directory_iterator{dir.path()}) fs::remove(entry.path());
    fs::copy_file(log.file(), file);
    power.arm(static_cast<std::int64_t>(n));
    int said = 0;
    try {
      SQLite::Database db{file.string(), SQLite::OPEN_READWRITE};
      db.exec("PRAGMA journal_mode = WAL; PRAGMA synchronous = OFF; PRAGMA wal_autocheckpoint = 4");
      for (; said < 40; ++said) db.exec(fmt::format("INSERT INTO person (name) VALUES ('{}')", said));
    } catch (const SQLite::Exception&) {
    }
    if (!power.settle(n)) break;
    try {
      SQLite::Database db{file.string(), SQLite::OPEN_READWRITE};
      const bool is_sound = std::string{db.execAndGet("PRAGMA integrity_check").getText()} == "ok";
      const auto there = db.execAndGet("SELECT count(*) FROM person WHERE length(name) < 3").getInt();
      harmed += !is_sound || there < said;
    } catch (const SQLite::Exception&) {
      ++harmed;
    }
  }
  CHECK(harmed > 5);
  WARN(harmed << " harmed");
}

TEST_CASE("power: a backup that was said to be made is whole, and the file is as before", "[fault][power]") {
  const WholeLog log{60};
  const TempDir dir;
  const fs::path file = dir / "x.db", copy = dir / "copy.db";
  const auto before = static_cast<std::int64_t>(log.rows.at("entry").size());
  const int operations = fail_each(
      log.file(), file,
      [&] {
        try {
          Database db = Database::open(file, Database::Mode::read_only);
          backup(db, copy);
          return 1;
        } catch (const Error&) {
          return 0;
        }
      },
      [&](int said) {
        CHECK(find(file).records == before);
        if (said == 1) CHECK(fs::exists(copy));
        if (fs::exists(copy)) {
          const Found found = find(copy);
          CHECK(found.faults == std::vector<std::string>{});
          CHECK(found.records == before);
        }
      });
  CHECK(operations > 20);
  WARN(operations << " operations");
}

TEST_CASE("power: an upgrade is done or not done, and its backup is whole", "[fault][power]") {
  const TempDir dir, old;
  const fs::path file = dir / "x.db";
  {
    SQLite::Database first{(old / "old.db").string(), SQLite::OPEN_READWRITE | SQLite::OPEN_CREATE};
    first.exec(read_bytes(fs::path{SHAFTLOG_SOURCE_DIR} / "tests/migration/v0001.sql"));
    first.exec("PRAGMA journal_mode = WAL");
  }
  const AllRows rows = all_rows(old / "old.db");
  const auto records = static_cast<std::int64_t>(rows.at("entry").size());
  const int operations = fail_each(
      old / "old.db", file,
      [&] {
        try {
          return upgrade(file, day(3).utc).to;
        } catch (const Error&) {
          return 0;
        }
      },
      [&](int said) {
        const bool is_old = [&] {
          SQLite::Database db{file.string(), SQLite::OPEN_READWRITE};
          return single_integer(db.getHandle(), "PRAGMA user_version") == 1;
        }();
        if (is_old) {
          CHECK(said == 0);
          CHECK(all_rows(file) == rows);
          return;
        }
        const Found found = find(file);
        CHECK(found.faults == std::vector<std::string>{});
        CHECK(found.records == records);
        CHECK(all_rows(dir / "x.v1-20260104T000000Z.db") == rows);
      });
  CHECK(operations > 20);
  WARN(operations << " operations");
}

TEST_CASE("power: an import is kept whole or not at all, and once more finishes it", "[fault][power]") {
  const WholeLog log{60};
  const TempDir dir, source;
  const fs::path file = dir / "x.db";
  const auto before = static_cast<std::int64_t>(log.rows.at("entry").size());
  constexpr int kRows = 60;
  {
    std::ofstream out{source / "hours.csv"};
    out << "vessel,shaft,at,meter_h,remark\n";
    for (int n = 0; n < kRows; ++n) {
      out << fmt::format("T-01,port,2026-02-{:02}T{:02}:00,{},{}\n", 1 + n / 24, n % 24, 2000 + n,
                         std::string(400, 'i'));
    }
  }
  const auto import = [&] {
    try {
      Database db = Database::open(file, Database::Mode::read_write);
      execute(handle_of(db), "PRAGMA wal_autocheckpoint = 8");
      execute(handle_of(db), "PRAGMA cache_size = 10");  // pages go out before the commit
      ImportOptions options;
      options.folder = source.path();
      return import_folder(db, FixedClock{day(200).utc}, options).is_kept ? 1 : 0;
    } catch (const Error&) {
      return 0;
    }
  };
  const int operations = fail_each(log.file(), file, import, [&](int said) {
    const Found found = find(file);
    CHECK(found.faults == std::vector<std::string>{});
    CHECK((found.records == before + kRows || (said == 0 && found.records == before)));
    CHECK(import() == 1);
    CHECK(find(file).records == before + kRows);
  });
  CHECK(operations > 20);
  WARN(operations << " operations");
}

TEST_CASE("power: a pack is taken in whole or not at all, and once more finishes it", "[fault][power]") {
  const WholeLog log{60};
  const TempDir dir, other;
  const fs::path file = dir / "x.db";
  const auto before = static_cast<std::int64_t>(log.rows.at("entry").size());
  constexpr int kMore = 60;
  std::string pack;
  {
    fs::copy_file(log.file(), other / "office.db");
    Database office = Database::open(other / "office.db", Database::Mode::read_write);
    const TempDb t;
    LogRepository repository{office};
    for (std::uint64_t n = 0; n < kMore; ++n) {
      Entry e = t.entry(Kind::hours, 800'000 + n, 320);
      e.head.remark = std::string(400, 'u');
      repository.add(e);
    }
    PackOptions options;
    options.name = "office";
    PackResult result;
    pack = make_pack(office, FixedClock{day(330).utc}, options, result);
  }
  const auto unpack = [&] {
    try {
      Database db = Database::open(file, Database::Mode::read_write);
      execute(handle_of(db), "PRAGMA wal_autocheckpoint = 8");
      execute(handle_of(db), "PRAGMA cache_size = 10");
      UnpackOptions options;
      options.join = true;
      return take_pack(db, pack, "x.pack", options).is_kept ? 1 : 0;
    } catch (const Error&) {
      return 0;
    }
  };
  const int operations = fail_each(log.file(), file, unpack, [&](int said) {
    const Found found = find(file);
    CHECK(found.faults == std::vector<std::string>{});
    CHECK((found.records == before + kMore || (said == 0 && found.records == before)));
    CHECK(unpack() == 1);
    CHECK(find(file).records == before + kMore);
  });
  CHECK(operations > 20);
  WARN(operations << " operations");
}

TEST_CASE("power: after a restore one of the two files stands under the name, and the other is not lost",
          "[fault][power]") {
  const WholeLog log{60}, older{20};
  const TempDir dir;
  const fs::path file = dir / "x.db";
  const auto now = static_cast<std::int64_t>(log.rows.at("entry").size());
  const auto then = static_cast<std::int64_t>(older.rows.at("entry").size());
  const int operations = fail_each(
      log.file(), file,
      [&] {
        try {
          restore(older.file(), file, day(3).utc, /*is_dry_run=*/false);
          return 1;
        } catch (const Error&) {
          return 0;
        }
      },
      [&](int said) {
        const Found found = find(file);
        CHECK(found.faults == std::vector<std::string>{});
        CHECK((found.records == then || (said == 0 && found.records == now)));
        if (found.records == now) return;
        std::int64_t aside = 0;
        for (const auto& entry : fs::directory_iterator{dir.path()}) {
          const std::string name = entry.path().filename().string();
          if (name.starts_with("x.replaced-") && name.ends_with(".db")) aside = find(entry.path()).records;
        }
        CHECK(aside == now);
      });
  CHECK(operations > 20);
  WARN(operations << " operations");
}
