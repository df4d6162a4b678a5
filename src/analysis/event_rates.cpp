#include "analysis/event_rates.hpp"

#include "base/error.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <functional>
#include <limits>
#include <map>
#include <numeric>

#include <fmt/format.h>

namespace shaftlog {

namespace {

constexpr double kInf = std::numeric_limits<double>::infinity();
constexpr double kNan = std::numeric_limits<double>::quiet_NaN();

void need_exposure(double e) {
  if (!(e > 0) || e == kInf) throw Error{Errc::bad_data, fmt::format("exposure: {} is not a number above 0", e)};
}
void need_events(std::int64_t n) {
  if (n < 0) throw Error{Errc::bad_data, fmt::format("events: {} is not a count of 0 or more", n)};
}
void need_confidence(double c) {
  if (!(c > 0 && c < 1)) throw Error{Errc::bad_data, fmt::format("confidence: {} is not between 0 and 1", c)};
}
std::int64_t checked_total(std::span<const WatchedSystem> systems) {
  std::int64_t n = 0;
  for (std::size_t i = 0; i < systems.size(); ++i) {
    const auto& s = systems[i];
    if (!(s.end > 0) || s.end == kInf)
      throw Error{Errc::bad_data, fmt::format("system {}: end {} is not a number above 0", i + 1, s.end)};
    for (const double t : s.events)
      if (!(t > 0 && t <= s.end))
        throw Error{Errc::bad_data, fmt::format("system {}: event at {} is not after 0 and up to {}", i + 1, t, s.end)};
    n += static_cast<std::int64_t>(s.events.size());
  }
  if (n == 0) throw Error{Errc::bad_data, "events: 0 found, at least 1 expected"};
  return n;
}
bool equal_ends(std::span<const WatchedSystem> systems) {
  return std::all_of(systems.begin(), systems.end(), [&](const auto& s) { return s.end == systems[0].end; });
}

// Root of a function that changes sign once between low and high: bisection in log x, then exact to the last bits.
double root_in_log(const std::function<double(double)>& f, double low, double high) {
  const bool rising = f(low) < f(high);
  double a = std::log(low), b = std::log(high);
  for (int i = 0; i < 200 && b - a > 1e-16 * std::max(1.0, std::abs(a)); ++i) {
    const double m = 0.5 * (a + b);
    if (m <= a || m >= b) break;
    ((f(std::exp(m)) < 0) == rising ? a : b) = m;
  }
  return std::exp(0.5 * (a + b));
}

}  // namespace

Rate event_rate(std::int64_t events, double exposure, double confidence) {
  need_exposure(exposure);
  const Interval i = poisson_interval(events, confidence);
  return {static_cast<double>(events) / exposure, {i.low / exposure, i.high / exposure}};
}

Interval mean_time_limits(std::int64_t events, double exposure, double confidence) {
  need_exposure(exposure);
  const Interval i = poisson_interval(events, confidence);
  return {exposure / i.high, i.low > 0 ? exposure / i.low : kInf};
}

RateRatio compare_rates(std::int64_t n1, double exposure1, std::int64_t n2, double exposure2, double null_ratio,
                        double confidence) {
  need_events(n1);
  need_events(n2);
  need_exposure(exposure1);
  need_exposure(exposure2);
  need_confidence(confidence);
  if (!(null_ratio > 0) || null_ratio == kInf)
    throw Error{Errc::bad_data, fmt::format("ratio: {} is not a number above 0", null_ratio)};
  RateRatio r;
  const std::int64_t n = n1 + n2;
  const auto x1 = static_cast<double>(n1), x2 = static_cast<double>(n2);
  r.ratio = n == 0 ? kNan : n2 == 0 ? kInf : (x1 / exposure1) / (x2 / exposure2);
  const double d = exposure1 / exposure2 * null_ratio, p = d / (1 + d);
  const double a = 0.5 * (1 - confidence);
  const auto as_ratio = [&](double q) { return q >= 1 ? kInf : q / (1 - q) * exposure2 / exposure1; };
  r.limits = {n1 == 0 ? 0.0 : as_ratio(beta_quantile(a, x1, x2 + 1)),
              n2 == 0 ? kInf : as_ratio(beta_quantile(1 - a, x1 + 1, x2))};
  if (n == 0) {
    r.p_wald = r.p_score = r.p_sqrt = kNan;
    return r;
  }
  r.p_greater = binomial_at_least(n1, n, p);
  const double own = binomial_pmf(n1, n, p);
  r.p_mid = r.p_greater - 0.5 * own;
  // Splits as likely as the one seen up to rounding count as "no likelier".
  double two = 0;
  for (std::int64_t k = 0; k <= n; ++k)
    if (const double q = binomial_pmf(k, n, p); q <= own * (1 + 1e-7)) two += q;
  r.p_two_sided = std::min(1.0, two);
  r.p_wald = normal_tail((x1 - x2 * d) / std::sqrt(x1 + x2 * d * d));
  r.p_score = normal_tail((x1 - x2 * d) / std::sqrt((x1 + x2) * d));
  r.p_sqrt = normal_tail(2 * (std::sqrt(x1 + 0.375) - std::sqrt((x2 + 0.375) * d)) / std::sqrt(1 + d));
  return r;
}

TrendTest trend_of_events(std::span<const WatchedSystem> systems) {
  TrendTest t;
  t.events = checked_total(systems);
  double excess = 0, variance = 0;
  for (const auto& s : systems) {
    for (const double e : s.events) {
      excess += e - 0.5 * s.end;
      t.milhdbk_chi2 += 2 * std::log(s.end / e);
    }
    variance += static_cast<double>(s.events.size()) * s.end * s.end / 12;
  }
  t.laplace_z = excess / std::sqrt(variance);
  t.laplace_p_rising = normal_tail(t.laplace_z);
  t.laplace_p_falling = normal_cdf(t.laplace_z);
  t.milhdbk_dof = 2 * static_cast<double>(t.events);
  t.milhdbk_p_rising = chi_square_cdf(t.milhdbk_chi2, t.milhdbk_dof);
  t.milhdbk_p_falling = chi_square_tail(t.milhdbk_chi2, t.milhdbk_dof);
  return t;
}

ReverseArrangements reverse_arrangements(std::span<const double> event_times) {
  const std::size_t n = event_times.size();
  if (n < 2) throw Error{Errc::bad_data, fmt::format("events: {} found, at least 2 expected", n)};
  std::vector<double> gap;
  double before = 0;
  for (const double t : event_times) {
    if (!(t > before) || t == kInf)
      throw Error{Errc::bad_data, fmt::format("event at {} is not after the one before at {}", t, before)};
    gap.push_back(t - before);
    before = t;
  }
  ReverseArrangements r;
  for (std::size_t i = 0; i < n; ++i)
    for (std::size_t j = i + 1; j < n; ++j) r.count += gap[j] > gap[i];
  // Chances of each number of arrangements among n! orders, one factor (1 + x + ... + x^(k-1)) / k at a time.
  std::vector<double> law{1};
  for (std::size_t k = 2; k <= n; ++k) {
    std::vector<double> next(law.size() + k - 1, 0.0);
    for (std::size_t i = 0; i < law.size(); ++i)
      for (std::size_t j = 0; j < k; ++j) next[i + j] += law[i] / static_cast<double>(k);
    law = std::move(next);
  }
  r.p_slower = std::accumulate(law.begin() + static_cast<std::ptrdiff_t>(r.count), law.end(), 0.0);
  return r;
}

PowerLaw fit_power_law(std::span<const WatchedSystem> systems, double confidence) {
  need_confidence(confidence);
  PowerLaw f;
  f.events = checked_total(systems);
  const auto n = static_cast<double>(f.events);
  double top = 0, sum_log = 0;
  for (const auto& s : systems) top = std::max(top, s.end);
  // Times as shares of the latest end: powers stay in range whatever the unit.
  for (const auto& s : systems)
    for (const double t : s.events) sum_log += std::log(t / top);
  if (!(sum_log < 0))
    throw Error{Errc::bad_data, "events: all lie at the end of the watch, so the shape is not finite"};
  const auto mean_power = [&](double b) {  // sum of (end/top)^b
    double sum = 0;
    for (const auto& s : systems) sum += std::pow(s.end / top, b);
    return sum;
  };
  if (equal_ends(systems)) {
    f.shape = n / -sum_log;
    const double dof = 2 * n;
    f.shape_limits = Interval{f.shape * chi_square_quantile(0.5 * (1 - confidence), dof) / dof,
                              f.shape * chi_square_quantile(0.5 * (1 + confidence), dof) / dof};
  } else {
    const auto score = [&](double b) {
      double with_log = 0;
      for (const auto& s : systems) with_log += std::pow(s.end / top, b) * std::log(s.end / top);
      return n / b + sum_log - n * with_log / mean_power(b);
    };
    double low = 1e-3, high = 1;
    while (score(high) > 0 && high < 1e6) high *= 2;
    while (score(low) < 0 && low > 1e-12) low /= 2;
    if (score(high) > 0)
      throw Error{Errc::bad_data, "events: all lie at the end of the watch, so the shape is not finite"};
    f.shape = root_in_log(score, low, high);
  }
  const auto scale_for = [&](double b) { return n / (mean_power(b) * std::pow(top, b)); };
  f.scale = scale_for(f.shape);
  f.shape_unbiased = f.events > 1 ? f.shape * (n - 1) / n : kNan;
  f.scale_of_unbiased = f.events > 1 ? scale_for(f.shape_unbiased) : kNan;
  f.intensity_at_end = n * f.shape / (mean_power(f.shape) * top);
  const auto loglik = [&](double b) { return n * std::log(n / mean_power(b)) + n * std::log(b) + (b - 1) * sum_log; };
  f.lr_constant_rate = std::max(0.0, 2 * (loglik(f.shape) - loglik(1)));
  std::vector<double> share;
  for (const auto& s : systems)
    for (const double t : s.events) share.push_back(t / s.end);
  std::sort(share.begin(), share.end());
  f.cramer_von_mises = 1 / (12 * n);
  for (std::size_t i = 0; i < share.size(); ++i) {
    const double d = std::pow(share[i], f.shape_unbiased) - (2 * static_cast<double>(i) + 1) / (2 * n);
    f.cramer_von_mises += d * d;
  }
  return f;
}

EqualShapes test_equal_shapes(std::span<const WatchedSystem> systems) {
  checked_total(systems);
  if (!equal_ends(systems)) throw Error{Errc::bad_data, "systems: ends differ, equal ones are expected"};
  const auto loglik = [](double n, double sum_log) {  // sum_log = sum log(t / end) < 0
    if (!(sum_log < 0)) throw Error{Errc::bad_data, "events: all of a system lie at the end of its watch"};
    const double b = n / -sum_log;
    return n * std::log(b) + (b - 1) * sum_log;
  };
  EqualShapes r;
  double total = 0, total_log = 0, separate = 0, with_events = 0;
  for (const auto& s : systems) {
    if (s.events.empty()) continue;
    double sum_log = 0;
    for (const double t : s.events) sum_log += std::log(t / s.end);
    const auto n = static_cast<double>(s.events.size());
    separate += loglik(n, sum_log);
    total += n;
    total_log += sum_log;
    ++with_events;
  }
  r.lr = std::max(0.0, 2 * (separate - loglik(total, total_log)));
  r.dof = with_events - 1;
  r.p = r.dof > 0 ? chi_square_tail(r.lr, r.dof) : 1;
  return r;
}

GroupedPowerLaw fit_power_law_grouped(std::span<const double> ends, std::span<const std::int64_t> counts) {
  if (ends.size() != counts.size() || ends.size() < 2)
    throw Error{Errc::bad_data,
                fmt::format("intervals: {} ends and {} counts found, the same number of at least 2 expected",
                            ends.size(), counts.size())};
  double before = 0, n = 0;
  int filled = 0;
  for (std::size_t i = 0; i < ends.size(); ++i) {
    if (!(ends[i] > before) || ends[i] == kInf)
      throw Error{Errc::bad_data, fmt::format("interval end {} is not after {}", ends[i], before)};
    need_events(counts[i]);
    before = ends[i];
    n += static_cast<double>(counts[i]);
    filled += counts[i] > 0;
  }
  if (filled < 2) throw Error{Errc::bad_data, "events: fewer than 2 intervals have one, so the shape is not finite"};
  const double top = ends.back();
  const auto power_log = [](double u, double b) { return u > 0 ? std::pow(u, b) * std::log(u) : 0.0; };
  const auto score = [&](double b) {
    double sum = 0, lo = 0;
    for (std::size_t i = 0; i < ends.size(); ++i) {
      const double hi = ends[i] / top;
      if (counts[i] > 0)
        sum += static_cast<double>(counts[i]) * (power_log(hi, b) - power_log(lo, b)) /
               (std::pow(hi, b) - (lo > 0 ? std::pow(lo, b) : 0.0));
      lo = hi;
    }
    return sum;
  };
  double low = 0.05, high = 5;
  while (score(high) > 0 && high < 1e4) high *= 2;
  while (score(low) < 0 && low > 1e-9) low /= 2;
  GroupedPowerLaw f;
  f.shape = root_in_log(score, low, high);
  f.scale = n / std::pow(top, f.shape);
  f.intensity_at_end = n * f.shape / top;
  double lo = 0;
  for (std::size_t i = 0; i < ends.size(); ++i) {
    const double expected = f.scale * (std::pow(ends[i], f.shape) - (lo > 0 ? std::pow(lo, f.shape) : 0.0));
    const double d = static_cast<double>(counts[i]) - expected;
    f.chi2 += d * d / expected;
    if (i + 1 == ends.size()) f.mean_intensity_last = expected / (ends[i] - lo);
    lo = ends[i];
  }
  f.chi2_dof = static_cast<double>(ends.size()) - 2;
  return f;
}

Interval mtbf_factors(std::int64_t n, double confidence) {
  need_confidence(confidence);
  if (n < 2) throw Error{Errc::bad_data, fmt::format("events: {} found, at least 2 expected", n)};
  const double a = 0.5 * (1 - confidence), nn = static_cast<double>(n) * static_cast<double>(n);
  // Given sum log(T/t), the count has weights x^j / (j! (j-1)!), x = expected count times shape; they peak at sqrt(x).
  const auto tail = [&](double x, bool lower) {
    const double peak = std::sqrt(x);
    const auto last = static_cast<std::int64_t>(std::max(peak, static_cast<double>(n)) + 40 + 12 * std::sqrt(peak));
    std::vector<double> in, all;
    for (std::int64_t j = 1; j <= last; ++j) {
      const auto k = static_cast<double>(j);
      const double w = k * std::log(x) - log_gamma(k + 1) - log_gamma(k);
      all.push_back(w);
      if (lower ? j <= n : j >= n) in.push_back(w);
    }
    return std::exp(log_sum_exp(in) - log_sum_exp(all));
  };
  const double upper = root_in_log([&](double x) { return tail(x, true) - a; }, nn * 1e-3, nn * 1e3);
  const double lower = root_in_log([&](double x) { return tail(x, false) - a; }, nn * 1e-6, nn * 1e2);
  return {nn / upper, nn / lower};
}

Interval mtbf_limits_normal(double mtbf_unbiased, std::int64_t n, double confidence) {
  need_confidence(confidence);
  need_exposure(mtbf_unbiased);
  if (n < 2) throw Error{Errc::bad_data, fmt::format("events: {} found, at least 2 expected", n)};
  const auto k = static_cast<double>(n);
  const double z = normal_quantile(0.5 * (1 + confidence));
  const double down = k + z * z / 4 + std::sqrt(k * z * z / 2 + z * z * z * z / 16), up = k - z * std::sqrt(k / 2);
  return {mtbf_unbiased * k * (k - 1) / (down * down), up > 0 ? mtbf_unbiased * k * (k - 1) / (up * up) : kInf};
}

double cvm_critical(std::int64_t n, double alpha) {
  constexpr std::array<double, 5> kAlpha{0.20, 0.15, 0.10, 0.05, 0.01};
  struct Line {
    double n;
    std::array<double, 5> value;
  };
  // MIL-HDBK-189C (2011), table of critical values; the 1 % column prints two decimals from n = 3 on.
  constexpr std::array<Line, 14> kTable{{{2, {.138, .149, .162, .175, .186}},
                                         {3, {.121, .135, .154, .184, .23}},
                                         {4, {.121, .134, .155, .191, .28}},
                                         {5, {.121, .137, .160, .199, .30}},
                                         {6, {.123, .139, .162, .204, .31}},
                                         {7, {.124, .140, .165, .208, .32}},
                                         {8, {.124, .141, .165, .210, .32}},
                                         {9, {.125, .142, .167, .212, .32}},
                                         {10, {.125, .142, .167, .212, .32}},
                                         {15, {.126, .144, .169, .215, .33}},
                                         {20, {.128, .146, .172, .217, .33}},
                                         {30, {.128, .146, .172, .218, .33}},
                                         {60, {.128, .147, .173, .220, .33}},
                                         {100, {.129, .147, .173, .220, .34}}}};
  const auto at = std::find(kAlpha.begin(), kAlpha.end(), alpha);
  if (at == kAlpha.end())
    throw Error{Errc::bad_data, fmt::format("alpha: {} is not one of 0.20, 0.15, 0.10, 0.05, 0.01", alpha)};
  if (n < 2) throw Error{Errc::bad_data, fmt::format("events: {} found, at least 2 expected", n)};
  const auto c = static_cast<std::size_t>(at - kAlpha.begin());
  const auto m = static_cast<double>(n);
  if (m >= kTable.back().n) return kTable.back().value[c];
  const auto above = std::find_if(kTable.begin(), kTable.end(), [&](const Line& l) { return l.n >= m; });
  if (above->n == m) return above->value[c];
  const auto below = above - 1;
  const double share = (1 / below->n - 1 / m) / (1 / below->n - 1 / above->n);
  return below->value[c] + share * (above->value[c] - below->value[c]);
}

Homogeneity test_equal_rates(std::span<const double> counts, std::span<const double> exposures) {
  if (counts.size() != exposures.size() || counts.size() < 2)
    throw Error{Errc::bad_data,
                fmt::format("units: {} counts and {} exposures found, the same number of at least 2 expected",
                            counts.size(), exposures.size())};
  double n = 0, e = 0;
  for (std::size_t i = 0; i < counts.size(); ++i) {
    need_exposure(exposures[i]);
    if (!(counts[i] >= 0)) throw Error{Errc::bad_data, fmt::format("count: {} is not 0 or more", counts[i])};
    n += counts[i];
    e += exposures[i];
  }
  Homogeneity h;
  h.dof = static_cast<double>(counts.size()) - 1;
  if (n == 0) return h;
  for (std::size_t i = 0; i < counts.size(); ++i) {
    const double expected = exposures[i] * n / e, d = counts[i] - expected;
    h.chi2 += d * d / expected;
  }
  h.p = chi_square_tail(h.chi2, h.dof);
  return h;
}

std::vector<McfPoint> mean_cumulative_function(std::span<const WatchedSystem> systems) {
  checked_total(systems);
  std::map<double, double> at;
  for (const auto& s : systems)
    for (const double t : s.events) ++at[t];
  std::vector<McfPoint> mcf;
  double mean = 0;
  for (const auto& [t, count] : at) {
    double watched = 0;
    for (const auto& s : systems) watched += s.end >= t;
    mean += count / watched;
    mcf.push_back({t, mean});
  }
  return mcf;
}

}  // namespace shaftlog
