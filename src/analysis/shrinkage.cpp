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
constexpr double kLog2Pi = 1.83787706640934548356;

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

std::optional<GammaMoments> gamma_moments(std::span<const double> counts, std::span<const double> exposures) {
  need_counts(counts, exposures);
  const auto k = static_cast<double>(counts.size());
  double mean = 0, inverse = 0, square = 0;
  for (std::size_t i = 0; i < counts.size(); ++i) {
    mean += counts[i] / exposures[i] / k;
    inverse += 1 / exposures[i] / k;
  }
  for (std::size_t i = 0; i < counts.size(); ++i) {
    const double d = counts[i] / exposures[i] - mean;
    square += d * d / k;
  }
  const double excess = square - mean * inverse;
  if (!(excess > 0)) return std::nullopt;
  const double shape = mean * mean / excess;
  return GammaMoments{shape, shape / mean};
}

RandomEffects random_effects(std::span<const double> y, std::span<const double> v, BetweenVariance how,
                             double confidence) {
  need_units(y.size(), v.size(), 2);
  need_confidence(confidence);
  for (std::size_t i = 0; i < y.size(); ++i) {
    if (!std::isfinite(y[i]))
      throw Error{Errc::bad_data, fmt::format("estimate of unit {}: {} is not finite", i + 1, y[i])};
    if (!(v[i] > 0) || std::isinf(v[i]))
      throw Error{Errc::bad_data, fmt::format("variance of unit {}: {} is not a number above 0", i + 1, v[i])};
  }
  const std::size_t n = y.size();
  const auto k = static_cast<double>(n);
  struct Weighted {
    double w = 0, w2 = 0, w3 = 0, mean = 0, q = 0, w2d2 = 0;  // sums over w = 1 / (v + tau2)
  };
  const auto at = [&](double tau2) {
    Weighted s;
    for (std::size_t i = 0; i < n; ++i) {
      const double w = 1 / (v[i] + tau2);
      s.w += w;
      s.w2 += w * w;
      s.w3 += w * w * w;
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
  RandomEffects r;
  const Weighted f = at(0);
  r.fixed_mean = f.mean;
  r.fixed_se = 1 / std::sqrt(f.w);
  r.q = f.q;
  r.q_dof = k - 1;
  r.q_p = chi_square_tail(r.q, r.q_dof);
  r.i2_percent_from_q = r.q > 0 ? std::max(0.0, 100 * (r.q - r.q_dof) / r.q) : 0.0;
  double plain = 0, spread = 0, mean_v = 0;
  for (std::size_t i = 0; i < n; ++i) plain += y[i] / k;
  for (std::size_t i = 0; i < n; ++i) {
    spread += (y[i] - plain) * (y[i] - plain) / (k - 1);
    mean_v += v[i] / k;
  }
  const double largest = *std::max_element(v.begin(), v.end());
  const double top = 1000 * (spread + largest);
  // Score equations fall through 0 at the estimate; a score below 0 at tau2 = 0 means there is no excess variance.
  const auto falling_root = [&](auto score) {
    if (!(score(0.0) > 0)) return 0.0;
    double low = 0, high = top;
    for (int i = 0; i < 200 && high - low > 1e-16 * high; ++i) {
      const double m = 0.5 * (low + high);
      (score(m) > 0 ? low : high) = m;
    }
    return 0.5 * (low + high);
  };
  switch (how) {
    case BetweenVariance::dersimonian_laird:
      r.tau2 = std::max(0.0, (f.q - (k - 1)) / (f.w - f.w2 / f.w));
      break;
    case BetweenVariance::hedges:
      r.tau2 = std::max(0.0, spread - mean_v);
      break;
    case BetweenVariance::paule_mandel:
      r.tau2 = falling_root([&](double t) { return at(t).q - (k - 1); });
      break;
    case BetweenVariance::maximum_likelihood:
    case BetweenVariance::restricted_likelihood: {
      const bool restricted = how == BetweenVariance::restricted_likelihood;
      const auto loglik = [&](double t) {
        const Weighted s = at(t);
        double l = -0.5 * s.q;
        for (std::size_t i = 0; i < n; ++i) l -= 0.5 * std::log(v[i] + t);
        return restricted ? l - 0.5 * std::log(s.w) : l;
      };
      const auto score = [&](double t) {
        const Weighted s = at(t);
        return s.w2d2 - s.w + (restricted ? s.w2 / s.w : 0.0);
      };
      // The likelihood may have two tops: take the highest from a grid, then the root of the score beside it.
      const double low = std::log(1e-8 * top), high = std::log(top);
      const double u = maximise([&](double x) { return loglik(std::exp(x)); }, low, high, 200);
      if (loglik(0) >= loglik(std::exp(u))) break;
      double a = std::exp(u - 1e-3), b = std::exp(u + 1e-3);
      r.tau2 = std::exp(u);
      if (score(a) > 0 && score(b) < 0) {
        for (int i = 0; i < 200 && b - a > 1e-16 * b; ++i) {
          const double m = 0.5 * (a + b);
          (score(m) > 0 ? a : b) = m;
        }
        r.tau2 = 0.5 * (a + b);
      }
      break;
    }
  }
  const Weighted s = at(r.tau2);
  if (how == BetweenVariance::restricted_likelihood)  // expected information
    r.tau2_se = std::sqrt(2 / (s.w2 - 2 * s.w3 / s.w + (s.w2 / s.w) * (s.w2 / s.w)));
  r.mean = s.mean;
  r.se = 1 / std::sqrt(s.w);
  const double z = normal_quantile(0.5 * (1 + confidence));
  r.mean_limits = {r.mean - z * r.se, r.mean + z * r.se};
  r.knapp_hartung_se = std::sqrt(s.q / (k - 1) / s.w);
  const double t = t_quantile(0.5 * (1 + confidence), k - 1) * r.knapp_hartung_se;
  r.knapp_hartung_limits = {r.mean - t, r.mean + t};
  const double wide = z * std::sqrt(r.tau2 + r.se * r.se);
  r.prediction = {r.mean - wide, r.mean + wide};
  const double typical = (k - 1) * f.w / (f.w * f.w - f.w2);
  r.i2_percent = 100 * r.tau2 / (r.tau2 + typical);
  r.h2 = 1 + r.tau2 / typical;
  for (std::size_t i = 0; i < n; ++i) {
    const double own = r.tau2 / (r.tau2 + v[i]);
    r.shrunk.push_back(own * y[i] + (1 - own) * r.mean);
  }
  return r;
}

namespace {
struct Groups {
  std::vector<double> n, mean;
  double total = 0, grand = 0, within = 0;
};
Groups checked(std::span<const std::vector<double>> groups) {
  Groups g;
  if (groups.size() < 2)
    throw Error{Errc::bad_data, fmt::format("units: {} found, at least 2 expected", groups.size())};
  for (std::size_t i = 0; i < groups.size(); ++i) {
    if (groups[i].empty())
      throw Error{Errc::bad_data, fmt::format("unit {}: no value found, at least 1 expected", i + 1)};
    double mean = 0;
    const double first = groups[i][0];
    for (const double v : groups[i]) {
      if (!std::isfinite(v)) throw Error{Errc::bad_data, fmt::format("unit {}: {} is not finite", i + 1, v)};
      mean += v - first;
    }
    mean = first + mean / static_cast<double>(groups[i].size());
    for (const double v : groups[i]) g.within += (v - mean) * (v - mean);
    g.n.push_back(static_cast<double>(groups[i].size()));
    g.mean.push_back(mean);
    g.total += g.n.back();
  }
  for (std::size_t i = 0; i < g.n.size(); ++i) g.grand += g.n[i] / g.total * g.mean[i];
  if (!(g.total > static_cast<double>(groups.size())))
    throw Error{Errc::bad_data, "units: none has 2 values, so there is no variance within"};
  return g;
}
}  // namespace

OneWay one_way(std::span<const std::vector<double>> groups) {
  const Groups g = checked(groups);
  const auto k = static_cast<double>(groups.size());
  OneWay a;
  double squares = 0;
  for (std::size_t i = 0; i < g.n.size(); ++i) {
    a.ss_between += g.n[i] * (g.mean[i] - g.grand) * (g.mean[i] - g.grand);
    squares += g.n[i] * g.n[i];
  }
  a.ss_within = g.within;
  a.ms_between = a.ss_between / (k - 1);
  a.ms_within = a.ss_within / (g.total - k);
  a.f_statistic = a.ms_between / a.ms_within;
  a.p = std::isnan(a.f_statistic) ? 1.0 : f_tail(a.f_statistic, k - 1, g.total - k);
  a.r_squared = a.ss_between / (a.ss_between + a.ss_within);
  a.residual_sd = std::sqrt(a.ms_within);
  const double size = (g.total - squares / g.total) / (k - 1);
  a.variance_between = std::max(0.0, (a.ms_between - a.ms_within) / size);
  return a;
}

RandomIntercepts random_intercepts(std::span<const std::vector<double>> groups) {
  const Groups g = checked(groups);
  if (!(g.within > 0))
    throw Error{Errc::bad_data, "units: values within each are all equal, so there is no variance within"};
  const std::size_t k = groups.size();
  const double n = g.total;
  // With the ratio q = between / within variance fixed, the within variance has a closed form.
  struct At {
    double mean = 0, s2 = 0, loglik = 0, precision = 0;
  };
  const auto at = [&](double q) {
    At r;
    double sum = 0, logs = 0;
    for (std::size_t i = 0; i < k; ++i) {
      const double u = 1 / (q + 1 / g.n[i]);
      r.precision += u;
      sum += u * g.mean[i];
      logs += std::log(g.n[i] / u);
    }
    r.mean = sum / r.precision;
    double ss = g.within;
    for (std::size_t i = 0; i < k; ++i) ss += (g.mean[i] - r.mean) * (g.mean[i] - r.mean) / (q + 1 / g.n[i]);
    r.s2 = ss / (n - 1);
    r.loglik = -0.5 * ((n - 1) * (kLog2Pi + std::log(r.s2) + 1) + logs + std::log(r.precision));
    return r;
  };
  // d loglik / d q, whose root gives more digits than the flat top itself.
  const auto score = [&](double q) {
    const At r = at(q);
    double quad = 0, u_sum = 0, u2 = 0;
    for (std::size_t i = 0; i < k; ++i) {
      const double u = 1 / (q + 1 / g.n[i]);
      quad += u * u * (g.mean[i] - r.mean) * (g.mean[i] - r.mean);
      u_sum += u;
      u2 += u * u;
    }
    return 0.5 * (quad / r.s2 - u_sum + u2 / u_sum);
  };
  double q = std::exp(maximise([&](double x) { return at(std::exp(x)).loglik; }, std::log(1e-8), std::log(1e8), 160));
  if (at(0).loglik >= at(q).loglik) {
    q = 0;
  } else {
    double a = q * 0.999, b = q * 1.001;
    if (score(a) > 0 && score(b) < 0) {
      for (int i = 0; i < 200 && b - a > 1e-16 * b; ++i) {
        const double m = 0.5 * (a + b);
        (score(m) > 0 ? a : b) = m;
      }
      q = 0.5 * (a + b);
    }
  }
  const At best = at(q);
  RandomIntercepts r;
  r.mean = best.mean;
  r.mean_se = std::sqrt(best.s2 / best.precision);
  r.sd_within = std::sqrt(best.s2);
  r.sd_between = std::sqrt(q * best.s2);
  r.log_likelihood = best.loglik;
  for (std::size_t i = 0; i < k; ++i) {
    const double own = q / (q + 1 / g.n[i]);
    r.shrinkage.push_back(own);
    r.shrunk.push_back(r.mean + own * (g.mean[i] - r.mean));
  }
  return r;
}

JamesStein james_stein(std::span<const double> x, double variance, bool positive) {
  if (x.size() < 4) throw Error{Errc::bad_data, fmt::format("values: {} found, at least 4 expected", x.size())};
  if (!(variance > 0) || std::isinf(variance))
    throw Error{Errc::bad_data, fmt::format("variance: {} is not a number above 0", variance)};
  JamesStein r;
  const auto k = static_cast<double>(x.size());
  for (std::size_t i = 0; i < x.size(); ++i) {
    if (!std::isfinite(x[i])) throw Error{Errc::bad_data, fmt::format("value {}: {} is not finite", i + 1, x[i])};
    r.mean += x[i] / k;
  }
  for (const double v : x) r.sum_squares += (v - r.mean) * (v - r.mean);
  r.multiplier = r.sum_squares > 0 ? 1 - (k - 3) * variance / r.sum_squares : 0.0;
  if (positive) r.multiplier = std::max(0.0, r.multiplier);
  for (const double v : x) r.shrunk.push_back(r.mean + r.multiplier * (v - r.mean));
  return r;
}

}  // namespace shaftlog
