#pragma once

#include "base/time.hpp"

#include <cstdint>
#include <filesystem>
#include <functional>
#include <memory>
#include <string>
#include <vector>

namespace SQLite {
class Database;
}

namespace shaftlog {

class Chain;

/// "SHFL" as a big-endian number; how our files are known among SQLite files.
constexpr std::int32_t kApplicationId = 0x5348464C;
/// Newest schema this program writes; equals the number of the last migration.
int schema_version() noexcept;

/// One open database file. Not shared between threads. Everything SQLite throws leaves as an Error that names the file.
class Database {
 public:
  enum class Mode { read_only, read_write };

  /// Makes a new file with the newest schema. \throws Error{conflict} if anything is at `path` already,
  /// Error{io} if the folder cannot be written
  static Database create(const std::filesystem::path& path);
  /// Opens a file of ours. \throws Error{not_found} no file; Error{damaged} not a database, or not one of ours (says
  /// which); Error{schema_too_new}; Error{conflict} an older schema (says to run upgrade); Error{io}; Error{busy}.
  /// Read-only in a folder that cannot be written: as long as no writer left a journal beside the file, it is read as
  /// unchanging (nobody can be writing there through us); with a journal that cannot be used, Error{io}.
  static Database open(const std::filesystem::path& path, Mode mode);

  Database(Database&&) noexcept;
  Database& operator=(Database&&) noexcept;
  ~Database();

  [[nodiscard]] const std::filesystem::path& path() const noexcept { return path_; }
  /// For the repositories in storage only.
  [[nodiscard]] SQLite::Database& raw() const noexcept { return *db_; }
  /// Room for a long import: page cache for this connection [MiB].
  void use_cache_mib(int mib);
  /// Transactions undone so far on this connection: what a repository remembers from before the last one is void.
  [[nodiscard]] std::int64_t undone() const noexcept { return *undone_; }
  /// The audit chain as this connection writes it. For the repositories and transactions in storage only.
  [[nodiscard]] Chain& chain();

 private:
  Database(std::filesystem::path path, std::unique_ptr<SQLite::Database> db);
  std::filesystem::path path_;
  std::unique_ptr<std::int64_t> undone_;  // before db_: SQLite's rollback hook counts in it until db_ is closed
  std::unique_ptr<SQLite::Database> db_;
  std::shared_ptr<Chain> chain_;  // after db_: its statements go first
};

/// A number that changes when another connection or program has written to the file since this one last asked.
std::int64_t data_version(Database& db);

/// Whether a connection that was left open may be used again: no transaction is under way, the file is still the one at
/// its path, and in the schema that this program knows.
bool is_as_opened(Database& db) noexcept;
/// False also where the file was opened as unchanging: what others write is then never seen on that connection.
bool is_writable(Database& db) noexcept;

/// Takes the write lock at once (waits up to 10 s, then Error{busy}); undone unless committed.
class WriteTransaction {
 public:
  explicit WriteTransaction(Database& db);
  WriteTransaction(const WriteTransaction&) = delete;
  WriteTransaction& operator=(const WriteTransaction&) = delete;
  ~WriteTransaction();
  void commit();

 private:
  Database* db_;
  bool done_ = false;
};

/// One unchanging view of the file for several reads.
class ReadTransaction {
 public:
  explicit ReadTransaction(Database& db);
  ReadTransaction(const ReadTransaction&) = delete;
  ReadTransaction& operator=(const ReadTransaction&) = delete;
  ~ReadTransaction();

 private:
  Database* db_;
};

struct UpgradeResult {
  int from = 0, to = 0;          ///< equal: nothing to do
  std::filesystem::path backup;  ///< of the file as it was; empty when nothing was done
};
/// Brings a file to the newest schema: backup beside it first, then all steps in one transaction.
UpgradeResult upgrade(const std::filesystem::path& path, Instant now);

/// Copies the open file into a new one while others may write, and checks the copy.
/// \throws Error{conflict} if `to` exists
void backup(Database& db, const std::filesystem::path& to);

struct CheckResult {
  std::vector<std::string> faults;  ///< empty: all is well; each is one clear sentence
  std::int64_t records = 0;
  std::int64_t vessels = 0;
  std::int64_t finding_remarks = 0;
  std::int64_t verifications = 0;
  std::int64_t checkpoints = 0;  ///< that hold
  int schema = 0;
};
/// integrity_check, foreign keys, the schema against a fresh one, and rules that SQL cannot state (a detail row for
/// every entry and no other, corrections of the right kind, no circle of corrections, the remarks of one finding about
/// one subject and kind, verifications of records of their vessel).
CheckResult check(Database& db);

}  // namespace shaftlog
