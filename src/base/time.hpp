#pragma once

#include <chrono>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

namespace shaftlog {

/// A point of time on the common clock, whole seconds of UTC.
using Instant = std::chrono::sys_seconds;

/// How finely a moment was written down.
enum class Precision : std::uint8_t { second, minute, day };

/// A moment as somebody wrote it: the instant, the clock's offset then, and how finely it was told.
/// A day alone stands for 12:00 of that day on that clock.
struct Stamp {
  Instant utc{};
  std::chrono::minutes offset{0};  ///< local = utc + offset
  Precision precision = Precision::minute;
  friend bool operator==(const Stamp&, const Stamp&) = default;
};

/// Earliest and latest moments that are taken: 1970-01-01T00:00:00Z and 2099-12-31T23:59:59Z.
constexpr Instant kEarliest{std::chrono::seconds{0}};
constexpr Instant kLatest{std::chrono::seconds{4102444799}};

constexpr Instant from_unix(std::int64_t s) noexcept { return Instant{std::chrono::seconds{s}}; }
constexpr std::int64_t in_unix_s(Instant t) noexcept { return t.time_since_epoch().count(); }
/// Calendar hours from `a` to `b` (not running hours).
constexpr double hours_between(Instant a, Instant b) noexcept { return static_cast<double>((b - a).count()) / 3600.0; }
constexpr double days_between(Instant a, Instant b) noexcept { return static_cast<double>((b - a).count()) / 86400.0; }

/// A time zone of the IANA database by name, read from the system. Copies are cheap. One Zone is used by one thread.
/// Rules past 2037 are taken from the same calendar 28 years earlier (the library's table ends there).
class Zone {
 public:
  /// \throws Error{bad_data} if the system's tz database has no zone of that name
  explicit Zone(std::string_view name);
  static Zone utc() { return Zone{}; }
  [[nodiscard]] std::string name() const;
  [[nodiscard]] std::chrono::minutes offset_at(Instant t) const;
  /// Offset of a local wall-clock time. A time that is skipped when clocks go forward takes the offset before the
  /// change, a time that comes twice the first one.
  [[nodiscard]] std::chrono::minutes offset_of_local(std::chrono::local_seconds local) const;

 private:
  Zone() = default;
  const void* zone_ = nullptr;  // a date::time_zone; null: UTC
  mutable std::int64_t cached_from_s_ = 0, cached_until_s_ = 0;
  mutable std::int64_t cached_offset_s_ = 0;
  mutable bool cached_ = false;
};

/// Reads ISO 8601 calendar forms, strictly by position:
///   2026-03-14   2026-03-14T08:10   2026-03-14T08:10:30   each optionally followed by Z or +hh:mm or -hh:mm;
/// a blank may stand for the T. With no offset the wall clock of `zone` is meant.
/// \return empty when the text has another form, names no day of the calendar, or lies outside kEarliest..kLatest
std::optional<Stamp> parse_stamp(std::string_view text, const Zone& zone);

/// Local time with offset at the stamp's own precision: "2026-03-14T08:10+01:00", "...Z" for offset 0,
/// a day as "2026-03-14+01:00".
std::string format_stamp(const Stamp& s);

/// "2026-03-14T07:10:00Z"
std::string format_utc(Instant t);
/// "20260314T081000Z", for names of files.
std::string compact_utc(Instant t);

/// Local date and time for people: "2026-03-14 08:10"; "2026-03-14" when only the day is known.
std::string format_local(const Stamp& s);
/// "2026-03-14" of `t` on the clock of `zone`.
std::string format_day(Instant t, const Zone& zone);
/// "2026-03-14" of `t` in UTC.
std::string format_day(Instant t);

/// `t` on the clock of `zone`, told to `precision`.
Stamp stamp_at(Instant t, const Zone& zone, Precision precision = Precision::second);

/// Half the width of what a precision leaves open [h]: a day 12, a minute and a second about 0.
constexpr double half_width_h(Precision p) noexcept { return p == Precision::day ? 12.0 : 0.02; }

/// Gives the present time; commands ask it once. Tests use a fixed one.
class Clock {
 public:
  virtual ~Clock() = default;
  [[nodiscard]] virtual std::chrono::system_clock::time_point now() const = 0;
  [[nodiscard]] Instant now_s() const { return std::chrono::floor<std::chrono::seconds>(now()); }
};

class SystemClock final : public Clock {
 public:
  [[nodiscard]] std::chrono::system_clock::time_point now() const override { return std::chrono::system_clock::now(); }
};

class FixedClock final : public Clock {
 public:
  explicit FixedClock(Instant t) : t_{t} {}
  [[nodiscard]] std::chrono::system_clock::time_point now() const override { return t_; }

 private:
  Instant t_;
};

}  // namespace shaftlog
