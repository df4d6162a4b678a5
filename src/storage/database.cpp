#include "storage/database.hpp"

#include "base/error.hpp"
#include "storage/chain.hpp"
#include "storage/files.hpp"
#include "storage/migration.hpp"
#include "storage/open.hpp"
#include "storage/query.hpp"

#include <array>
#include <chrono>
#include <cstring>
#include <fcntl.h>
#include <map>
#include <mutex>
#include <sqlite3.h>
#include <sys/stat.h>
#include <thread>
#include <unistd.h>
#include <utility>

#include <SQLiteCpp/Database.h>
#include <SQLiteCpp/Exception.h>
#include <fmt/format.h>

namespace shaftlog {
namespace {

namespace fs = std::filesystem;

constexpr int kBusyTimeout_ms = 10'000;
/// Pages are held once they were read; one vessel's records are some 10 MB to 40 MB.
constexpr int kCache_mib = 64;

/// How long one who finds the file being written to sleeps before asking again. SQLite's own waits grow to 100 ms while
/// newcomers ask after 1 ms: of many writers one could be passed by for as long as it waited. Here all ask alike, and
/// those who have waited long ask more often. The clock's last digits keep them from asking all at once.
int wait_a_moment(void* /*unused*/, int asked) {
  using namespace std::chrono;
  thread_local steady_clock::time_point began;
  const auto now = steady_clock::now();
  if (asked == 0) began = now;
  const auto waited = now - began;
  if (waited >= milliseconds{kBusyTimeout_ms}) return 0;
  const microseconds least{waited < milliseconds{200} ? 1000 : 250};
  std::this_thread::sleep_for(least + duration_cast<microseconds>(now.time_since_epoch()) % (2 * least.count()));
  return 1;
}

void count_undone(void* counter) { ++*static_cast<std::int64_t*>(counter); }

void set_config(sqlite3* db, int option, int value) {
  int now = -1;
  const int rc = sqlite3_db_config(db, option, value, &now);
  if (rc != SQLITE_OK || now != value) throw_sqlite_error(db, rc == SQLITE_OK ? SQLITE_ERROR : rc);
}

std::string as_uri(const fs::path& path) {
  std::string uri = "file:";
  for (const char c : fs::absolute(path).string()) {
    const auto u = static_cast<unsigned char>(c);
    if (c == '%' || c == '?' || c == '#' || u < 0x21 || u > 0x7e) {
      uri += fmt::format("%{:02X}", u);
    } else {
      uri += c;
    }
  }
  return uri + "?immutable=1";
}

std::unique_ptr<SQLite::Database> open_raw(const std::string& name, int flags, const fs::path& shown) {
  // Counting its memory costs SQLite a lock for each allocation. Refused, and no harm, once SQLite is in use.
  static const int ignored = sqlite3_config(SQLITE_CONFIG_MEMSTATUS, 0);
  static_cast<void>(ignored);
  try {
    return std::make_unique<SQLite::Database>(name, flags | SQLITE_OPEN_NOMUTEX, kBusyTimeout_ms);
  } catch (const SQLite::Exception& e) {
    throw_sqlite_error(shown.string(), e.getErrorCode(), e.what());
  }
}

bool is_empty_or_absent(const fs::path& path) {
  std::error_code code;
  const auto size = fs::file_size(path, code);
  return code ? true : size == 0;
}

/// For looking at a file's first bytes. Closing any descriptor of a file gives up every POSIX lock that this process
/// holds on it, those of SQLite's other connections among them (sqlite.org/howtocorrupt.html, 2.2): one a file stays
/// open. \return below 0: errno tells why
int descriptor_to_look(const fs::path& path) {
  static std::mutex mutex;
  static std::map<std::pair<dev_t, ino_t>, int> kept;
  constexpr std::size_t kMany = 32;
  const std::lock_guard lock{mutex};
  struct ::stat about {};
  if (::stat(path.c_str(), &about) != 0) return -1;
  if (const auto at = kept.find({about.st_dev, about.st_ino}); at != kept.end()) return at->second;
  if (kept.size() >= kMany) {  // nobody can come to a file again that has no name
    std::erase_if(kept, [](const auto& k) {
      struct ::stat of {};
      const bool is_gone = ::fstat(k.second, &of) != 0 || of.st_nlink == 0;
      if (is_gone) ::close(k.second);
      return is_gone;
    });
  }
  const int fd = ::open(path.c_str(), O_RDONLY | O_CLOEXEC);
  if (fd >= 0 && ::fstat(fd, &about) == 0) kept.emplace(std::pair{about.st_dev, about.st_ino}, fd);
  return fd;
}

/// What can be told without SQLite, in clearer words than its own.
void require_database_file(const fs::path& path) {
  std::error_code code;
  const fs::file_status status = fs::status(path, code);
  if (status.type() == fs::file_type::not_found) {
    throw Error{Errc::not_found,
                fmt::format("{}: there is no such file; \"init\" makes a new database", path.string())};
  }
  if (status.type() == fs::file_type::directory) {
    throw Error{Errc::io, fmt::format("{}: is a folder, not a database file", path.string())};
  }
  if (status.type() != fs::file_type::regular) {
    throw Error{Errc::io, code ? fmt::format("{}: cannot be opened ({})", path.string(), code.message())
                               : fmt::format("{}: is not a regular file", path.string())};
  }
  const int fd = descriptor_to_look(path);
  if (fd < 0) throw Error{Errc::io, fmt::format("{}: cannot be opened ({})", path.string(), std::strerror(errno))};
  std::array<char, 100> head{};
  const ssize_t read = ::pread(fd, head.data(), head.size(), 0);
  if (read < 0) throw Error{Errc::io, fmt::format("{}: cannot be read ({})", path.string(), std::strerror(errno))};
  const auto got = static_cast<std::size_t>(read);
  if (got == 0) throw Error{Errc::damaged, fmt::format("{}: is empty, not a Shaftlog database", path.string())};
  constexpr std::array<char, 16> kMagic{'S', 'Q', 'L', 'i', 't', 'e', ' ', 'f',
                                        'o', 'r', 'm', 'a', 't', ' ', '3', '\0'};
  if (std::memcmp(head.data(), kMagic.data(), std::min(got, kMagic.size())) != 0) {
    throw Error{Errc::damaged, fmt::format("{}: is not a database", path.string())};
  }
  if (got < head.size()) {
    throw Error{Errc::damaged,
                fmt::format("{}: is damaged (cut off after {} bytes); go back to a backup", path.string(), got)};
  }
}

/// Whether and why the system lets nobody write the file itself; SQLite fails at the shared memory beside it first.
void require_writable(const fs::path& path) {
  if (::access(path.c_str(), W_OK) == 0) return;
  throw Error{Errc::io, fmt::format("{}: cannot be written ({})", path.string(),
                                    errno == EROFS ? "its medium is read-only" : "no permission")};
}

}  // namespace

void configure_connection(sqlite3* db) {
  set_config(db, SQLITE_DBCONFIG_DEFENSIVE, 1);
  set_config(db, SQLITE_DBCONFIG_DQS_DML, 0);
  set_config(db, SQLITE_DBCONFIG_DQS_DDL, 0);
  set_config(db, SQLITE_DBCONFIG_ENABLE_LOAD_EXTENSION, 0);
  set_config(db, SQLITE_DBCONFIG_TRUSTED_SCHEMA, 0);
  set_config(db, SQLITE_DBCONFIG_ENABLE_FKEY, 1);
  sqlite3_busy_handler(db, wait_a_moment, nullptr);
  execute(db, "PRAGMA synchronous = FULL");
  // Without it INSERT OR REPLACE would remove rows past the triggers that forbid it.
  execute(db, "PRAGMA recursive_triggers = ON");
  execute(db, "PRAGMA cell_size_check = ON");
  execute(db, fmt::format("PRAGMA cache_size = {}", -1024 * kCache_mib));
}

std::unique_ptr<SQLite::Database> open_new(const fs::path& path, const fs::path& shown) {
  auto db = open_raw(path.string(), SQLite::OPEN_READWRITE | SQLite::OPEN_CREATE, shown);
  configure_connection(db->getHandle());
  return db;
}

std::unique_ptr<SQLite::Database> open_checked(const fs::path& path, Database::Mode mode) {
  require_database_file(path);
  const bool read_only = mode == Database::Mode::read_only;
  // For reading too: the last such connection to close takes the journal and the shared memory away, a read-only one
  // leaves both lying beside the file. That nothing is written is seen to by query_only.
  auto db = open_raw(path.string(), SQLite::OPEN_READWRITE, path);
  try {
    configure_connection(db->getHandle());
    single_integer(db->getHandle(), "SELECT count(*) FROM sqlite_schema");
    if (read_only) execute(db->getHandle(), "PRAGMA query_only = ON");
  } catch (const Error& e) {
    if (!read_only && e.code() == Errc::io) require_writable(path);
    if (!read_only || e.code() != Errc::io) throw;
    // A file in WAL mode needs a shared-memory file beside it; where that cannot be made, nobody can be writing either.
    if (!is_empty_or_absent(path.string() + "-wal")) {
      throw Error{Errc::io,
                  fmt::format("{}: its folder cannot be written and its last changes are still in {}-wal; copy "
                              "both files to a folder that can be written",
                              path.string(), path.filename().string())};
    }
    db = open_raw(as_uri(path), SQLite::OPEN_READONLY | SQLite::OPEN_URI, path);
    configure_connection(db->getHandle());
    single_integer(db->getHandle(), "SELECT count(*) FROM sqlite_schema");
  }
  if (!read_only && sqlite3_db_readonly(db->getHandle(), "main") == 1) {
    require_writable(path);
    throw Error{Errc::io, fmt::format("{}: cannot be written (no permission)", path.string())};
  }
  const auto id = single_integer(db->getHandle(), "PRAGMA application_id");
  if (id != kApplicationId) {
    throw Error{Errc::damaged,
                fmt::format("{}: is an SQLite file of another program, not a Shaftlog database (its "
                            "application id is {:#010x}, expected {:#010x})",
                            path.string(), static_cast<std::uint32_t>(id), static_cast<std::uint32_t>(kApplicationId))};
  }
  return db;
}

int read_version(sqlite3* db, const fs::path& path, int newest) {
  const auto version = single_integer(db, "PRAGMA user_version");
  if (version < 1) {
    throw Error{Errc::damaged,
                fmt::format("{}: is damaged (schema version {}, expected 1 to {})", path.string(), version, newest)};
  }
  if (version > newest) {
    throw Error{Errc::schema_too_new, fmt::format("{}: was written by a newer Shaftlog (schema version {}, this one "
                                                  "knows up to {}); update this program",
                                                  path.string(), version, newest)};
  }
  return static_cast<int>(version);
}

void require_version(sqlite3* db, const fs::path& path, int newest) {
  const int version = read_version(db, path, newest);
  if (version < newest) {
    throw Error{Errc::conflict,
                fmt::format("{}: has schema version {}, this program needs {}; run \"upgrade\" (it makes "
                            "a backup first)",
                            path.string(), version, newest)};
  }
}

int schema_version() noexcept { return released_plan().version(); }

Database::Database(fs::path path, std::unique_ptr<SQLite::Database> db)
    : path_{std::move(path)}, undone_{std::make_unique<std::int64_t>(0)}, db_{std::move(db)} {
  sqlite3_rollback_hook(db_->getHandle(), count_undone, undone_.get());
}
Database::Database(Database&&) noexcept = default;
Database& Database::operator=(Database&& other) noexcept {
  if (this != &other) {
    chain_ = std::move(other.chain_);
    db_ = std::move(other.db_);  // closes ours first, while its counter is still there
    undone_ = std::move(other.undone_);
    path_ = std::move(other.path_);
  }
  return *this;
}
Database::~Database() = default;

Database Database::create(const fs::path& path) {
  require_free(path);
  const ScratchFile scratch{path};
  {
    const auto db = open_new(scratch.path(), path);
    execute(db->getHandle(), "BEGIN IMMEDIATE");
    write_fresh_schema(db->getHandle(), released_plan());
    execute(db->getHandle(), "COMMIT");
    Query wal{db->getHandle(), "PRAGMA journal_mode = WAL"};
    if (!wal.step() || wal.text(0) != "wal") {
      throw Error{Errc::io, fmt::format("{}: this file system cannot keep a write-ahead log", path.string())};
    }
  }
  publish(scratch.path(), path);
  return open(path, Mode::read_write);
}

Database Database::open(const fs::path& path, Mode mode) {
  auto db = open_checked(path, mode);
  require_version(db->getHandle(), path, schema_version());
  if (mode == Mode::read_write) {
    Query wal{db->getHandle(), "PRAGMA journal_mode"};
    if (wal.step() && wal.text(0) != "wal") {
      wal.reset();
      Query set{db->getHandle(), "PRAGMA journal_mode = WAL"};
      while (set.step()) {
      }
    }
  }
  return Database{path, std::move(db)};
}

void Database::use_cache_mib(int mib) {
  assert(mib > 0);
  execute(db_->getHandle(), fmt::format("PRAGMA cache_size = {}", -1024LL * mib));
}

std::int64_t data_version(Database& db) { return single_integer(handle_of(db), "PRAGMA data_version"); }

bool is_as_opened(Database& db) noexcept {
  sqlite3* handle = handle_of(db);
  int has_moved = 1;
  if (sqlite3_get_autocommit(handle) == 0 ||
      sqlite3_file_control(handle, "main", SQLITE_FCNTL_HAS_MOVED, &has_moved) != SQLITE_OK || has_moved != 0)
    return false;
  try {
    return single_integer(handle, "PRAGMA user_version") == schema_version();
  } catch (const Error&) {
    return false;  // whoever opens it anew is told why
  }
}

bool is_writable(Database& db) noexcept { return sqlite3_db_readonly(handle_of(db), "main") == 0; }

Chain& Database::chain() {
  if (!chain_) chain_ = std::make_shared<Chain>(db_->getHandle());
  return *chain_;
}

WriteTransaction::WriteTransaction(Database& db) : db_{&db} {
  execute(handle_of(db), "BEGIN IMMEDIATE");
  db.chain().begin();
}

WriteTransaction::~WriteTransaction() {
  // SQLite may have undone it by itself (disk full); then there is nothing left to undo.
  if (!done_ && sqlite3_get_autocommit(handle_of(*db_)) == 0) {
    sqlite3_exec(handle_of(*db_), "ROLLBACK", nullptr, nullptr, nullptr);
  }
  db_->chain().end();
}

void WriteTransaction::commit() {
  db_->chain().flush();
  execute(handle_of(*db_), "COMMIT");
  done_ = true;
}

ReadTransaction::ReadTransaction(Database& db) : db_{&db} {
  execute(handle_of(db), "BEGIN");
  try {
    execute(handle_of(db), "SELECT 1 FROM sqlite_schema LIMIT 1");  // the view is fixed by the first read
  } catch (const Error&) {
    sqlite3_exec(handle_of(db), "ROLLBACK", nullptr, nullptr, nullptr);
    throw;
  }
}

ReadTransaction::~ReadTransaction() {
  // COMMIT, not ROLLBACK: nothing was written, and a rollback would void what repositories remember.
  if (sqlite3_get_autocommit(handle_of(*db_)) == 0) sqlite3_exec(handle_of(*db_), "COMMIT", nullptr, nullptr, nullptr);
}

void copy_to(sqlite3* from, const fs::path& to) {
  require_free(to);
  const ScratchFile scratch{to};
  {
    const auto copy = open_raw(scratch.path().string(), SQLite::OPEN_READWRITE | SQLite::OPEN_CREATE, to);
    sqlite3_backup* job = sqlite3_backup_init(copy->getHandle(), "main", from, "main");
    if (job == nullptr) {
      throw_sqlite_error(to.string(), sqlite3_errcode(copy->getHandle()), sqlite3_errmsg(copy->getHandle()));
    }
    // All pages in one step: one unchanging view, and writers of a WAL file need not wait for it.
    const int stepped = sqlite3_backup_step(job, -1);
    const int rc = sqlite3_backup_finish(job);
    if (stepped != SQLITE_DONE || rc != SQLITE_OK) {
      const int code = stepped == SQLITE_DONE ? rc : stepped;
      throw_sqlite_error(to.string(), code, sqlite3_errstr(code));
    }
    configure_connection(copy->getHandle());
    Query verify{copy->getHandle(), "PRAGMA integrity_check(1)"};
    if (!verify.step() || verify.text(0) != "ok") {
      throw Error{Errc::damaged,
                  fmt::format("{}: the copy is damaged ({}); check the original", to.string(), verify.text(0))};
    }
  }
  publish(scratch.path(), to);
}

void backup(Database& db, const fs::path& to) { copy_to(handle_of(db), to); }

}  // namespace shaftlog
