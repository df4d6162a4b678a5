#pragma once

#include <span>
#include <vector>

namespace shaftlog {

// Many tests at once. Formulas and limits of use: docs/methods/multiple-testing.md.

/// Adjusted p values in the order given: reject at level q exactly those with adjusted p <= q. Of those rejected a
/// share of at most q is expected to be false, for tests that are independent or positively dependent.
/// \param p between 0 and 1; ties and any order are fine; empty gives empty
/// \throws Error{bad_data} naming a p that is not between 0 and 1
/// \source [bh_1995]
std::vector<double> adjust_p(std::span<const double> p);

}  // namespace shaftlog
