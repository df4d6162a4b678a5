#include "analysis/least_squares.hpp"

#include "base/error.hpp"

#include <cmath>
#include <limits>

#include <fmt/format.h>

namespace shaftlog {

namespace {

constexpr double kNan = std::numeric_limits<double>::quiet_NaN();
constexpr double kInf = std::numeric_limits<double>::infinity();

void need_finite(const char* name, std::span<const double> v) {
  for (std::size_t i = 0; i < v.size(); ++i)
    if (!std::isfinite(v[i]))
      throw Error{Errc::bad_data, fmt::format("{}, row {}: {} is not finite", name, i + 1, v[i])};
}
void need_length(const char* name, std::size_t found, std::size_t wanted) {
  if (found != wanted)
    throw Error{Errc::bad_data, fmt::format("{}: {} values found, {} expected", name, found, wanted)};
}

}  // namespace

LineFit fit_line(std::span<const double> x, std::span<const double> y, std::span<const double> weights) {
  const std::size_t n = y.size();
  need_length("x", x.size(), n);
  need_finite("x", x);
  need_finite("y", y);
  if (n < 2) throw Error{Errc::bad_data, fmt::format("records: {} found, at least 2 expected", n)};
  if (!weights.empty()) need_length("weights", weights.size(), n);
  for (std::size_t i = 0; i < weights.size(); ++i)
    if (!(weights[i] > 0) || weights[i] == kInf)
      throw Error{Errc::bad_data, fmt::format("weight, row {}: {} is not a number above 0", i + 1, weights[i])};
  const auto w = [&](std::size_t i) { return weights.empty() ? 1.0 : weights[i]; };
  LineFit f;
  for (std::size_t i = 0; i < n; ++i) f.weight += w(i);
  // A mean is taken twice, the second time of what the first left: only then do close values far from 0 keep their
  // digits.
  const auto mean = [&](std::span<const double> v) {
    double m = v[0];
    for (int pass = 0; pass < 2; ++pass) {
      double rest = 0;
      for (std::size_t i = 0; i < n; ++i) rest += w(i) * (v[i] - m);
      m += rest / f.weight;
    }
    return m;
  };
  f.centre = mean(x);
  f.level = mean(y);
  double together = 0, size = 0;
  for (std::size_t i = 0; i < n; ++i) {
    const double dx = x[i] - f.centre;
    f.spread += w(i) * dx * dx;
    together += w(i) * dx * (y[i] - f.level);
    size += w(i) * x[i] * x[i];
  }
  if (!(f.spread > 1e-24 * size))
    throw Error{Errc::bad_data, fmt::format("x: all {} values are {}, so there is no slope", n, x[0])};
  f.slope = together / f.spread;
  f.intercept = f.level - f.slope * f.centre;
  for (std::size_t i = 0; i < n; ++i) {
    const double e = (y[i] - f.level) - f.slope * (x[i] - f.centre);
    f.rss += w(i) * e * e;
  }
  f.dof = static_cast<double>(n) - 2;
  f.residual_sd = f.dof > 0 ? std::sqrt(f.rss / f.dof) : kNan;
  f.slope_se = f.residual_sd / std::sqrt(f.spread);
  if (!(f.dof > 0))
    f.p = kNan;
  else if (f.slope != 0)
    f.p = 2 * t_tail(std::abs(f.slope) / f.slope_se, f.dof);
  return f;
}

Interval slope_limits(const LineFit& line, double confidence) {
  if (!(confidence > 0 && confidence < 1))
    throw Error{Errc::bad_data, fmt::format("confidence: {} is not between 0 and 1", confidence)};
  if (!(line.dof > 0)) return {-kInf, kInf};
  const double t = t_quantile(0.5 * (1 + confidence), line.dof) * line.slope_se;
  return {line.slope - t, line.slope + t};
}

}  // namespace shaftlog
