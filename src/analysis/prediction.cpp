#include "analysis/prediction.hpp"

#include "base/error.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <vector>

#include <fmt/format.h>

namespace shaftlog {

namespace {

constexpr double kNan = std::numeric_limits<double>::quiet_NaN();

void need_series(std::span<const double> x, std::size_t least) {
  if (x.size() < least)
    throw Error{Errc::bad_data, fmt::format("values: {} found, at least {} expected", x.size(), least)};
  for (std::size_t i = 0; i < x.size(); ++i)
    if (!std::isfinite(x[i])) throw Error{Errc::bad_data, fmt::format("value {}: {} is not finite", i + 1, x[i])};
}
void need_confidence(double c) {
  if (!(c > 0 && c < 1)) throw Error{Errc::bad_data, fmt::format("confidence: {} is not between 0 and 1", c)};
}

// Neumaier's compensated sum.
template <class F>
double sum_of(std::size_t n, F term) {
  double sum = 0, lost = 0;
  for (std::size_t i = 0; i < n; ++i) {
    const double v = term(i), next = sum + v;
    lost += std::abs(sum) >= std::abs(v) ? (sum - next) + v : (v - next) + sum;
    sum = next;
  }
  return sum + lost;
}

}  // namespace

Description describe(std::span<const double> x) {
  need_series(x, 1);
  const auto n = static_cast<double>(x.size());
  const double first = x[0];
  // Differences from the first value are exact for close values; the rest of the mean is kept apart.
  const double rest = sum_of(x.size(), [&](std::size_t i) { return x[i] - first; }) / n;
  const auto d = [&](std::size_t i) { return (x[i] - first) - rest; };
  const double squares = sum_of(x.size(), [&](std::size_t i) { return d(i) * d(i); });
  const double products = sum_of(x.size() - 1, [&](std::size_t i) { return d(i) * d(i + 1); });
  return {first + rest, x.size() > 1 ? std::sqrt(squares / (n - 1)) : kNan, squares > 0 ? products / squares : kNan};
}

double median(std::span<const double> x) {
  need_series(x, 1);
  std::vector<double> v{x.begin(), x.end()};
  const auto half = static_cast<std::ptrdiff_t>(v.size() / 2);
  std::nth_element(v.begin(), v.begin() + half, v.end());
  const double upper = v[v.size() / 2];
  if (v.size() % 2 == 1) return upper;
  const double lower = *std::max_element(v.begin(), v.begin() + half);
  return lower + 0.5 * (upper - lower);
}

Prediction predict(const LineFit& line, double x, double confidence) {
  need_confidence(confidence);
  if (!(line.dof > 0)) throw Error{Errc::bad_data, "fit: no degree of freedom is left for an interval"};
  const double away = x - line.centre;
  const double unit = 1 / line.weight + away * away / line.spread;
  const double t = t_quantile(0.5 * (1 + confidence), line.dof) * line.residual_sd;
  const double narrow = t * std::sqrt(unit), wide = t * std::sqrt(1 + unit);
  Prediction r;
  r.fit = line.level + line.slope * away;
  r.mean = {r.fit - narrow, r.fit + narrow};
  r.next = {r.fit - wide, r.fit + wide};
  return r;
}

}  // namespace shaftlog
