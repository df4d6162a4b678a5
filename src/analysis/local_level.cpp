#include "analysis/local_level.hpp"

#include "base/error.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include <fmt/format.h>

namespace shaftlog {

namespace {

constexpr double kNan = std::numeric_limits<double>::quiet_NaN();
constexpr double kLog2Pi = 1.83787706640934548356;

std::size_t count_values(std::span<const double> y) {
  std::size_t n = 0;
  for (std::size_t i = 0; i < y.size(); ++i) {
    if (std::isinf(y[i])) throw Error{Errc::bad_data, fmt::format("value {}: {} is not finite", i + 1, y[i])};
    n += !std::isnan(y[i]);
  }
  if (n == 0) throw Error{Errc::bad_data, "values: none found, at least 1 expected"};
  return n;
}
void need_variances(double noise, double walk) {
  if (!(noise >= 0) || std::isinf(noise))
    throw Error{Errc::bad_data, fmt::format("noise variance: {} is not 0 or more", noise)};
  if (!(walk >= 0) || std::isinf(walk))
    throw Error{Errc::bad_data, fmt::format("walk variance: {} is not 0 or more", walk)};
  if (noise + walk == 0) throw Error{Errc::bad_data, "variances: both are 0, at least one above 0 expected"};
}

// What the concentrated likelihood needs, at noise 1 and walk q.
struct Sums {
  double squares = 0, logs = 0, n = 0;
};
Sums sums_of(std::span<const double> y, double q) {
  Sums s;
  double level = 0, variance = 0;
  bool known = false;
  for (const double v : y) {
    if (known) variance += q;
    if (std::isnan(v)) continue;
    if (!known) {
      level = v;
      variance = 1;
      known = true;
      continue;
    }
    const double f = variance + 1, e = v - level, k = variance / f;
    s.squares += e * e / f;
    s.logs += std::log(f);
    ++s.n;
    level += k * e;
    variance = k;
  }
  return s;
}

}  // namespace

LocalLevel filter_local_level(std::span<const double> y, double noise, double walk) {
  need_variances(noise, walk);
  LocalLevel r;
  r.observed = count_values(y);
  const std::size_t n = y.size();
  for (auto* v : {&r.predicted, &r.predicted_variance, &r.filtered, &r.filtered_variance, &r.innovations,
                  &r.innovation_variances, &r.smoothed, &r.smoothed_variance})
    v->assign(n, kNan);
  std::size_t first = 0;
  while (std::isnan(y[first])) ++first;
  // A diffuse level takes the first value whole; the likelihood starts with the second.
  r.filtered[first] = y[first];
  r.filtered_variance[first] = noise;
  double level = y[first], variance = noise + walk, sum = 0;
  for (std::size_t t = first + 1; t < n; ++t) {
    r.predicted[t] = level;
    r.predicted_variance[t] = variance;
    if (!std::isnan(y[t])) {
      const double e = y[t] - level, f = variance + noise, k = variance / f;
      r.innovations[t] = e;
      r.innovation_variances[t] = f;
      sum += std::log(f) + e * e / f;
      level += k * e;
      variance = k * noise;
    }
    r.filtered[t] = level;
    r.filtered_variance[t] = variance;
    variance += walk;
  }
  r.next = level;
  r.next_variance = variance;
  r.log_likelihood = -0.5 * (sum + static_cast<double>(r.observed - 1) * kLog2Pi);
  r.smoothed[n - 1] = r.filtered[n - 1];
  r.smoothed_variance[n - 1] = r.filtered_variance[n - 1];
  for (std::size_t t = n - 1; t-- > first;) {
    const double ahead = r.filtered_variance[t] + walk, j = ahead > 0 ? r.filtered_variance[t] / ahead : 1.0;
    r.smoothed[t] = r.filtered[t] + j * (r.smoothed[t + 1] - r.filtered[t]);
    r.smoothed_variance[t] = r.filtered_variance[t] + j * j * (r.smoothed_variance[t + 1] - ahead);
  }
  // Before the first value nothing but the walk back from it is known.
  for (std::size_t t = first; t-- > 0;) {
    r.smoothed[t] = r.smoothed[t + 1];
    r.smoothed_variance[t] = r.smoothed_variance[t + 1] + walk;
  }
  return r;
}

Forecast forecast_local_level(const LocalLevel& filtered, double noise, double walk, std::size_t ahead) {
  need_variances(noise, walk);
  if (ahead == 0) throw Error{Errc::bad_data, "steps ahead: 0 found, at least 1 expected"};
  return {filtered.next, filtered.next_variance + static_cast<double>(ahead - 1) * walk + noise};
}

double concentrated_likelihood(std::span<const double> y, double q) {
  if (!(q >= 0) || std::isinf(q)) throw Error{Errc::bad_data, fmt::format("ratio: {} is not 0 or more", q)};
  if (count_values(y) < 2) throw Error{Errc::bad_data, "values: 1 found, at least 2 expected"};
  const Sums s = sums_of(y, q);
  return -0.5 * (s.n * std::log(s.squares / s.n) + s.logs);
}

LocalLevelFit fit_local_level(std::span<const double> y) {
  if (const std::size_t n = count_values(y); n < 3)
    throw Error{Errc::bad_data, fmt::format("values: {} found, at least 3 expected", n)};
  if (!(sums_of(y, 1).squares > 0))
    throw Error{Errc::bad_data, "values: all are equal, so there is no variance to split"};
  const auto at = [&](double log_q) { return concentrated_likelihood(y, std::exp(log_q)); };
  // A grid first: the likelihood may have an edge maximum at either end.
  const double low = std::log(1e-8), high = std::log(1e8);
  constexpr int kCells = 120;
  const auto grid = [&](int i) { return low + (high - low) * i / kCells; };
  int best = 0;
  double best_value = -std::numeric_limits<double>::infinity();
  for (int i = 0; i <= kCells; ++i)
    if (const double v = at(grid(i)); v > best_value) {
      best_value = v;
      best = i;
    }
  double a = grid(std::max(0, best - 1)), b = grid(std::min(kCells, best + 1));
  const double golden = 0.5 * (std::sqrt(5.0) - 1);
  while (b - a > 1e-7) {  // a maximum is flat: closer the doubles cannot tell
    const double c = b - golden * (b - a), d = a + golden * (b - a);
    (at(c) >= at(d) ? b : a) = at(c) >= at(d) ? d : c;
  }
  LocalLevelFit f;
  f.signal_to_noise = best == 0 && concentrated_likelihood(y, 0) >= at(0.5 * (a + b)) ? 0.0 : std::exp(0.5 * (a + b));
  const Sums s = sums_of(y, f.signal_to_noise);
  f.noise = s.squares / s.n;
  f.walk = f.signal_to_noise * f.noise;
  f.concentrated = concentrated_likelihood(y, f.signal_to_noise);
  f.log_likelihood = filter_local_level(y, f.noise, f.walk).log_likelihood;
  return f;
}

double steady_gain(double q) {
  if (!(q >= 0) || std::isinf(q)) throw Error{Errc::bad_data, fmt::format("ratio: {} is not 0 or more", q)};
  const double x = 0.5 * (q + std::sqrt(q * q + 4 * q));
  return x / (1 + x);
}

}  // namespace shaftlog
