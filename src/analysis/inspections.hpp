#pragma once

#include "analysis/distributions.hpp"
#include "analysis/types.hpp"
#include "domain/vessel_log.hpp"

#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace shaftlog {

// What samples, measurements and the purged grease say of one shaft, with limits. Formulas and limits of use:
// docs/methods/inspections.md.

enum class LimitKind : std::uint8_t {
  registered,  ///< set for this shaft in the register
  common,      ///< 2 % of water: common practice, no published limit
  statistical  ///< what the shaft's own earlier values would pass once in 1000: says "unlike before", not "bad"
};
struct InspectionLimit {
  double value = 0;
  LimitKind kind = LimitKind::registered;
};

struct InspectionPoint {
  Uuid record;
  Instant at{};
  double value = 0;
};

/// One measured quantity of a shaft since the work that started it anew.
struct InspectionTrend {
  std::string_view measure, unit;       ///< water [%], iron [ppm], clearance [mm]
  std::vector<InspectionPoint> points;  ///< oldest first; never empty
  std::optional<double> per_year;       ///< Theil-Sen slope [unit per year]; empty: fewer than 2 days apart
  Interval per_year_limits;             ///< 90 %; infinite with too few samples
  /// The sample from which on the slope is taken: where a rise began after a flat stretch, else the first.
  std::size_t slope_from = 0;
  std::optional<double> p_rising;  ///< Mann-Kendall, one-sided; empty below 3 samples
  bool p_is_exact = false;         ///< by counting orders; else the normal approximation corrected for ties
  std::optional<double> before;    ///< median of all but the newest two; empty below 4 samples
  std::optional<InspectionLimit> limit;
  bool is_over_limit = false;             ///< the newest is above it
  bool is_rising = false;                 ///< p_rising <= 0.05 and the newest above 1.5 x `before`
  std::optional<Instant> limit_reached;   ///< by the slope, when it rises and is below its limit; within 10 years
  std::optional<Instant> limit_earliest;  ///< by the upper limit of the slope; empty: no date, or no such limit
  std::string says;                       ///< one sentence with the figures, lower case, no full stop
};

/// What came out at the seal at greasings that noted it.
struct PurgeTrend {
  int looked = 0, water = 0, dark = 0;                       ///< in the last 365 days
  int looked_before = 0, water_before = 0, dark_before = 0;  ///< before that, since the work that started it anew
  int not_noted = 0;  ///< greasings of the last 365 days at which nobody noted it
  /// Chance of so many with water among the later ones if nothing changed (Fisher's exact test, one-sided); empty where
  /// either part has none that was looked at.
  std::optional<double> p_more_water;
  std::vector<Uuid> water_records;  ///< of the last year, newest first
  Instant second_water{};           ///< when the second of them was seen
  std::string says;
};

struct InspectionTrends {
  std::optional<Instant> since;  ///< the last seal or bearing replaced, or purge; empty: from the first record
  std::vector<InspectionTrend> measures;
  PurgeTrend purge;
};

/// \param log of the vessel; \param shaft one of its shafts; \param as_of nothing later is used
/// \source [gilbert_1987] [sen_1968]; docs/methods/inspections.md
InspectionTrends inspection_trends(const VesselLog& log, ShaftId shaft, Instant as_of);

/// The value at which a rise began, the values before it level: least squares of a level and a line that leaves it, at
/// one of the values. 0 where one straight line does as well, or fewer than kLeastInRise values would be left.
/// \param x ascending, finite; y the same length
/// \source docs/methods/inspections.md
std::size_t rise_from(std::span<const double> x, std::span<const double> y);
/// Values that a rise after a level stretch must have, the one at which it began included: the limits of a slope of
/// fewer are its extremes.
constexpr std::size_t kLeastInRise = 5;

/// P(X >= k) of the hypergeometric law: k marked among n drawn from `marked` of `all`.
double hypergeometric_at_least(int k, int n, int marked, int all);
/// One-sided 99.9 % limit for one more value like these; empty for fewer than 4, or when they do not vary.
/// \param x finite; on the scale of logarithms when all are above 0
std::optional<double> next_value_limit(std::span<const double> x);

}  // namespace shaftlog
