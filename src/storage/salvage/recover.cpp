#include "storage/salvage/recover.hpp"

#include "base/error.hpp"
#include "storage/files.hpp"
#include "storage/log_sql.hpp"
#include "storage/migration.hpp"
#include "storage/open.hpp"
#include "storage/query.hpp"
#include "storage/salvage/row_writer.hpp"

#include <algorithm>
#include <array>
#include <cstring>
#include <set>
#include <sqlite3.h>
#include <unordered_map>

#include <SQLiteCpp/Database.h>
#include <fmt/format.h>

namespace shaftlog {
namespace {

namespace fs = std::filesystem;
using namespace salvage;
using Put = RowWriter::Put;

std::size_t kind_index(std::string_view table) noexcept {
  const auto& details = log_sql::kDetails;
  return static_cast<std::size_t>(
      std::find_if(details.begin(), details.end(), [&](const auto& d) { return d.name == table; }) - details.begin());
}
bool is_detail(std::string_view table) noexcept { return kind_index(table) < log_sql::kDetails.size(); }

/// An empty database in memory with the schema of some version.
class FreshSchema {
 public:
  explicit FreshSchema(int version) {
    if (sqlite3_open(":memory:", &db_) != SQLITE_OK) throw_sqlite_error(db_, SQLITE_NOMEM);
    write_schema_of(db_, released_plan(), version);
  }
  FreshSchema(const FreshSchema&) = delete;
  FreshSchema& operator=(const FreshSchema&) = delete;
  ~FreshSchema() { sqlite3_close(db_); }
  [[nodiscard]] sqlite3* db() const noexcept { return db_; }

 private:
  sqlite3* db_ = nullptr;
};

/// Says whether a row passes the checks of a table; nothing is kept.
class RowTrial {
 public:
  RowTrial(sqlite3* fresh, const std::vector<TableShape>& tables) : db_{fresh} {
    for (const TableShape& t : tables) writers_.emplace(t.name, std::make_unique<RowWriter>(fresh, t));
  }
  bool operator()(const TableShape& table, const Row& row) {
    execute(db_, "SAVEPOINT trial");
    const Put put = writers_.at(table.name)->put(row);
    execute(db_, "ROLLBACK TO trial; RELEASE trial");
    return put == Put::added;
  }

 private:
  sqlite3* db_;
  std::map<std::string, std::unique_ptr<RowWriter>> writers_;
};

struct Stamped {
  std::uintmax_t size = 0;
  fs::file_time_type at;
  friend bool operator==(const Stamped&, const Stamped&) = default;
};
Stamped stamp_of(const fs::path& path) {
  std::error_code ignored;
  Stamped s{fs::file_size(path, ignored), fs::last_write_time(path, ignored)};
  return s;
}

std::unique_ptr<ByteSource> open_if_there(const fs::path& path) {
  std::error_code ignored;
  return fs::exists(path, ignored) ? open_bytes(path) : nullptr;
}

/// One file and what its pages hold.
struct Source {
  explicit Source(const fs::path& p)
      : path{p}, before{stamp()}, file{open_bytes(p), open_if_there(p.string() + "-wal"), p.string()} {}
  [[nodiscard]] std::array<Stamped, 2> stamp() const { return {stamp_of(path), stamp_of(path.string() + "-wal")}; }
  fs::path path;
  std::array<Stamped, 2> before;
  PageFile file;
  std::unique_ptr<PageMap> map;
  struct DetailAt {
    std::int64_t key;
    std::uint32_t leaf, row;
  };
  std::array<std::vector<DetailAt>, log_sql::kDetails.size()> details;  // by key
};

/// Schema version of a file; the newest where its head does not say.
int version_of(const PageFile& file, const fs::path& path) {
  const int newest = schema_version();
  if (!file.version() || *file.application_id() != kApplicationId) {
    if (file.application_id() && *file.application_id() != 0 && *file.application_id() != kApplicationId) {
      throw Error{Errc::damaged,
                  fmt::format("{}: is an SQLite file of another program, not a Shaftlog database", path.string())};
    }
    return newest;
  }
  if (*file.version() > newest && *file.version() < 1000) {
    throw Error{Errc::schema_too_new, fmt::format("{}: was written by a newer Shaftlog (schema version {}, this one "
                                                  "knows up to {}); update this program",
                                                  path.string(), *file.version(), newest)};
  }
  return *file.version() >= 1 && *file.version() <= newest ? *file.version() : newest;
}

class Recovery {
 public:
  Recovery(const fs::path& damaged, const fs::path& to, const std::optional<fs::path>& backup) : to_{to} {
    sources_.push_back(std::make_unique<Source>(damaged));
    if (backup) sources_.push_back(std::make_unique<Source>(*backup));
  }

  RecoverResult run() {
    Source& now = *sources_.front();
    version_ = version_of(now.file, now.path);
    const FreshSchema fresh{version_};
    tables_ = table_shapes(fresh.db());
    result_.notes = now.file.notes();
    for (const auto& source : sources_) map_pages(*source, fresh.db());
    result_.pages = now.file.count();
    result_.unreadable_pages = static_cast<std::int64_t>(now.map->unreadable().size());
    result_.undecided_pages = static_cast<std::int64_t>(now.map->undecided().size());
    if (std::all_of(tables_.begin(), tables_.end(),
                    [&](const TableShape& t) { return now.map->leaves_of(t.name).empty(); })) {
      throw Error{Errc::damaged, fmt::format("{}: holds no page of a Shaftlog database that can be read; go back to a "
                                             "backup",
                                             now.path.string())};
    }
    const ScratchFile scratch{to_};
    fill(scratch.path());
    finish(scratch.path());
    for (const auto& source : sources_) {
      if (source->stamp() != source->before) {
        throw Error{Errc::conflict, fmt::format("{}: was written to while it was read; close the other program first",
                                                source->path.string())};
      }
    }
    publish(scratch.path(), to_);
    return std::move(result_);
  }

 private:
  const TableShape& table(std::string_view name) const {
    return *std::find_if(tables_.begin(), tables_.end(), [&](const TableShape& t) { return t.name == name; });
  }

  void map_pages(Source& source, sqlite3* fresh) {
    RowTrial trial{fresh, tables_};
    const auto fits = [&](const TableShape& t, const Row& row) { return trial(t, row); };
    source.map = std::make_unique<PageMap>(source.file, tables_, root_pages(fresh), fits);
    std::vector<const TableShape*> spines, details;
    for (const TableShape& t : tables_) (is_detail(t.name) ? details : spines).push_back(&t);
    source.map->find_by_content(spines, fits);
    // Details look alike; the record they belong to says which they are.
    const TableShape& entry = table("entry");
    const auto kind_column = static_cast<std::size_t>(entry.column("kind"));
    std::unordered_map<std::int64_t, std::int64_t> kinds;
    if (!source.map->undecided().empty() || !source.map->unreadable().empty() || !source.file.version()) {
      source.map->each_row(entry, [&](const Row& row) { kinds.emplace(row.key, row.values[kind_column].integer); });
      source.map->find_by_content(details, [&](const TableShape& t, const Row& row) {
        const auto kind = kinds.find(row.key);
        return kind != kinds.end() && kind->second == static_cast<std::int64_t>(kind_index(t.name)) + 1 &&
               trial(t, row);
      });
    }
    for (const TableShape* t : details) index_details(source, *t);
  }

  void index_details(Source& source, const TableShape& t) {
    auto& all = source.details[kind_index(t.name)];
    const auto& leaves = source.map->leaves_of(t.name);
    for (std::uint32_t leaf = 0; leaf < leaves.size(); ++leaf) {
      const auto rows = source.map->rows_of(t, leaves[leaf]);
      for (std::uint32_t row = 0; row < rows.size(); ++row) all.push_back({rows[row].key, leaf, row});
    }
    std::stable_sort(all.begin(), all.end(), [](const auto& a, const auto& b) { return a.key < b.key; });
  }

  void fill(const fs::path& scratch) {
    const auto raw = open_new(scratch, to_);
    db_ = raw->getHandle();
    // Until it is whole the file is nobody's: a crash leaves a scratch file, publish() brings the rest to the disk.
    execute(db_, "PRAGMA journal_mode = MEMORY; PRAGMA synchronous = OFF");
    execute(db_, "BEGIN IMMEDIATE");
    write_schema_of(db_, released_plan(), version_);
    for (const TableShape& t : tables_) {
      if (t.name == "entry") {
        fill_log();
      } else if (!is_detail(t.name)) {
        fill_table(t);
      }
    }
    find_lost_records();
    find_dangling();
    execute(db_, "COMMIT");
    migrate(db_, to_, released_plan(), version_);
  }

  /// A table that never changes is believed from the backup first: there no damage can have altered it.
  [[nodiscard]] std::vector<std::size_t> order_of_sources(const TableShape& t) const {
    if (sources_.size() == 1) return {0};
    Query trigger{db_, "SELECT 1 FROM sqlite_schema WHERE type = 'trigger' AND name = :name"};
    const bool never_changes = trigger.bind(t.name + "_no_update").step() || is_detail(t.name) || t.name == "entry";
    return never_changes ? std::vector<std::size_t>{1, 0} : std::vector<std::size_t>{0, 1};
  }

  void fill_table(const TableShape& t) {
    RowWriter writer{db_, t};
    RecoveredTable told{t.name};
    std::vector<std::int64_t> left_out;
    std::set<std::int64_t> lent;  // by the backup, and not in the damaged file
    for (const std::size_t from : order_of_sources(t)) {
      sources_[from]->map->each_row(t, [&](const Row& row) {
        const Put put = writer.put(row);
        if (put == Put::added) {
          ++told.kept;
          if (from == 1) lent.insert(row.key);
        } else if (put == Put::same && from == 0) {
          lent.erase(row.key);
        } else if (put == Put::no_parent || put == Put::refused) {
          left_out.push_back(row.key);
        }
      });
    }
    told.from_backup = static_cast<std::int64_t>(lent.size());
    Query kept{db_, fmt::format("SELECT count(*), ifnull(max(rowid), 0) FROM {}", t.name)};
    kept.step();
    told.lost = kept.integer(1) - kept.integer(0);
    const std::int64_t newest = kept.integer(1);
    std::sort(left_out.begin(), left_out.end());
    left_out.erase(std::unique(left_out.begin(), left_out.end()), left_out.end());
    told.lost += std::count_if(left_out.begin(), left_out.end(), [&](std::int64_t key) { return key > newest; });
    told.is_least = is_end_lost(t);
    keep_account(writer, told);
  }

  [[nodiscard]] bool is_end_lost(const TableShape& t) const {
    return sources_.front()->file.is_end_lost() || sources_.front()->map->is_end_lost(t.name);
  }

  void keep_account(const RowWriter& writer, const RecoveredTable& told) {
    for (const auto& [column, n] : writer.emptied()) result_.emptied[told.name + "." + column] += n;
    if (told.kept > 0 || told.lost > 0 || told.is_least) result_.tables.push_back(told);
  }

  void fill_log() {
    const TableShape& entry = table("entry");
    uuid_ = static_cast<std::size_t>(entry.column("uuid"));
    kind_ = static_cast<std::size_t>(entry.column("kind"));
    vessel_ = static_cast<std::size_t>(entry.column("vessel_id"));
    at_ = static_cast<std::size_t>(entry.column("at_utc_s"));
    withdraws_ = static_cast<std::size_t>(entry.column("withdraws"));
    RowWriter spine{db_, entry};
    std::array<std::unique_ptr<RowWriter>, log_sql::kDetails.size()> contents;
    for (std::size_t k = 0; k < contents.size(); ++k) {
      contents[k] = std::make_unique<RowWriter>(db_, table(log_sql::kDetails[k].name));
    }
    std::int64_t agreeing = 0, differing = 0;
    for (const std::size_t from : order_of_sources(entry)) {
      sources_[from]->map->each_row(entry, [&](const Row& row) {
        if (from == 0 && sources_.size() > 1) compare_with_kept(row, agreeing, differing);
        put_record(*sources_[from], row, spine, contents, from == 1);
      });
    }
    result_.from_backup = static_cast<std::int64_t>(lent_.size());
    if (differing > agreeing) {
      throw Error{Errc::conflict, fmt::format("{}: is not a backup of {}: they hold different records",
                                              sources_[1]->path.string(), sources_[0]->path.string())};
    }
    if (differing > 0) {
      result_.notes.push_back(
          fmt::format("{} records are not in it as the backup has them; the backup was followed", differing));
    }
    keep_account(spine, {"entry"});
    for (std::size_t k = 0; k < contents.size(); ++k) {
      for (const auto& [column, n] : contents[k]->emptied()) {
        result_.emptied[fmt::format("{}.{}", log_sql::kDetails[k].name, column)] += n;
      }
    }
  }

  void compare_with_kept(const Row& row, std::int64_t& agreeing, std::int64_t& differing) {
    Query kept{db_, "SELECT uuid FROM entry WHERE entry_id = :entry"};
    if (!kept.bind(row.key).step()) return;
    const Uuid id = kept.uuid(0);
    const Bytes told = row.values[uuid_].bytes;
    ++(std::equal(told.begin(), told.end(), id.bytes.begin(), id.bytes.end()) ? agreeing : differing);
  }

  void put_record(const Source& source, const Row& row, RowWriter& spine,
                  std::array<std::unique_ptr<RowWriter>, log_sql::kDetails.size()>& contents, bool is_backup) {
    execute(db_, "SAVEPOINT record");
    Put put = spine.put(row);
    std::optional<LostRecord::Why> why;
    if (put == Put::added && row.values[withdraws_].kind == Value::Kind::null) {
      why = LostRecord::Why::content;
      const auto kind = static_cast<std::size_t>(row.values[kind_].integer - 1);
      for_each_detail(source, kind, row.key, [&](const Row& detail) {
        if (!why) return;
        const Put content = contents[kind]->put(detail);
        if (content == Put::added) why.reset();
        if (content == Put::refused) why = LostRecord::Why::changed;
        if (content == Put::no_parent) why = LostRecord::Why::owner;
      });
    } else if (put == Put::no_parent) {
      why = LostRecord::Why::owner;
    } else if (put == Put::refused || put == Put::differs) {
      why = LostRecord::Why::changed;
    }
    if (why) {
      execute(db_, "ROLLBACK TO record; RELEASE record");
      if (!is_backup) note_lost(row, *why);
      return;
    }
    execute(db_, "RELEASE record");
    if (put == Put::added && is_backup) lent_.insert(row.key);
    if (put == Put::same && !is_backup && has_content(source, row)) lent_.erase(row.key);
  }

  [[nodiscard]] bool has_content(const Source& source, const Row& row) {
    bool found = row.values[withdraws_].kind != Value::Kind::null;
    for_each_detail(source, static_cast<std::size_t>(row.values[kind_].integer - 1), row.key,
                    [&](const Row&) { found = true; });
    return found;
  }

  template <class Take>
  void for_each_detail(const Source& source, std::size_t kind, std::int64_t key, const Take& take) {
    const auto& all = source.details[kind];
    const TableShape& t = table(log_sql::kDetails[kind].name);
    auto& held = held_[kind];
    auto it = std::lower_bound(all.begin(), all.end(), key, [](const auto& d, std::int64_t k) { return d.key < k; });
    for (; it != all.end() && it->key == key; ++it) {
      if (held.source != &source || held.leaf != it->leaf || held.rows.empty()) {
        held = {&source, it->leaf, source.map->rows_of(t, source.map->leaves_of(t.name)[it->leaf])};
      }
      take(held.rows[it->row]);
    }
  }

  void note_lost(const Row& row, LostRecord::Why why) {
    if (why == LostRecord::Why::owner) newest_without_owner_ = std::max(newest_without_owner_, row.key);
    LostRecord lost;
    lost.why = why;
    if (row.values[uuid_].bytes.size() == 16) {
      lost.id.emplace();
      std::copy_n(row.values[uuid_].bytes.begin(), 16, lost.id->bytes.begin());
    }
    tell_head(lost, row.values[vessel_].integer, row.values[kind_].integer, row.values[at_].integer);
    lost_.insert_or_assign(row.key, std::move(lost));
  }

  void tell_head(LostRecord& lost, std::int64_t vessel, std::int64_t kind, std::int64_t at) {
    if (kind >= 1 && kind <= static_cast<std::int64_t>(kKinds.size())) lost.kind = static_cast<Kind>(kind - 1);
    if (at >= in_unix_s(kEarliest) && at <= in_unix_s(kLatest)) lost.at = from_unix(at);
    Query code{db_, "SELECT code FROM vessel WHERE vessel_id = :vessel"};
    if (code.bind(vessel).step()) lost.vessel = code.text(0);
  }

  /// Ids without a row: told by the indexes, by contents, and by gaps.
  void find_lost_records() {
    const PageMap& map = *sources_.front()->map;
    Query kept{db_, "SELECT 1 FROM entry WHERE entry_id = :entry"};
    const auto is_kept = [&](std::int64_t key) {
      const bool found = kept.bind(key).step();
      kept.reset();
      return found;
    };
    std::erase_if(lost_, [&](const auto& lost) { return is_kept(lost.first); });
    const auto integer = [](const Value& v) { return v.kind == Value::Kind::integer; };
    map.each_index_row("entry_of_vessel", [&](const std::vector<Value>& v) {
      if (v.size() != 4 || !std::all_of(v.begin(), v.end(), integer) || v[3].integer <= 0 || is_kept(v[3].integer))
        return;
      LostRecord& lost = lost_[v[3].integer];
      if (!lost.kind) tell_head(lost, v[0].integer, v[1].integer, v[2].integer);
    });
    map.each_index_row("sqlite_autoindex_entry_1", [&](const std::vector<Value>& v) {
      if (v.size() != 2 || v[0].bytes.size() != 16 || !integer(v[1]) || v[1].integer <= 0 || is_kept(v[1].integer))
        return;
      LostRecord& lost = lost_[v[1].integer];
      if (lost.id) return;
      lost.id.emplace();
      std::copy_n(v[0].bytes.begin(), 16, lost.id->bytes.begin());
    });
    for (std::size_t k = 0; k < log_sql::kDetails.size(); ++k) {
      for (const auto& d : sources_.front()->details[k]) {
        if (is_kept(d.key)) continue;
        LostRecord& lost = lost_[d.key];
        if (!lost.kind) lost.kind = static_cast<Kind>(k);
      }
    }
    Query all{db_, "SELECT count(*), ifnull(max(entry_id), 0) FROM entry"};
    all.step();
    result_.records = all.integer(0);
    // Where a ship's own row is lost none of its records is kept, and yet some were there before the newest of them.
    const std::int64_t newest = std::max(all.integer(1), newest_without_owner_);
    const auto told = std::count_if(lost_.begin(), lost_.end(), [&](const auto& l) { return l.first <= newest; });
    result_.lost_unknown = newest - result_.records - told;
    result_.is_least = is_end_lost(table("entry"));
    for (auto& [key, lost] : lost_) result_.lost.push_back(std::move(lost));
    for (RecoveredTable& t : result_.tables) {
      if (t.name == "entry") t.kept = result_.records;
    }
  }

  void find_dangling() {
    Query row{db_, R"sql(
SELECT e.uuid FROM entry e LEFT JOIN entry o ON o.uuid = ifnull(e.replaces, e.withdraws)
WHERE ifnull(e.replaces, e.withdraws) IS NOT NULL AND o.uuid IS NULL ORDER BY e.uuid )sql"};
    while (row.step()) result_.dangling.push_back(row.uuid(0));
  }

  void finish(const fs::path& scratch) {
    Database db = Database::open(scratch, Database::Mode::read_write);
    {
      // First by itself: a disk that fails now is no fault of the new file, and throws here.
      Query sound{db, "PRAGMA integrity_check(1)"};
      sound.step();
    }
    result_.faults = check(db).faults;
  }

  fs::path to_;
  int version_ = 0;
  std::vector<TableShape> tables_;
  std::vector<std::unique_ptr<Source>> sources_;  // the damaged file, then the backup
  sqlite3* db_ = nullptr;
  std::size_t uuid_ = 0, kind_ = 0, vessel_ = 0, at_ = 0, withdraws_ = 0;
  struct Held {
    const Source* source = nullptr;
    std::uint32_t leaf = 0;
    std::vector<Row> rows;
  };
  std::array<Held, log_sql::kDetails.size()> held_;
  std::map<std::int64_t, LostRecord> lost_;  // by entry_id
  std::int64_t newest_without_owner_ = 0;    // entry_id
  std::set<std::int64_t> lent_;              // records of the backup that the damaged file has not
  RecoverResult result_;
};

}  // namespace

bool RecoverResult::is_whole() const noexcept {
  return lost.empty() && lost_unknown == 0 && !is_least && emptied.empty() && undecided_pages == 0 && faults.empty() &&
         std::all_of(tables.begin(), tables.end(), [](const RecoveredTable& t) { return t.lost == 0 && !t.is_least; });
}

RecoverResult recover(const fs::path& damaged, const fs::path& to, const std::optional<fs::path>& backup) {
  require_free(to);
  return Recovery{damaged, to, backup}.run();
}

}  // namespace shaftlog
