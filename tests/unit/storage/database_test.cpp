#include "storage/database.hpp"

#include "base/error.hpp"
#include "storage/open.hpp"
#include "storage/query.hpp"
#include "support/temp_db.hpp"

#include <atomic>
#include <fstream>
#include <sqlite3.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <thread>
#include <unistd.h>

#include <SQLiteCpp/Database.h>
#include <catch2/catch.hpp>

using namespace shaftlog;
using namespace shaftlog::test;
namespace fs = std::filesystem;

namespace {

/// What a call is refused with: "code|message".
template <class Call>
std::pair<Errc, std::string> refusal(const Call& call) {
  try {
    call();
  } catch (const Error& e) {
    return {e.code(), e.what()};
  }
  FAIL("not refused");
  return {};
}

std::pair<Errc, std::string> refusal_to_open(const fs::path& path, Database::Mode mode = Database::Mode::read_write) {
  return refusal([&] { Database::open(path, mode); });
}

void write_file(const fs::path& path, const std::string& bytes) { std::ofstream{path, std::ios::binary} << bytes; }

std::string read_file(const fs::path& path) {
  std::ifstream in{path, std::ios::binary};
  return {std::istreambuf_iterator<char>{in}, {}};
}

std::int64_t pragma(const Database& db, const std::string& name) {
  return single_integer(handle_of(db), "PRAGMA " + name);
}

/// Runs `call` as a user without rights in a child; true when it answered true.
template <class Call>
bool as_nobody(const Call& call) {
  const pid_t child = ::fork();
  if (child == 0) {
    if (::geteuid() == 0 && ::setuid(65534) != 0) ::_exit(2);
    bool ok = false;
    try {
      ok = call();
    } catch (const std::exception& e) {
      std::fprintf(stderr, "%s\n", e.what());
    }
    ::_exit(ok ? 0 : 1);
  }
  int status = 0;
  ::waitpid(child, &status, 0);
  return WIFEXITED(status) && WEXITSTATUS(status) == 0;
}

}  // namespace

TEST_CASE("database: a new file is ours, of the newest schema, with every setting on", "[storage][database]") {
  const TempDir dir;
  const Database db = Database::create(dir / "a b%?#.db");
  CHECK(pragma(db, "application_id") == kApplicationId);
  CHECK(pragma(db, "user_version") == schema_version());
  CHECK(schema_version() >= 1);
  CHECK(pragma(db, "foreign_keys") == 1);
  CHECK(pragma(db, "synchronous") == 2);
  CHECK(pragma(db, "trusted_schema") == 0);
  CHECK(pragma(db, "busy_timeout") == 0);  // not SQLite's waits but our own
  CHECK(pragma(db, "recursive_triggers") == 1);
  Query mode{handle_of(db), "PRAGMA journal_mode"};
  REQUIRE(mode.step());
  CHECK(mode.text(0) == "wal");
  for (const int option : {SQLITE_DBCONFIG_DEFENSIVE, SQLITE_DBCONFIG_ENABLE_FKEY}) {
    int value = -1;
    sqlite3_db_config(handle_of(db), option, -1, &value);
    CHECK(value == 1);
  }
  for (const int option : {SQLITE_DBCONFIG_DQS_DML, SQLITE_DBCONFIG_DQS_DDL, SQLITE_DBCONFIG_ENABLE_LOAD_EXTENSION}) {
    int value = -1;
    sqlite3_db_config(handle_of(db), option, -1, &value);
    CHECK(value == 0);
  }
}

TEST_CASE("database: create refuses what is there already and touches nothing", "[storage][database]") {
  const TempDir dir;
  write_file(dir / "there.db", "my shopping list");
  const auto [code, what] = refusal([&] { Database::create(dir / "there.db"); });
  CHECK(code == Errc::conflict);
  CHECK(what.find("there.db") != std::string::npos);
  CHECK(read_file(dir / "there.db") == "my shopping list");
  CHECK(refusal([&] { Database::create(dir.path()); }).first == Errc::conflict);
  CHECK(refusal([&] { Database::create(dir / "no/such/folder/x.db"); }).first == Errc::io);
  fs::create_symlink("nowhere", dir / "dangling.db");
  CHECK(refusal([&] { Database::create(dir / "dangling.db"); }).first == Errc::conflict);
}

TEST_CASE("database: create refuses a name beside which a journal was left", "[storage][database]") {
  const TempDir dir;
  write_file(dir / "x.db-wal", "frames of another file");
  const auto [code, what] = refusal([&] { Database::create(dir / "x.db"); });
  CHECK(code == Errc::conflict);
  CHECK(what.find("x.db-wal") != std::string::npos);
}

TEST_CASE("database: create leaves nothing but the file", "[storage][database]") {
  const TempDir dir;
  { const Database db = Database::create(dir / "x.db"); }
  std::vector<std::string> names;
  for (const auto& e : fs::directory_iterator{dir.path()}) names.push_back(e.path().filename().string());
  CHECK(names == std::vector<std::string>{"x.db"});
}

TEST_CASE("database: what is not ours is refused, each with its reason", "[storage][database]") {
  const TempDir dir;
  const auto contains = [](const std::string& text, const char* part) {
    INFO(text);
    return text.find(part) != std::string::npos;
  };
  {
    const auto [code, what] = refusal_to_open(dir / "none.db");
    CHECK(code == Errc::not_found);
    CHECK(contains(what, "none.db: there is no such file"));
    CHECK_FALSE(fs::exists(dir / "none.db"));
  }
  {
    const auto [code, what] = refusal_to_open(dir.path());
    CHECK(code == Errc::io);
    CHECK(contains(what, "is a folder"));
  }
  write_file(dir / "text.db", std::string(5000, 'x'));
  {
    const auto [code, what] = refusal_to_open(dir / "text.db");
    CHECK(code == Errc::damaged);
    CHECK(contains(what, "text.db: is not a database"));
  }
  write_file(dir / "empty.db", "");
  {
    const auto [code, what] = refusal_to_open(dir / "empty.db");
    CHECK(code == Errc::damaged);
    CHECK(contains(what, "is empty"));
  }
  {
    SQLite::Database other{(dir / "other.db").string(), SQLite::OPEN_READWRITE | SQLite::OPEN_CREATE};
    other.exec("CREATE TABLE t (x)");
  }
  {
    const auto before = read_file(dir / "other.db");
    const auto [code, what] = refusal_to_open(dir / "other.db");
    CHECK(code == Errc::damaged);
    CHECK(contains(what, "of another program"));
    CHECK(read_file(dir / "other.db") == before);
  }
  REQUIRE(::mkfifo((dir / "pipe").c_str(), 0600) == 0);
  CHECK(refusal_to_open(dir / "pipe").first == Errc::io);
}

TEST_CASE("database: a newer and an older schema are refused and not touched", "[storage][database]") {
  const TempDir dir;
  const auto set_version = [&](int version) {
    SQLite::Database raw{(dir / "x.db").string(), SQLite::OPEN_READWRITE};
    raw.exec("PRAGMA user_version = " + std::to_string(version));
  };
  { const Database db = Database::create(dir / "x.db"); }
  set_version(schema_version() + 1);
  auto bytes = read_file(dir / "x.db");
  CHECK(refusal_to_open(dir / "x.db").first == Errc::schema_too_new);
  CHECK(refusal_to_open(dir / "x.db", Database::Mode::read_only).first == Errc::schema_too_new);
  CHECK(refusal([&] { upgrade(dir / "x.db", day(0).utc); }).first == Errc::schema_too_new);
  CHECK(read_file(dir / "x.db") == bytes);
  set_version(schema_version());
  {
    const Database db = Database::open(dir / "x.db", Database::Mode::read_only);
    const auto [code, what] = refusal([&] { require_version(handle_of(db), db.path(), schema_version() + 1); });
    CHECK(code == Errc::conflict);
    CHECK(what.find("run \"upgrade\"") != std::string::npos);
  }
  set_version(0);
  CHECK(refusal_to_open(dir / "x.db").first == Errc::damaged);
}

TEST_CASE("database: read-only refuses to write", "[storage][database]") {
  TempDb t;
  const Database db = Database::open(t.file, Database::Mode::read_only);
  CHECK(refusal([&] { execute(handle_of(db), "INSERT INTO person (name) VALUES ('x')"); }).first == Errc::io);
}

TEST_CASE("database: reading leaves nothing beside the file and the file as it was", "[storage][database]") {
  const TempDir dir;
  { const Database db = Database::create(dir / "x.db"); }
  const auto bytes = [&] {
    std::ifstream in{dir / "x.db", std::ios::binary};
    return std::string{std::istreambuf_iterator<char>{in}, {}};
  };
  const std::string before = bytes();
  {
    Database db = Database::open(dir / "x.db", Database::Mode::read_only);
    CHECK(check(db).faults.empty());
  }
  CHECK(bytes() == before);
  for (const auto& item : fs::directory_iterator{dir.path()}) CHECK(item.path() == dir / "x.db");
}

TEST_CASE("database: a file in a folder that cannot be written is read all the same", "[storage][database]") {
  const TempDir dir;
  const fs::path folder = dir / "medium";
  fs::create_directory(folder);
  { const Database db = Database::create(folder / "x.db"); }
  ::chmod(dir.path().c_str(), 0755);
  ::chmod((folder / "x.db").c_str(), 0444);
  ::chmod(folder.c_str(), 0555);
  CHECK(as_nobody([&] {
    const Database db = Database::open(folder / "x.db", Database::Mode::read_only);
    return single_integer(handle_of(db), "SELECT count(*) FROM vessel") == 0;
  }));
  CHECK(as_nobody([&] { return refusal_to_open(folder / "x.db").first == Errc::io; }));
  CHECK(as_nobody([&] { return refusal([&] { Database::create(folder / "y.db"); }).first == Errc::io; }));
  ::chmod(folder.c_str(), 0755);
  write_file(folder / "x.db-wal", std::string(100, '\1'));
  ::chmod((folder / "x.db-wal").c_str(), 0444);
  ::chmod(folder.c_str(), 0555);
  CHECK(as_nobody([&] {
    const auto [code, what] = refusal_to_open(folder / "x.db", Database::Mode::read_only);
    return code == Errc::io && what.find("x.db-wal") != std::string::npos;
  }));
  ::chmod(folder.c_str(), 0755);
}

TEST_CASE("database: a write transaction is undone unless committed", "[storage][database]") {
  TempDb t;
  LogRepository log{t.db};
  {
    WriteTransaction undone{t.db};
    log.add(t.entry(Kind::hours, 1));
  }
  CHECK_FALSE(log.find(nth_id(1)));
  {
    WriteTransaction kept{t.db};
    log.add(t.entry(Kind::hours, 1));
    kept.commit();
  }
  CHECK(log.find(nth_id(1)));
}

TEST_CASE("database: a read transaction sees one unchanging view", "[storage][database]") {
  TempDb t;
  Database reader = Database::open(t.file, Database::Mode::read_only);
  LogRepository seen{reader};
  {
    const ReadTransaction view{reader};
    LogRepository{t.db}.add(t.entry(Kind::hours, 1));
    CHECK_FALSE(seen.find(nth_id(1)));
  }
  CHECK(seen.find(nth_id(1)));
}

TEST_CASE("database: a second writer waits for the first, and gives up as busy", "[storage][database]") {
  TempDb t;
  Database second = Database::open(t.file, Database::Mode::read_write);
  sqlite3_busy_timeout(handle_of(second), 20);
  {
    WriteTransaction first{t.db};
    CHECK(refusal([&] { const WriteTransaction other{second}; }).first == Errc::busy);
    CHECK(LogRepository{second}.list({}).empty());  // reading goes on
  }
  Database third = Database::open(t.file, Database::Mode::read_write);
  auto first = std::make_unique<WriteTransaction>(t.db);
  LogRepository{t.db}.add(t.entry(Kind::hours, 1));
  std::atomic<bool> asks{false};
  std::thread waiting{[&] {
    asks = true;
    WriteTransaction other{third};
    LogRepository{third}.add(t.entry(Kind::hours, 2));
    other.commit();
  }};
  while (!asks) std::this_thread::yield();
  std::this_thread::sleep_for(std::chrono::milliseconds{30});  // so that it asks in vain as a rule
  first->commit();
  waiting.join();
  CHECK(LogRepository{t.db}.list({}).size() == 2);
}

TEST_CASE("database: a backup is a checked copy, made while others write", "[storage][database]") {
  TempDb t;
  LogRepository log{t.db};
  log.add(t.entry(Kind::hours, 1));
  Database writer = Database::open(t.file, Database::Mode::read_write);
  {
    WriteTransaction under_way{writer};
    LogRepository{writer}.add(t.entry(Kind::hours, 2));
    backup(t.db, t.dir / "copy.db");
  }
  Database copy = Database::open(t.dir / "copy.db", Database::Mode::read_write);
  CHECK(check(copy).faults.empty());
  CHECK(LogRepository{copy}.find(nth_id(1)));
  CHECK_FALSE(LogRepository{copy}.find(nth_id(2)));
  CHECK(refusal([&] { backup(t.db, t.dir / "copy.db"); }).first == Errc::conflict);
  CHECK(refusal([&] { backup(t.db, t.dir / "no/where.db"); }).first == Errc::io);
  WriteTransaction own{t.db};
  CHECK(refusal([&] { backup(t.db, t.dir / "other.db"); }).first == Errc::busy);
  CHECK_FALSE(fs::exists(t.dir / "other.db"));
}

TEST_CASE("database: check counts and finds nothing wrong with a good file", "[storage][check]") {
  TempDb t;
  LogRepository log{t.db};
  std::uint64_t n = 1;
  for (const Kind kind : kKinds) log.add(t.entry(kind, n++));
  log.add(t.withdrawal(t.entry(Kind::hours, 1), n++, 3));
  log.add(t.correction(t.entry(Kind::refill, 4), n++, 3));
  const CheckResult result = check(t.db);
  CHECK(result.faults == std::vector<std::string>{});
  CHECK(result.records == 10);
  CHECK(result.vessels == 1);
  CHECK(result.schema == schema_version());
  Database reader = Database::open(t.file, Database::Mode::read_only);
  CHECK(check(reader).faults.empty());
}

TEST_CASE("database: check names each kind of damage", "[storage][check]") {
  TempDb t;
  LogRepository log{t.db};
  log.add(t.entry(Kind::hours, 1));
  log.add(t.entry(Kind::cycles, 2));
  log.add(t.correction(t.entry(Kind::hours, 2), 3, 4));  // of cycles, by hours
  const auto wrong = [&](const std::string& sql) {
    {
      SQLite::Database raw{t.file.string(), SQLite::OPEN_READWRITE};  // another program, which keeps no rule
      raw.exec("PRAGMA foreign_keys = OFF; PRAGMA ignore_check_constraints = ON");
      raw.exec(sql);
    }
    std::string all;
    for (const auto& fault : check(t.db).faults) all += fault + "\n";
    return all;
  };
  CHECK(wrong("SELECT 1").find("corrects a record of another kind") != std::string::npos);
  CHECK(wrong("DROP TRIGGER hours_no_delete; DELETE FROM hours WHERE entry_id = 1").find("has no row in hours") !=
        std::string::npos);
  CHECK(wrong("SELECT 1").find("the schema lacks trigger hours_no_delete") != std::string::npos);
  CHECK(wrong("INSERT INTO work VALUES (2, 'other')").find("has a row in work, which is not of its kind") !=
        std::string::npos);
  CHECK(wrong("CREATE TABLE diary (x)").find("the schema has table diary") != std::string::npos);
  CHECK(wrong("INSERT INTO refill (entry_id, grease_id) VALUES (77, 88)").find("refers to a row of") !=
        std::string::npos);
  CHECK(wrong("DROP INDEX entry_of_vessel; CREATE INDEX entry_of_vessel ON entry (kind)")
            .find("the schema's index entry_of_vessel is not as this version makes it") != std::string::npos);
  CHECK(wrong("DROP TRIGGER entry_no_update; UPDATE entry SET replaces = (SELECT uuid FROM entry WHERE entry_id = 3) "
              "WHERE entry_id = 2")
            .find("corrects itself by way of others") != std::string::npos);
}
