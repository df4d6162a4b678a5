#include "analysis/control_charts.hpp"
#include "analysis/distributions.hpp"
#include "analysis/event_rates.hpp"
#include "analysis/least_squares.hpp"
#include "analysis/multiple_testing.hpp"
#include "analysis/prediction.hpp"
#include "analysis/shrinkage.hpp"
#include "analysis/trend.hpp"

#include <algorithm>
#include <cmath>
#include <vector>

#include <catch2/catch.hpp>
#include <rapidcheck/catch.h>

using namespace shaftlog;

namespace {

bool near(double a, double b, double tol = 1e-9) {
  return std::abs(a - b) <= tol * std::max({1.0, std::abs(a), std::abs(b)});
}

// n whole numbers over 8: sums and differences of them are exact.
std::vector<double> series(std::size_t n) {
  std::vector<double> v;
  for (std::size_t i = 0; i < n; ++i) v.push_back(*rc::gen::inRange(-4000, 4000) / 8.0);
  return v;
}
std::vector<double> rising(std::size_t n) {
  std::vector<double> v;
  double at = 0;
  for (std::size_t i = 0; i < n; ++i) v.push_back(at += *rc::gen::inRange(1, 400) / 8.0);
  return v;
}
double probability() { return *rc::gen::inRange(1, 100000) / 100000.0; }

}  // namespace

TEST_CASE("distributions: a quantile is the inverse of its cdf", "[analysis][property]") {
  rc::prop("normal, t, chi-square, gamma, beta", [] {
    const double p = probability(), a = *rc::gen::inRange(1, 200) / 4.0, b = *rc::gen::inRange(1, 200) / 4.0;
    RC_ASSERT(near(normal_cdf(normal_quantile(p)), p, 1e-13));
    RC_ASSERT(near(t_tail(-t_quantile(p, a), a), p, 1e-11));
    RC_ASSERT(near(chi_square_cdf(chi_square_quantile(p, a), a), p, 1e-11));
    RC_ASSERT(near(gamma_cdf(gamma_quantile(p, a, b), a, b), p, 1e-11));
    RC_ASSERT(near(beta_cdf(beta_quantile(p, a, b), a, b), p, 1e-10));
    RC_ASSERT(near(std::exp(normal_log_cdf(normal_quantile(p))), p, 1e-12));
  });
}

TEST_CASE("distributions: cdfs rise, tails complete them, log cdf is smooth across its branches",
          "[analysis][property]") {
  rc::prop("order", [] {
    const double x = *rc::gen::inRange(-4000, 4000) / 100.0, step = *rc::gen::inRange(1, 100) / 100.0;
    RC_ASSERT(normal_cdf(x) <= normal_cdf(x + step));
    RC_ASSERT(normal_log_cdf(x) <= normal_log_cdf(x + step));
    RC_ASSERT(t_tail(x, 3) >= t_tail(x + step, 3));
    RC_ASSERT(near(t_tail(-x, 5) + t_tail(x, 5), 1, 1e-14));
  });
  for (const double z : {-30.0, 5.0}) CHECK(near(normal_log_cdf(z - 1e-9), normal_log_cdf(z + 1e-9), 1e-7));
  CHECK(near(normal_log_cdf(-30.0001), std::log(normal_cdf(-30.0001)), 1e-13));
}

TEST_CASE("event rates: limits hold the rate, widen with confidence, and do not depend on the unit",
          "[analysis][property]") {
  rc::prop("Garwood", [] {
    const std::int64_t n = *rc::gen::inRange(0, 300);
    const double e = *rc::gen::inRange(1, 100000) / 8.0;
    const Rate narrow = event_rate(n, e, 0.8), wide = event_rate(n, e, 0.95), other = event_rate(n, 1000 * e, 0.8);
    RC_ASSERT(narrow.limits.low <= narrow.rate && narrow.rate < narrow.limits.high);
    RC_ASSERT(wide.limits.low <= narrow.limits.low && narrow.limits.high < wide.limits.high);
    RC_ASSERT(near(1000 * other.limits.high, narrow.limits.high));
  });
  rc::prop("exchanging two rates turns the ratio over", [] {
    const std::int64_t a = *rc::gen::inRange(1, 60), b = *rc::gen::inRange(1, 60);
    const RateRatio ab = compare_rates(a, 100, b, 70), ba = compare_rates(b, 70, a, 100);
    RC_ASSERT(near(ab.ratio * ba.ratio, 1));
    RC_ASSERT(near(ab.limits.low * ba.limits.high, 1, 1e-7));
    RC_ASSERT(near(ab.p_two_sided, ba.p_two_sided, 1e-9));
  });
  rc::prop("a power law keeps its shape in another unit of time and another order of events", [] {
    const auto t = rising(*rc::gen::inRange<std::size_t>(2, 30));
    WatchedSystem s{t.back() + 1, t}, other{1000 * s.end, {}};
    for (auto it = t.rbegin(); it != t.rend(); ++it) other.events.push_back(1000 * *it);
    const PowerLaw f = fit_power_law({&s, 1}), g = fit_power_law({&other, 1});
    RC_ASSERT(near(f.shape, g.shape));
    RC_ASSERT(near(f.intensity_at_end, 1000 * g.intensity_at_end));
    RC_ASSERT(f.shape_limits->low < f.shape && f.shape < f.shape_limits->high);
  });
}

TEST_CASE("trend: Theil-Sen moves with the data and does not mind the order of records", "[analysis][property]") {
  rc::prop("shift, tilt, reversal", [] {
    const std::size_t n = *rc::gen::inRange<std::size_t>(4, 25);
    const auto x = rising(n), y = series(n);
    auto tilted = y;
    for (std::size_t i = 0; i < n; ++i) tilted[i] += 3 * x[i] + 16;
    const TheilSen a = theil_sen(x, y), b = theil_sen(x, tilted);
    const std::vector<double> rx{x.rbegin(), x.rend()}, ry{y.rbegin(), y.rend()};
    RC_ASSERT(near(b.slope, a.slope + 3, 1e-9));
    RC_ASSERT(near(theil_sen(rx, ry).slope, a.slope, 1e-12));
    RC_ASSERT(a.limits.low <= a.slope && a.slope <= a.limits.high);
    auto turned = y;
    for (double& v : turned) v = -v;
    RC_ASSERT(mann_kendall(x, turned).s == -mann_kendall(x, y).s);
  });
}

TEST_CASE("least squares: residuals are orthogonal, intervals are ordered", "[analysis][property]") {
  rc::prop("a line", [] {
    const std::size_t n = *rc::gen::inRange<std::size_t>(4, 30);
    const auto x = rising(n), y = series(n);
    const LineFit f = fit_line(x, y);
    double sum = 0, with_x = 0;
    for (std::size_t i = 0; i < n; ++i) {
      const double off = y[i] - f.intercept - f.slope * x[i];
      sum += off;
      with_x += off * x[i];
    }
    RC_ASSERT(std::abs(sum) < 1e-7 && std::abs(with_x) < 1e-5);
    const Prediction p = predict(f, x.back() + 5);
    RC_ASSERT(p.next.low <= p.mean.low && p.mean.low <= p.fit && p.fit <= p.mean.high && p.mean.high <= p.next.high);
  });
  rc::prop("far from 0 it is the same line", [] {
    const std::size_t n = *rc::gen::inRange<std::size_t>(4, 30);
    const auto x = rising(n), y = series(n);
    auto far_x = x, far_y = y;
    for (double& v : far_x) v += 1 << 20U;
    for (double& v : far_y) v += 1 << 20U;
    const LineFit f = fit_line(x, y), far = fit_line(far_x, far_y);
    RC_ASSERT(near(f.slope, far.slope) && near(f.slope_se, far.slope_se));
    RC_ASSERT(near(predict(f, x.back()).next.high + (1 << 20U), predict(far, far_x.back()).next.high, 1e-12));
  });
  rc::prop("a weight of 2 is the value twice", [] {
    const std::size_t n = *rc::gen::inRange<std::size_t>(4, 20);
    const auto x = rising(n), y = series(n);
    auto twice_x = x, twice_y = y;
    twice_x.push_back(x[1]);
    twice_y.push_back(y[1]);
    std::vector<double> weights(n, 1.0);
    weights[1] = 2;
    const LineFit f = fit_line(x, y, weights), twice = fit_line(twice_x, twice_y);
    RC_ASSERT(near(f.slope, twice.slope) && near(f.intercept, twice.intercept) && near(f.rss, twice.rss));
  });
}

TEST_CASE("shrinkage: every unit lies between itself and the common value", "[analysis][property]") {
  rc::prop("rates and estimates", [] {
    const std::size_t n = *rc::gen::inRange<std::size_t>(2, 12);
    std::vector<double> count, exposure, y, v;
    for (std::size_t i = 0; i < n; ++i) {
      count.push_back(*rc::gen::inRange(i == 0 ? 1 : 0, 30));
      exposure.push_back(*rc::gen::inRange(1, 800) / 8.0);
      y.push_back(*rc::gen::inRange(-800, 800) / 8.0);
      v.push_back(*rc::gen::inRange(1, 800) / 8.0);
    }
    const GammaPoisson g = shrink_rates(count, exposure);
    if (!g.one_rate)
      for (const ShrunkRate& u : g.units) {
        const double mean = g.shape / g.rate;
        RC_ASSERT(u.shrunk >= std::min(u.raw, mean) - 1e-9 && u.shrunk <= std::max(u.raw, mean) + 1e-9);
        RC_ASSERT(u.limits.low < u.shrunk && u.shrunk < u.limits.high);
      }
    const RandomEffects r = random_effects(y, v);
    for (std::size_t i = 0; i < n; ++i)
      RC_ASSERT(r.shrunk[i] >= std::min(y[i], r.mean) - 1e-9 && r.shrunk[i] <= std::max(y[i], r.mean) + 1e-9);
  });
}

TEST_CASE("many tests: adjusting keeps the order and only raises p", "[analysis][property]") {
  rc::prop("any p values", [] {
    std::vector<double> p;
    const std::size_t n = *rc::gen::inRange<std::size_t>(1, 40);
    for (std::size_t i = 0; i < n; ++i) p.push_back(probability());
    const auto q = adjust_p(p);
    for (std::size_t i = 0; i < n; ++i) {
      RC_ASSERT(q[i] >= p[i] * (1 - 1e-12) && q[i] <= 1);
      for (std::size_t j = 0; j < n; ++j) RC_ASSERT(p[i] > p[j] || q[i] <= q[j]);
    }
  });
}

TEST_CASE("charts: a later limit runs longer, a shift runs shorter", "[analysis][property]") {
  CHECK(cusum_run_length(0.5, 4, 0) < cusum_run_length(0.5, 5, 0));
  CHECK(cusum_run_length(0.5, 4, 1) < cusum_run_length(0.5, 4, 0));
  CHECK(cusum_run_length(0.5, 4, 0, 2) < cusum_run_length(0.5, 4, 0));
  CHECK(ewma_run_length(0.2, 2.7, 0) < ewma_run_length(0.2, 3, 0));
  CHECK(near(cusum_run_length_two_sided(0.5, cusum_limit_for(0.5, 250), 0), 250, 1e-8));
}
