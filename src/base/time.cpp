#include "base/time.hpp"

#include "base/error.hpp"

#include <array>

#include <date/tz.h>
#include <fmt/format.h>

namespace shaftlog {
namespace {

using std::chrono::minutes;
using std::chrono::seconds;

constexpr std::int64_t kTableEnd_s = 2145916800;  // 2038-01-01T00:00:00Z
constexpr std::int64_t kCycle_s = 883612800;      // 28 years: the calendar repeats between 1901 and 2099
constexpr minutes kFarthestOffset{18 * 60};       // RFC 3339 allows 23:59; no zone ever went past 16 h

std::int64_t into_table(std::int64_t s) noexcept {
  while (s >= kTableEnd_s) s -= kCycle_s;
  return s;
}

bool read_digits(std::string_view text, std::size_t from, std::size_t count, int& out) noexcept {
  if (from + count > text.size()) return false;
  out = 0;
  for (std::size_t i = from; i < from + count; ++i) {
    if (text[i] < '0' || text[i] > '9') return false;
    out = out * 10 + (text[i] - '0');
  }
  return true;
}

bool is_at(std::string_view text, std::size_t i, char c) noexcept { return i < text.size() && text[i] == c; }

struct Civil {
  int year, month, day, hour, minute, second;
};

Civil civil_of(Instant t, minutes offset) {
  const auto local = t + offset;
  const auto day = std::chrono::floor<std::chrono::days>(local);
  const std::chrono::year_month_day ymd{day};
  const auto rest = (local - day).count();
  return {static_cast<int>(ymd.year()),
          static_cast<int>(static_cast<unsigned>(ymd.month())),
          static_cast<int>(static_cast<unsigned>(ymd.day())),
          static_cast<int>(rest / 3600),
          static_cast<int>(rest / 60 % 60),
          static_cast<int>(rest % 60)};
}

// Every record has two moments to be written: digit by digit that takes a fifth of the time.

void put_two(std::string& out, int n) {
  out.push_back(static_cast<char>('0' + n / 10));
  out.push_back(static_cast<char>('0' + n % 10));
}

void put_date(std::string& out, const Civil& c) {
  if (c.year < 0 || c.year > 9999) {
    out += fmt::format("{:04}", c.year);
  } else {
    put_two(out, c.year / 100);
    put_two(out, c.year % 100);
  }
  out.push_back('-');
  put_two(out, c.month);
  out.push_back('-');
  put_two(out, c.day);
}

void put_minute(std::string& out, char before, const Civil& c) {
  out.push_back(before);
  put_two(out, c.hour);
  out.push_back(':');
  put_two(out, c.minute);
}

void put_second(std::string& out, const Civil& c) {
  out.push_back(':');
  put_two(out, c.second);
}

void put_offset(std::string& out, minutes offset) {
  if (offset == minutes{0}) {
    out.push_back('Z');
    return;
  }
  const auto n = offset.count() < 0 ? -offset.count() : offset.count();
  if (n >= 100 * 60) {
    out += fmt::format("{}{:02}:{:02}", offset.count() < 0 ? '-' : '+', n / 60, n % 60);
    return;
  }
  out.push_back(offset.count() < 0 ? '-' : '+');
  put_two(out, static_cast<int>(n / 60));
  out.push_back(':');
  put_two(out, static_cast<int>(n % 60));
}

}  // namespace

Zone::Zone(std::string_view name) {
  if (name == "UTC") return;
  try {
    zone_ = date::locate_zone(std::string{name});
  } catch (const std::exception&) {
    throw Error{
        Errc::bad_data,
        fmt::format("\"{}\" is not a time zone of the tz database; expected a name such as Europe/Lisbon or UTC",
                    name)};
  }
}

std::string Zone::name() const { return zone_ == nullptr ? "UTC" : static_cast<const date::time_zone*>(zone_)->name(); }

minutes Zone::offset_at(Instant t) const {
  if (zone_ == nullptr) return minutes{0};
  const std::int64_t s = into_table(in_unix_s(t));
  if (!cached_ || s < cached_from_s_ || s >= cached_until_s_) {
    const auto info = static_cast<const date::time_zone*>(zone_)->get_info(date::sys_seconds{seconds{s}});
    cached_from_s_ = info.begin.time_since_epoch().count();
    cached_until_s_ = info.end.time_since_epoch().count();
    cached_offset_s_ = info.offset.count();
    cached_ = true;
  }
  return std::chrono::floor<minutes>(seconds{cached_offset_s_});
}

minutes Zone::offset_of_local(std::chrono::local_seconds local) const {
  if (zone_ == nullptr) return minutes{0};
  const Instant as_utc{local.time_since_epoch()};
  // The offset a day earlier holds unless a change lies between; then the earlier one is kept where it still fits.
  const minutes before = offset_at(as_utc - std::chrono::days{1});
  const minutes after = offset_at(as_utc + std::chrono::days{1});
  if (before == after) {
    const minutes here = offset_at(as_utc - before);
    if (here == before) return before;
  }
  if (offset_at(as_utc - before) == before) return before;
  if (offset_at(as_utc - after) == after) return after;
  return before;  // skipped by the clock going forward
}

std::optional<Stamp> parse_stamp(std::string_view text, const Zone& zone) {
  int year = 0, month = 0, day = 0, hour = 12, minute = 0, second = 0;
  if (!read_digits(text, 0, 4, year) || !is_at(text, 4, '-') || !read_digits(text, 5, 2, month) ||
      !is_at(text, 7, '-') || !read_digits(text, 8, 2, day)) {
    return std::nullopt;
  }
  std::size_t at = 10;
  Stamp out;
  out.precision = Precision::day;
  if (is_at(text, at, 'T') || is_at(text, at, ' ')) {
    if (!read_digits(text, at + 1, 2, hour) || !is_at(text, at + 3, ':') || !read_digits(text, at + 4, 2, minute)) {
      return std::nullopt;
    }
    at += 6;
    out.precision = Precision::minute;
    if (is_at(text, at, ':')) {
      if (!read_digits(text, at + 1, 2, second)) return std::nullopt;
      at += 3;
      out.precision = Precision::second;
    }
  }
  const std::chrono::year_month_day ymd{std::chrono::year{year}, std::chrono::month{static_cast<unsigned>(month)},
                                        std::chrono::day{static_cast<unsigned>(day)}};
  if (!ymd.ok() || hour > 23 || minute > 59 || second > 59 || year < 1970 || year > 2099) return std::nullopt;
  const std::chrono::local_seconds local{std::chrono::local_days{ymd} + std::chrono::hours{hour} + minutes{minute} +
                                         seconds{second}};
  if (at == text.size()) {
    out.offset = zone.offset_of_local(local);
  } else if (text.substr(at) == "Z") {
    out.offset = minutes{0};
  } else {
    int h = 0, m = 0;
    const bool plus = is_at(text, at, '+');
    if ((!plus && !is_at(text, at, '-')) || !read_digits(text, at + 1, 2, h) || !is_at(text, at + 3, ':') ||
        !read_digits(text, at + 4, 2, m) || at + 6 != text.size() || m > 59) {
      return std::nullopt;
    }
    const minutes size{h * 60 + m};
    if (size > kFarthestOffset) return std::nullopt;
    out.offset = plus ? size : -size;
  }
  out.utc = Instant{local.time_since_epoch()} - out.offset;
  if (out.utc < kEarliest || out.utc > kLatest) return std::nullopt;
  return out;
}

std::string format_stamp(const Stamp& s) {
  const Civil c = civil_of(s.utc, s.offset);
  std::string out;
  out.reserve(25);
  put_date(out, c);
  if (s.precision != Precision::day) put_minute(out, 'T', c);
  if (s.precision == Precision::second) put_second(out, c);
  put_offset(out, s.offset);
  return out;
}

std::string compact_utc(Instant t) {
  std::string at = format_utc(t);
  std::erase_if(at, [](char c) { return c == '-' || c == ':'; });
  return at;
}

std::string format_utc(Instant t) {
  const Civil c = civil_of(t, minutes{0});
  std::string out;
  out.reserve(20);
  put_date(out, c);
  put_minute(out, 'T', c);
  put_second(out, c);
  out.push_back('Z');
  return out;
}

std::string format_local(const Stamp& s) {
  const Civil c = civil_of(s.utc, s.offset);
  std::string out;
  put_date(out, c);
  if (s.precision != Precision::day) put_minute(out, ' ', c);
  return out;
}

std::string format_day(Instant t, const Zone& zone) {
  const Civil c = civil_of(t, zone.offset_at(t));
  return fmt::format("{:04}-{:02}-{:02}", c.year, c.month, c.day);
}

std::string format_day(Instant t) {
  const Civil c = civil_of(t, minutes{0});
  return fmt::format("{:04}-{:02}-{:02}", c.year, c.month, c.day);
}

Stamp stamp_at(Instant t, const Zone& zone, Precision precision) { return {t, zone.offset_at(t), precision}; }

}  // namespace shaftlog
