#pragma once

#include <cstddef>
#include <span>

namespace shaftlog {

// When did it change? Positions count records: a break at k means that records 0 .. k-1 belong to the first part.
// Formulas and limits of use: docs/methods/change-points.md. Values are taken as independent: dependence makes breaks.

/// One shift of the mean.
struct LevelShift {
  std::size_t at = 0;  ///< records before the break, least squares
  double mean_before = 0, mean_after = 0;
  double rss_none = 0, rss = 0;
  double sup_f = 0;               ///< largest F of a break within the trimmed range
  std::size_t low = 0, high = 0;  ///< confidence limits of `at` after Bai; may reach 0 or n
};
/// \param y at least 4 finite values that vary; \param trim share of records left out at either end for sup F
/// \throws Error{bad_data}; \source [zeileis_2003], [bai_perron_2003]
LevelShift find_level_shift(std::span<const double> y, double confidence = 0.95, double trim = 0.15);

}  // namespace shaftlog
