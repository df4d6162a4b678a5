#pragma once

#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

namespace shaftlog {

// Many tests at once. Formulas and limits of use: docs/methods/multiple-testing.md.

enum class Adjustment : std::uint8_t {
  benjamini_hochberg,   ///< false discovery rate, tests independent or positively dependent
  benjamini_yekutieli,  ///< false discovery rate, any dependence
  holm,                 ///< chance of any false finding, any dependence
  hochberg,             ///< chance of any false finding, independent tests
  bonferroni
};

/// Adjusted p values in the order given: reject at level q exactly those with adjusted p <= q.
/// \param p between 0 and 1; ties and any order are fine; empty gives empty
/// \throws Error{bad_data} naming a p that is not between 0 and 1
/// \source [bh_1995]
std::vector<double> adjust_p(std::span<const double> p, Adjustment how = Adjustment::benjamini_hochberg);

/// Positions whose adjusted p is at most q, in the order given.
std::vector<std::size_t> discoveries(std::span<const double> p, double q,
                                     Adjustment how = Adjustment::benjamini_hochberg);

}  // namespace shaftlog
