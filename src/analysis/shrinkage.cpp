#include "analysis/shrinkage.hpp"

#include "base/error.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numeric>

#include <fmt/format.h>

namespace shaftlog {

namespace {

constexpr double kInf = std::numeric_limits<double>::infinity();

void need_units(std::size_t found, std::size_t other, std::size_t least) {
  if (found != other || found < least)
    throw Error{Errc::bad_data, fmt::format("units: {} and {} values found, the same number of at least {} expected",
                                            found, other, least)};
}
void need_confidence(double c) {
  if (!(c > 0 && c < 1)) throw Error{Errc::bad_data, fmt::format("confidence: {} is not between 0 and 1", c)};
}
void need_counts(std::span<const double> counts, std::span<const double> exposures) {
  need_units(counts.size(), exposures.size(), 2);
  for (std::size_t i = 0; i < counts.size(); ++i) {
    if (!(counts[i] >= 0) || std::isinf(counts[i]) || counts[i] != std::floor(counts[i]))
      throw Error{Errc::bad_data, fmt::format("count of unit {}: {} is not a count of 0 or more", i + 1, counts[i])};
    if (!(exposures[i] > 0) || std::isinf(exposures[i]))
      throw Error{Errc::bad_data, fmt::format("exposure of unit {}: {} is not a number above 0", i + 1, exposures[i])};
  }
}

// Maximum of a function of one variable: grid, then golden section.
template <class F>
double maximise(F f, double low, double high, int cells) {
  int best = 0;
  double top = -kInf;
  const auto at = [&](int i) { return low + (high - low) * i / cells; };
  for (int i = 0; i <= cells; ++i)
    if (const double v = f(at(i)); v > top) {
      top = v;
      best = i;
    }
  double a = at(std::max(0, best - 1)), b = at(std::min(cells, best + 1));
  const double g = 0.5 * (std::sqrt(5.0) - 1);
  double c = b - g * (b - a), d = a + g * (b - a), fc = f(c), fd = f(d);
  for (int i = 0; i < 200 && b - a > 1e-9 * (1 + std::abs(a)); ++i) {
    if (fc >= fd) {
      b = d;
      d = c;
      fd = fc;
      c = b - g * (b - a);
      fc = f(c);
    } else {
      a = c;
      c = d;
      fc = fd;
      d = a + g * (b - a);
      fd = f(d);
    }
  }
  return 0.5 * (a + b);
}

}  // namespace

GammaPoisson shrink_rates(std::span<const double> counts, std::span<const double> exposures, double confidence) {
  need_counts(counts, exposures);
  need_confidence(confidence);
  const std::size_t k = counts.size();
  const double events = std::accumulate(counts.begin(), counts.end(), 0.0);
  const double watched = std::accumulate(exposures.begin(), exposures.end(), 0.0);
  if (events == 0) throw Error{Errc::bad_data, "events: 0 found over all units, at least 1 expected"};
  GammaPoisson r;
  r.pooled_rate = events / watched;
  // Exposures in units of one expected event: the search range does not depend on the unit of time.
  std::vector<double> e;
  for (const double t : exposures) e.push_back(t * r.pooled_rate);
  const auto loglik = [&](double a, double b) {
    double l = 0;
    for (std::size_t i = 0; i < k; ++i)
      l += log_gamma(a + counts[i]) - log_gamma(a) - log_gamma(counts[i] + 1) - a * std::log1p(e[i] / b) +
           (counts[i] > 0 ? counts[i] * std::log(e[i] / (b + e[i])) : 0.0);
    return l;
  };
  double poisson = 0;
  for (std::size_t i = 0; i < k; ++i) poisson += poisson_log_pmf(static_cast<std::int64_t>(counts[i]), e[i]);
  // For a given mean m = a / b the profile over log a; m itself by an inner search, then Newton in (a, b).
  const auto mean_for = [&](double a) {
    // score in b: a k / b = sum (a + x) / (b + e); solved for b by bisection on a falling function of log b
    double lo = std::log(a) - 12, hi = std::log(a) + 12;
    for (int i = 0; i < 80; ++i) {
      const double mid = 0.5 * (lo + hi), b = std::exp(mid);
      double s = static_cast<double>(k) * a / b;
      for (std::size_t j = 0; j < k; ++j) s -= (a + counts[j]) / (b + e[j]);
      (s > 0 ? lo : hi) = mid;
    }
    return std::exp(0.5 * (lo + hi));
  };
  const double edge = std::log(1e6);
  const double log_a =
      maximise([&](double u) { return loglik(std::exp(u), mean_for(std::exp(u))); }, std::log(1e-4), edge, 60);
  double a = std::exp(log_a), b = mean_for(a);
  const double tail = 0.5 * (1 - confidence);
  if (log_a > edge - 0.5 || loglik(a, b) <= poisson + 1e-9) {
    r.one_rate = true;
    r.shape = r.rate = r.shape_se = r.rate_se = kInf;
    r.log_likelihood = poisson;
    const Interval i = poisson_interval(static_cast<std::int64_t>(events), confidence);
    for (std::size_t j = 0; j < k; ++j)
      r.units.push_back({counts[j] / exposures[j], r.pooled_rate, {i.low / watched, i.high / watched}});
    return r;
  }
  double haa = 0, hab = 0, hbb = 0;
  const auto derivatives = [&](double& ga, double& gb) {
    ga = gb = haa = hab = hbb = 0;
    for (std::size_t i = 0; i < k; ++i) {
      const double x = counts[i], s = b + e[i];
      ga += digamma(a + x) - digamma(a) + std::log(b / s);
      gb += a / b - (a + x) / s;
      haa += trigamma(a + x) - trigamma(a);
      hab += 1 / b - 1 / s;
      hbb += -a / (b * b) + (a + x) / (s * s);
    }
  };
  for (int step = 0; step < 50; ++step) {
    double ga = 0, gb = 0;
    derivatives(ga, gb);
    const double det = haa * hbb - hab * hab;
    if (!(det > 0) || !(haa < 0)) break;
    const double da = -(hbb * ga - hab * gb) / det, db = -(haa * gb - hab * ga) / det;
    if (!(a + da > 0) || !(b + db > 0)) break;
    a += da;
    b += db;
    if (std::abs(da) <= 1e-14 * a && std::abs(db) <= 1e-14 * b) break;
  }
  double ga = 0, gb = 0;
  derivatives(ga, gb);
  const double det = haa * hbb - hab * hab;
  r.shape = a;
  r.rate = b / r.pooled_rate;
  r.shape_se = std::sqrt(-hbb / det);
  r.rate_se = std::sqrt(-haa / det) / r.pooled_rate;
  r.log_likelihood = loglik(a, b);
  for (std::size_t i = 0; i < k; ++i) {
    const double shape = a + counts[i], rate = r.rate + exposures[i];
    r.units.push_back({counts[i] / exposures[i],
                       shape / rate,
                       {gamma_quantile(tail, shape, rate), gamma_quantile(1 - tail, shape, rate)}});
  }
  return r;
}

RandomEffects random_effects(std::span<const double> y, std::span<const double> v) {
  need_units(y.size(), v.size(), 2);
  for (std::size_t i = 0; i < y.size(); ++i) {
    if (!std::isfinite(y[i]))
      throw Error{Errc::bad_data, fmt::format("estimate of unit {}: {} is not finite", i + 1, y[i])};
    if (!(v[i] > 0) || std::isinf(v[i]))
      throw Error{Errc::bad_data, fmt::format("variance of unit {}: {} is not a number above 0", i + 1, v[i])};
  }
  const std::size_t n = y.size();
  const auto k = static_cast<double>(n);
  struct Weighted {
    double w = 0, w2 = 0, mean = 0, q = 0, w2d2 = 0;  // sums over w = 1 / (v + tau2)
  };
  const auto at = [&](double tau2) {
    Weighted s;
    for (std::size_t i = 0; i < n; ++i) {
      const double w = 1 / (v[i] + tau2);
      s.w += w;
      s.w2 += w * w;
      s.mean += w * y[i];
    }
    s.mean /= s.w;
    for (std::size_t i = 0; i < n; ++i) {
      const double w = 1 / (v[i] + tau2), d = y[i] - s.mean;
      s.q += w * d * d;
      s.w2d2 += w * w * d * d;
    }
    return s;
  };
  const double plain = std::accumulate(y.begin(), y.end(), 0.0) / k;
  double spread = 0;
  for (const double e : y) spread += (e - plain) * (e - plain) / (k - 1);
  const double top = 1000 * (spread + *std::max_element(v.begin(), v.end()));
  const auto loglik = [&](double t) {
    const Weighted s = at(t);
    double l = -0.5 * s.q;
    for (std::size_t i = 0; i < n; ++i) l -= 0.5 * std::log(v[i] + t);
    return l - 0.5 * std::log(s.w);
  };
  const auto score = [&](double t) {
    const Weighted s = at(t);
    return s.w2d2 - s.w + s.w2 / s.w;
  };
  RandomEffects r;
  // The likelihood may have two tops: take the highest from a grid, then the root of the score beside it.
  const double u = maximise([&](double x) { return loglik(std::exp(x)); }, std::log(1e-8 * top), std::log(top), 200);
  if (loglik(0) < loglik(std::exp(u))) {
    double a = std::exp(u - 1e-3), b = std::exp(u + 1e-3);
    r.tau2 = std::exp(u);
    if (score(a) > 0 && score(b) < 0) {
      for (int i = 0; i < 200 && b - a > 1e-16 * b; ++i) {
        const double m = 0.5 * (a + b);
        (score(m) > 0 ? a : b) = m;
      }
      r.tau2 = 0.5 * (a + b);
    }
  }
  const Weighted s = at(r.tau2);
  r.mean = s.mean;
  r.se = 1 / std::sqrt(s.w);
  for (std::size_t i = 0; i < n; ++i) {
    const double own = r.tau2 / (r.tau2 + v[i]);
    r.shrunk.push_back(own * y[i] + (1 - own) * r.mean);
  }
  return r;
}

}  // namespace shaftlog
