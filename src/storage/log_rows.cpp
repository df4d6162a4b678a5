#include "storage/log_rows.hpp"

#include "base/error.hpp"
#include "base/text.hpp"

#include <fmt/format.h>

namespace shaftlog {
namespace {

// On disk for good: the order of the enum may not move.
static_assert(code_of(Kind::hours) == 1 && code_of(Kind::cycles) == 2 && code_of(Kind::level) == 3 &&
              code_of(Kind::refill) == 4 && code_of(Kind::greasing) == 5 && code_of(Kind::alarm) == 6 &&
              code_of(Kind::work) == 7 && code_of(Kind::inspection) == 8);

template <class Word>
Word known(std::optional<Word> parsed, std::string_view text) {
  if (parsed) return *parsed;
  throw Error{Errc::damaged, fmt::format("the log is damaged: \"{}\" is no word it may hold", shown(text))};
}

std::optional<Amount> read_amount(const Query& row, int column) {
  if (row.is_null(column)) return std::nullopt;
  return Amount{std::string{row.text(column)}, known(parse_unit(row.text(column + 1)), row.text(column + 1)),
                row.maybe<Volume>(column + 2), row.maybe_integer(column + 3)};
}

template <class What>
Detail read_as(const Query& row, int column) {
  What what;
  read_detail(row, column, what);
  return what;
}

}  // namespace

void read_detail(const Query& row, int column, Hours& out) {
  out.reading = HoursReading::from_base(row.integer(column));
  out.is_new_meter = row.integer(column + 1) != 0;
  out.old_meter = row.maybe<HoursReading>(column + 2);
}
void read_detail(const Query& row, int column, Cycles& out) {
  out.count = row.integer(column);
  out.is_new_counter = row.integer(column + 1) != 0;
}
void read_detail(const Query& row, int column, LevelReading& out) { out.level = Level::from_base(row.integer(column)); }
void read_detail(const Query& row, int column, Refill& out) {
  out.amount = read_amount(row, column);
  out.before = row.maybe<Level>(column + 4);
  out.after = row.maybe<Level>(column + 5);
  out.grease = row.key<GreaseId>(column + 6);
  out.batch = row.text(column + 7);
}
void read_detail(const Query& row, int column, Greasing& out) {
  out.amount = read_amount(row, column);
  out.gun = row.key<GunId>(column + 4);
  out.ended = known(parse_ended(row.text(column + 5)), row.text(column + 5));
  if (!row.is_null(column + 6)) out.purge = known(parse_purge(row.text(column + 6)), row.text(column + 6));
  out.grease = row.key<GreaseId>(column + 7);
}
void read_detail(const Query& row, int column, Alarm& out) {
  out.alarm = known(parse_alarm_kind(row.text(column)), row.text(column));
  out.cleared = row.maybe_stamp(column + 1);
}
void read_detail(const Query& row, int column, Work& out) {
  out.work = known(parse_work_kind(row.text(column)), row.text(column));
}
void read_detail(const Query& row, int column, Inspection& out) {
  out.water_ppm = row.maybe_integer(column);
  out.iron_ppm_milli = row.maybe_integer(column + 1);
  out.clearance_um = row.maybe_integer(column + 2);
}

Detail read_detail(Kind kind, const Query& row, int column) {
  switch (kind) {
    case Kind::hours:
      return read_as<Hours>(row, column);
    case Kind::cycles:
      return read_as<Cycles>(row, column);
    case Kind::level:
      return read_as<LevelReading>(row, column);
    case Kind::refill:
      return read_as<Refill>(row, column);
    case Kind::greasing:
      return read_as<Greasing>(row, column);
    case Kind::alarm:
      return read_as<Alarm>(row, column);
    case Kind::work:
      return read_as<Work>(row, column);
    case Kind::inspection:
      return read_as<Inspection>(row, column);
  }
  throw Error{Errc::damaged, "the log is damaged: a record is of no known kind"};
}

void read_listed(const Query& row, const std::string& by, const std::string& source, Entry& e) {
  const auto kind = row.integer(1);
  if (kind < 1 || kind > 8) throw Error{Errc::damaged, "the log is damaged: a record is of no known kind"};
  e.head.id = row.uuid(0);
  e.kind = static_cast<Kind>(kind - 1);
  e.vessel = row.key<VesselId>(2);
  e.shaft = row.key<ShaftId>(3);
  e.lubricator = row.key<LubricatorId>(4);
  e.head.at = row.stamp(5);
  e.head.recorded_at = row.stamp(8);
  e.head.by = by;
  e.head.source = source;
  if (!row.is_null(13)) e.head.source += ':' + std::to_string(row.integer(13));
  e.head.remark = row.text(14);
  e.head.replaces = row.maybe_uuid(15);
  e.head.withdraws = row.maybe_uuid(16);
  e.head.reason = row.text(17);
}

Entry read_head(const Query& row) {
  Entry e;
  read_listed(row, std::string{row.text(11)}, std::string{row.text(12)}, e);
  e.detail = Withdrawal{};
  return e;
}

}  // namespace shaftlog
