#include "interchange/log_folder.hpp"

#include "base/error.hpp"
#include "base/text.hpp"
#include "interchange/field_reader.hpp"
#include "interchange/new_folder.hpp"

#include <algorithm>
#include <array>
#include <system_error>

#include <fmt/format.h>

namespace shaftlog {
namespace {

std::vector<std::string_view> file_names() {
  std::vector<std::string_view> out;
  for (std::size_t i = 0; i < kTableCount; ++i) out.push_back(file_name_of(table_at(i)));
  return out;
}

void require_finished(const std::filesystem::path& folder) {
  std::error_code ignored;
  if (std::filesystem::exists(folder / kUnfinishedName, ignored)) {
    throw Error{
        Errc::bad_data,
        fmt::format("{}: an export into it was cut short, and its files may not belong together; export into it "
                    "again",
                    shown(folder.string(), 200))};
  }
}

/// Hours of a meter; a value that is no whole 0.01 h (none that this program read) is told to the second.
std::string format_hours(std::int64_t s) {
  return s % 36 == 0 ? format_scaled(s / 36, 2) : format_scaled((s * 10'000 + 1'800) / 3'600, 4);
}
std::string format_minutes(std::int64_t s) { return format_scaled((s * 10'000 + 30) / 60, 4); }
template <class Q>
std::string scaled_or_empty(const std::optional<Q>& q, int digits) {
  return q ? format_scaled(q->base(), digits) : std::string{};
}
std::string scaled_or_empty(const std::optional<std::int64_t>& n, int digits) {
  return n ? format_scaled(*n, digits) : std::string{};
}
std::string stamp_or_empty(const std::optional<Stamp>& s) { return s ? format_stamp(*s) : std::string{}; }
std::string uuid_or_empty(const std::optional<Uuid>& id) { return id ? format_uuid(*id) : std::string{}; }
template <class Row>
std::string code_or_empty(const Row* row) {
  return row == nullptr ? std::string{} : row->code;
}

}  // namespace

std::vector<LogFile> find_log_files(const std::filesystem::path& folder, std::vector<Fault>& faults) {
  std::error_code ec;
  const auto status = std::filesystem::status(folder, ec);
  if (!std::filesystem::exists(status)) {
    throw Error{Errc::not_found, fmt::format("{}: does not exist; expected a log folder", shown(folder.string(), 200))};
  }
  if (!std::filesystem::is_directory(status)) {
    throw Error{Errc::bad_data, fmt::format("{}: is a file; expected a log folder", shown(folder.string(), 200))};
  }
  require_finished(folder);
  std::vector<LogFile> out;
  std::filesystem::directory_iterator it{folder, ec};
  if (ec) throw Error{Errc::io, fmt::format("{}: cannot be read: {}", shown(folder.string(), 200), ec.message())};
  std::vector<std::filesystem::path> strangers;
  for (const auto& item : it) {
    const std::string name = item.path().filename().string();
    if (name.starts_with(".")) continue;
    if (const auto table = table_of_file(name)) {
      out.push_back({*table, item.path()});
    } else if (lower_case(name).ends_with(".csv")) {
      strangers.push_back(item.path());
    }
  }
  if (out.empty() && strangers.empty()) {
    throw Error{Errc::not_found,
                fmt::format("{}: holds none of the files of a log folder; expected vessels.csv, hours.csv, "
                            "greasings.csv or others of them",
                            shown(folder.string(), 200))};
  }
  std::sort(strangers.begin(), strangers.end());
  for (const auto& path : strangers) {
    const std::string name = path.filename().string();
    faults.push_back(
        {name,
         0,
         {},
         name,
         fmt::format("is not the name of a file of a log folder{}", suggestion(lower_case(name), file_names()))});
  }
  std::sort(out.begin(), out.end(), [](const LogFile& a, const LogFile& b) { return a.table < b.table; });
  return out;
}

std::vector<LogFile> as_log_files(const std::vector<std::filesystem::path>& files) {
  std::vector<LogFile> out;
  for (const auto& path : files) {
    const std::string name = path.filename().string();
    const auto table = table_of_file(name);
    if (!table) {
      throw Error{Errc::bad_data, fmt::format("{}: is not the name of a file of a log folder; expected hours.csv, "
                                              "greasings.csv or another of them{}",
                                              shown(name), suggestion(lower_case(name), file_names()))};
    }
    require_finished(path.parent_path());
    out.push_back({*table, path});
  }
  std::stable_sort(out.begin(), out.end(), [](const LogFile& a, const LogFile& b) { return a.table < b.table; });
  return out;
}

LogFileReader::LogFileReader(const LogFile& file) : csv_{file.path} { map_header(file.table); }
LogFileReader::LogFileReader(Table table, CsvReader csv) : csv_{std::move(csv)} { map_header(table); }

void LogFileReader::map_header(Table table) {
  std::vector<std::string_view> names;
  for (const TableColumn& c : columns_of(table)) names.push_back(name_of(c.column));
  std::array<bool, kColumnCount> seen{};
  for (const std::string& raw : csv_.header()) {
    const std::string_view name = trimmed(raw);
    auto column = find_column(table, name);
    if (!column && name == name_of(Column::refused_because)) column = Column::refused_because;
    if (!column) {
      throw Error{Errc::bad_data, fmt::format("line 1: \"{}\" is not a column of this file; expected {}{}", shown(name),
                                              column_names(table, /*required_only=*/false), suggestion(name, names))};
    }
    bool& was_seen = seen[static_cast<std::size_t>(*column)];
    if (was_seen) throw Error{Errc::bad_data, fmt::format("line 1: the column \"{}\" is there twice", name)};
    was_seen = true;
    columns_.push_back(*column);
  }
  std::string missing;
  for (const TableColumn& c : columns_of(table)) {
    if (c.is_required && !seen[static_cast<std::size_t>(c.column)]) {
      missing += fmt::format("{}\"{}\"", missing.empty() ? "" : ", ", name_of(c.column));
    }
  }
  if (!missing.empty()) {
    throw Error{Errc::bad_data, fmt::format("line 1: the header lacks {}; expected at least {}", missing,
                                            column_names(table, /*required_only=*/true))};
  }
}

CsvReader::Got LogFileReader::next() {
  const CsvReader::Got got = csv_.next();
  if (got == CsvReader::Got::row) {
    const auto values = csv_.fields();
    for (std::size_t i = 0; i < columns_.size(); ++i) fields_.set(columns_[i], values[i]);
  }
  return got;
}

LogTableWriter::LogTableWriter(Table table, const RegisterIndex& index, std::string& out) : index_{&index}, csv_{out} {
  for (const TableColumn& c : columns_of(table)) {
    columns_.push_back(c.column);
    csv_.field(name_of(c.column));
  }
  csv_.end_row();
  values_.resize(columns_.size());
}

void LogTableWriter::put(Column c, std::string text) {
  const auto it = std::find(columns_.begin(), columns_.end(), c);
  if (it != columns_.end()) values_[static_cast<std::size_t>(it - columns_.begin())] = std::move(text);
}

void LogTableWriter::end_row() {
  for (std::string& v : values_) {
    csv_.field(v);
    v.clear();
  }
  csv_.end_row();
  ++rows_;
}

void LogTableWriter::write(const Entry& e) {
  using enum Column;
  put(vessel, code_or_empty(index_->find(e.vessel)));
  put(shaft, code_or_empty(index_->find(e.shaft)));
  put(lubricator, code_or_empty(index_->find(e.lubricator)));
  put(e.kind == Kind::alarm ? raised_at : at, format_stamp(e.head.at));
  put(id, format_uuid(e.head.id));
  put(recorded_at, format_stamp(e.head.recorded_at));
  put(by, e.head.by);
  put(remark, e.head.remark);
  put(replaces, uuid_or_empty(e.head.replaces));
  put(withdraws, uuid_or_empty(e.head.withdraws));
  put(reason, e.head.reason);
  put(source, e.head.source);
  const auto put_amount = [this](const std::optional<Amount>& a) {
    if (!a) return;
    put(amount, a->typed);
    put(unit, std::string{name_of(a->unit)});
    put(cm3_per_unit, scaled_or_empty(a->nano_cm3_per_unit, 9));
  };
  if (const auto* d = std::get_if<Hours>(&e.detail)) {
    put(meter_h, format_hours(d->reading.base()));
    if (d->is_new_meter) put(meter, "new");
    if (d->old_meter) put(old_meter_h, format_hours(d->old_meter->base()));
  } else if (const auto* c = std::get_if<Cycles>(&e.detail)) {
    put(count, std::to_string(c->count));
    if (c->is_new_counter) put(counter, "new");
  } else if (const auto* l = std::get_if<LevelReading>(&e.detail)) {
    put(level_pct, format_scaled(l->level.base(), 2));
  } else if (const auto* r = std::get_if<Refill>(&e.detail)) {
    put_amount(r->amount);
    put(level_before_pct, scaled_or_empty(r->before, 2));
    put(level_after_pct, scaled_or_empty(r->after, 2));
    put(grease, code_or_empty(index_->find(r->grease)));
    put(batch, r->batch);
  } else if (const auto* g = std::get_if<Greasing>(&e.detail)) {
    put_amount(g->amount);
    put(gun, code_or_empty(index_->find(g->gun)));
    put(ended, std::string{name_of(g->ended)});
    if (g->purge) put(purge, std::string{name_of(*g->purge)});
    put(grease, code_or_empty(index_->find(g->grease)));
  } else if (const auto* a = std::get_if<Alarm>(&e.detail)) {
    put(alarm, std::string{name_of(a->alarm)});
    put(cleared_at, stamp_or_empty(a->cleared));
  } else if (const auto* w = std::get_if<Work>(&e.detail)) {
    put(Column::work, std::string{name_of(w->work)});
  } else if (const auto* i = std::get_if<Inspection>(&e.detail)) {
    put(water_pct, scaled_or_empty(i->water_ppm, 4));
    put(iron_ppm, scaled_or_empty(i->iron_ppm_milli, 3));
    put(clearance_mm, scaled_or_empty(i->clearance_um, 3));
  }
  end_row();
}

void LogTableWriter::write(const Vessel& v) {
  put(Column::vessel, v.code);
  put(Column::name, v.name);
  put(Column::imo, v.imo.value_or(""));
  put(Column::time_zone, v.time_zone);
  put(Column::group, v.group.value_or(""));
  end_row();
}

void LogTableWriter::write(const Grease& g) {
  put(Column::grease, g.code);
  put(Column::thickener, std::string{name_of(g.thickener)});
  put(Column::nlgi, g.nlgi);
  put(Column::density_g_cm3, format_scaled(g.density.base(), 3));
  if (g.sea_safe) put(Column::sea_safe, *g.sea_safe ? "yes" : "no");
  end_row();
}

void LogTableWriter::write(const Gun& g) {
  for (const GunCalibration& c : g.calibrations) {
    put(Column::vessel, code_or_empty(index_->find(g.vessel)));
    put(Column::gun, g.code);
    put(Column::cm3_per_stroke, format_scaled(c.per_stroke.base(), 3));
    put(Column::calibrated_on, stamp_or_empty(c.from));
    end_row();
  }
}

void LogTableWriter::write(const Lubricator& l) {
  for (const LubricatorSetting& s : l.settings) {
    put(Column::vessel, code_or_empty(index_->find(l.vessel)));
    put(Column::lubricator, l.code);
    put(Column::reservoir_cm3, format_scaled(s.reservoir.base(), 3));
    put(Column::low_level_cm3, scaled_or_empty(s.low_level, 3));
    put(Column::grease, code_or_empty(index_->find(s.grease)));
    put(Column::from, stamp_or_empty(s.from));
    end_row();
  }
}

void LogTableWriter::write(const Shaft& shaft) {
  for (const ShaftSetting& s : shaft.settings) {
    put(Column::vessel, code_or_empty(index_->find(shaft.vessel)));
    put(Column::shaft, shaft.code);
    put(Column::position, s.position);
    put(Column::cavity_cm3, scaled_or_empty(s.cavity, 3));
    if (s.interval) put(Column::interval_h, format_hours(s.interval->base()));
    if (s.interval_days) put(Column::interval_days, std::to_string(*s.interval_days));
    put(Column::reserve_pct, scaled_or_empty(s.reserve, 2));
    if (s.meter_rollover) put(Column::meter_rollover_h, format_hours(s.meter_rollover->base()));
    put(Column::grease, code_or_empty(index_->find(s.grease)));
    put(Column::from, stamp_or_empty(s.from));
    put(Column::water_limit_pct, scaled_or_empty(s.water_limit_ppm, 4));
    put(Column::iron_limit_ppm, scaled_or_empty(s.iron_limit_ppm_milli, 3));
    put(Column::clearance_limit_mm, scaled_or_empty(s.clearance_limit_um, 3));
    end_row();
  }
}

void LogTableWriter::write(const GreaseEvidence& e) {
  put(Column::grease, code_or_empty(index_->find(e.grease)));
  put(Column::other_grease, code_or_empty(index_->find(e.other)));
  put(Column::evidence, std::string{name_of(e.evidence)});
  put(Column::reference, e.reference);
  end_row();
}

void LogTableWriter::write(const FindingRemark& r) {
  using enum Column;
  const auto instant = [](const std::optional<Instant>& t) { return t ? format_utc(*t) : std::string{}; };
  put(vessel, code_or_empty(index_->find(r.vessel)));
  put(shaft, code_or_empty(index_->find(r.shaft)));
  put(lubricator, code_or_empty(index_->find(r.lubricator)));
  put(finding, format_uuid(r.finding));
  put(Column::kind, r.kind);
  put(did, std::string{name_of(r.did)});
  put(at, format_stamp(r.at));
  put(says, r.says);
  put(by, r.by);
  put(was_urgency, r.then.urgency);
  put(was_summary, r.then.summary);
  put(was_first_seen, instant(r.then.first_seen));
  put(was_began, instant(r.then.began));
  put(was_measure, r.then.measure);
  put(was_value, scaled_or_empty(r.then.value_ppm, 6));
  put(id, format_uuid(r.id));
  put(recorded_at, format_stamp(r.recorded_at));
  end_row();
}

void LogTableWriter::write(const Verification& v) {
  put(Column::vessel, code_or_empty(index_->find(v.vessel)));
  put(Column::record, format_uuid(v.record));
  put(Column::at, format_stamp(v.at));
  put(Column::by, v.by);
  put(Column::id, format_uuid(v.id));
  end_row();
}

void LogTableWriter::write(const Feed& f) {
  const Lubricator* l = index_->find(f.lubricator);
  put(Column::vessel, l == nullptr ? std::string{} : code_or_empty(index_->find(l->vessel)));
  put(Column::lubricator, code_or_empty(l));
  put(Column::shaft, code_or_empty(index_->find(f.shaft)));
  put(Column::from, stamp_or_empty(f.from));
  put(Column::dose_cm3, format_scaled(f.dose.base(), 3));
  put(Column::cycle_min, format_minutes(f.cycle_s));
  end_row();
}

}  // namespace shaftlog
