#include "storage/query.hpp"

#include "base/error.hpp"

#include <cstring>
#include <sqlite3.h>

#include <SQLiteCpp/Database.h>
#include <fmt/format.h>

namespace shaftlog {
namespace {

// What is kept on disk; the order of the enum in the program may not move it.
static_assert(static_cast<int>(Precision::second) == 0 && static_cast<int>(Precision::minute) == 1 &&
              static_cast<int>(Precision::day) == 2);

sqlite3_destructor_type lifetime(bool is_copied) noexcept {
  return is_copied ? SQLITE_TRANSIENT : SQLITE_STATIC;  // NOLINT: SQLite's own cast of -1
}

std::string name_of_file(sqlite3* db) {
  const char* name = db == nullptr ? nullptr : sqlite3_db_filename(db, "main");
  return name == nullptr || *name == '\0' ? "database in memory" : name;
}

}  // namespace

void throw_sqlite_error(const std::string& file, int rc, const char* message) {
  switch (rc & 0xff) {
    case SQLITE_BUSY:
    case SQLITE_LOCKED:
      throw Error{Errc::busy, fmt::format("{}: another program is writing to it; try again in a moment", file)};
    case SQLITE_FULL:
      throw Error{Errc::io, fmt::format("{}: the disk is full; nothing of this was kept", file)};
    case SQLITE_IOERR:
      throw Error{Errc::io, fmt::format("{}: reading or writing the file failed ({})", file, message)};
    case SQLITE_CANTOPEN:
      throw Error{Errc::io, fmt::format("{}: cannot be opened ({})", file, message)};
    case SQLITE_READONLY:
    case SQLITE_PERM:
      if (rc == SQLITE_READONLY) message = "no permission, or the medium is read-only";
      throw Error{Errc::io, fmt::format("{}: cannot be written ({})", file, message)};
    case SQLITE_CONSTRAINT:
      throw Error{Errc::conflict, fmt::format("{}: {}", file, message)};
    case SQLITE_NOMEM:
    case SQLITE_TOOBIG:
      throw Error{Errc::io, fmt::format("{}: {}", file, message)};
    case SQLITE_NOTADB:
      throw Error{Errc::damaged, fmt::format("{}: is not a database", file)};
    default:  // SQLITE_CORRUPT, and SQLITE_ERROR for a table or column that is not there
      throw Error{Errc::damaged, fmt::format("{}: is damaged ({}); go back to a backup", file, message)};
  }
}

void throw_sqlite_error(sqlite3* db, int rc) { throw_sqlite_error(name_of_file(db), rc, sqlite3_errmsg(db)); }

Query::Query(sqlite3* db, std::string_view sql) : db_{db} {
  const int rc = sqlite3_prepare_v3(db_, sql.data(), static_cast<int>(sql.size()), 0, &stmt_, nullptr);
  if (rc != SQLITE_OK) throw_sqlite_error(db_, rc);
}

Query::Query(Database& db, std::string_view sql) : Query{handle_of(db), sql} {}

Query::~Query() { sqlite3_finalize(stmt_); }

void Query::reset() noexcept { sqlite3_reset(stmt_); }

bool Query::step() {
  const int rc = sqlite3_step(stmt_);
  if (rc == SQLITE_ROW) return true;
  if (rc != SQLITE_DONE) {
    const std::string message = sqlite3_errmsg(db_);
    sqlite3_reset(stmt_);
    throw_sqlite_error(name_of_file(db_), rc, message.c_str());
  }
  sqlite3_reset(stmt_);
  return false;
}

int Query::changes() const noexcept { return sqlite3_changes(db_); }
std::int64_t Query::last_id() const noexcept { return sqlite3_last_insert_rowid(db_); }
int Query::parameters() const noexcept { return sqlite3_bind_parameter_count(stmt_); }

bool Query::is_null(int column) const noexcept { return sqlite3_column_type(stmt_, column) == SQLITE_NULL; }
std::int64_t Query::integer(int column) const noexcept { return sqlite3_column_int64(stmt_, column); }

std::string_view Query::text(int column) const noexcept {
  const void* bytes = sqlite3_column_text(stmt_, column);
  if (bytes == nullptr) return "";
  return {static_cast<const char*>(bytes), static_cast<std::size_t>(sqlite3_column_bytes(stmt_, column))};
}

std::string_view Query::blob(int column) const noexcept {
  const void* bytes = sqlite3_column_blob(stmt_, column);
  if (bytes == nullptr) return {};
  return {static_cast<const char*>(bytes), static_cast<std::size_t>(sqlite3_column_bytes(stmt_, column))};
}

Hash Query::hash(int column) const {
  Hash out{};
  const std::string_view bytes = blob(column);
  if (bytes.size() != out.size()) {
    throw Error{Errc::damaged, fmt::format("{}: is damaged (a hash is not 32 bytes long)", name_of_file(db_))};
  }
  std::memcpy(out.data(), bytes.data(), out.size());
  return out;
}

Uuid Query::uuid(int column) const {
  Uuid id;
  const void* bytes = sqlite3_column_blob(stmt_, column);
  if (bytes == nullptr || sqlite3_column_bytes(stmt_, column) != 16) {
    throw Error{Errc::damaged, fmt::format("{}: is damaged (an id is not 16 bytes long)", name_of_file(db_))};
  }
  std::memcpy(id.bytes.data(), bytes, 16);
  return id;
}

std::optional<Uuid> Query::maybe_uuid(int column) const {
  if (is_null(column)) return std::nullopt;
  return uuid(column);
}

Stamp Query::stamp(int column) const noexcept {
  return {from_unix(integer(column)), std::chrono::minutes{integer(column + 1)},
          static_cast<Precision>(integer(column + 2))};
}

void Query::put(int i, std::int64_t value) {
  if (const int rc = sqlite3_bind_int64(stmt_, i, value); rc != SQLITE_OK) throw_sqlite_error(db_, rc);
}

void Query::put(int i, std::string_view value) {
  const char* bytes = value.data() == nullptr ? "" : value.data();
  const int rc = sqlite3_bind_text64(stmt_, i, bytes, value.size(), lifetime(is_copied_), SQLITE_UTF8);
  if (rc != SQLITE_OK) throw_sqlite_error(db_, rc);
}

void Query::put(int i, const Uuid& value) {
  const int rc = sqlite3_bind_blob(stmt_, i, value.bytes.data(), 16, lifetime(is_copied_));
  if (rc != SQLITE_OK) throw_sqlite_error(db_, rc);
}

void Query::put(int i, BlobView value) {
  const char* bytes = value.bytes.data() == nullptr ? "" : value.bytes.data();
  const int rc = sqlite3_bind_blob64(stmt_, i, bytes, value.bytes.size(), lifetime(is_copied_));
  if (rc != SQLITE_OK) throw_sqlite_error(db_, rc);
}

void Query::put(int i, std::nullopt_t) {
  if (const int rc = sqlite3_bind_null(stmt_, i); rc != SQLITE_OK) throw_sqlite_error(db_, rc);
}

Savepoint::Savepoint(Database& db) : db_{handle_of(db)} { execute(db_, "SAVEPOINT several"); }

Savepoint::~Savepoint() {
  // After a full disk or a failed write SQLite may have undone the whole transaction by itself.
  if (!done_ && sqlite3_get_autocommit(db_) == 0) {
    sqlite3_exec(db_, "ROLLBACK TO several; RELEASE several", nullptr, nullptr, nullptr);
  }
}

void Savepoint::keep() {
  execute(db_, "RELEASE several");
  done_ = true;
}

void execute(sqlite3* db, const std::string& sql) {
  const int rc = sqlite3_exec(db, sql.c_str(), nullptr, nullptr, nullptr);
  if (rc != SQLITE_OK) throw_sqlite_error(db, rc);
}

std::int64_t single_integer(sqlite3* db, std::string_view sql) {
  Query query{db, sql};
  if (!query.step()) throw_sqlite_error(name_of_file(db), SQLITE_CORRUPT, "a value that should be there is missing");
  return query.integer(0);
}

sqlite3* handle_of(const Database& db) noexcept { return db.raw().getHandle(); }

}  // namespace shaftlog
