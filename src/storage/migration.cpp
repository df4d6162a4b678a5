#include "storage/migration.hpp"

#include "base/error.hpp"
#include "storage/chain.hpp"
#include "storage/open.hpp"
#include "storage/query.hpp"

#include <algorithm>
#include <iterator>
#include <sqlite3.h>

#include <SQLiteCpp/Database.h>
#include <fmt/format.h>

namespace shaftlog {
namespace {

namespace fs = std::filesystem;

bool is_word(char c) noexcept {
  return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') || c == '_';
}

/// SQL with comments left out and blanks only where two words would run together; text in quotes is kept.
std::string without_layout(std::string_view sql) {
  std::string out;
  bool blank = false;
  for (std::size_t i = 0; i < sql.size();) {
    const char c = sql[i];
    if (c == '-' && i + 1 < sql.size() && sql[i + 1] == '-') {
      while (i < sql.size() && sql[i] != '\n') ++i;
      blank = true;
    } else if (c == '/' && i + 1 < sql.size() && sql[i + 1] == '*') {
      const auto end = sql.find("*/", i + 2);
      i = end == std::string_view::npos ? sql.size() : end + 2;
      blank = true;
    } else if (c == ' ' || c == '\n' || c == '\t' || c == '\r') {
      ++i;
      blank = true;
    } else {
      const bool is_quote = c == '\'' || c == '"';
      auto end = is_quote ? sql.find(c, i + 1) : i;
      end = end == std::string_view::npos ? sql.size() : end + 1;
      std::string_view piece = sql.substr(i, end - i);
      // A table that was renamed carries its name in quotes; the name is the same.
      if (c == '"' && piece.size() > 2 && std::all_of(piece.begin() + 1, piece.end() - 1, is_word)) {
        piece = piece.substr(1, piece.size() - 2);
      }
      if (blank && !out.empty() && (is_word(out.back()) || out.back() == '\'') &&
          (is_word(piece.front()) || piece.front() == '\'')) {
        out += ' ';
      }
      blank = false;
      out += piece;
      i = end;
    }
  }
  return out;
}

void set_version(sqlite3* db, int version) { execute(db, fmt::format("PRAGMA user_version = {}", version)); }

/// "shaftlog.v3-20260314T081000Z.db" beside "shaftlog.db"; an earlier attempt's backup is not overwritten.
fs::path free_backup_name(const fs::path& path, int version, const std::string& at) {
  const std::string stem = fmt::format("{}.v{}-{}", path.stem().string(), version, at);
  fs::path name = path.parent_path() / (stem + path.extension().string());
  std::error_code ignored;
  for (int n = 2; fs::exists(fs::symlink_status(name, ignored)); ++n) {
    name = path.parent_path() / fmt::format("{}-{}{}", stem, n, path.extension().string());
  }
  return name;
}

/// Inside the caller's transaction, with foreign keys off.
void run_steps(sqlite3* raw, const fs::path& path, const SchemaPlan& plan, int from) {
  for (int version = from + 1; version <= plan.version(); ++version) {
    const EmbeddedFile& step = plan.migrations[static_cast<std::size_t>(version - 1)];
    try {
      execute(raw, std::string{step.text});
    } catch (const Error& e) {
      throw e.within(fmt::format("upgrade step {}", step.name));
    }
    set_version(raw, version);
  }
  chain_all(raw);
  Query orphans{raw, "PRAGMA foreign_key_check"};
  if (orphans.step()) {
    throw Error{Errc::damaged,
                fmt::format("{}: was not upgraded: a row of {} would refer to a row of {} that is not there",
                            path.string(), orphans.text(0), orphans.text(2))};
  }
  orphans.reset();
  if (const auto differences = schema_differences(raw, plan); !differences.empty()) {
    throw Error{Errc::damaged, fmt::format("{}: was not upgraded: {}", path.string(), differences.front())};
  }
}

struct Memory {
  sqlite3* db = nullptr;
  Memory() {
    if (const int rc = sqlite3_open(":memory:", &db); rc != SQLITE_OK) throw_sqlite_error(db, rc);
  }
  Memory(const Memory&) = delete;
  Memory& operator=(const Memory&) = delete;
  ~Memory() { sqlite3_close(db); }
};

}  // namespace

SchemaPlan released_plan() { return {schema_files(), migration_files()}; }

void write_fresh_schema(sqlite3* db, const SchemaPlan& plan) {
  execute(db, fmt::format("PRAGMA application_id = {}", kApplicationId));
  for (const EmbeddedFile& file : plan.schema) execute(db, std::string{file.text});
  set_version(db, plan.version());
}

void write_schema_of(sqlite3* db, const SchemaPlan& plan, int version) {
  if (version == plan.version()) return write_fresh_schema(db, plan);
  execute(db, fmt::format("PRAGMA application_id = {}", kApplicationId));
  for (const EmbeddedFile& step : plan.migrations.first(static_cast<std::size_t>(version))) {
    execute(db, std::string{step.text});
  }
  set_version(db, version);
}

void migrate(sqlite3* db, const fs::path& path, const SchemaPlan& plan, int from) {
  execute(db, "PRAGMA foreign_keys = OFF");
  execute(db, "BEGIN IMMEDIATE");
  try {
    run_steps(db, path, plan, from);
    execute(db, "COMMIT");
  } catch (...) {
    if (sqlite3_get_autocommit(db) == 0) sqlite3_exec(db, "ROLLBACK", nullptr, nullptr, nullptr);
    throw;
  }
}

std::vector<std::string> describe_schema(sqlite3* db) {
  std::vector<std::string> lines;
  // An index that SQLite makes for a UNIQUE has no text; ANALYZE's tables are nobody's schema.
  Query objects{db,
                "SELECT type, name, tbl_name, ifnull(sql, '') FROM sqlite_schema WHERE name NOT LIKE 'sqlite_stat%'"};
  while (objects.step()) {
    lines.push_back(fmt::format("{} {} on {}: {}", objects.text(0), objects.text(1), objects.text(2),
                                without_layout(objects.text(3))));
  }
  std::sort(lines.begin(), lines.end());
  return lines;
}

std::vector<std::string> schema_differences(sqlite3* db, const SchemaPlan& plan) {
  const Memory fresh;
  write_fresh_schema(fresh.db, plan);
  const auto wanted = describe_schema(fresh.db);
  const auto found = describe_schema(db);
  std::vector<std::string> missing, extra, out;
  std::set_difference(wanted.begin(), wanted.end(), found.begin(), found.end(), std::back_inserter(missing));
  std::set_difference(found.begin(), found.end(), wanted.begin(), wanted.end(), std::back_inserter(extra));
  const auto name = [](const std::string& line) { return line.substr(0, line.find(" on ")); };
  for (const auto& line : missing) {
    const bool altered =
        std::any_of(extra.begin(), extra.end(), [&](const auto& other) { return name(other) == name(line); });
    out.push_back(altered ? fmt::format("the schema's {} is not as this version makes it", name(line))
                          : fmt::format("the schema lacks {}", name(line)));
  }
  for (const auto& line : extra) {
    const bool altered =
        std::any_of(missing.begin(), missing.end(), [&](const auto& other) { return name(other) == name(line); });
    if (!altered) out.push_back(fmt::format("the schema has {}, which this version does not know", name(line)));
  }
  return out;
}

UpgradeResult upgrade_by(const fs::path& path, Instant now, const SchemaPlan& plan) {
  const auto db = open_checked(path, Database::Mode::read_write);
  sqlite3* const raw = db->getHandle();
  UpgradeResult result;
  result.to = plan.version();
  result.from = read_version(raw, path, plan.version());
  if (result.from == result.to) return result;

  // A table is rebuilt by dropping the old one: with foreign keys on, that would fail or take rows along. They are
  // checked as a whole before the commit.
  execute(raw, "PRAGMA foreign_keys = OFF");
  execute(raw, "BEGIN IMMEDIATE");
  try {
    result.from = read_version(raw, path, plan.version());  // another program may have been first
    if (result.from == result.to) {
      execute(raw, "ROLLBACK");
      return result;
    }
    const fs::path copy = free_backup_name(path, result.from, compact_utc(now));
    {
      // Our own connection holds the write lock and cannot be copied from; a second one reads what was committed.
      const auto reader = open_checked(path, Database::Mode::read_only);
      copy_to(reader->getHandle(), copy);
    }
    result.backup = copy;
    run_steps(raw, path, plan, result.from);
    execute(raw, "COMMIT");
  } catch (...) {
    if (sqlite3_get_autocommit(raw) == 0) sqlite3_exec(raw, "ROLLBACK", nullptr, nullptr, nullptr);
    throw;
  }
  return result;
}

UpgradeResult upgrade(const fs::path& path, Instant now) { return upgrade_by(path, now, released_plan()); }

}  // namespace shaftlog
