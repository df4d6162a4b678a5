#include "app/record.hpp"

#include "app/list.hpp"
#include "app/look_up.hpp"
#include "base/error.hpp"
#include "base/text.hpp"
#include "interchange/fields.hpp"
#include "interchange/log_folder.hpp"
#include "storage/log_repository.hpp"
#include "storage/register_repository.hpp"

#include <algorithm>

#include <fmt/format.h>

namespace shaftlog {

namespace {

constexpr bool kYes = true, kNo = false;
constexpr EntryField kVessel{"vessel", "CODE", "the ship", kYes, kYes};
constexpr EntryField kShaft{"shaft", "CODE", "the shaft", kYes, kYes};
constexpr EntryField kShaftIfAny{"shaft", "CODE", "the shaft, where it is about one", kNo, kYes};
constexpr EntryField kLubricator{"lubricator", "CODE", "the lubricator", kYes, kYes};
constexpr EntryField kLubricatorIfAny{"lubricator", "CODE", "the lubricator, where it is about one", kNo, kYes};
constexpr EntryField kAt{"at", "TIME", "when it happened, on the ship's clock; else now", kNo, kNo};
constexpr EntryField kAmount{"amount", "N", "how much grease went in; the unit may follow: \"60 strokes\"", kYes, kYes};
constexpr EntryField kUnit{"unit", "UNIT", "cm3, ml, l, g, kg, oz, lb or strokes", kYes, kYes};
constexpr EntryField kGrease{"grease", "CODE", "the grease, where it is not the registered one", kNo, kNo};
constexpr EntryField kBy{"by", "WHO", "who records; else SHAFTLOG_BY or the login name", kNo, kNo};
constexpr EntryField kRemark{"remark", "TEXT", "anything worth knowing", kNo, kNo};

constexpr EntryField kHours[] = {kVessel,
                                 kShaft,
                                 kAt,
                                 {"meter_h", "H", "what the hour meter shows", kYes, kYes},
                                 {"meter", "new", "\"new\" where the meter was replaced or reset", kNo, kNo},
                                 {"old_meter_h", "H", "what the old meter showed when it was replaced", kNo, kNo},
                                 kBy,
                                 kRemark};
constexpr EntryField kCycles[] = {kVessel,
                                  kLubricator,
                                  kAt,
                                  {"count", "N", "full cycles that the counter shows", kYes, kYes},
                                  {"counter", "new", "\"new\" after a reset", kNo, kNo},
                                  kBy,
                                  kRemark};
constexpr EntryField kLevel[] = {
    kVessel, kLubricator, kAt, {"level_pct", "PCT", "level of the reservoir, nothing added", kYes, kYes}, kBy, kRemark};
constexpr EntryField kRefill[] = {
    kVessel,
    kLubricator,
    kAt,
    {"amount", "N", "how much grease was poured; the unit may follow: \"2.5 kg\"", kNo, kYes},
    {"unit", "UNIT", "cm3, ml, l, g, kg, oz, lb or pct of the reservoir", kNo, kYes},
    {"level_before_pct", "PCT", "level before pouring", kNo, kYes},
    {"level_after_pct", "PCT", "level after pouring", kNo, kYes},
    kGrease,
    {"batch", "TEXT", "batch of the grease", kNo, kNo},
    kBy,
    kRemark};
constexpr EntryField kGreasing[] = {
    kVessel,
    kShaft,
    kAt,
    {"ended", "HOW", "pressure, limit, stopped, packed or not_done", kYes, kYes},
    kAmount,
    kUnit,
    {"gun", "CODE", "the hand gun; needed for strokes", kNo, kYes},
    {"purge", "WHAT", "what came out at the seal: none, clean, dark or water", kNo, kYes},
    kGrease,
    kBy,
    kRemark};
constexpr EntryField kAlarm[] = {
    kVessel,
    {"raised_at", "TIME", "when it came, on the ship's clock; else now", kNo, kYes},
    kLubricator,
    kShaftIfAny,
    {"alarm", "WHAT", "low_level, empty, no_pressure, high_pressure, cycle_fault, power_fault or other", kYes, kYes},
    {"cleared_at", "TIME", "when it went; left out while it stands", kNo, kYes},
    kBy,
    kRemark};
constexpr EntryField kWork[] = {
    kVessel,
    kAt,
    {"work", "WHAT",
     "seal_replaced, bearing_replaced, metering_replaced, setting_corrected, line_repaired, pump_repaired, bled, "
     "controller_changed, lubricator_off, lubricator_on, purged, contact, docked, undocked or other",
     kYes, kYes},
    kShaftIfAny,
    kLubricatorIfAny,
    kBy,
    kRemark};
constexpr EntryField kInspection[] = {kVessel,
                                      kShaft,
                                      kAt,
                                      {"water_pct", "PCT", "water in the grease", kNo, kYes},
                                      {"iron_ppm", "PPM", "iron in the grease", kNo, kYes},
                                      {"clearance_mm", "MM", "clearance of the bearing", kNo, kYes},
                                      kBy,
                                      kRemark};

/// Texts by column that own their text.
class Texts {
 public:
  void set(Column c, std::string text) {
    const auto found = std::find_if(texts_.begin(), texts_.end(), [c](const auto& t) { return t.first == c; });
    if (found == texts_.end())
      texts_.emplace_back(c, std::move(text));
    else
      found->second = std::move(text);
  }
  [[nodiscard]] std::string_view get(Column c) const {
    const auto found = std::find_if(texts_.begin(), texts_.end(), [c](const auto& t) { return t.first == c; });
    return found == texts_.end() ? std::string_view{} : std::string_view{found->second};
  }
  friend bool operator==(const Texts&, const Texts&) = default;
  /// Valid as long as these texts are not changed.
  [[nodiscard]] Fields fields() const {
    Fields out;
    for (const auto& [column, text] : texts_)
      if (!text.empty()) out.set(column, text);
    return out;
  }

 private:
  std::vector<std::pair<Column, std::string>> texts_;
};

Column column_of(Kind kind, const std::string& name) {
  for (const EntryField& f : fields_of(kind))
    if (f.name == name) return *find_column(table_of(kind), name);
  std::vector<std::string_view> known;
  std::string names;
  for (const EntryField& f : fields_of(kind)) {
    known.push_back(f.name);
    names += (names.empty() ? "" : ", ") + std::string{f.name};
  }
  const auto near = nearest_word(name, known.data(), known.size());
  throw Error{Errc::usage, fmt::format("{} has no \"{}\"{}", name_of(kind), shown(name),
                                       near ? fmt::format(", did you mean {}?", *near) : "; it has " + names)};
}

Texts as_texts(Kind kind, const NamedTexts& fields) {
  Texts texts;
  for (const auto& [name, text] : fields) {
    const bool is_alarm_time = kind == Kind::alarm && name == "at";
    texts.set(is_alarm_time ? Column::raised_at : column_of(kind, name), text);
  }
  return texts;
}

/// "60 strokes" and "2.5kg": the unit stands behind the number.
void split_amount(Texts& texts) {
  const std::string amount{texts.get(Column::amount)};
  if (!texts.get(Column::unit).empty()) return;
  const std::size_t end = amount.find_last_of("0123456789.");
  // The 3 of cm3 is no digit of the number.
  const std::size_t begin = amount.ends_with("cm3") ? amount.size() - 3 : end == std::string::npos ? end : end + 1;
  if (begin == std::string::npos || begin >= amount.size()) return;
  const std::size_t word = amount.find_first_not_of(' ', begin);
  if (word == std::string::npos || !parse_unit(amount.substr(word))) return;
  std::string number = amount.substr(0, begin);
  number.erase(number.find_last_not_of(' ') + 1);
  texts.set(Column::unit, amount.substr(word));
  texts.set(Column::amount, number);
}

/// The code of the only row on board, where there is one only.
template <class Row>
std::string only_one(const std::vector<Row>& rows, VesselId vessel) {
  std::string code;
  for (const Row& row : rows) {
    if (row.vessel != vessel) continue;
    if (!code.empty()) return "";
    code = row.code;
  }
  return code;
}

void fill_in(Texts& texts, const Register& reg, Instant now, Kind kind) {
  if (texts.get(Column::vessel).empty() && reg.vessels.size() == 1) texts.set(Column::vessel, reg.vessels.front().code);
  const auto vessel = std::find_if(reg.vessels.begin(), reg.vessels.end(),
                                   [&](const Vessel& v) { return v.code == texts.get(Column::vessel); });
  if (vessel == reg.vessels.end()) return;
  const Column when = kind == Kind::alarm ? Column::raised_at : Column::at;
  if (texts.get(when).empty()) texts.set(when, format_stamp(stamp_at(now, Zone{vessel->time_zone}, Precision::minute)));
  for (const EntryField& f : fields_of(kind)) {
    if (!f.is_required) continue;
    if (f.name == "shaft" && texts.get(Column::shaft).empty())
      texts.set(Column::shaft, only_one(reg.shafts, vessel->id));
    const bool may_be_of_shaft = kind == Kind::alarm && !texts.get(Column::shaft).empty();
    if (f.name == "lubricator" && texts.get(Column::lubricator).empty() && !may_be_of_shaft)
      texts.set(Column::lubricator, only_one(reg.lubricators, vessel->id));
  }
}

std::vector<std::string> missing_of(const Texts& texts, Kind kind) {
  std::vector<std::string> missing;
  const bool is_not_done = texts.get(Column::ended) == "not_done";
  const bool is_alarm_of_shaft = kind == Kind::alarm && !texts.get(Column::shaft).empty();
  for (const EntryField& f : fields_of(kind)) {
    if (!f.is_required || !texts.get(*find_column(table_of(kind), f.name)).empty()) continue;
    if (is_not_done && (f.name == "amount" || f.name == "unit")) continue;
    if (is_alarm_of_shaft && f.name == "lubricator") continue;
    missing.emplace_back(f.name);
  }
  if (kind == Kind::refill) {
    const bool has_amount = !texts.get(Column::amount).empty();
    const bool has_levels = !texts.get(Column::level_before_pct).empty() && !texts.get(Column::level_after_pct).empty();
    if (has_amount && texts.get(Column::unit).empty()) missing.emplace_back("unit");
    if (!has_amount && !has_levels) missing.emplace_back("amount");
  }
  if (kind == Kind::inspection && texts.get(Column::water_pct).empty() && texts.get(Column::iron_ppm).empty() &&
      texts.get(Column::clearance_mm).empty())
    missing.emplace_back("water_pct");
  return missing;
}

Draft read(const Register& reg, Instant now, Kind kind, const Texts& texts) {
  Draft draft;
  draft.missing = missing_of(texts, kind);
  FieldOptions options;
  options.now = now;
  options.source = "typed";
  options.is_typed = true;
  const RegisterIndex index{reg};
  ParsedRecord parsed = parse_record(kind, texts.fields(), index, options);
  if (draft.missing.empty()) draft.entry = std::move(parsed.entry);
  // A moment that is not given is filled in as soon as the vessel is known: its own fault is the vessel's.
  const std::string_view when = name_of(kind == Kind::alarm ? Column::raised_at : Column::at);
  const bool has_moment = !texts.get(kind == Kind::alarm ? Column::raised_at : Column::at).empty();
  for (const Fault& f : parsed.faults) {
    const bool is_missing = std::find(draft.missing.begin(), draft.missing.end(), f.column) != draft.missing.end();
    if (!is_missing && (has_moment || f.column != when)) draft.faults.push_back({f.column, f.text()});
  }
  for (const Fault& f : parsed.warnings) draft.odd.push_back(f.text());
  if (texts.get(Column::ended) == name_of(Ended::not_done) && texts.get(Column::remark).empty())
    draft.odd.emplace_back("not done, and no remark says why");
  return draft;
}

/// What `e` says, as texts; without what belongs to its writing down.
Texts texts_of(const Entry& e, const RegisterIndex& index) {
  const Table table = table_of(e.kind);
  std::string csv;
  LogTableWriter{table, index, csv}.write(e);
  LogFileReader reader{table, CsvReader::of_text(csv)};
  if (reader.next() != CsvReader::Got::row) throw Error{Errc::damaged, reader.csv().fault()};
  Texts texts;
  for (const TableColumn& c : columns_of(table)) texts.set(c.column, std::string{reader.fields()[c.column]});
  for (const Column c : {Column::id, Column::recorded_at, Column::by, Column::replaces, Column::withdraws,
                         Column::reason, Column::source})
    texts.set(c, "");
  return texts;
}

}  // namespace

std::span<const EntryField> fields_of(Kind kind) noexcept {
  switch (kind) {
    case Kind::hours:
      return kHours;
    case Kind::cycles:
      return kCycles;
    case Kind::level:
      return kLevel;
    case Kind::refill:
      return kRefill;
    case Kind::greasing:
      return kGreasing;
    case Kind::alarm:
      return kAlarm;
    case Kind::work:
      return kWork;
    case Kind::inspection:
      return kInspection;
  }
  return {};
}

void require_sound(const Draft& draft, std::string_view between) {
  std::string out;
  const auto add = [&](std::string_view text) {
    if (!out.empty()) out += between;
    out += text;
  };
  for (const FieldFault& f : draft.faults) add(f.text);
  for (const std::string& m : draft.missing) add(m + " is missing");
  if (!out.empty()) throw Error{Errc::bad_data, out};
}

Draft draft_record(const Register& reg, Instant now, Kind kind, const NamedTexts& fields) {
  Texts texts = as_texts(kind, fields);
  split_amount(texts);
  fill_in(texts, reg, now, kind);
  return read(reg, now, kind, texts);
}

Draft draft_correction(const Register& reg, Instant now, const Entry& of, const NamedTexts& fields) {
  for (const auto& [name, text] : fields)
    if (name == "vessel")
      throw Error{Errc::usage, "vessel: a correction keeps the vessel; withdraw the record and add a new one"};
  const RegisterIndex index{reg};
  Texts texts = texts_of(of, index);
  Texts said = as_texts(of.kind, fields);
  split_amount(said);
  for (const EntryField& f : fields_of(of.kind)) {
    const Column c = *find_column(table_of(of.kind), f.name);
    const bool is_said = std::any_of(fields.begin(), fields.end(), [&](const auto& n) { return n.first == f.name; });
    if (is_said || !said.get(c).empty()) texts.set(c, std::string{said.get(c)});
    if (is_said && (c == Column::unit || c == Column::gun || c == Column::grease)) texts.set(Column::cm3_per_unit, "");
  }
  if (!said.get(Column::unit).empty()) texts.set(Column::cm3_per_unit, "");
  Draft draft = read(reg, now, of.kind, texts);
  if (draft.entry) draft.entry->head.replaces = of.head.id;
  return draft;
}

NamedTexts record_texts(const Register& reg, const Entry& e) {
  const RegisterIndex index{reg};
  const Texts texts = texts_of(e, index);
  NamedTexts out;
  for (const EntryField& f : fields_of(e.kind))
    if (const auto text = texts.get(*find_column(table_of(e.kind), f.name)); !text.empty())
      out.emplace_back(f.name, text);
  return out;
}

Register load_register(Database& db) {
  const ReadTransaction view{db};
  return RegisterRepository{db}.load();
}

Register load_register_of(Database& db, std::string_view vessel) {
  const ReadTransaction view{db};
  return RegisterRepository{db}.load_of(vessel);
}

void require_in_force(const LogRepository& log, const Uuid& id) {
  const std::optional<Entry> current = log.in_force(id);
  if (!current) throw Error{Errc::conflict, fmt::format("record {} was withdrawn", format_uuid(id))};
  if (current->head.id != id)
    throw Error{Errc::conflict, fmt::format("record {} is not in force any more; in force is {}", format_uuid(id),
                                            format_uuid(current->head.id))};
}

Entry keep_record(Database& db, const Clock& clock, Entry entry) {
  WriteTransaction transaction{db};
  LogRepository log{db};
  if (entry.head.replaces) require_in_force(log, *entry.head.replaces);
  entry.head.id = make_uuid_v7(clock.now());
  log.add(entry);
  transaction.commit();
  return entry;
}

KeptOnce keep_record_once(Database& db, Entry entry, const Uuid& id) {
  const bool is_v7 = (id.bytes[6] & 0xF0) == 0x70 && (id.bytes[8] & 0xC0) == 0x80;
  if (!is_v7) throw Error{Errc::bad_data, fmt::format("id: {} is no UUID of version 7", format_uuid(id))};
  WriteTransaction transaction{db};
  LogRepository log{db};
  entry.head.id = id;
  if (const auto kept = log.find(id)) {
    const Register reg = RegisterRepository{db}.load();
    const RegisterIndex index{reg};
    const bool is_same = kept->kind == entry.kind && kept->vessel == entry.vessel && kept->head.by == entry.head.by &&
                         kept->head.replaces == entry.head.replaces && !kept->is_withdrawal() &&
                         texts_of(*kept, index) == texts_of(entry, index);
    if (is_same) return {*kept, false};
    throw Error{Errc::conflict, fmt::format("id: {} is that of another record already", format_uuid(id))};
  }
  if (entry.head.replaces) require_in_force(log, *entry.head.replaces);
  log.add(entry);
  transaction.commit();
  return {std::move(entry), true};
}

Entry get_standing_record(Database& db, const std::string& id, std::string_view done) {
  const RecordFamily family = get_record(db, id);
  if (family.record.is_withdrawal())
    throw Error{Errc::usage,
                fmt::format("a withdrawal cannot be {}; withdraw it to bring back what it cancelled", done)};
  const ReadTransaction view{db};
  require_in_force(LogRepository{db}, family.record.head.id);
  return family.record;
}

Withdrawn withdraw_record(Database& db, const Clock& clock, const std::string& id, const std::string& by,
                          const std::string& reason) {
  require_name("by", by);
  const RecordFamily family = get_record(db, id);
  const Entry& of = family.record;
  WriteTransaction transaction{db};
  LogRepository log{db};
  if (!of.is_withdrawal()) {
    require_in_force(log, of.head.id);
  } else {
    for (const Entry& other : log.history_of(of.head.id))
      if (other.head.withdraws == of.head.id)
        throw Error{Errc::conflict, fmt::format("withdrawal {} was withdrawn itself", format_uuid(of.head.id))};
  }
  Entry e = of;
  e.detail = Withdrawal{};
  e.head.id = make_uuid_v7(clock.now());
  e.head.recorded_at = stamp_at(clock.now_s(), zone_of(family.reg, of.vessel));
  e.head.by = by;
  e.head.source = "typed";
  e.head.remark.clear();
  e.head.replaces.reset();
  e.head.withdraws = of.head.id;
  e.head.reason = reason;
  log.add(e);
  Withdrawn answer{e, log.in_force(of.head.id)};
  transaction.commit();
  return answer;
}

}  // namespace shaftlog
