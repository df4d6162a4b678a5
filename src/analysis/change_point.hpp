#pragma once

#include <cstddef>
#include <optional>
#include <span>
#include <vector>

namespace shaftlog {

// When did it change? Positions count records: a break at k means that records 0 .. k-1 belong to the first part.
// Formulas and limits of use: docs/methods/change-points.md. Values are taken as independent: dependence makes breaks.

/// One shift of the mean.
struct LevelShift {
  std::size_t at = 0;  ///< records before the break, least squares
  double mean_before = 0, mean_after = 0;
  double rss_none = 0, rss = 0;
  double sup_f = 0;  ///< largest F of a break within the trimmed range
  double lr = 0;     ///< largest 2 log likelihood ratio, normal errors of one variance, over all splits
  std::size_t lr_at = 0;
  double t = 0;                   ///< two-sample t at the break, before less after
  std::size_t low = 0, high = 0;  ///< confidence limits of `at` after Bai; may reach 0 or n
};
/// \param y at least 4 finite values that vary; \param trim share of records left out at either end for sup F
/// \throws Error{bad_data}; \source [zeileis_2003], [bai_perron_2003]
LevelShift find_level_shift(std::span<const double> y, double confidence = 0.95, double trim = 0.15);

/// Cumulated deviations from the mean over sd sqrt(n): largest size, where, and its limiting p (Kolmogorov's law).
struct CusumOfResiduals {
  double statistic = 0, p = 1;
  std::size_t at = 0;
};
CusumOfResiduals cusum_of_residuals(std::span<const double> y);

/// Pettitt's rank test for one change; p is the usual approximation, conservative for small n.
struct Pettitt {
  double k = 0, p = 1;
  std::size_t at = 0;
};
Pettitt pettitt(std::span<const double> y);

/// Several shifts of the mean: best breaks for each number of them.
struct Segmentation {
  std::vector<std::size_t> breaks;  ///< rising
  std::vector<double> means;        ///< one more than breaks
  double rss = 0, bic = 0;          ///< BIC counts means, breaks and one variance
};
/// Exact optimum by dynamic programming, O(max_breaks n^2). result[m] has m breaks; it ends where segments no longer
/// fit. \param min_length records in a segment, >= 1
/// \throws Error{bad_data}; \source [bai_perron_2003], [zeileis_2003]
std::vector<Segmentation> find_level_shifts(std::span<const double> y, std::size_t min_length, std::size_t max_breaks);
/// The one of least BIC. \param all not empty
const Segmentation& best_by_bic(const std::vector<Segmentation>& all);

/// One change of a Poisson rate.
struct RateChange {
  double at = 0;  ///< counts: records before; times: moment of the change
  std::size_t events_before = 0;
  double rate_before = 0, rate_after = 0;
  double lr = 0;             ///< 2 log likelihood ratio against one rate; not chi-square: see the method page
  double low = 0, high = 0;  ///< `at` of the first and last split within the likelihood limit (counts only)
};
/// From counts of equal exposure. \source [carlin_1992] data
RateChange find_rate_change(std::span<const double> counts, double confidence = 0.95);
/// From event times, sorted, watched over [from, to]. \param min_length shortest part considered, > 0, keeps the
/// likelihood finite. \source [jarrett_1979] data
RateChange find_rate_change(std::span<const double> times, double from, double to, double min_length);

/// A line that bends once without a jump: y = a + b x + c max(x - join, 0).
struct BrokenLine {
  double join = 0, intercept = 0, slope_left = 0, slope_right = 0, rss = 0;
  double join_se = 0;  ///< linearised
};
/// \param x, y the same length n >= 5, at least 5 different x; \source [bacon_watts_1971]
BrokenLine fit_broken_line(std::span<const double> x, std::span<const double> y);

}  // namespace shaftlog
