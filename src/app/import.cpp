#include "app/import.hpp"

#include "analysis/contradictions.hpp"
#include "app/occurrences.hpp"
#include "app/record_stream.hpp"
#include "base/error.hpp"
#include "base/text.hpp"
#include "interchange/log_folder.hpp"
#include "interchange/new_file.hpp"
#include "storage/finding_repository.hpp"
#include "storage/log_repository.hpp"
#include "storage/register_repository.hpp"
#include "storage/verification_repository.hpp"

#include <algorithm>
#include <map>
#include <optional>
#include <span>
#include <system_error>
#include <utility>

#include <fmt/format.h>

namespace shaftlog {
namespace {

constexpr int kCache_MiB = 160;  // holds the index over the ids of a million records

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

  /// `fields` are empty where the line could not be split.
  void add(std::string_view raw, std::span<const std::string> fields, const std::string& reason) {
    if (!fields.empty() && reason_at_) {  // rejected before: the new reason in place of the old one
      CsvWriter csv{text_, delimiter_};
      for (std::size_t i = 0; i < fields.size(); ++i) csv.field(i == *reason_at_ ? reason : fields[i]);
      csv.end_row();
    } else {
      text_.append(raw);
      if (!reason_at_ || raw.empty()) {
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

/// Lines of one file that are odd in one way: kept, counted, the first of them named.
struct OddLines {
  Column column;
  std::string_view says;  ///< of many records
  std::uint64_t count = 0;
  std::vector<std::uint64_t> first;

  void add(std::uint64_t line) {
    constexpr std::size_t kNamed = 5;
    ++count;
    if (first.size() < kNamed) first.push_back(line);
  }
  [[nodiscard]] std::string text() const {
    std::string lines;
    for (const std::uint64_t line : first) lines += fmt::format("{}{}", lines.empty() ? "" : ", ", line);
    return fmt::format("{} {} {}: line{} {}{}", count, count == 1 ? "record" : "records", says, count == 1 ? "" : "s",
                       lines, count > first.size() ? fmt::format(" and {} more", count - first.size()) : "");
  }
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
      : db_{db},
        options_{options},
        register_{db},
        log_{db},
        findings_{db},
        verifications_{db},
        change_{now, options.by, options.update_register} {
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
    field_options_.is_decimal_comma = reader->is_decimal_comma();
    if (is_log(file.table)) {
      read_log_file(*reader, kind_of(file.table));
    } else {
      read_other_file(*reader, file.table);
    }
    bytes_before_ += reader->csv().bytes_done();
  }

  void read_log_file(LogFileReader& reader, Kind kind) {
    future_ = {kind == Kind::alarm ? Column::raised_at : Column::at, "dated in the future", 0, {}};
    beyond_ = {Column::amount, "of more than the registered cavity or reservoir holds", 0, {}};
    RecordStream stream{reader, kind, index_, field_options_, name_, keeps_rejects()};
    while (auto batch = stream.next()) {
      for (ReadRow& row : batch->rows) {
        row_faults_.clear();
        read_record(row);
        if (!row_faults_.empty()) refuse_row(reader.csv(), row.line, row.raw, row.fields);
      }
      count_rows(batch->rows.size(), batch->bytes_done);
    }
    for (const OddLines* odd : {&future_, &beyond_})
      if (odd->count > 0) warn({name_, odd->first.front(), std::string{name_of(odd->column)}, {}, odd->text()});
  }

  /// What second_look would question at entry and can be told from the row and the register alone.
  void look_at(const Entry& entry, std::uint64_t line) {
    if (entry.is_withdrawal()) return;
    if (days_between(field_options_.now, entry.head.at.utc) > 1) future_.add(line);
    std::optional<Amount> amount;
    std::optional<Volume> most;
    double over = kOverCavity;
    if (const auto* g = std::get_if<Greasing>(&entry.detail)) {
      amount = g->amount;
      const Shaft* shaft = index_.find(entry.shaft);
      if (const auto* set = shaft == nullptr ? nullptr : setting_at(shaft->settings, entry.head.at.utc))
        most = set->cavity;
    } else if (const auto* r = std::get_if<Refill>(&entry.detail)) {
      amount = r->amount;
      const Lubricator* lubricator = index_.find(entry.lubricator);
      if (const auto* set = lubricator == nullptr ? nullptr : setting_at(lubricator->settings, entry.head.at.utc))
        most = set->reservoir;
      over = kOverReservoir;
    }
    if (amount && amount->volume && most && *most > Volume{} && in_cm3(*amount->volume) > over * in_cm3(*most))
      beyond_.add(line);
  }

  /// A file of the register, or the one of remarks on findings or of verifications.
  void read_other_file(LogFileReader& reader, Table table) {
    std::map<std::string, std::uint64_t> keys;
    Occurrences seen;
    for (;;) {
      const CsvReader::Got got = reader.next();
      if (got == CsvReader::Got::end) break;
      const CsvReader& csv = reader.csv();
      row_faults_.clear();
      std::vector<std::string> texts;
      if (got == CsvReader::Got::fault) {
        row_faults_.push_back({{}, 0, {}, {}, csv.fault()});
      } else {
        if (table == Table::findings) {
          read_finding_row(reader.fields(), seen);
        } else if (table == Table::verifications) {
          read_verification_row(reader.fields(), csv.line(), seen);
        } else {
          read_register_row(table, reader.fields(), csv.line(), keys);
        }
        if (!row_faults_.empty()) texts.assign(csv.fields().begin(), csv.fields().end());
      }
      if (!row_faults_.empty()) refuse_row(csv, csv.line(), csv.raw(), texts);
      count_rows(1, csv.bytes_done());
    }
    index_ = RegisterIndex{register_.load()};
  }

  void count_rows(std::uint64_t rows, std::uint64_t bytes_done) {
    result_.files.back().rows += rows;
    rows_ += rows;
    if (options_.progress) options_.progress({name_, rows_, bytes_before_ + bytes_done, bytes_total_});
  }

  [[nodiscard]] bool keeps_rejects() const noexcept { return options_.keep_good && !options_.dry_run; }

  void refuse_row(const CsvReader& csv, std::uint64_t line, std::string_view raw, std::span<const std::string> fields) {
    ++result_.files.back().refused;
    std::string reason;
    for (Fault& f : row_faults_) {
      if (keeps_rejects()) reason += (reason.empty() ? "" : "; ") + f.text();  // no file and line yet
      f.file = name_;
      f.line = line;
      note(std::move(f));
    }
    if (!keeps_rejects()) return;
    auto it = rejects_.find(file_);
    if (it == rejects_.end()) {
      std::error_code ec;
      std::filesystem::create_directories(options_.rejects_folder, ec);
      it = rejects_.try_emplace(file_, options_.rejects_folder / name_, csv).first;
    }
    it->second.add(raw, fields, raw.empty() ? fmt::format("{} line {}: {}", name_, line, reason) : reason);
  }

  void read_record(ReadRow& row) {
    const std::uint64_t line = row.line;
    if (!row.parsed.entry) {  // what else is odd about it can wait until it is put right
      row_faults_ = std::move(row.parsed.faults);
      return;
    }
    for (Fault& w : row.parsed.warnings) {
      w.file = name_;
      w.line = line;
      warn(std::move(w));
    }
    const Entry& entry = *row.parsed.entry;
    if (const auto out = excluded_.find({file_, line}); out != excluded_.end()) {
      row_faults_.push_back(out->second);
      return;
    }
    if (entry.head.replaces && !check_target(*entry.head.replaces, entry, Column::replaces, line)) return;
    if (entry.head.withdraws && !check_target(*entry.head.withdraws, entry, Column::withdraws, line)) return;
    try {
      if (log_.add(entry)) {
        ++result_.files.back().added;
        look_at(entry, line);
        return;
      }
    } catch (const Error& e) {
      if (e.code() != Errc::bad_data && e.code() != Errc::conflict) throw;
      row_faults_.push_back({{}, 0, {}, {}, e.what()});
      return;
    }
    if (row.has_own_id && !is_same_as_kept(entry)) {
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

  void read_finding_row(const Fields& fields, Occurrences& seen) {
    auto remark = parse_finding_remark(fields, index_, field_options_, row_faults_);
    if (remark) keep(findings_, *remark, "remark", seen);
  }

  void read_verification_row(const Fields& fields, std::uint64_t line, Occurrences& seen) {
    auto verification = parse_verification(fields, index_, field_options_, row_faults_);
    if (!verification) return;
    const Uuid& record = verification->record;
    const auto column = std::string{name_of(Column::record)};
    if (const auto found = log_.find(record)) {
      std::string why;
      if (found->vessel != verification->vessel) why = "is of another vessel; expected one of the same vessel";
      if (found->is_withdrawal()) why = "is a withdrawal; expected a record that can be verified";
      if (!why.empty()) {
        row_faults_.push_back({{}, 0, column, format_uuid(record), fmt::format("{} {}", format_uuid(record), why)});
        return;
      }
    } else {
      warn({name_, line, column, format_uuid(record),
            fmt::format("{} is not known here (yet); the row is kept", format_uuid(record))});
    }
    keep(verifications_, *verification, "verification", seen);
  }

  /// What stands beside the records and has an id of its own.
  template <class Repository, class What>
  void keep(Repository& repository, What& what, std::string_view called, Occurrences& seen) {
    std::string content;
    append_content(content, what, index_);
    const bool has_own_id = !what.id.is_nil();
    if (!has_own_id) {
      what.id = content_id(content, 0);
      if (const std::uint32_t before = seen.count(what.id); before > 0) what.id = content_id(content, before);
    }
    try {
      if (repository.add(what)) {
        ++result_.files.back().added;
        return;
      }
    } catch (const Error& e) {
      if (e.code() != Errc::bad_data && e.code() != Errc::conflict) throw;
      row_faults_.push_back({{}, 0, {}, {}, e.what()});
      return;
    }
    std::string kept;
    append_content(kept, *repository.find(what.id), index_);
    if (has_own_id && kept != content) {
      row_faults_.push_back({{},
                             0,
                             "id",
                             format_uuid(what.id),
                             fmt::format("{} is kept already with other values; expected a new id for another {}",
                                         format_uuid(what.id), called)});
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
          auto row = parse_vessel(fields, field_options_, row_faults_, warnings);
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
        case Table::grease_evidence: {
          const auto row = parse_grease_evidence(fields, index_, field_options_, row_faults_);
          if (!row) return;
          ++(register_.put(*row) == Put::added ? result_.files.back().added : result_.files.back().known);
          return;
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
  FindingRepository findings_;
  VerificationRepository verifications_;
  RegisterRepository::Change change_;
  FieldOptions field_options_;
  std::vector<LogFile> files_;
  std::vector<Fault> name_faults_;
  std::uint64_t bytes_total_ = 0, bytes_before_ = 0, rows_ = 0;

  ImportResult result_;
  RegisterIndex index_;
  std::size_t file_ = 0;
  std::string name_;
  std::vector<Fault> row_faults_;
  OddLines future_{}, beyond_{};
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
  require_name("by", options.by);
  return Import{db, clock.now_s(), options}.run();
}

}  // namespace shaftlog
