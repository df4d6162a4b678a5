#include "analysis/hours.hpp"

#include <algorithm>
#include <chrono>
#include <cmath>
#include <cstdint>
#include <utility>

namespace shaftlog {
namespace {

constexpr double kUsualScatter_h2_per_day = 36.0;  // used until the readings tell: 6 h over one day
// The same of a month's use against that before it, as a share of the use, until the readings tell (judgement, no
// source).
constexpr double kUsualDrift = 0.35, kLeastDrift = 0.05, kImaginaryMonths = 6;

}  // namespace

HoursCurve::HoursCurve(std::vector<Point> points) : points_{std::move(points)} {
  if (points_.empty()) return;
  gap_var_h2_.assign(points_.size(), 0.0);
  for (std::size_t i = 1; i < points_.size(); ++i)
    gap_var_h2_[i] = gap_var_h2_[i - 1] + points_[i].sd_h * points_[i].sd_h;
  if (points_.size() < 2 || last() <= first()) return;

  const Instant recent = std::max(first(), last() - std::chrono::days{90});
  use_h_per_day_ = std::clamp((points_.back().hours - read_at(recent)) / days_between(recent, last()), 0.0, 24.0);

  // Scatter from neighbouring runs: their mean uses differ by it, slow changes of pattern hardly enter.
  double sum = 3 * kUsualScatter_h2_per_day, weight = 3;
  const Instant old = last() - std::chrono::days{730};
  for (std::size_t i = 2; i < points_.size(); ++i) {
    if (points_[i].at < old) continue;
    const double d1 = days_between(points_[i - 2].at, points_[i - 1].at);
    const double d2 = days_between(points_[i - 1].at, points_[i].at);
    if (d1 < 0.5 || d2 < 0.5) continue;
    const double r1 = (points_[i - 1].hours - points_[i - 2].hours) / d1;
    const double r2 = (points_[i].hours - points_[i - 1].hours) / d2;
    sum += (r1 - r2) * (r1 - r2) / (1 / d1 + 1 / d2);
    weight += 1;
  }
  scatter_h2_per_day_ = std::max(1.0, sum / weight);

  // By how much the use of a month left that of the three months before it: season, dockings, lay-ups, time in port.
  double drift = kImaginaryMonths * std::pow(kUsualDrift * use_h_per_day_, 2), months = kImaginaryMonths;
  for (Instant to = last(); to - std::chrono::days{60} >= std::max(old, first()); to -= std::chrono::days{10}) {
    const Instant from = to - std::chrono::days{30}, before = std::max(first(), from - std::chrono::days{90});
    const double known = days_between(before, from);
    const double off = (read_at(to) - read_at(from)) / 30 - (read_at(from) - read_at(before)) / known;
    drift += off * off - scatter_h2_per_day_ / 30;
    months += 1;
  }
  drift_h2_per_day2_ = std::max(drift / months, std::pow(kLeastDrift * use_h_per_day_, 2));

  const auto weeks = std::min<std::int64_t>(104, (last() - first()) / std::chrono::days{7});
  for (std::int64_t k = weeks; k > 0; --k) {
    const Instant a = last() - std::chrono::days{7 * k};
    weekly_use_.push_back(std::clamp((read_at(a + std::chrono::days{7}) - read_at(a)) / 7.0, 0.0, 24.0));
  }
}

double HoursCurve::read_at(Instant t) const {
  const auto next =
      std::upper_bound(points_.begin(), points_.end(), t, [](Instant x, const Point& p) { return x < p.at; });
  if (next == points_.begin()) return points_.front().hours;
  if (next == points_.end()) return points_.back().hours;
  const Point& a = *std::prev(next);
  return a.hours + (next->hours - a.hours) * (hours_between(a.at, t) / hours_between(a.at, next->at));
}

double HoursCurve::free_days(Instant a, Instant b) const {
  double days = days_between(a, b);
  for (const Span& s : rests_)
    if (s.to > a && s.from < b) days -= days_between(std::max(a, s.from), std::min(b, s.to));
  return std::max(0.0, days);
}

std::optional<Instant> HoursCurve::rests_since(Instant t) const {
  for (const Span& s : rests_)
    if (s.from <= t && t < s.to) return s.from;
  return std::nullopt;
}

double HoursCurve::hours_at(Instant t) const {
  if (points_.empty()) return 0;
  double beyond_days = 0;
  if (t > last()) beyond_days = free_days(last(), t);
  if (t < first()) beyond_days = -days_between(t, first());
  return read_at(t) + use_h_per_day_ * beyond_days;
}

double HoursCurve::run_h(Instant a, Instant b) const {
  if (points_.empty() || b <= a) return 0;
  return std::clamp(hours_at(b) - hours_at(a), 0.0, hours_between(a, b));
}

double HoursCurve::end_variance(Instant t) const {
  const double scatter = points_.size() < 2 ? kUsualScatter_h2_per_day : scatter_h2_per_day_;
  if (t > last() || t < first()) {
    const double days = t > last() ? free_days(last(), t) : days_between(t, first());
    const double most = 24.0 * days / std::sqrt(12.0);
    return std::min(scatter * days + drift_h2_per_day2_ * days * days, most * most);
  }
  const auto next =
      std::lower_bound(points_.begin(), points_.end(), t, [](const Point& p, Instant x) { return p.at < x; });
  double stamp = 0;
  if (next->at == t) {
    stamp = next->half_width_h * use_h_per_day_ / 24.0 / std::sqrt(3.0);
    return stamp * stamp;
  }
  const Point& a = *std::prev(next);
  const double span = days_between(a.at, next->at), x = days_between(a.at, t);
  const double run = next->hours - a.hours;
  const double least = std::max(0.0, run - 24 * (span - x)), most = std::min(24 * x, run);
  const double uniform = std::max(0.0, most - least) / std::sqrt(12.0);
  return std::min(scatter * x * (span - x) / span, uniform * uniform);
}

double HoursCurve::run_sd_h(Instant a, Instant b) const {
  if (b <= a) return 0;
  const double days = days_between(a, b);
  const double widest = 24.0 * days / std::sqrt(12.0);
  if (points_.empty()) return widest;
  const auto place = [this](Instant t) {
    return std::upper_bound(points_.begin(), points_.end(), t, [](Instant x, const Point& p) { return x < p.at; }) -
           points_.begin();
  };
  const auto ia = place(a), ib = place(b);
  double var = 0;
  if (ia == ib && ia > 0 && ib < static_cast<std::ptrdiff_t>(points_.size())) {  // inside one stretch
    const Point& p = points_[static_cast<std::size_t>(ia - 1)];
    const Point& q = points_[static_cast<std::size_t>(ia)];
    const double span = days_between(p.at, q.at), run = q.hours - p.hours;
    const double least = std::max(0.0, run - 24 * (span - days)), most = std::min(24 * days, run);
    const double uniform = std::max(0.0, most - least) / std::sqrt(12.0);
    var = std::min(scatter_h2_per_day_ * days * (1 - days / span), uniform * uniform);
    var += q.sd_h * q.sd_h * (days / span) * (days / span);
  } else if (a >= last() || b <= first()) {
    const double scatter = points_.size() < 2 ? kUsualScatter_h2_per_day : scatter_h2_per_day_;
    const double free = a >= last() ? free_days(a, b) : days;
    var = scatter * free + drift_h2_per_day2_ * free * free;
  } else {
    var = end_variance(a) + end_variance(b);
    const auto gap = [this](std::ptrdiff_t i) {
      return i <= 0 ? 0.0 : gap_var_h2_[std::min(static_cast<std::size_t>(i), gap_var_h2_.size()) - 1];
    };
    var += gap(ib) - gap(ia);
  }
  return std::min(std::sqrt(std::max(0.0, var)), widest);
}

std::optional<Instant> HoursCurve::time_of(double hours) const {
  if (points_.empty() || !std::isfinite(hours)) return std::nullopt;
  const auto moved = [](Instant from, double h) -> std::optional<Instant> {
    if (std::abs(h) > 8766.0 * 200) return std::nullopt;
    return from + std::chrono::seconds{std::llround(h * 3600.0)};
  };
  if (hours > points_.back().hours) {
    if (use_h_per_day_ <= 0) return std::nullopt;
    double left = (hours - points_.back().hours) / use_h_per_day_ * 24.0;  // of the calendar [h]
    Instant from = last();
    for (const Span& s : rests_) {
      if (s.to <= from) continue;
      const double until = std::max(0.0, hours_between(from, s.from));
      if (left <= until) break;
      if (s.to == kLatest) return std::nullopt;
      left -= until;
      from = s.to;
    }
    return moved(from, left);
  }
  if (hours < points_.front().hours) {
    if (use_h_per_day_ <= 0) return std::nullopt;
    return moved(first(), -(points_.front().hours - hours) / use_h_per_day_ * 24.0);
  }
  const auto next =
      std::lower_bound(points_.begin(), points_.end(), hours, [](const Point& p, double h) { return p.hours < h; });
  if (next == points_.begin()) return first();
  const Point& a = *std::prev(next);
  return moved(a.at, hours_between(a.at, next->at) * (hours - a.hours) / (next->hours - a.hours));
}

}  // namespace shaftlog
