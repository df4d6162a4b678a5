#pragma once

#include "analysis/alarm_watch.hpp"
#include "analysis/review.hpp"

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace shaftlog {

// What plain methods say of the figures of successive intervals, for people who want to see them beside the main
// method. They take every figure at its face value, and no finding is made of them.

enum class PlainMethod : std::uint8_t {
  fixed_rule,    ///< over twice (of a ratio also under half) the mean of the first six
  shewhart,      ///< a value beyond 3 sigma
  ewma,          ///< exponentially weighted mean, weight 0.2
  cusum,         ///< tabular sum, reference value 0.5 sigma
  mann_kendall,  ///< rank test of a trend, with the Theil-Sen slope
  change_point,  ///< largest likelihood ratio of one change of the mean
  regression,    ///< straight line by least squares, weighted by the running hours of each interval
  // Of alarms:
  halves,    ///< as many in the second half of the running hours as in the first, by the exact test of two rates
  laplace,   ///< their mean moment against the middle of the running hours
  power_law  ///< the shape of a power law of the running hours against 1
};
std::string_view name_of(PlainMethod m) noexcept;

/// What the values of a series are.
enum class PlainFigure : std::uint8_t {
  washout,         ///< of a shaft [cm3/h]
  delivery_ratio,  ///< of a lubricator [1]
  between_alarms   ///< running hours from one alarm to the next [h]; of either
};
std::string_view name_of(PlainFigure f) noexcept;

struct PlainSignal {
  PlainMethod method{};
  std::string untold;  ///< why it cannot be applied; empty: it was
  bool signals = false;
  std::optional<std::size_t> since;  ///< position of the first value that signals, or of the first after the change
  bool is_up = false;                ///< with a signal: above the baseline, or rising; alarms: more often
  double statistic = 0, limit = 0;   ///< signals when beyond the limit; below it for the two that give a p
  std::string statistic_is;          ///< what it is: "value / mean of the first six", "p"
  /// Of the median, on running hours only: Theil-Sen's of mann_kendall, that of the line of regression.
  std::optional<Estimate> slope_pct_per_1000h;
  std::optional<Estimate> next;   ///< of regression: where the next value of a usual interval is to be expected, 90 %
  std::optional<Estimate> shape;  ///< of the power law; above 1: more and more often
};

struct PlainSeries {
  VesselId vessel;
  ShaftId shaft;            ///< its own figures, or not set:
  LubricatorId lubricator;  ///< those of a lubricator
  PlainFigure figure{};
  std::string unit;  ///< "cm3/h", "1", "h"
  std::vector<double> values;
  std::vector<Instant> at;    ///< of the record that closes each interval
  std::vector<Uuid> records;  ///< that record
  /// Intervals with no plain figure: broken off, at the limit, packed, no hours, doubtful; alarms with no running hours
  /// before them.
  int left_out = 0;
  int baseline = 0;                  ///< first values that charts take their mean and sigma from
  std::vector<PlainSignal> signals;  ///< one a method, in the order of PlainMethod
};

/// (amount taken + delivered by the automatic system) / running hours of each interval between two greasings that both
/// ended with back-pressure, since the last new baseline.
PlainSeries plain_washout(const ShaftHistory& history);
/// used / called for of each stretch between two levels.
PlainSeries plain_delivery(VesselId vessel, const DeliveryResult& delivery);
/// Running hours between the alarms of one subject, what came within 30 minutes counted once.
PlainSeries plain_alarms(VesselId vessel, const WatchedAlarms& watched);
/// Of one vessel: its shafts, then its lubricators, each by code; then the alarms of each that had any.
/// What the records contradict by themselves is left out (contradictions.hpp, hours.hpp); nothing is taken from the
/// review's models, and nothing from other vessels.
/// \param log sorted, as LogRepository::load_vessel gives it; nothing after as_of is used
/// \source docs/methods/plain-methods.md
std::vector<PlainSeries> list_plain_series(const VesselLog& log, Instant as_of);

/// The methods on one series. \param hours position of each value on a scale of running hours; empty: count values
/// \param run_h of each interval, above 0: the weight of its value; empty: all the same
/// \param is_ratio both directions count for the fixed rule
/// \source docs/methods/plain-methods.md
std::vector<PlainSignal> plain_signals(const std::vector<double>& values, const std::vector<double>& hours,
                                       bool is_ratio, const std::vector<double>& run_h = {});

/// The methods of alarms. \param at_h their moments, oldest first, above 0 and up to watched_h [h]
/// \source docs/methods/plain-methods.md
std::vector<PlainSignal> alarm_signals(const std::vector<double>& at_h, double watched_h);

/// Fewest values that the methods are applied to, and that charts take their baseline from.
constexpr std::size_t kPlainFewest = 8, kPlainBaseline = 6;
/// Fewest alarms that the methods of alarms are applied to.
constexpr std::size_t kPlainFewestAlarms = 5;

}  // namespace shaftlog
