#pragma once

#include "base/time.hpp"

#include <string>
#include <vector>

namespace shaftlog {

struct NumberTicks {
  std::vector<double> at;
  int decimals = 0;  ///< that tell neighbours apart
};

/// Round values (1, 2 or 5 times a power of ten apart) within [low, high].
/// \param most as many at most, >= 2; fewer than 2 are answered only when low == high or one is not finite
NumberTicks nice_ticks(double low, double high, int most);

/// 1, 2 and 5 times the powers of ten within [low, high]; only the powers when there would be more than `most`.
std::vector<double> log_ticks(double low, double high, int most);

/// A tick's label with the decimals of its row: "0.20", "1500".
std::string tick_text(double value, int decimals);

struct TimeTick {
  Instant at{};
  std::string label;     ///< "14", "Mar", "2026"
  bool is_year = false;  ///< first moment of a year on that clock
};

/// Beginnings of days, months or years on the clock of `zone` within [from, to], evenly told: steps of 1, 2, 7, 14
/// days, 1, 2, 3, 6 months, 1, 2, 5, 10 ... years. \param most as many at most, >= 2
std::vector<TimeTick> time_ticks(Instant from, Instant to, const Zone& zone, int most);

}  // namespace shaftlog
