#include "storage/log_repository.hpp"

#include "base/error.hpp"
#include "base/text.hpp"
#include "storage/chain.hpp"
#include "storage/log_rows.hpp"
#include "storage/log_statements.hpp"
#include "storage/side_repository.hpp"

#include <algorithm>
#include <charconv>
#include <sqlite3.h>

#include <fmt/format.h>

namespace shaftlog {
namespace {

[[noreturn]] void refuse(const Entry& entry, const std::string& what) {
  throw Error{Errc::bad_data, fmt::format("record {}: {}", format_uuid(entry.head.id), what)};
}

void require_stamp(const Entry& entry, const char* field, const Stamp& s) {
  if (s.utc < kEarliest || s.utc > kLatest) {
    refuse(entry, fmt::format("{} lies outside 1970 to 2099", field));
  }
  if (s.offset < std::chrono::hours{-18} || s.offset > std::chrono::hours{18}) {
    refuse(entry, fmt::format("{}: the offset is more than 18 h", field));
  }
}

void require_text(const Entry& entry, const char* field, std::string_view text) {
  if (const auto at = find_bad_utf8(text)) {
    refuse(entry, fmt::format("{}: byte {} of \"{}\" is not UTF-8", field, *at + 1, shown(text)));
  }
}

void require_not_negative(const Entry& entry, const char* field, std::optional<std::int64_t> value) {
  if (value && *value < 0) refuse(entry, fmt::format("{} is {}, expected 0 or more", field, *value));
}

template <class Kind>
std::optional<std::int64_t> base_of(const std::optional<Quantity<Kind>>& q) {
  return q ? std::optional{q->base()} : std::nullopt;
}
std::optional<std::int64_t> base_of(const std::optional<HoursReading>& r) {
  return r ? std::optional{r->base()} : std::nullopt;
}

void require_amount(const Entry& entry, const std::optional<Amount>& amount) {
  if (!amount) return;
  if (amount->typed.empty()) refuse(entry, "amount: the digits as typed are missing");
  require_text(entry, "amount", amount->typed);
  require_not_negative(entry, "amount", base_of(amount->volume));
  if (amount->nano_cm3_per_unit && *amount->nano_cm3_per_unit <= 0) {
    refuse(entry,
           fmt::format("amount: one unit is taken for {}e-9 cm3, expected more than 0", *amount->nano_cm3_per_unit));
  }
}

struct RequireDetail {
  const Entry& entry;
  void operator()(const Hours& d) const {
    require_not_negative(entry, "meter reading", d.reading.base());
    require_not_negative(entry, "old meter's reading", base_of(d.old_meter));
  }
  void operator()(const Cycles& d) const { require_not_negative(entry, "count", d.count); }
  void operator()(const LevelReading& d) const { require_not_negative(entry, "level", d.level.base()); }
  void operator()(const Refill& d) const {
    require_amount(entry, d.amount);
    require_not_negative(entry, "level before", base_of(d.before));
    require_not_negative(entry, "level after", base_of(d.after));
    require_text(entry, "batch", d.batch);
  }
  void operator()(const Greasing& d) const {
    require_amount(entry, d.amount);
    if (d.amount && d.ended == Ended::not_done) refuse(entry, "a greasing that was not done has no amount");
    if (!d.amount && d.ended != Ended::not_done) refuse(entry, "a greasing that was done needs an amount");
  }
  void operator()(const Alarm& d) const {
    if (d.cleared) require_stamp(entry, "cleared", *d.cleared);
  }
  void operator()(const Work&) const {}
  void operator()(const Inspection& d) const {
    require_not_negative(entry, "water", d.water_ppm);
    require_not_negative(entry, "iron", d.iron_ppm_milli);
    require_not_negative(entry, "clearance", d.clearance_um);
  }
  void operator()(const Withdrawal&) const {}
};

/// Everything the tables would refuse. Checked before anything is written: the spine and its detail are two statements,
/// and a spine without its detail could not be taken back.
void require_keepable(const Entry& entry) {
  const Head& head = entry.head;
  const char* const kind = name_of(entry.kind).data();
  require_stamp(entry, "at", head.at);
  require_stamp(entry, "recorded_at", head.recorded_at);
  require_text(entry, "by", head.by);
  require_text(entry, "source", head.source);
  require_text(entry, "remark", head.remark);
  require_text(entry, "reason", head.reason);
  if (head.replaces && head.withdraws) refuse(entry, "it cannot both replace and withdraw");
  if (head.replaces == head.id || head.withdraws == head.id) refuse(entry, "it cannot replace or withdraw itself");
  if (entry.is_withdrawal() != head.withdraws.has_value()) {
    refuse(entry, entry.is_withdrawal() ? "a withdrawal must say what it withdraws"
                                        : "a record that withdraws another says nothing else");
  }
  if (!entry.vessel.is_set()) refuse(entry, "it names no vessel");
  if (entry.is_withdrawal()) return;
  if (entry.detail.index() != index_of(entry.kind)) refuse(entry, fmt::format("its detail is not that of {}", kind));
  const bool has_shaft = entry.shaft.is_set();
  const bool has_lubricator = entry.lubricator.is_set();
  switch (entry.kind) {
    case Kind::hours:
    case Kind::greasing:
    case Kind::inspection:
      if (!has_shaft || has_lubricator) refuse(entry, fmt::format("{} is about a shaft and no lubricator", kind));
      break;
    case Kind::cycles:
    case Kind::level:
    case Kind::refill:
      if (has_shaft || !has_lubricator) refuse(entry, fmt::format("{} is about a lubricator and no shaft", kind));
      break;
    case Kind::alarm:
      if (!has_shaft && !has_lubricator) refuse(entry, "an alarm is about a lubricator or a shaft");
      break;
    case Kind::work:
      break;
  }
  std::visit(RequireDetail{entry}, entry.detail);
}

/// "refills.csv:17" is line 17 of refills.csv; anything else is a name alone. Joining gives the text back exactly.
std::pair<std::string, std::optional<std::int64_t>> split_source(const std::string& source) {
  const auto colon = source.rfind(':');
  if (colon == std::string::npos || colon == 0) return {source, std::nullopt};
  const std::string_view digits = std::string_view{source}.substr(colon + 1);
  std::int64_t line = 0;
  const auto [end, error] = std::from_chars(digits.data(), digits.data() + digits.size(), line);
  const bool is_line =
      error == std::errc{} && end == digits.data() + digits.size() && line >= 0 && digits == std::to_string(line);
  if (!is_line) return {source, std::nullopt};
  return {source.substr(0, colon), line};
}

std::int64_t key_of(const std::string& name, std::unordered_map<std::string, std::int64_t>& cache, Query& find,
                    Query& add) {
  if (const auto it = cache.find(name); it != cache.end()) return it->second;
  std::int64_t id = 0;
  if (find.bind(name).step()) {
    id = find.integer(0);
    find.reset();
  } else {
    add.run(name);
    id = add.last_id();
  }
  cache.emplace(name, id);
  return id;
}

std::int64_t entry_key(Database& db, const Uuid& id) {
  Query row{db, log_sql::kEntryKey};
  if (!row.bind(id).step()) throw Error{Errc::damaged, "the log is damaged: a record's id is not where it should be"};
  return row.integer(0);
}

std::optional<std::string_view> typed_of(const std::optional<Amount>& a) {
  return a ? std::optional<std::string_view>{a->typed} : std::nullopt;
}
std::optional<std::string_view> unit_of(const std::optional<Amount>& a) {
  return a ? std::optional{name_of(a->unit)} : std::nullopt;
}
std::optional<Volume> volume_of(const std::optional<Amount>& a) { return a ? a->volume : std::nullopt; }
std::optional<std::int64_t> per_unit_of(const std::optional<Amount>& a) {
  return a ? a->nano_cm3_per_unit : std::nullopt;
}

}  // namespace

LogRepository::Statements::Adding::Adding(Database& db)
    : find_person{db, log_sql::kFindPerson},
      add_person{db, log_sql::kAddPerson},
      find_source{db, log_sql::kFindSource},
      add_source{db, log_sql::kAddSource},
      entry{db, log_sql::kAddEntry},
      hours{db, log_sql::kAddHours},
      cycles{db, log_sql::kAddCycles},
      level{db, log_sql::kAddLevel},
      refill{db, log_sql::kAddRefill},
      greasing{db, log_sql::kAddGreasing},
      alarm{db, log_sql::kAddAlarm},
      work{db, log_sql::kAddWork},
      inspection{db, log_sql::kAddInspection},
      as_of_undone{db.undone()} {}

LogRepository::LogRepository(Database& db) : db_{&db}, statements_{std::make_unique<Statements>()} {}
LogRepository::~LogRepository() = default;

bool LogRepository::add(const Entry& entry) { return add(entry, nullptr); }
bool LogRepository::add(const Entry& entry, const LinkPlace& place) { return add(entry, &place); }

bool LogRepository::add(const Entry& entry, const LinkPlace* place) {
  require_keepable(entry);
  if (!statements_->adding) statements_->adding.emplace(*db_);
  Statements::Adding& to = *statements_->adding;
  if (to.as_of_undone != db_->undone()) {  // a name added in a transaction that was undone is not there any more
    to.people.clear();
    to.sources.clear();
    to.as_of_undone = db_->undone();
  }
  const Head& head = entry.head;
  if (place == nullptr && (head.replaces || head.withdraws)) {
    // One that is there already is no new correction: a folder with ships' corrections may be imported again.
    const SideRepository side{*db_};
    if (side.side() == Side::office && !Query{*db_, log_sql::kEntryKey}.bind(head.id).step()) {
      side.require_may_alter(head.replaces ? *head.replaces : *head.withdraws);
    }
  }
  std::optional<std::int64_t> by, source, line;
  if (!head.by.empty()) by = key_of(head.by, to.people, to.find_person, to.add_person);
  if (!head.source.empty()) {
    const auto [name, in_line] = split_source(head.source);
    source = key_of(name, to.sources, to.find_source, to.add_source);
    line = in_line;
  }
  // Only these details refer to rows that may be missing; the savepoint lets the spine go with its detail then.
  const bool may_refer = entry.kind == Kind::refill || entry.kind == Kind::greasing;
  const bool guarded = may_refer || sqlite3_get_autocommit(handle_of(*db_)) != 0;
  try {
    std::optional<Savepoint> savepoint;
    if (guarded) savepoint.emplace(*db_);
    to.entry.run(head.id, code_of(entry.kind), entry.vessel, entry.shaft, entry.lubricator, head.at.utc,
                 std::int64_t{head.at.offset.count()}, static_cast<int>(head.at.precision), head.recorded_at.utc,
                 std::int64_t{head.recorded_at.offset.count()}, static_cast<int>(head.recorded_at.precision), by,
                 source, line, said(head.remark), head.replaces, head.withdraws, said(head.reason));
    const bool is_new = to.entry.changes() != 0;
    const std::int64_t id = is_new ? to.entry.last_id() : 0;
    if (is_new && !entry.is_withdrawal()) {
      switch (entry.kind) {
        case Kind::hours: {
          const auto& d = std::get<Hours>(entry.detail);
          to.hours.run(id, d.reading, d.is_new_meter, d.old_meter);
          break;
        }
        case Kind::cycles: {
          const auto& d = std::get<Cycles>(entry.detail);
          to.cycles.run(id, d.count, d.is_new_counter);
          break;
        }
        case Kind::level:
          to.level.run(id, std::get<LevelReading>(entry.detail).level);
          break;
        case Kind::refill: {
          const auto& d = std::get<Refill>(entry.detail);
          to.refill.run(id, typed_of(d.amount), unit_of(d.amount), volume_of(d.amount), per_unit_of(d.amount), d.before,
                        d.after, d.grease, said(d.batch));
          break;
        }
        case Kind::greasing: {
          const auto& d = std::get<Greasing>(entry.detail);
          to.greasing.run(id, typed_of(d.amount), unit_of(d.amount), volume_of(d.amount), per_unit_of(d.amount), d.gun,
                          name_of(d.ended), d.purge ? std::optional{name_of(*d.purge)} : std::nullopt, d.grease);
          break;
        }
        case Kind::alarm: {
          const auto& d = std::get<Alarm>(entry.detail);
          to.alarm.run(id, name_of(d.alarm), utc_s(d.cleared), offset_min(d.cleared), precision_code(d.cleared));
          break;
        }
        case Kind::work:
          to.work.run(id, name_of(std::get<Work>(entry.detail).work));
          break;
        case Kind::inspection: {
          const auto& d = std::get<Inspection>(entry.detail);
          to.inspection.run(id, d.water_ppm, d.iron_ppm_milli, d.clearance_um);
          break;
        }
      }
    }
    if (place != nullptr) {
      db_->chain().put(*place, {LinkTarget::Sort::entry, is_new ? id : entry_key(*db_, head.id)});
    } else if (is_new) {
      db_->chain().append(id, entry);
    }
    if (savepoint) savepoint->keep();
    return is_new;
  } catch (const Error& e) {
    if (e.code() == Errc::conflict) throw e.within("record " + format_uuid(head.id));
    throw;
  }
}

}  // namespace shaftlog
