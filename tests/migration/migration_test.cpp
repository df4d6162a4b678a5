#include "storage/migration.hpp"

#include "base/error.hpp"
#include "base/uuid.hpp"
#include "storage/query.hpp"
#include "support/temp_db.hpp"

#include <atomic>
#include <fstream>
#include <map>
#include <set>
#include <sqlite3.h>
#include <thread>

#include <SQLiteCpp/Database.h>
#include <catch2/catch.hpp>
#include <fmt/format.h>

using namespace shaftlog;
using namespace shaftlog::test;
namespace fs = std::filesystem;

namespace {

std::string read_text(const fs::path& path) {
  std::ifstream in{path, std::ios::binary};
  REQUIRE(in);
  return {std::istreambuf_iterator<char>{in}, {}};
}

/// A file as the release of that version left it, made from its dump.
fs::path old_file(const TempDir& dir, int version) {
  const fs::path path = dir / "old.db";
  SQLite::Database raw{path.string(), SQLite::OPEN_READWRITE | SQLite::OPEN_CREATE};
  raw.exec(read_text(fmt::format("{}/tests/migration/v{:04}.sql", SHAFTLOG_SOURCE_DIR, version)));
  raw.exec("PRAGMA journal_mode = WAL");
  return path;
}

/// Every row of every table of `tables_of`, as text: what must be the same before and after.
std::map<std::string, std::vector<std::string>> rows_of(const fs::path& path,
                                                        const std::set<std::string>& without_columns = {}) {
  SQLite::Database raw{path.string()};
  std::map<std::string, std::vector<std::string>> out;
  Query tables{raw.getHandle(), "SELECT name FROM sqlite_schema WHERE type = 'table' ORDER BY name"};
  while (tables.step()) {
    const std::string table{tables.text(0)};
    std::string columns;
    Query info{raw.getHandle(), fmt::format("SELECT name FROM pragma_table_info('{}')", table)};
    while (info.step()) {
      if (without_columns.contains(std::string{info.text(0)})) continue;
      columns += (columns.empty() ? "" : " || ',' || ") + fmt::format("quote({})", info.text(0));
    }
    Query row{raw.getHandle(), fmt::format("SELECT {} FROM {} ORDER BY 1", columns, table)};
    auto& list = out[table];
    while (row.step()) list.emplace_back(row.text(0));
  }
  return out;
}

const int kTrialVersion = schema_version() + 2;
/// What steps after the first brought to tables that were there already.
const std::set<std::string> kAddedColumns{"rank", "water_limit_ppm", "iron_limit_ppm_milli", "clearance_limit_um",
                                          "verification_id"};

/// The released steps and two more, with the fresh schema they must lead to.
struct LongerPlan {
  std::vector<std::string> texts;
  std::vector<EmbeddedFile> schema, migrations;

  explicit LongerPlan(const std::string& second_step, const std::string& third_step) {
    texts.reserve(100);
    for (const EmbeddedFile& file : schema_files()) {
      std::string text{file.text};
      const auto replace = [&](const std::string& from, const std::string& to) {
        if (const auto at = text.find(from); at != std::string::npos) text.replace(at, from.size(), to);
      };
      replace("CHECK (name <> '')\n) STRICT;\n\nCREATE TABLE source",
              "CHECK (name <> ''),\n  rank TEXT -- new\n) STRICT;\n\nCREATE TABLE source");
      replace("CONSTRAINT source_name_not_empty CHECK (name <> '')",
              "CONSTRAINT source_name_not_blank CHECK (trim(name) <> '')");
      schema.push_back({file.name, texts.emplace_back(std::move(text))});
    }
    schema.push_back(
        {"900_trial.sql", texts.emplace_back("CREATE TABLE trial (trial_id INTEGER PRIMARY KEY) STRICT;")});
    migrations.assign(migration_files().begin(), migration_files().end());
    migrations.push_back({"9998_last_but_one.sql", texts.emplace_back(second_step)});
    migrations.push_back({"9999_last.sql", texts.emplace_back(third_step)});
  }
  [[nodiscard]] SchemaPlan plan() const { return {schema, migrations}; }
};

const char* const kSecond =
    "ALTER TABLE person ADD COLUMN rank TEXT;\n"
    "CREATE TABLE trial (trial_id INTEGER PRIMARY KEY) STRICT;";
const char* const kThird = R"sql(
CREATE TABLE source_new (  -- a constraint cannot be altered: the table is made anew
  source_id INTEGER PRIMARY KEY,
  name      TEXT NOT NULL UNIQUE CONSTRAINT source_name_not_blank CHECK (trim(name) <> '')
) STRICT;
INSERT INTO source_new SELECT source_id, name FROM source;
DROP TABLE source;
ALTER TABLE source_new RENAME TO source;
CREATE TRIGGER source_no_update BEFORE UPDATE ON source
BEGIN SELECT RAISE(ABORT, 'a source in the log is never changed'); END;
CREATE TRIGGER source_no_delete BEFORE DELETE ON source
BEGIN SELECT RAISE(ABORT, 'a source in the log is never removed'); END;)sql";

std::pair<Errc, std::string> refusal(const fs::path& path, const SchemaPlan& plan) {
  try {
    upgrade_by(path, day(3).utc, plan);
  } catch (const Error& e) {
    return {e.code(), e.what()};
  }
  FAIL("not refused");
  return {};
}

std::int64_t version_of(const fs::path& path) {
  SQLite::Database raw{path.string()};
  return single_integer(raw.getHandle(), "PRAGMA user_version");
}

std::vector<fs::path> others_in(const fs::path& file) {
  std::vector<fs::path> out;
  for (const auto& e : fs::directory_iterator{file.parent_path()}) {
    const auto name = e.path().filename().string();
    if (e.path() != file && name.find("-wal") == std::string::npos && name.find("-shm") == std::string::npos) {
      out.push_back(e.path());
    }
  }
  return out;
}

}  // namespace

// Once a version is released its step is what brought real files to it: a change would leave two sorts of files with
// one number. New steps are added at the end; their checksums too.
TEST_CASE("migration: a released step never changes", "[migration]") {
  const std::vector<std::pair<std::string, std::string>> released{
#include "released_steps.inc"
  };
  REQUIRE(migration_files().size() == released.size());
  for (std::size_t i = 0; i < released.size(); ++i) {
    CHECK(migration_files()[i].name == released[i].first);
    CHECK(hex(sha256(migration_files()[i].text)) == released[i].second);
  }
}

TEST_CASE("migration: steps are numbered without a gap from 1 to the schema's version", "[migration]") {
  for (std::size_t i = 0; i < migration_files().size(); ++i) {
    CHECK(migration_files()[i].name.substr(0, 5) == fmt::format("{:04}_", i + 1));
  }
  CHECK(schema_version() == static_cast<int>(migration_files().size()));
}

TEST_CASE("migration: all steps from an empty file give exactly the fresh schema", "[migration]") {
  SQLite::Database stepped{":memory:", SQLite::OPEN_READWRITE};
  for (const EmbeddedFile& step : migration_files()) stepped.exec(std::string{step.text});
  SQLite::Database fresh{":memory:", SQLite::OPEN_READWRITE};
  write_fresh_schema(fresh.getHandle(), released_plan());
  CHECK(describe_schema(stepped.getHandle()) == describe_schema(fresh.getHandle()));
  CHECK(schema_differences(stepped.getHandle(), released_plan()).empty());
}

TEST_CASE("migration: a file of each released version comes to the newest schema and keeps its rows", "[migration]") {
  for (int version = 1; version <= schema_version(); ++version) {
    INFO("version " << version);
    const TempDir dir;
    const fs::path path = old_file(dir, version);
    const UpgradeResult result = upgrade(path, day(3).utc);
    CHECK(result.from == version);
    CHECK(result.to == schema_version());
    CHECK(result.backup.empty() == (version == schema_version()));
    Database db = Database::open(path, Database::Mode::read_write);
    const CheckResult checked = check(db);
    CHECK(checked.faults == std::vector<std::string>{});
    CHECK(checked.records == 12);
    CHECK(checked.vessels == 2);
    const LogRepository log{db};
    CHECK(log.list({}).size() == 9);  // one was withdrawn, one corrected, one is the withdrawal
    CHECK(log.find(nth_id(6))->head.remark == "horn silenced; caf\xC3\xA9 'quoted'");
    CHECK(log.in_force(nth_id(5))->head.id == nth_id(9));
    CHECK_FALSE(log.in_force(nth_id(1)));
    const Register reg = RegisterRepository{db}.load();
    CHECK(reg.shafts.at(0).settings.size() == 2);
    CHECK(reg.vessels.at(1).imo == "1234567");
  }
}

TEST_CASE("migration: a link keeps its place, what it stands for, and its hash", "[migration]") {
  const TempDir dir;
  const fs::path path = old_file(dir, 6);
  const auto before = rows_of(path);
  REQUIRE(before.at("link").size() == 14);
  upgrade(path, day(3).utc);
  auto after = rows_of(path, {"verification_id"});
  CHECK(after.at("verification").empty());
  after.erase("verification");
  CHECK(after == before);
}

TEST_CASE("migration: several steps keep every row, leave a backup, and say so", "[migration]") {
  const TempDir dir;
  const fs::path path = old_file(dir, 1);
  const LongerPlan longer{kSecond, kThird};
  const auto before = rows_of(path);
  const UpgradeResult result = upgrade_by(path, day(3).utc, longer.plan());
  CHECK(result.from == 1);
  CHECK(result.to == kTrialVersion);
  CHECK(result.backup == dir / "old.v1-20260104T000000Z.db");
  CHECK(version_of(path) == kTrialVersion);
  auto after = rows_of(path, kAddedColumns);
  CHECK(after.erase("trial") == 1);
  for (const auto& [table, rows] : before) CHECK(after[table] == rows);
  CHECK(version_of(result.backup) == 1);
  CHECK(rows_of(result.backup) == before);
  SQLite::Database raw{path.string()};
  CHECK(schema_differences(raw.getHandle(), longer.plan()).empty());
  CHECK(single_integer(raw.getHandle(), "SELECT count(*) FROM pragma_foreign_key_check") == 0);

  const UpgradeResult again = upgrade_by(path, day(3).utc, longer.plan());
  CHECK(again.from == kTrialVersion);
  CHECK(again.to == kTrialVersion);
  CHECK(again.backup.empty());
}

TEST_CASE("migration: a step that fails leaves the file as it was", "[migration]") {
  const TempDir dir;
  const fs::path path = old_file(dir, 1);
  const auto before = rows_of(path);
  const LongerPlan longer{kSecond, "INSERT INTO no_such_table VALUES (1);"};
  const auto [code, what] = refusal(path, longer.plan());
  INFO(what);
  CHECK(code == Errc::damaged);
  CHECK(what.find("9999_last.sql") != std::string::npos);
  CHECK(version_of(path) == 1);
  CHECK(rows_of(path) == before);
  // A second attempt in the same second does not overwrite the first one's backup.
  refusal(path, longer.plan());
  CHECK(others_in(path).size() == 2);
}

TEST_CASE("migration: steps that do not lead to the fresh schema are undone", "[migration]") {
  const TempDir dir;
  const fs::path path = old_file(dir, 1);
  const auto [code, what] = refusal(path, LongerPlan{kSecond, "SELECT 1;"}.plan());
  CHECK(code == Errc::damaged);
  CHECK(what.find("table source") != std::string::npos);
  CHECK(version_of(path) == 1);
}

TEST_CASE("migration: a step that leaves a row without its parent is undone", "[migration]") {
  const TempDir dir;
  const fs::path path = old_file(dir, 1);
  std::string lossy = kThird;
  lossy.replace(lossy.find("FROM source;"), 12, "FROM source WHERE source_id > 2;");
  const auto [code, what] = refusal(path, LongerPlan{kSecond, lossy}.plan());
  CHECK(code == Errc::damaged);
  CHECK(what.find("a row of entry would refer to a row of source") != std::string::npos);
  CHECK(version_of(path) == 1);
}

TEST_CASE("migration: of two programs that upgrade at once one does it, the other finds it done", "[migration]") {
  const TempDir dir;
  const fs::path path = old_file(dir, 1);
  const LongerPlan longer{kSecond, kThird};
  std::atomic<int> done{0}, found{0}, failed{0};
  const auto run = [&] {
    try {
      const auto result = upgrade_by(path, day(3).utc, longer.plan());
      ++(result.from == 1 ? done : found);
    } catch (const std::exception&) {
      ++failed;
    }
  };
  std::thread one{run}, two{run};
  one.join();
  two.join();
  CHECK(done == 1);
  CHECK(found == 1);
  CHECK(failed == 0);
  CHECK(version_of(path) == kTrialVersion);
  CHECK(others_in(path).size() == 1);
}

TEST_CASE("migration: a file of another program is not upgraded", "[migration]") {
  const TempDir dir;
  {
    SQLite::Database raw{(dir / "x.db").string(), SQLite::OPEN_READWRITE | SQLite::OPEN_CREATE};
    raw.exec("CREATE TABLE t (x)");
  }
  CHECK(refusal(dir / "x.db", released_plan()).first == Errc::damaged);
  CHECK(refusal(dir / "none.db", released_plan()).first == Errc::not_found);
  CHECK(others_in(dir / "x.db").empty());
}

TEST_CASE("migration: layout, comments and quoted names do not make schemas differ, words do", "[migration]") {
  const auto lines = [](const char* sql) {
    SQLite::Database raw{":memory:", SQLite::OPEN_READWRITE};
    raw.exec(sql);
    return describe_schema(raw.getHandle());
  };
  CHECK(lines("CREATE TABLE t (a TEXT, b TEXT)") == lines("CREATE TABLE  \"t\"(a  TEXT, -- why\n b /* x */ TEXT )"));
  CHECK(lines("CREATE TABLE t (a TEXT CHECK (a <> 'x  y'))") != lines("CREATE TABLE t (a TEXT CHECK (a <> 'x y'))"));
  CHECK(lines("CREATE TABLE t (a TEXT)") != lines("CREATE TABLE t (a TEXT NOT NULL)"));
}
