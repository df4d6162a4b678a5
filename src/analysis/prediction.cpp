#include "analysis/prediction.hpp"

#include "base/error.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

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

Prediction predict(const LinearFit& fit, std::span<const double> point, double confidence) {
  need_confidence(confidence);
  std::vector<double> row;
  if (fit.intercept) row.push_back(1);
  row.insert(row.end(), point.begin(), point.end());
  const std::size_t p = fit.coefficients.size();
  if (row.size() != p)
    throw Error{Errc::bad_data,
                fmt::format("point: {} values found, {} expected", point.size(), p - (fit.intercept ? 1 : 0))};
  if (!(fit.dof > 0)) throw Error{Errc::bad_data, "fit: no degree of freedom is left for an interval"};
  Prediction r;
  double unit = 0;
  for (std::size_t i = 0; i < p; ++i) {
    r.fit += row[i] * fit.coefficients[i];
    for (std::size_t j = 0; j < p; ++j) unit += row[i] * row[j] * fit.unscaled[i * p + j];
  }
  const double t = t_quantile(0.5 * (1 + confidence), fit.dof) * fit.residual_sd;
  const double narrow = t * std::sqrt(unit), wide = t * std::sqrt(1 + unit);
  r.mean = {r.fit - narrow, r.fit + narrow};
  r.next = {r.fit - wide, r.fit + wide};
  return r;
}

Crossing line_crossing(const LinearFit& line, double level, double confidence) {
  need_confidence(confidence);
  if (line.coefficients.size() != 2 || !line.intercept)
    throw Error{Errc::bad_data,
                fmt::format("fit: {} coefficients found, a straight line expected", line.coefficients.size())};
  if (!(line.dof > 0)) throw Error{Errc::bad_data, "fit: no degree of freedom is left for an interval"};
  const double b0 = line.coefficients[0], b1 = line.coefficients[1];
  if (b1 == 0) throw Error{Errc::bad_data, fmt::format("slope: 0 found, so the line never reaches {}", level)};
  Crossing c;
  c.x = (level - b0) / b1;
  const double t = t_quantile(0.5 * (1 + confidence), line.dof) * line.residual_sd, t2 = t * t;
  // Around the centroid the two coefficients are uncorrelated: (a + b u)^2 = t^2 (v0 + v1 u^2), u = x - centre.
  const double v1 = line.unscaled[3], centre = -line.unscaled[1] / v1, v0 = line.unscaled[0] - v1 * centre * centre;
  const double a = b0 + b1 * centre - level;
  const double qa = b1 * b1 - t2 * v1, qb = 2 * a * b1, qc = a * a - t2 * v0;
  if (!(qa > 0)) return c;
  const double root = std::sqrt(std::max(0.0, qb * qb - 4 * qa * qc));
  c.limits = Interval{centre + (-qb - root) / (2 * qa), centre + (-qb + root) / (2 * qa)};
  return c;
}

Smoothing smooth_exponential(std::span<const double> y, double alpha) {
  need_series(y, 2);
  if (!(alpha > 0 && alpha <= 1))
    throw Error{Errc::bad_data, fmt::format("alpha: {} is not above 0 and up to 1", alpha)};
  Smoothing s;
  double level = y[0];
  s.forecasts.push_back(level);
  for (std::size_t i = 1; i < y.size(); ++i) {
    const double e = y[i] - level;
    s.sse += e * e;
    level = alpha * y[i] + (1 - alpha) * level;
    s.forecasts.push_back(level);
  }
  s.mse = s.sse / static_cast<double>(y.size() - 1);
  return s;
}

}  // namespace shaftlog
