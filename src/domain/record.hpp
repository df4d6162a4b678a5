#pragma once

#include "base/time.hpp"
#include "base/uuid.hpp"
#include "domain/ids.hpp"
#include "domain/quantity.hpp"

#include <array>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <variant>

namespace shaftlog {

// The log: what was written down. A record is never changed; see Head::replaces and Head::withdraws.

enum class Kind : std::uint8_t { hours, cycles, level, refill, greasing, alarm, work, inspection };
constexpr std::array<Kind, 8> kKinds{Kind::hours,    Kind::cycles, Kind::level, Kind::refill,
                                     Kind::greasing, Kind::alarm,  Kind::work,  Kind::inspection};

enum class Unit : std::uint8_t { cm3, ml, l, g, kg, oz, lb, strokes, pct };
/// How a manual greasing ended.
enum class Ended : std::uint8_t {
  pressure,  ///< back-pressure reached: the cavity is full, or the path is blocked
  limit,     ///< the agreed limit went in with no back-pressure: the cavity took at least this much
  stopped,   ///< broken off
  packed,    ///< an emptied cavity was filled after work on it: says nothing about loss, full afterwards
  not_done   ///< could not be done; no amount
};
enum class Purge : std::uint8_t { none, clean, dark, water };
enum class AlarmKind : std::uint8_t { low_level, empty, no_pressure, high_pressure, cycle_fault, power_fault, other };
enum class WorkKind : std::uint8_t {
  seal_replaced,
  bearing_replaced,
  metering_replaced,
  setting_corrected,
  line_repaired,
  pump_repaired,
  bled,
  controller_changed,
  lubricator_off,
  lubricator_on,
  purged,
  contact,
  docked,
  undocked,
  other
};

/// An amount as it was typed, beside what it was turned into.
struct Amount {
  std::string typed;  ///< digits as written, with a decimal point
  Unit unit = Unit::cm3;
  std::optional<Volume> volume;  ///< empty: cannot be told (strokes of a gun that is not known)
  /// What one unit was taken for then [1e-6 mm3]: kept, so that a later calibration rewrites nothing.
  std::optional<std::int64_t> nano_cm3_per_unit;
};

struct Hours {
  HoursReading reading;
  bool is_new_meter = false;              ///< the meter was replaced or reset; `reading` is what the new one shows
  std::optional<HoursReading> old_meter;  ///< what the old meter showed when it was replaced
};
struct Cycles {
  std::int64_t count = 0;  ///< full cycles shown by the counter
  bool is_new_counter = false;
};
struct LevelReading {
  Level level;
};
struct Refill {
  std::optional<Amount> amount;
  std::optional<Level> before, after;
  GreaseId grease;  ///< not set: the registered one
  std::string batch;
};
struct Greasing {
  std::optional<Amount> amount;  ///< empty only for not_done
  GunId gun;
  Ended ended = Ended::pressure;
  std::optional<Purge> purge;  ///< empty: not looked at
  GreaseId grease;             ///< not set: the registered one
};
struct Alarm {
  AlarmKind alarm = AlarmKind::other;
  std::optional<Stamp> cleared;  ///< empty: still standing; Head::at is when it was raised
};
struct Work {
  WorkKind work = WorkKind::other;
};
struct Inspection {
  std::optional<std::int64_t> water_ppm;       ///< 1 % = 10 000 ppm
  std::optional<std::int64_t> iron_ppm_milli;  ///< thousandths of a ppm
  std::optional<std::int64_t> clearance_um;
};

struct Withdrawal {};  ///< cancels Head::withdraws; says nothing else

using Detail = std::variant<Hours, Cycles, LevelReading, Refill, Greasing, Alarm, Work, Inspection, Withdrawal>;

struct Head {
  Uuid id;
  Stamp at;            ///< when it happened
  Stamp recorded_at;   ///< when it was written into a log
  std::string by;      ///< who recorded it; empty: not said
  std::string source;  ///< "typed", "refills.csv:17", ...
  std::string remark;
  std::optional<Uuid> replaces;   ///< this is a correction of that record
  std::optional<Uuid> withdraws;  ///< this cancels that record
  std::string reason;             ///< of the correction or withdrawal
};

struct Entry {
  Head head;
  Kind kind = Kind::hours;  ///< for a withdrawal the kind of what it cancels
  VesselId vessel;
  ShaftId shaft;            ///< not set where the record is about a lubricator or the whole vessel
  LubricatorId lubricator;  ///< an alarm may carry both
  Detail detail;

  [[nodiscard]] bool is_withdrawal() const noexcept { return std::holds_alternative<Withdrawal>(detail); }
};

std::string_view name_of(Kind k) noexcept;
std::string_view name_of(Unit u) noexcept;
std::string_view name_of(Ended e) noexcept;
std::string_view name_of(Purge p) noexcept;
std::string_view name_of(AlarmKind a) noexcept;
std::string_view name_of(WorkKind w) noexcept;
/// the words used in files and on the command line, exactly; empty for any other.
std::optional<Kind> parse_kind(std::string_view word) noexcept;
std::optional<Unit> parse_unit(std::string_view word) noexcept;
std::optional<Ended> parse_ended(std::string_view word) noexcept;
std::optional<Purge> parse_purge(std::string_view word) noexcept;
std::optional<AlarmKind> parse_alarm_kind(std::string_view word) noexcept;
std::optional<WorkKind> parse_work_kind(std::string_view word) noexcept;
/// Whether work of that kind is of a shaft or a lubricator; else it may be of a whole vessel.
bool needs_subject(WorkKind work) noexcept;
/// The words a column takes, for "expected one of ...".
std::string words_of_unit();
std::string words_of_ended();
std::string words_of_purge();
std::string words_of_alarm_kind();
std::string words_of_work_kind();

}  // namespace shaftlog
