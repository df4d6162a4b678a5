#pragma once

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
  change_point   ///< largest likelihood ratio of one change of the mean
};
std::string_view name_of(PlainMethod m) noexcept;

struct PlainSignal {
  PlainMethod method{};
  std::string untold;  ///< why it cannot be applied; empty: it was
  bool signals = false;
  std::optional<std::size_t> since;  ///< position of the first value that signals, or of the first after the change
  bool is_up = false;                ///< with a signal: above the baseline, or rising
  double statistic = 0, limit = 0;   ///< signals when beyond the limit; below it for the two that give a p
  std::string statistic_is;          ///< what it is: "value / mean of the first six", "p"
  std::optional<Estimate> slope_pct_per_1000h;  ///< Theil-Sen, of the median; mann_kendall on running hours only
};

struct PlainSeries {
  VesselId vessel;
  ShaftId shaft;            ///< of washout rates
  LubricatorId lubricator;  ///< of delivery ratios
  std::string unit;         ///< "cm3/h", "1"
  std::vector<double> values;
  std::vector<Instant> at;    ///< of the record that closes each interval
  std::vector<Uuid> records;  ///< that record
  int left_out = 0;           ///< intervals with no plain figure: broken off, at the limit, packed, no hours, doubtful
  int baseline = 0;           ///< first values that charts take their mean and sigma from
  std::vector<PlainSignal> signals;  ///< one a method, in the order of PlainMethod
};

/// (amount taken + delivered by the automatic system) / running hours of each interval between two greasings that both
/// ended with back-pressure, since the last new baseline.
PlainSeries plain_washout(const ShaftHistory& history);
/// used / called for of each stretch between two levels.
PlainSeries plain_delivery(VesselId vessel, const DeliveryResult& delivery);
/// Of one vessel: its shafts, then its lubricators, each by code. What the records contradict by themselves is left out
/// (contradictions.hpp, hours.hpp); nothing is taken from the review's models, and nothing from other vessels.
/// \param log sorted, as LogRepository::load_vessel gives it; nothing after as_of is used
/// \source docs/methods/plain-methods.md
std::vector<PlainSeries> list_plain_series(const VesselLog& log, Instant as_of);

/// The methods on one series. \param hours position of each value on a scale of running hours; empty: count values
/// \param is_ratio both directions count for the fixed rule
/// \source docs/methods/plain-methods.md
std::vector<PlainSignal> plain_signals(const std::vector<double>& values, const std::vector<double>& hours,
                                       bool is_ratio);

/// Fewest values that the methods are applied to, and that charts take their baseline from.
constexpr std::size_t kPlainFewest = 8, kPlainBaseline = 6;

}  // namespace shaftlog
