#include "storage/restore.hpp"

#include "base/error.hpp"
#include "storage/chain.hpp"
#include "storage/chain_sql.hpp"
#include "storage/files.hpp"
#include "storage/open.hpp"
#include "storage/query.hpp"

#include <map>
#include <sqlite3.h>

#include <SQLiteCpp/Database.h>
#include <fmt/format.h>

namespace shaftlog {
namespace {

namespace fs = std::filesystem;

constexpr const char* kRecordsById = R"sql(
SELECT e.uuid, v.code, e.kind, e.at_utc_s FROM entry e JOIN vessel v USING (vessel_id) ORDER BY e.uuid )sql";
constexpr const char* kIdsInOrder = R"sql( SELECT uuid FROM entry ORDER BY uuid )sql";

void compare_records(sqlite3* present, sqlite3* backup, RestoreResult& result) {
  Query ours{present, kRecordsById};
  Query theirs{backup, kIdsInOrder};
  std::map<std::pair<std::string, Kind>, LackingRecords> groups;
  bool more = theirs.step();
  while (ours.step()) {
    const Uuid id = ours.uuid(0);
    while (more && theirs.uuid(0) < id) more = theirs.step();
    if (more && theirs.uuid(0) == id) continue;
    const auto kind = static_cast<Kind>(ours.integer(2) - 1);
    const Instant at = from_unix(ours.integer(3));
    auto& group = groups[{std::string{ours.text(1)}, kind}];
    if (group.count++ == 0) group = {std::string{ours.text(1)}, kind, 1, at, at};
    group.first = std::min(group.first, at);
    group.last = std::max(group.last, at);
  }
  for (auto& [key, group] : groups) result.lacking.push_back(std::move(group));
  const auto more_rows = [&](const char* sql) {
    return std::max(std::int64_t{0}, single_integer(present, sql) - single_integer(backup, sql));
  };
  result.lacking_remarks = more_rows("SELECT count(*) FROM finding_remark");
  result.lacking_verifications = more_rows("SELECT count(*) FROM verification");
  result.lacking_changes = more_rows("SELECT count(*) FROM register_change");
}

/// Folds the journal into the file, takes it away, and holds the file so that nobody else can write to it.
void hold_alone(sqlite3* db, const fs::path& path) {
  const auto busy = [&] {
    throw Error{Errc::busy, fmt::format("{}: another program has it open; close that first", path.string())};
  };
  try {
    Query mode{db, "PRAGMA journal_mode = DELETE"};
    if (!mode.step() || mode.text(0) != "delete") busy();
    mode.reset();
    execute(db, "BEGIN EXCLUSIVE");
  } catch (const Error& e) {
    if (e.code() == Errc::busy) busy();
    throw;
  }
}

fs::path free_aside_name(const fs::path& present, Instant now) {
  const std::string stem = fmt::format("{}.replaced-{}", present.stem().string(), compact_utc(now));
  fs::path name = present.parent_path() / (stem + present.extension().string());
  std::error_code ignored;
  for (int n = 2; fs::exists(fs::symlink_status(name, ignored)); ++n) {
    name = present.parent_path() / fmt::format("{}-{}{}", stem, n, present.extension().string());
  }
  return name;
}

/// A damaged file may not be opened: its journal goes with it as it is, first, so that it can never be taken for the
/// new file's own.
void move_journal(const fs::path& from, const fs::path& to) {
  for (const char* suffix : {"-wal", "-shm", "-journal"}) {
    std::error_code code;
    const fs::path journal = from.string() + suffix;
    if (fs::exists(journal, code)) fs::rename(journal, to.string() + suffix, code);
    if (code) throw Error{Errc::io, fmt::format("{}: cannot be moved ({})", journal.string(), code.message())};
  }
}

/// Others may have records from after the backup under the numbers that come next: what is written from now on stands
/// in a strand of its own.
void leave_strand(const fs::path& copy) {
  Database db = Database::open(copy, Database::Mode::read_write);
  WriteTransaction transaction{db};
  if (Query{db, chain_sql::kOwn}.step()) begin_strand(handle_of(db));
  transaction.commit();
}

}  // namespace

RestoreResult restore(const fs::path& backup, const fs::path& present, Instant now, bool is_dry_run) {
  RestoreResult result;
  std::error_code ignored;
  if (fs::equivalent(backup, present, ignored)) {
    throw Error{Errc::conflict, fmt::format("{}: is the present database itself, not a backup of it", backup.string())};
  }
  if (!fs::exists(backup, ignored)) {
    throw Error{Errc::not_found, fmt::format("{}: there is no such file", backup.string())};
  }
  Database good = Database::open(backup, Database::Mode::read_only);
  const CheckResult checked = check(good);
  if (!checked.faults.empty()) {
    throw Error{Errc::damaged, fmt::format("{}: does not pass its check ({}); nothing was replaced", backup.string(),
                                           checked.faults.front())};
  }
  result.records = checked.records;
  result.is_present = fs::exists(fs::symlink_status(present, ignored));
  std::unique_ptr<SQLite::Database> old;
  if (result.is_present) {
    try {
      old = open_checked(present, is_dry_run ? Database::Mode::read_only : Database::Mode::read_write);
      // Compared under the lock: nothing can be added that the comparison did not see.
      if (!is_dry_run) hold_alone(old->getHandle(), present);
      compare_records(old->getHandle(), handle_of(good), result);
    } catch (const Error& e) {
      if (e.code() != Errc::damaged) throw;
      result.unreadable = e.what();
      result.lacking.clear();
      old.reset();
    }
  }
  if (is_dry_run) return result;

  if (!result.is_present) require_free(present);
  const ScratchFile scratch{present};
  copy_to(handle_of(good), scratch.path());
  leave_strand(scratch.path());
  if (!result.is_present) {
    publish(scratch.path(), present);
    return result;
  }
  result.aside = free_aside_name(present, now);
  if (old == nullptr) move_journal(present, result.aside);
  replace(scratch.path(), present, result.aside);
  return result;
}

}  // namespace shaftlog
