#include "analysis/multiple_testing.hpp"

#include "base/error.hpp"

#include <algorithm>
#include <numeric>

#include <fmt/format.h>

namespace shaftlog {

std::vector<double> adjust_p(std::span<const double> p) {
  for (std::size_t i = 0; i < p.size(); ++i)
    if (!(p[i] >= 0 && p[i] <= 1))
      throw Error{Errc::bad_data, fmt::format("p {}: {} is not between 0 and 1", i + 1, p[i])};
  const std::size_t m = p.size();
  const auto n = static_cast<double>(m);
  std::vector<std::size_t> order(m);
  std::iota(order.begin(), order.end(), std::size_t{0});
  std::stable_sort(order.begin(), order.end(), [&](std::size_t a, std::size_t b) { return p[a] < p[b]; });
  std::vector<double> adjusted(m);
  double bound = 1;
  for (std::size_t i = m; i-- > 0;) {
    bound = std::min(bound, n / static_cast<double>(i + 1) * p[order[i]]);
    adjusted[order[i]] = bound;
  }
  return adjusted;
}

}  // namespace shaftlog
