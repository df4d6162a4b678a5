#include "analysis/event_rates.hpp"

#include "base/error.hpp"

#include <algorithm>
#include <cmath>
#include <functional>
#include <limits>

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

RateRatio compare_rates(std::int64_t n1, double exposure1, std::int64_t n2, double exposure2, double confidence) {
  need_events(n1);
  need_events(n2);
  need_exposure(exposure1);
  need_exposure(exposure2);
  need_confidence(confidence);
  RateRatio r;
  const std::int64_t n = n1 + n2;
  const auto x1 = static_cast<double>(n1), x2 = static_cast<double>(n2);
  r.ratio = n == 0 ? kNan : n2 == 0 ? kInf : (x1 / exposure1) / (x2 / exposure2);
  const double d = exposure1 / exposure2, p = d / (1 + d);
  const double a = 0.5 * (1 - confidence);
  const auto as_ratio = [&](double q) { return q >= 1 ? kInf : q / (1 - q) * exposure2 / exposure1; };
  r.limits = {n1 == 0 ? 0.0 : as_ratio(beta_quantile(a, x1, x2 + 1)),
              n2 == 0 ? kInf : as_ratio(beta_quantile(1 - a, x1 + 1, x2))};
  if (n == 0) return r;
  const double own = binomial_pmf(n1, n, p);
  // Splits as likely as the one seen up to rounding count as "no likelier".
  double two = 0;
  for (std::int64_t k = 0; k <= n; ++k)
    if (const double q = binomial_pmf(k, n, p); q <= own * (1 + 1e-7)) two += q;
  r.p_two_sided = std::min(1.0, two);
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
  f.intensity_at_end = n * f.shape / (mean_power(f.shape) * top);
  return f;
}

}  // namespace shaftlog
