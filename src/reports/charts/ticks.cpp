#include "reports/charts/ticks.hpp"

#include <algorithm>
#include <array>
#include <cmath>

#include <fmt/format.h>

namespace shaftlog {
namespace {

using std::chrono::day;
using std::chrono::days;
using std::chrono::month;
using std::chrono::months;
using std::chrono::year;
using std::chrono::year_month_day;
using std::chrono::years;

constexpr std::array<std::string_view, 12> kMonths{"Jan", "Feb", "Mar", "Apr", "May", "Jun",
                                                   "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"};

Instant begin_of(std::chrono::local_days d, const Zone& zone) {
  return Instant{d.time_since_epoch()} - zone.offset_of_local(std::chrono::local_seconds{d});
}

std::chrono::local_days day_of(Instant t, const Zone& zone) {
  return std::chrono::floor<days>(std::chrono::local_seconds{(t + zone.offset_at(t)).time_since_epoch()});
}

bool is_new_year(const year_month_day& d) { return d.month() == month{1} && d.day() == day{1}; }

std::vector<TimeTick> by_days(Instant from, Instant to, const Zone& zone, int step) {
  std::vector<TimeTick> out;
  // Counted from a Monday, so that steps of 7 and 14 are weeks and a chart of the next day has the same ticks.
  constexpr std::chrono::local_days kMonday{days{4}};  // 1970-01-05
  std::chrono::local_days d = day_of(from, zone);
  d += days{(step - (d - kMonday).count() % step) % step};
  for (; begin_of(d, zone) <= to; d += days{step}) {
    if (begin_of(d, zone) < from) continue;
    const year_month_day ymd{d};
    out.push_back(
        {begin_of(d, zone),
         fmt::format("{} {}", static_cast<unsigned>(ymd.day()), kMonths[static_cast<unsigned>(ymd.month()) - 1]),
         is_new_year(ymd)});
  }
  return out;
}

std::vector<TimeTick> by_months(Instant from, Instant to, const Zone& zone, int step) {
  std::vector<TimeTick> out;
  const year_month_day start{day_of(from, zone)};
  const int first = static_cast<int>(start.year()) * 12 + static_cast<int>(static_cast<unsigned>(start.month())) - 1;
  for (int m = first - first % step;; m += step) {
    const year_month_day d{year{m / 12}, month{static_cast<unsigned>(m % 12 + 1)}, day{1}};
    const Instant at = begin_of(std::chrono::local_days{d}, zone);
    if (at > to) break;
    if (at < from) continue;
    const bool is_year = m % 12 == 0;
    out.push_back(
        {at, is_year ? fmt::format("{}", m / 12) : std::string{kMonths[static_cast<std::size_t>(m % 12)]}, is_year});
  }
  return out;
}

}  // namespace

NumberTicks nice_ticks(double low, double high, int most) {
  NumberTicks out;
  if (!std::isfinite(low) || !std::isfinite(high)) return out;
  if (low >= high) {
    out.at = {low};
    return out;
  }
  const double least = (high - low) / (most + 1);  // too many are refused below
  int power = static_cast<int>(std::floor(std::log10(least)));
  const auto ticks_of = [&](int factor) {
    // The step as a whole number of 10^power: ticks are multiples of it, so 0.3 is 0.3 and not 0.30000000000000004.
    const double scale = std::pow(10.0, std::abs(power));
    const auto scaled = [&](double k) { return power < 0 ? k * factor / scale : k * factor * scale; };
    const double step = scaled(1);
    std::vector<double> at;
    for (double k = std::ceil(low / step - 1e-9); scaled(k) <= high + 1e-9 * step; ++k) {
      at.push_back(k == 0 ? 0.0 : scaled(k));
    }
    return at;
  };
  for (;; ++power) {
    for (const int factor : {1, 2, 5}) {
      const double step = factor * std::pow(10.0, power);
      if (step < least) continue;
      out.at = ticks_of(factor);
      if (static_cast<int>(out.at.size()) > most) continue;
      out.decimals = std::max(0, -power);
      return out;
    }
  }
}

std::vector<double> log_ticks(double low, double high, int most) {
  std::vector<double> all, powers;
  if (!(low > 0) || !(high > low) || !std::isfinite(high)) return all;
  for (int power = static_cast<int>(std::floor(std::log10(low))); std::pow(10.0, power) <= high * (1 + 1e-9); ++power) {
    for (const int factor : {1, 2, 5}) {
      const double v = power < 0 ? factor / std::pow(10.0, -power) : factor * std::pow(10.0, power);
      if (v < low * (1 - 1e-9) || v > high * (1 + 1e-9)) continue;
      all.push_back(v);
      if (factor == 1) powers.push_back(v);
    }
  }
  return static_cast<int>(all.size()) > most ? powers : all;
}

std::string tick_text(double value, int decimals) {
  std::string text = fmt::format("{:.{}f}", value, decimals);
  return text.find_first_not_of("-0.") == std::string::npos && text.front() == '-' ? text.substr(1) : text;
}

std::vector<TimeTick> time_ticks(Instant from, Instant to, const Zone& zone, int most) {
  if (to < from) return {};
  const double span_days = days_between(from, to);
  for (const int step : {1, 2, 7, 14}) {
    if (span_days / step > most) continue;
    std::vector<TimeTick> out = by_days(from, to, zone, step);
    if (static_cast<int>(out.size()) <= most) return out;
  }
  for (const int step : {1, 2, 3, 6, 12, 24, 60, 120, 240, 600, 1200}) {
    if (span_days / 31 / step > most) continue;
    std::vector<TimeTick> out = by_months(from, to, zone, step);
    if (static_cast<int>(out.size()) <= most) return out;
  }
  return {};
}

}  // namespace shaftlog
