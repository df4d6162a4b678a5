#include "base/error.hpp"
#include "storage/migration.hpp"
#include "storage/query.hpp"
#include "support/fault_vfs.hpp"
#include "support/sparse.hpp"
#include "support/temp_db.hpp"

#include <csignal>
#include <fstream>
#include <random>
#include <sqlite3.h>
#include <sys/wait.h>
#include <unistd.h>

#include <SQLiteCpp/Database.h>
#include <catch2/catch.hpp>
#include <fmt/format.h>

using namespace shaftlog;
using namespace shaftlog::test;
namespace fs = std::filesystem;
using Fault = FaultVfs::Fault;

namespace {

/// A good file with `records` hour readings, closed; copied for each trial.
class Original {
 public:
  explicit Original(int records) {
    TempDb t;
    {
      LogRepository log{t.db};
      WriteTransaction transaction{t.db};
      for (int n = 1; n <= records; ++n) log.add(t.entry(Kind::hours, static_cast<std::uint64_t>(n), n % 300));
      transaction.commit();
    }
    backup(t.db, dir_ / "original.db");
    sample = t.entry(Kind::greasing, 1'000'001, 5);
  }
  void copy_to(const fs::path& path) const {
    for (const char* suffix : {"", "-wal", "-shm", "-journal"}) fs::remove(path.string() + suffix);
    fs::copy_file(dir_ / "original.db", path);
  }
  Entry sample;

 private:
  TempDir dir_;
};

/// Adds 40 greasings in one transaction.
void add_greasings(const fs::path& path, const Entry& sample) {
  Database db = Database::open(path, Database::Mode::read_write);
  LogRepository log{db};
  WriteTransaction transaction{db};
  for (std::uint64_t n = 0; n < 40; ++n) {
    Entry e = sample;
    e.head.id = nth_id(1'000'001 + n);
    e.head.by = "hand " + std::to_string(n);
    e.head.remark = std::string(500, 'x');
    log.add(e);
  }
  transaction.commit();
}

struct State {
  std::vector<std::string> faults;
  std::int64_t records = 0;
};
State state_of(const fs::path& path) {
  Database db = Database::open(path, Database::Mode::read_write);
  const CheckResult result = check(db);
  return {result.faults, result.records};
}

/// Files a failed operation may not leave behind.
int scratch_files_in(const fs::path& folder) {
  int n = 0;
  for (const auto& e : fs::directory_iterator{folder})
    n += e.path().filename().string().find(".part") != std::string::npos;
  return n;
}

/// A plan with one step more than the released ones.
struct NextPlan {
  std::vector<EmbeddedFile> schema, migrations;
  NextPlan() {
    static constexpr std::string_view kStep = "CREATE TABLE trial (trial_id INTEGER PRIMARY KEY) STRICT;";
    schema.assign(schema_files().begin(), schema_files().end());
    schema.push_back({"900_trial.sql", kStep});
    migrations.assign(migration_files().begin(), migration_files().end());
    migrations.push_back({"next.sql", kStep});
  }
  [[nodiscard]] SchemaPlan plan() const { return {schema, migrations}; }
};

std::int64_t version_of(const fs::path& path) {
  SQLite::Database raw{path.string()};
  return single_integer(raw.getHandle(), "PRAGMA user_version");
}

/// Runs `operation` with the 1st, 2nd, ... file operation failing until it goes through undisturbed, each time from a
/// fresh start; `verify` is told whether it succeeded. \return number of failures gone through
template <class Prepare, class Operation, class Verify>
int fail_each_in_turn(Fault fault, bool for_good, const Prepare& prepare, const Operation& operation,
                      const Verify& verify) {
  FaultVfs vfs;
  for (int n = 1;; n += int{kSparse}) {
    REQUIRE(n < 5000);
    prepare();
    vfs.arm(n, fault, for_good);
    bool succeeded = false;
    try {
      operation();
      succeeded = true;
    } catch (const Error& e) {
      INFO("failure " << n << ": " << e.what());
      CHECK(e.code() == Errc::io);
      CHECK(std::string{e.what()}.find(".db") != std::string::npos);
    }
    const bool fired = vfs.disarm();
    CHECK((fired || succeeded));
    INFO("operation " << n << (succeeded ? " succeeded" : " failed"));
    verify(succeeded);
    if (!fired) return n - 1;
  }
}

const std::vector<std::pair<Fault, bool>> kWays{
    {Fault::io_error, false}, {Fault::io_error, true}, {Fault::disk_full, false}, {Fault::disk_full, true}};

}  // namespace

TEST_CASE("fault: records of one transaction are kept all or none, whichever write fails", "[fault][storage]") {
  const Original original{300};
  const TempDir dir;
  const fs::path path = dir / "x.db";
  for (const auto& [fault, for_good] : kWays) {
    const int failures = fail_each_in_turn(
        fault, for_good, [&] { original.copy_to(path); }, [&] { add_greasings(path, original.sample); },
        [&](bool succeeded) {
          const State s = state_of(path);
          CHECK(s.faults == std::vector<std::string>{});
          if (succeeded) {
            CHECK(s.records == 340);
          } else {
            CHECK((s.records == 300 || s.records == 340));
          }
        });
    CHECK(failures > 10);
  }
}

TEST_CASE("fault: a full disk is told in plain words with the file's name", "[fault][storage]") {
  const Original original{10};
  const TempDir dir;
  original.copy_to(dir / "x.db");
  FaultVfs vfs;
  Database db = Database::open(dir / "x.db", Database::Mode::read_write);
  vfs.arm(1, Fault::disk_full, /*for_good=*/true);
  LogRepository log{db};
  try {
    WriteTransaction transaction{db};
    log.add(original.sample);
    transaction.commit();
    FAIL("nothing failed");
  } catch (const Error& e) {
    CHECK(e.code() == Errc::io);
    CHECK(std::string{e.what()}.find("x.db: the disk is full") != std::string::npos);
  }
  vfs.disarm();  // room again: the same connection goes on
  WriteTransaction transaction{db};
  CHECK(log.add(original.sample));
  transaction.commit();
  CHECK(check(db).faults.empty());
  CHECK(check(db).records == 11);
}

TEST_CASE("fault: an upgrade is done or not done, and its backup is whole", "[fault][storage]") {
  const Original original{50};
  const NextPlan next;
  for (const auto& [fault, for_good] : kWays) {
    std::unique_ptr<TempDir> dir;
    fs::path path;
    const int failures = fail_each_in_turn(
        fault, for_good,
        [&] {
          dir = std::make_unique<TempDir>();
          path = *dir / "x.db";
          original.copy_to(path);
        },
        [&] { upgrade_by(path, day(3).utc, next.plan()); },
        [&](bool succeeded) {
          const auto version = version_of(path);
          if (succeeded) {
            CHECK(version == next.plan().version());
          } else {
            CHECK((version == schema_version() || version == next.plan().version()));
          }
          SQLite::Database raw{path.string()};
          Query ok{raw.getHandle(), "PRAGMA integrity_check"};
          REQUIRE(ok.step());
          CHECK(ok.text(0) == "ok");
          CHECK(single_integer(raw.getHandle(), "SELECT count(*) FROM entry") == 50);
          const fs::path copy = *dir / fmt::format("x.v{}-20260104T000000Z.db", schema_version());
          CHECK((fs::exists(copy) || version == schema_version()));
          if (fs::exists(copy)) {
            const State s = state_of(copy);
            CHECK(s.faults == std::vector<std::string>{});
            CHECK(s.records == 50);
          }
          CHECK(scratch_files_in(dir->path()) == 0);
        });
    CHECK(failures > 10);
  }
}

TEST_CASE("fault: a backup is there and whole, or not there", "[fault][storage]") {
  const Original original{50};
  const TempDir dir;
  const fs::path path = dir / "x.db", copy = dir / "copy.db";
  original.copy_to(path);
  for (const auto& [fault, for_good] : kWays) {
    const int failures = fail_each_in_turn(
        fault, for_good, [&] { fs::remove(copy); },
        [&] {
          Database db = Database::open(path, Database::Mode::read_only);
          backup(db, copy);
        },
        [&](bool succeeded) {
          CHECK(fs::exists(copy) == succeeded);
          if (succeeded) CHECK(state_of(copy).records == 50);
          CHECK(state_of(path).faults.empty());
          CHECK(scratch_files_in(dir.path()) == 0);
        });
    CHECK(failures > 10);
  }
}

TEST_CASE("fault: a new file is there and whole, or not there", "[fault][storage]") {
  const TempDir dir;
  const fs::path path = dir / "x.db";
  for (const auto& [fault, for_good] : kWays) {
    const int failures = fail_each_in_turn(
        fault, for_good, [&] { fs::remove(path); }, [&] { Database::create(path); },
        [&](bool succeeded) {
          if (succeeded) CHECK(fs::exists(path));
          if (fs::exists(path)) CHECK(state_of(path).faults.empty());
          CHECK(scratch_files_in(dir.path()) == 0);
        });
    CHECK(failures > 10);
  }
}

TEST_CASE("fault: a program that dies at any write leaves the file whole", "[fault][storage]") {
  const Original original{300};
  const TempDir dir;
  const fs::path path = dir / "x.db";
  const NextPlan next;
  for (const bool upgrading : {false, true}) {
    int deaths = 0;
    for (int n = 1;; n += int{kSparse}) {
      REQUIRE(n < 2000);
      original.copy_to(path);
      const pid_t child = ::fork();
      if (child == 0) {
        FaultVfs vfs;
        vfs.arm(n, Fault::die, true);
        try {
          if (upgrading) {
            upgrade_by(path, day(3).utc, next.plan());
          } else {
            add_greasings(path, original.sample);
          }
        } catch (...) {
          ::_exit(1);
        }
        ::_exit(0);
      }
      int status = 0;
      ::waitpid(child, &status, 0);
      REQUIRE(WIFEXITED(status));
      INFO((upgrading ? "upgrade" : "add") << " died at operation " << n);
      REQUIRE((WEXITSTATUS(status) == 9 || WEXITSTATUS(status) == 0));
      const bool finished = WEXITSTATUS(status) == 0;
      if (upgrading) {
        const auto version = version_of(path);
        CHECK((version == next.plan().version() || (!finished && version == schema_version())));
        SQLite::Database raw{path.string()};
        Query ok{raw.getHandle(), "PRAGMA integrity_check"};
        REQUIRE(ok.step());
        CHECK(ok.text(0) == "ok");
        CHECK(single_integer(raw.getHandle(), "SELECT count(*) FROM entry") == 300);
      } else {
        const State s = state_of(path);
        CHECK(s.faults == std::vector<std::string>{});
        CHECK((finished ? s.records == 340 : (s.records == 300 || s.records == 340)));
      }
      for (const auto& e : fs::directory_iterator{dir.path()}) {
        if (e.path() != path) fs::remove(e.path());
      }
      if (finished) break;
      ++deaths;
    }
    CHECK(deaths * int{kSparse} > 10);
  }
}

TEST_CASE("fault: a program killed at any moment leaves whole transactions only", "[fault][storage]") {
  const Original original{20};
  const TempDir dir;
  const fs::path path = dir / "x.db";
  std::mt19937 random{11};
  for (int round = 0; round < 12; ++round) {
    original.copy_to(path);
    int committed[2];
    REQUIRE(::pipe(committed) == 0);
    const pid_t child = ::fork();
    if (child == 0) {
      try {
        Database db = Database::open(path, Database::Mode::read_write);
        execute(handle_of(db), "PRAGMA cache_size = 10");  // pages go out long before the commit
        LogRepository log{db};
        for (std::uint64_t n = 1'000'000;;) {
          WriteTransaction transaction{db};
          for (int i = 0; i < 50; ++i) {
            Entry e = original.sample;
            e.head.id = nth_id(n++);
            log.add(e);
          }
          transaction.commit();
          if (::write(committed[1], "c", 1) != 1) ::_exit(1);
        }
      } catch (...) {
        ::_exit(1);
      }
    }
    ::close(committed[1]);
    char seen = 0;
    REQUIRE(::read(committed[0], &seen, 1) == 1);  // from the first commit on, however slow the machine
    ::usleep(static_cast<useconds_t>(random() % 50'000));
    ::kill(child, SIGKILL);
    int status = 0;
    ::waitpid(child, &status, 0);
    ::close(committed[0]);
    REQUIRE(WIFSIGNALED(status));
    const State s = state_of(path);
    CHECK(s.faults == std::vector<std::string>{});
    CHECK((s.records - 20) % 50 == 0);
    CHECK(s.records >= 70);
  }
}

TEST_CASE("fault: a file cut short at any length is refused or found damaged", "[fault][storage]") {
  const Original original{400};
  const TempDir dir;
  const fs::path path = dir / "x.db";
  original.copy_to(path);
  const auto whole = static_cast<std::int64_t>(fs::file_size(path));
  std::vector<std::int64_t> lengths;
  for (std::int64_t n = 0; n < 200; ++n) lengths.push_back(n);
  for (std::int64_t n = 200; n < whole; n += 509) lengths.push_back(n);
  for (std::int64_t n = 4096; n < whole; n += 4096) lengths.push_back(n);
  lengths.push_back(whole - 1);
  for (const auto length : lengths) {
    original.copy_to(path);
    fs::resize_file(path, static_cast<std::uintmax_t>(length));
    INFO("cut after " << length << " of " << whole);
    bool noticed = false;
    try {
      Database db = Database::open(path, Database::Mode::read_only);
      noticed = !check(db).faults.empty();
    } catch (const Error& e) {
      INFO(e.what());
      CHECK(e.code() == Errc::damaged);
      noticed = true;
    }
    REQUIRE(noticed);
  }
}

TEST_CASE("fault: a file with bytes changed never crashes a reader", "[fault][storage]") {
  const Original original{200};
  const TempDir dir;
  const fs::path path = dir / "x.db";
  std::mt19937_64 random{5};
  int refused = 0;
  for (int round = 0; round < 400; ++round) {
    original.copy_to(path);
    const auto size = fs::file_size(path);
    {
      std::fstream file{path, std::ios::in | std::ios::out | std::ios::binary};
      for (int i = 0; i < 8; ++i) {
        // Half of the changes where they hurt most: the header, and the beginning of a page.
        const auto at = i % 2 == 0 ? random() % size : (random() % (size / 4096)) * 4096 + random() % 112;
        file.seekp(static_cast<std::streamoff>(at));
        file.put(static_cast<char>(random()));
      }
    }
    try {
      Database db = Database::open(path, Database::Mode::read_write);
      check(db);
      const LogRepository log{db};
      log.each({}, [](const Entry&) {});
      for (const Vessel& v : RegisterRepository{db}.load().vessels) {
        static_cast<void>(log.load_vessel(v.id, kLatest, std::nullopt));
      }
    } catch (const Error&) {
      ++refused;
    }
  }
  CHECK(refused > 0);
}
