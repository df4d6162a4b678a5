#include "analysis/multiple_testing.hpp"

#include "base/error.hpp"

#include <algorithm>
#include <numeric>

#include <fmt/format.h>

namespace shaftlog {

std::vector<double> adjust_p(std::span<const double> p, Adjustment how) {
  for (std::size_t i = 0; i < p.size(); ++i)
    if (!(p[i] >= 0 && p[i] <= 1))
      throw Error{Errc::bad_data, fmt::format("p {}: {} is not between 0 and 1", i + 1, p[i])};
  const std::size_t m = p.size();
  const auto n = static_cast<double>(m);
  std::vector<std::size_t> order(m);
  std::iota(order.begin(), order.end(), std::size_t{0});
  std::stable_sort(order.begin(), order.end(), [&](std::size_t a, std::size_t b) { return p[a] < p[b]; });
  std::vector<double> factor(m);  // of the r-th smallest
  double harmonic = 0;
  for (std::size_t r = 1; r <= m; ++r) harmonic += 1 / static_cast<double>(r);
  bool step_up = true;
  for (std::size_t i = 0; i < m; ++i) {
    const auto rank = static_cast<double>(i + 1);
    switch (how) {
      case Adjustment::benjamini_hochberg:
        factor[i] = n / rank;
        break;
      case Adjustment::benjamini_yekutieli:
        factor[i] = harmonic * n / rank;
        break;
      case Adjustment::holm:
        factor[i] = n - rank + 1;
        step_up = false;
        break;
      case Adjustment::hochberg:
        factor[i] = n - rank + 1;
        break;
      case Adjustment::bonferroni:
        factor[i] = n;
        break;
    }
  }
  std::vector<double> adjusted(m);
  double bound = step_up ? 1.0 : 0.0;
  for (std::size_t k = 0; k < m; ++k) {
    const std::size_t i = step_up ? m - 1 - k : k;
    const double v = std::min(1.0, factor[i] * p[order[i]]);
    bound = step_up ? std::min(bound, v) : std::max(bound, v);
    adjusted[order[i]] = bound;
  }
  return adjusted;
}

std::vector<std::size_t> discoveries(std::span<const double> p, double q, Adjustment how) {
  if (!(q >= 0 && q <= 1)) throw Error{Errc::bad_data, fmt::format("level: {} is not between 0 and 1", q)};
  const auto adjusted = adjust_p(p, how);
  std::vector<std::size_t> found;
  for (std::size_t i = 0; i < adjusted.size(); ++i)
    if (adjusted[i] <= q) found.push_back(i);
  return found;
}

}  // namespace shaftlog
