#include "app/import.hpp"

#include "app/occurrences.hpp"
#include "base/error.hpp"
#include "base/text.hpp"
#include "interchange/log_folder.hpp"
#include "interchange/new_file.hpp"
#include "storage/log_repository.hpp"
#include "storage/register_repository.hpp"

#include <algorithm>
#include <charconv>
#include <map>
#include <optional>
#include <set>
#include <system_error>
#include <utility>

#include <fmt/format.h>

namespace shaftlog {
namespace {

constexpr int kCache_MiB = 160;  // holds the index over the ids of a million records
constexpr std::uint64_t kRowsPerProgress = 16'384;

using Put = RegisterRepository::Put;
using Place = std::pair<std::size_t, std::uint64_t>;  // index of the file, line

/// Bad lines of one file, unchanged and with the reason, as a file that can be put right and imported.
class RejectsFile {
 public:
  RejectsFile(const std::filesystem::path& path, const CsvReader& source)
      : file_{path}, delimiter_{source.delimiter()} {
    CsvWriter csv{text_, delimiter_};
    const auto header = source.header();
    for (std::size_t i = 0; i < header.size(); ++i) {
      if (header[i] == name_of(Column::refused_because)) reason_at_ = i;
      csv.field(header[i]);
    }
    if (!reason_at_) csv.field(name_of(Column::refused_because));
    csv.end_row();
  }

  void add(const CsvReader& source, bool is_row, const std::string& reason) {
    if (is_row && reason_at_) {  // rejected before: the new reason in place of the old one
      CsvWriter csv{text_, delimiter_};
      const auto fields = source.fields();
      for (std::size_t i = 0; i < fields.size(); ++i)
        csv.field(i == *reason_at_ ? std::string_view{reason} : fields[i]);
      csv.end_row();
    } else {
      text_.append(source.raw());
      if (!reason_at_ || source.raw().empty()) {
        text_.push_back(delimiter_);
        CsvWriter csv{text_, delimiter_};
        csv.field(reason);
        csv.end_row();
      } else {
        text_.push_back('\n');
      }
    }
    if (text_.size() > kMostRecordBytes) flush();
  }
  void sync() {
    flush();
    file_.sync();
  }
  void keep() { file_.keep(); }

 private:
  void flush() {
    file_.write(text_);
    text_.clear();
  }
  NewFile file_;
  char delimiter_;
  std::optional<std::size_t> reason_at_;
  std::string text_;
};

/// A correction or withdrawal whose target was not there yet when it was read.
struct Pending {
  Uuid target;
  Kind kind;
  VesselId vessel;
  Place place;
  Column column;
};

class Import {
 public:
  Import(Database& db, Instant now, const ImportOptions& options)
      : db_{db}, options_{options}, register_{db}, log_{db}, change_{now, options.by, options.update_register} {
    field_options_.now = now;
    if (!options.folder.empty()) {
      files_ = find_log_files(options.folder, name_faults_);
    } else {
      files_ = as_log_files(options.files);
    }
    if (options.keep_good) {
      for (const LogFile& f : files_) {
        const auto path = options.rejects_folder / f.name();
        std::error_code ec;
        if (std::filesystem::exists(path, ec)) {
          throw Error{Errc::conflict, fmt::format("{}: is there already; expected a rejects folder without it",
                                                  shown(path.string(), 200))};
        }
      }
    }
    std::error_code ec;
    for (const LogFile& f : files_) {
      const auto size = std::filesystem::file_size(f.path, ec);
      if (!ec) bytes_total_ += size;
    }
  }

  ImportResult run() {
    db_.use_cache_mib(kCache_MiB);
    // A record that turns out to be bad only after it was added (it corrects one of another kind that came later)
    // cannot be taken back from an append-only log: the transaction is undone and read again without it.
    for (;;) {
      WriteTransaction transaction{db_};
      late_.clear();
      attempt();
      if (options_.keep_good && !late_.empty()) {
        for (const auto& [place, fault] : late_) excluded_.insert_or_assign(place, fault);
        continue;
      }
      if (options_.dry_run || (result_.fault_count > 0 && !options_.keep_good)) return std::move(result_);
      for (auto& [index, rejects] : rejects_) rejects.sync();
      for (auto& [index, rejects] : rejects_) {
        rejects.keep();
        result_.rejects.push_back(options_.rejects_folder / files_[index].name());
      }
      if (!rejects_.empty()) sync_folder(options_.rejects_folder);
      transaction.commit();
      result_.is_kept = true;
      return std::move(result_);
    }
  }

 private:
  void attempt() {
    result_ = {};
    rejects_.clear();
    pending_.clear();
    rows_ = bytes_before_ = 0;
    index_ = RegisterIndex{register_.load()};
    for (Fault f : name_faults_) note(std::move(f));
    for (std::size_t i = 0; i < files_.size(); ++i) read_file(i);
    for (const Pending& p : pending_) settle(p);
  }

  void note(Fault fault) {
    ++result_.fault_count;
    if (result_.faults.size() < options_.most_faults) result_.faults.push_back(std::move(fault));
  }
  void warn(Fault fault) {
    ++result_.warning_count;
    if (result_.warnings.size() < options_.most_faults) result_.warnings.push_back(std::move(fault));
  }

  void tell_progress(const LogFile& file, const CsvReader& csv) {
    if (options_.progress) {
      options_.progress({file.name(), rows_, bytes_before_ + csv.bytes_done(), bytes_total_});
    }
  }

  void read_file(std::size_t i) {
    const LogFile& file = files_[i];
    result_.files.push_back({file.name()});
    name_ = file.name();
    file_ = i;
    std::optional<LogFileReader> reader;
    try {
      reader.emplace(file);
    } catch (const Error& e) {
      note({name_, 0, {}, {}, e.what()});
      return;
    }
    Occurrences seen;  // equal rows without an id, in this file
    std::map<std::string, std::uint64_t> keys;
    field_options_.is_decimal_comma = reader->is_decimal_comma();
    source_ = name_ + ":";
    const std::size_t prefix = source_.size();
    for (;;) {
      const CsvReader::Got got = reader->next();
      if (got == CsvReader::Got::end) break;
      const std::uint64_t line = reader->csv().line();
      ++result_.files.back().rows;
      if (++rows_ % kRowsPerProgress == 0) tell_progress(file, reader->csv());
      row_faults_.clear();
      if (got == CsvReader::Got::fault) {
        row_faults_.push_back({{}, 0, {}, {}, reader->csv().fault()});
      } else if (is_log(file.table)) {
        char digits[20];
        const auto end = std::to_chars(digits, digits + sizeof digits, line).ptr;
        source_.resize(prefix);
        source_.append(digits, end);
        field_options_.source = source_;
        read_record(kind_of(file.table), reader->fields(), line, seen);
      } else {
        read_register_row(file.table, reader->fields(), line, keys);
      }
      if (!row_faults_.empty()) refuse_row(reader->csv(), got == CsvReader::Got::row);
    }
    tell_progress(file, reader->csv());
    bytes_before_ += reader->csv().bytes_done();
    if (!is_log(file.table)) index_ = RegisterIndex{register_.load()};
  }

  void refuse_row(const CsvReader& csv, bool is_row) {
    ++result_.files.back().refused;
    std::string reason;
    for (Fault& f : row_faults_) {
      if (options_.keep_good && !options_.dry_run) {
        Fault without_file = f;
        without_file.file.clear();
        without_file.line = 0;
        reason += (reason.empty() ? "" : "; ") + without_file.text();
      }
      f.file = name_;
      f.line = csv.line();
      note(std::move(f));
    }
    if (!options_.keep_good || options_.dry_run) return;
    auto it = rejects_.find(file_);
    if (it == rejects_.end()) {
      std::error_code ec;
      std::filesystem::create_directories(options_.rejects_folder, ec);
      it = rejects_.try_emplace(file_, options_.rejects_folder / name_, csv).first;
    }
    it->second.add(csv, is_row, csv.raw().empty() ? fmt::format("{} line {}: {}", name_, csv.line(), reason) : reason);
  }

  void read_record(Kind kind, const Fields& fields, std::uint64_t line, Occurrences& seen) {
    ParsedRecord parsed = parse_record(kind, fields, index_, field_options_);
    for (Fault& w : parsed.warnings) {
      w.file = name_;
      w.line = line;
      warn(std::move(w));
    }
    if (!parsed.entry) {
      row_faults_ = std::move(parsed.faults);
      return;
    }
    Entry& entry = *parsed.entry;
    const bool has_own_id = !entry.head.id.is_nil();
    if (!has_own_id) {
      content_.clear();
      append_content(content_, entry, index_);
      entry.head.id = content_id(content_, 0);
      if (const std::uint32_t before = seen.count(entry.head.id); before > 0) {
        entry.head.id = content_id(content_, before);
      }
    }
    if (const auto out = excluded_.find({file_, line}); out != excluded_.end()) {
      row_faults_.push_back(out->second);
      return;
    }
    if (entry.head.replaces && !check_target(*entry.head.replaces, entry, Column::replaces, line)) return;
    if (entry.head.withdraws && !check_target(*entry.head.withdraws, entry, Column::withdraws, line)) return;
    try {
      if (log_.add(entry)) {
        ++result_.files.back().added;
        return;
      }
    } catch (const Error& e) {
      if (e.code() != Errc::bad_data && e.code() != Errc::conflict) throw;
      row_faults_.push_back({{}, 0, {}, {}, e.what()});
      return;
    }
    if (has_own_id && !is_same_as_kept(entry)) {
      row_faults_.push_back(
          {{},
           0,
           "id",
           format_uuid(entry.head.id),
           fmt::format("{} is kept already with other values; to correct a record give a new row with "
                       "its id in \"replaces\"",
                       format_uuid(entry.head.id))});
      return;
    }
    ++result_.files.back().known;
  }

  bool is_same_as_kept(const Entry& entry) {
    const auto kept = log_.find(entry.head.id);
    if (!kept || kept->head.at != entry.head.at) return false;
    std::string a, b;
    append_content(a, *kept, index_);
    append_content(b, entry, index_);
    return a == b;
  }

  /// What a correction or withdrawal points at must be of the same kind and vessel. \return false when it is refused
  bool check_target(const Uuid& target, const Entry& entry, Column column, std::uint64_t line) {
    const auto found = log_.find(target);
    if (!found) {
      pending_.push_back({target, entry.kind, entry.vessel, {file_, line}, column});
      return true;
    }
    if (auto why = objection(*found, entry.kind, entry.vessel)) {
      row_faults_.push_back({{}, 0, std::string{name_of(column)}, format_uuid(target), std::move(*why)});
      return false;
    }
    return true;
  }

  std::optional<std::string> objection(const Entry& target, Kind kind, VesselId vessel) const {
    if (target.kind != kind) {
      return fmt::format("{} is a record of {}; expected one of {}", format_uuid(target.head.id), name_of(target.kind),
                         name_of(kind));
    }
    if (target.vessel != vessel) {
      const Vessel* other = index_.find(target.vessel);
      return fmt::format("{} is a record of vessel {}; expected one of the same vessel", format_uuid(target.head.id),
                         other == nullptr ? "?" : other->code);
    }
    return std::nullopt;
  }

  void settle(const Pending& p) {
    const auto found = log_.find(p.target);
    const std::string& file = result_.files[p.place.first].name;
    if (!found) {
      warn({file, p.place.second, std::string{name_of(p.column)}, format_uuid(p.target),
            fmt::format("{} is not known here (yet); the row is kept", format_uuid(p.target))});
      return;
    }
    if (auto why = objection(*found, p.kind, p.vessel)) {
      Fault fault{{}, 0, std::string{name_of(p.column)}, format_uuid(p.target), std::move(*why)};
      late_.emplace_back(p.place, fault);
      ImportedFile& counts = result_.files[p.place.first];
      ++counts.refused;
      if (counts.added > 0) --counts.added;
      fault.file = file;
      fault.line = p.place.second;
      note(std::move(fault));
    }
  }

  void read_register_row(Table table, const Fields& fields, std::uint64_t line,
                         std::map<std::string, std::uint64_t>& keys) {
    std::string what, key;
    std::optional<Put> put;
    const auto at = [](const std::optional<Stamp>& from) {
      return from ? " from " + format_stamp(*from) : std::string{};
    };
    const auto vessel_code = [this](VesselId id) {
      const Vessel* v = index_.find(id);
      return v == nullptr ? std::string{} : v->code;
    };
    // A key that comes twice in one file with different values would go back and forth with every import.
    auto change = change_;
    const auto note_key = [&](std::string text, const std::optional<Stamp>& from) {
      what = std::move(text) + at(from);
      key = what;
      if (keys.contains(key)) change.replace = false;
    };
    try {
      switch (table) {
        case Table::vessels: {
          std::vector<Fault> warnings;
          auto row = parse_vessel(fields, row_faults_, warnings);
          for (Fault& w : warnings) {
            w.file = name_;
            w.line = line;
            warn(std::move(w));
          }
          if (!row) return;
          note_key("vessel " + row->code, std::nullopt);
          put = register_.put(*row, change);
          break;
        }
        case Table::greases: {
          auto row = parse_grease(fields, field_options_, row_faults_);
          if (!row) return;
          note_key("grease " + row->code, std::nullopt);
          put = register_.put(*row, change);
          break;
        }
        case Table::guns: {
          const auto row = parse_gun(fields, index_, field_options_, row_faults_);
          if (!row) return;
          note_key(fmt::format("gun {} of {}", row->code, vessel_code(row->vessel)), row->calibration.from);
          put = register_.put_gun(row->vessel, row->code, row->calibration, change);
          break;
        }
        case Table::lubricators: {
          const auto row = parse_lubricator(fields, index_, field_options_, row_faults_);
          if (!row) return;
          note_key(fmt::format("lubricator {} of {}", row->code, vessel_code(row->vessel)), row->setting.from);
          put = register_.put_lubricator(row->vessel, row->code, row->setting, change);
          break;
        }
        case Table::shafts: {
          const auto row = parse_shaft(fields, index_, field_options_, row_faults_);
          if (!row) return;
          note_key(fmt::format("shaft {} of {}", row->code, vessel_code(row->vessel)), row->setting.from);
          put = register_.put_shaft(row->vessel, row->code, row->setting, change);
          break;
        }
        case Table::feeds: {
          const auto row = parse_feed(fields, index_, field_options_, row_faults_);
          if (!row) return;
          const Lubricator* l = index_.find(row->lubricator);
          const Shaft* s = index_.find(row->shaft);
          note_key(fmt::format("feed {} to {} of {}", l->code, s->code, vessel_code(l->vessel)), row->from);
          put = register_.put_feed(*row, change);
          break;
        }
        default:
          return;
      }
    } catch (const Error& e) {
      if (e.code() != Errc::bad_data && e.code() != Errc::conflict) throw;
      row_faults_.push_back({{}, 0, {}, {}, e.what()});
      return;
    }
    const auto [earlier, is_first] = keys.emplace(std::move(key), line);
    ImportedFile& counts = result_.files.back();
    switch (*put) {
      case Put::added:
        ++counts.added;
        return;
      case Put::same:
        ++counts.known;
        return;
      case Put::replaced:
        ++counts.replaced;
        result_.register_changes.push_back(fmt::format("{} line {}: {}", name_, line, what));
        return;
      case Put::differs:
        row_faults_.push_back(
            {{},
             0,
             {},
             {},
             is_first ? fmt::format("{} is registered already with other values; expected the same, or leave to "
                                    "update the register (--update-register)",
                                    what)
                      : fmt::format("{} is there in line {} already with other values", what, earlier->second)});
        return;
    }
  }

  Database& db_;
  const ImportOptions& options_;
  RegisterRepository register_;
  LogRepository log_;
  RegisterRepository::Change change_;
  FieldOptions field_options_;
  std::vector<LogFile> files_;
  std::vector<Fault> name_faults_;
  std::uint64_t bytes_total_ = 0, bytes_before_ = 0, rows_ = 0;

  ImportResult result_;
  RegisterIndex index_;
  std::size_t file_ = 0;
  std::string name_, source_, content_;
  std::vector<Fault> row_faults_;
  std::vector<Pending> pending_;
  std::vector<std::pair<Place, Fault>> late_;
  std::map<Place, Fault> excluded_;
  std::map<std::size_t, RejectsFile> rejects_;
};

}  // namespace

ImportResult import_folder(Database& db, const Clock& clock, const ImportOptions& options) {
  if (options.folder.empty() == options.files.empty()) {
    throw Error{Errc::usage, "nothing to import is named; expected either a log folder or files of one"};
  }
  if (options.keep_good && options.rejects_folder.empty()) {
    throw Error{Errc::usage,
                "no folder for the rejected lines is named; expected one when only the good lines are kept"};
  }
  return Import{db, clock.now_s(), options}.run();
}

}  // namespace shaftlog
