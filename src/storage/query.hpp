#pragma once

#include "base/time.hpp"
#include "base/uuid.hpp"
#include "domain/ids.hpp"
#include "domain/quantity.hpp"
#include "storage/database.hpp"

#include <array>
#include <cassert>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

struct sqlite3;
struct sqlite3_stmt;

namespace shaftlog {

/// The error SQLite has just reported on `db` (`rc`: its code), in our words, with the file's name.
[[noreturn]] void throw_sqlite_error(sqlite3* db, int rc);
/// The same for a file that could not even be opened.
[[noreturn]] void throw_sqlite_error(const std::string& file, int rc, const char* message);

/// SHA-256 of something.
using Hash = std::array<std::uint8_t, 32>;
/// Bytes to be kept as a blob.
struct BlobView {
  std::string_view bytes;
};

/// One prepared statement, for the repositories. Thinner than SQLite::Statement, whose columns copy a shared pointer
/// for each value read. Parameters are named in the text and bound in the order in which their names first appear.
class Query {
 public:
  Query(sqlite3* db, std::string_view sql);
  Query(Database& db, std::string_view sql);
  Query(const Query&) = delete;
  Query& operator=(const Query&) = delete;
  Query(Query&& other) noexcept : db_{other.db_}, stmt_{other.stmt_} { other.stmt_ = nullptr; }
  Query& operator=(Query&&) = delete;
  ~Query();

  /// Starts over with these values; they are copied.
  template <class... Values>
  Query& bind(const Values&... values) {
    bind_all(/*is_copied=*/true, values...);
    return *this;
  }
  /// True on a row, false at the end (the statement is then reset).
  bool step();
  /// Binds, runs to the end, resets.
  template <class... Values>
  void run(const Values&... values) {
    bind_all(/*is_copied=*/false, values...);  // they outlive the steps
    while (step()) {
    }
  }
  /// Rows changed by the last run.
  [[nodiscard]] int changes() const noexcept;
  [[nodiscard]] std::int64_t last_id() const noexcept;
  void reset() noexcept;

  [[nodiscard]] bool is_null(int column) const noexcept;
  [[nodiscard]] std::int64_t integer(int column) const noexcept;
  [[nodiscard]] std::string_view text(int column) const noexcept;  ///< "" for NULL; valid until the next step
  [[nodiscard]] std::string_view blob(int column) const noexcept;  ///< empty for NULL; valid until the next step
  [[nodiscard]] Hash hash(int column) const;
  [[nodiscard]] Uuid uuid(int column) const;
  [[nodiscard]] std::optional<Uuid> maybe_uuid(int column) const;
  [[nodiscard]] std::optional<std::int64_t> maybe_integer(int column) const noexcept {
    return is_null(column) ? std::nullopt : std::optional{integer(column)};
  }
  /// Three columns: seconds, offset, precision.
  [[nodiscard]] Stamp stamp(int column) const noexcept;
  [[nodiscard]] std::optional<Stamp> maybe_stamp(int column) const noexcept {
    return is_null(column) ? std::nullopt : std::optional{stamp(column)};
  }
  template <class What>
  [[nodiscard]] std::optional<What> maybe(int column) const noexcept {
    return is_null(column) ? std::nullopt : std::optional{What::from_base(integer(column))};
  }
  /// An empty key for NULL.
  template <class Key>
  [[nodiscard]] Key key(int column) const noexcept {
    return Key{integer(column)};
  }

 private:
  template <class... Values>
  void bind_all(bool is_copied, const Values&... values) {
    reset();
    is_copied_ = is_copied;
    int i = 0;
    (put(++i, values), ...);
    assert(i == parameters());
  }
  [[nodiscard]] int parameters() const noexcept;
  void put(int i, std::int64_t value);
  void put(int i, int value) { put(i, std::int64_t{value}); }
  void put(int i, bool value) { put(i, std::int64_t{value ? 1 : 0}); }
  void put(int i, std::string_view value);
  void put(int i, const std::string& value) { put(i, std::string_view{value}); }
  void put(int i, const char* value) { put(i, std::string_view{value}); }
  void put(int i, const Uuid& value);
  void put(int i, BlobView value);
  void put(int i, const Hash& value) { put(i, BlobView{{reinterpret_cast<const char*>(value.data()), value.size()}}); }
  void put(int i, std::nullopt_t);
  void put(int i, Instant value) { put(i, in_unix_s(value)); }
  template <class Kind>
  void put(int i, Quantity<Kind> value) {
    put(i, value.base());
  }
  void put(int i, HoursReading value) { put(i, value.base()); }
  template <class Row>
  void put(int i, Id<Row> key) {  // an empty key is NULL
    if (key.is_set()) {
      put(i, key.value);
    } else {
      put(i, std::nullopt);
    }
  }
  template <class Value>
  void put(int i, const std::optional<Value>& value) {
    if (value) {
      put(i, *value);
    } else {
      put(i, std::nullopt);
    }
  }

  sqlite3* db_;
  sqlite3_stmt* stmt_ = nullptr;
  bool is_copied_ = true;
};

/// Several statements that are kept all or none, inside the caller's transaction or alone; undone unless kept.
class Savepoint {
 public:
  explicit Savepoint(Database& db);
  Savepoint(const Savepoint&) = delete;
  Savepoint& operator=(const Savepoint&) = delete;
  ~Savepoint();
  void keep();

 private:
  sqlite3* db_;
  bool done_ = false;
};

/// Runs statements that answer nothing.
void execute(sqlite3* db, const std::string& sql);
/// The one value of a statement with one row.
std::int64_t single_integer(sqlite3* db, std::string_view sql);

/// Text for a column in which NULL means "not said".
inline std::optional<std::string_view> said(const std::string& text) noexcept {
  return text.empty() ? std::nullopt : std::optional<std::string_view>{text};
}

// The parts of a Stamp that may be missing, for binding.
inline std::optional<std::int64_t> utc_s(const std::optional<Stamp>& s) noexcept {
  return s ? std::optional{in_unix_s(s->utc)} : std::nullopt;
}
inline std::optional<std::int64_t> offset_min(const std::optional<Stamp>& s) noexcept {
  return s ? std::optional{std::int64_t{s->offset.count()}} : std::nullopt;
}
inline std::optional<std::int64_t> precision_code(const std::optional<Stamp>& s) noexcept {
  return s ? std::optional{static_cast<std::int64_t>(s->precision)} : std::nullopt;
}

/// The handle under a Database.
sqlite3* handle_of(const Database& db) noexcept;

}  // namespace shaftlog
