#pragma once

#include "analysis/types.hpp"
#include "domain/vessel_log.hpp"

#include <cmath>
#include <span>
#include <utility>
#include <vector>

namespace shaftlog {

/// A stretch of calendar time.
struct Span {
  Instant from{}, to{};
};

/// Running hours of one shaft as a function of time: piecewise linear, never falling, counted from the first reading.
class HoursCurve {
 public:
  struct Point {
    Instant at{};
    double hours = 0;           ///< running hours since the first reading [h]
    bool is_estimated = false;  ///< the run up to this point was estimated (meter replaced with no old reading)
    double sd_h = 0;            ///< standard deviation of the run from the point before [h]
    double half_width_h = 0;    ///< half the calendar width that the stamp leaves open [h]; a day: 12
  };

  HoursCurve() = default;
  explicit HoursCurve(std::vector<Point> points);

  [[nodiscard]] bool is_empty() const noexcept { return points_.empty(); }
  [[nodiscard]] const std::vector<Point>& points() const noexcept { return points_; }
  [[nodiscard]] Instant first() const { return points_.front().at; }
  [[nodiscard]] Instant last() const { return points_.back().at; }
  /// Beyond the last reading nothing runs in these stretches. \param spans oldest first, not overlapping
  void rest(std::vector<Span> spans) { rests_ = std::move(spans); }
  /// Since when the shaft is known to rest at `t`, which lies beyond the last reading; empty: it is not.
  [[nodiscard]] std::optional<Instant> rests_since(Instant t) const;
  /// Running hours at `t` [h]; extrapolated with the recent use beyond the readings (before the first: negative).
  [[nodiscard]] double hours_at(Instant t) const;
  /// Running hours from `a` to `b` [h], a <= b; at least 0 and at most the calendar hours.
  [[nodiscard]] double run_h(Instant a, Instant b) const;
  /// Standard deviation of run_h [h]: grows between readings and beyond the last one.
  [[nodiscard]] double run_sd_h(Instant a, Instant b) const;
  /// Standard deviation of hours_at(t) against the readings around it [h]: 0 at a reading noted to the minute.
  [[nodiscard]] double moment_sd_h(Instant t) const { return std::sqrt(end_variance(t)); }
  /// The moment at which the curve passes `hours` [h since the first reading]; extrapolated with the recent use.
  /// Empty when the shaft does not run any more, or rests and nothing tells until when.
  [[nodiscard]] std::optional<Instant> time_of(double hours) const;
  /// Recent use [running hours per calendar day] over about the last 90 days of readings, dockings included.
  [[nodiscard]] double use_h_per_day() const noexcept { return use_h_per_day_; }
  /// Spread of the use of single weeks in the last two years [h per day], one value a week, oldest first.
  [[nodiscard]] const std::vector<double>& weekly_use() const noexcept { return weekly_use_; }

 private:
  [[nodiscard]] double read_at(Instant t) const;
  [[nodiscard]] double end_variance(Instant t) const;
  /// Days from `a` to `b`, both beyond the last reading, in which it may have run.
  [[nodiscard]] double free_days(Instant a, Instant b) const;

  std::vector<Point> points_;
  std::vector<double> gap_var_h2_;  // variance of estimated runs, cumulated [h2]
  double use_h_per_day_ = 0;
  double scatter_h2_per_day_ = 0;   // variance of the run per calendar day [h2/d]
  double drift_h2_per_day2_ = 144;  // variance of the use per day of the weeks ahead against that of late [h2/d2]
  std::vector<double> weekly_use_;
  std::vector<Span> rests_;
};

struct HoursResult {
  HoursCurve curve;
  std::vector<Suspect> suspects;  ///< readings left out, oldest first
  double meter_now_h = 0;         ///< what the meter shows at the last kept reading [h]
  double total_h = 0;  ///< the same, counted on over roll-overs and meter changes from the first kept reading [h]
};

/// The longest chain of readings in which, for neighbours, 0 <= run <= calendar time (tolerance for clocks, rounding
/// and the precision of each stamp), across marked meter changes, roll-overs, and unmarked changes that at least three
/// later readings confirm. What is left out is a Suspect with the likely reason.
/// \param readings of one shaft, sorted by (at, id); any number
/// \param rollover_h reading at which the meter starts again at 0 [h]; empty: it does not
/// \param as_of nothing later is used
HoursResult build_hours(std::span<const Logged<Hours>> readings, std::optional<double> rollover_h, Instant as_of);

}  // namespace shaftlog
