#include "analysis/control_charts.hpp"

#include "base/error.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include <fmt/format.h>

namespace shaftlog {

namespace {

constexpr double kPi = 3.14159265358979323846;
constexpr double kNan = std::numeric_limits<double>::quiet_NaN();

void need(bool good, const char* name, double value, const char* wanted) {
  if (!good || std::isinf(value)) throw Error{Errc::bad_data, fmt::format("{}: {} is not {}", name, value, wanted)};
}
void need_values(std::span<const double> x, std::size_t least) {
  if (x.size() < least)
    throw Error{Errc::bad_data, fmt::format("values: {} found, at least {} expected", x.size(), least)};
  for (std::size_t i = 0; i < x.size(); ++i)
    if (!std::isfinite(x[i])) throw Error{Errc::bad_data, fmt::format("value {}: {} is not finite", i + 1, x[i])};
}

struct Nodes {
  std::vector<double> at, weight;
};
// Gauss-Legendre on [low, high], nodes by Newton's method on the Legendre polynomial.
Nodes gauss_legendre(std::size_t n, double low, double high) {
  Nodes g{std::vector<double>(n), std::vector<double>(n)};
  const auto m = static_cast<double>(n);
  for (std::size_t i = 0; i < n; ++i) {
    double x = std::cos(kPi * (static_cast<double>(i) + 0.75) / (m + 0.5)), slope = 1;
    for (int step = 0; step < 100; ++step) {
      double p = 1, before = 0;
      for (std::size_t j = 1; j <= n; ++j) {
        const auto k = static_cast<double>(j);
        const double next = ((2 * k - 1) * x * p - (k - 1) * before) / k;
        before = p;
        p = next;
      }
      slope = m * (x * p - before) / (x * x - 1);
      const double move = p / slope;
      x -= move;
      if (std::abs(move) < 1e-15) break;
    }
    g.at[i] = 0.5 * (low + high) - 0.5 * (high - low) * x;
    g.weight[i] = (high - low) / ((1 - x * x) * slope * slope);
  }
  return g;
}

// Gaussian elimination with row exchange; a is n by n, row by row.
std::vector<double> solve(std::vector<double> a, std::vector<double> b) {
  const std::size_t n = b.size();
  for (std::size_t c = 0; c < n; ++c) {
    std::size_t pivot = c;
    for (std::size_t r = c + 1; r < n; ++r)
      if (std::abs(a[r * n + c]) > std::abs(a[pivot * n + c])) pivot = r;
    if (pivot != c) {
      for (std::size_t j = 0; j < n; ++j) std::swap(a[c * n + j], a[pivot * n + j]);
      std::swap(b[c], b[pivot]);
    }
    for (std::size_t r = c + 1; r < n; ++r) {
      const double f = a[r * n + c] / a[c * n + c];
      if (f == 0) continue;
      for (std::size_t j = c; j < n; ++j) a[r * n + j] -= f * a[c * n + j];
      b[r] -= f * b[c];
    }
  }
  for (std::size_t c = n; c-- > 0;) {
    for (std::size_t j = c + 1; j < n; ++j) b[c] -= a[c * n + j] * b[j];
    b[c] /= a[c * n + c];
  }
  return b;
}

std::size_t nodes_for(double width) { return static_cast<std::size_t>(std::clamp(24 + 8 * width, 40.0, 160.0)); }

void need_cusum(double k, double h, double shift, double head_start) {
  need(k >= 0, "k", k, "0 or more");
  need(h > 0, "h", h, "above 0");
  need(!std::isnan(shift), "shift", shift, "a number");
  need(head_start >= 0 && head_start <= h, "head start", head_start, "between 0 and h");
}

// Root of a rising function by bisection.
template <class F>
double rising_root(F f, double low, double high, double wanted) {
  while (f(high) < wanted && high < 100) high *= 1.5;
  for (int i = 0; i < 60 && high - low > 1e-12 * high; ++i) {
    const double m = 0.5 * (low + high);
    (f(m) < wanted ? low : high) = m;
  }
  return 0.5 * (low + high);
}

}  // namespace

double moving_range_d2() noexcept { return 2 / std::sqrt(kPi); }
double moving_range_d4() noexcept {
  const double d2 = moving_range_d2();
  return 1 + 3 * std::sqrt(2 - d2 * d2) / d2;  // the range of two has variance (2 - d2^2) sigma^2
}

IndividualsChart individuals_chart(std::span<const double> x, double width, double d2) {
  need_values(x, 2);
  need(width > 0, "width", width, "above 0");
  need(d2 > 0, "d2", d2, "above 0");
  IndividualsChart c;
  for (std::size_t i = 0; i < x.size(); ++i) {
    c.mean += x[i];
    if (i > 0) c.mean_moving_range += std::abs(x[i] - x[i - 1]);
  }
  c.mean /= static_cast<double>(x.size());
  c.mean_moving_range /= static_cast<double>(x.size() - 1);
  c.sigma = c.mean_moving_range / d2;
  c.low = c.mean - width * c.sigma;
  c.high = c.mean + width * c.sigma;
  c.moving_range_high = moving_range_d4() * c.mean_moving_range;
  for (std::size_t i = 0; i < x.size(); ++i)
    if (x[i] < c.low || x[i] > c.high) c.outside.push_back(i);
  return c;
}

EwmaChart ewma_chart(std::span<const double> x, double target, double sigma, double lambda, double width) {
  need_values(x, 1);
  need(!std::isnan(target), "target", target, "a number");
  need(sigma > 0, "sigma", sigma, "above 0");
  need(lambda > 0 && lambda <= 1, "lambda", lambda, "above 0 and up to 1");
  need(width > 0, "width", width, "above 0");
  EwmaChart c;
  const double far = width * sigma * std::sqrt(lambda / (2 - lambda));
  c.low_asymptotic = target - far;
  c.high_asymptotic = target + far;
  double z = target, left = 1;
  for (std::size_t i = 0; i < x.size(); ++i) {
    z = lambda * x[i] + (1 - lambda) * z;
    left *= (1 - lambda) * (1 - lambda);
    const double half = far * std::sqrt(1 - left);
    c.values.push_back(z);
    c.low.push_back(target - half);
    c.high.push_back(target + half);
    if (!c.first_signal && std::abs(z - target) > half) c.first_signal = i;
  }
  return c;
}

CusumChart cusum_chart(std::span<const double> x, double target, double k, double h, double head_start) {
  need_values(x, 1);
  need(!std::isnan(target), "target", target, "a number");
  need(k >= 0, "k", k, "0 or more");
  need(h > 0, "h", h, "above 0");
  need(head_start >= 0, "head start", head_start, "0 or more");
  CusumChart c;
  double up = head_start, down = head_start, sum = 0;
  std::size_t up_steps = 0, down_steps = 0;
  c.new_mean = kNan;
  for (std::size_t i = 0; i < x.size(); ++i) {
    const double d = x[i] - target;
    up = std::max(0.0, up + d - k);
    down = std::max(0.0, down - d - k);
    up_steps = up > 0 ? up_steps + 1 : 0;
    down_steps = down > 0 ? down_steps + 1 : 0;
    sum += d;
    c.upper.push_back(up);
    c.lower.push_back(down);
    c.sums.push_back(sum);
    if (!c.first_signal && (up > h || down > h)) {
      c.first_signal = i;
      c.upward = up > h;
      c.steps_since_zero = c.upward ? up_steps : down_steps;
      const double moved = k + (c.upward ? up : down) / static_cast<double>(c.steps_since_zero);
      c.new_mean = c.upward ? target + moved : target - moved;
    }
  }
  return c;
}

double cusum_run_length(double k, double h, double shift, double head_start) {
  need_cusum(k, h, shift, head_start);
  // L(z) = 1 + L(0) P(z + x - k <= 0) + integral over (0, h) of L(y) pdf(y - z + k - shift).
  const Nodes g = gauss_legendre(nodes_for(h), 0, h);
  const std::size_t n = g.at.size(), m = n + 1;  // unknown 0 is L(0)
  std::vector<double> a(m * m, 0.0);
  const auto start = [&](std::size_t i) { return i == 0 ? 0.0 : g.at[i - 1]; };
  for (std::size_t i = 0; i < m; ++i) {
    const double z = start(i);
    a[i * m + i] += 1;
    a[i * m] -= normal_cdf(k - z - shift);
    for (std::size_t j = 0; j < n; ++j) a[i * m + j + 1] -= g.weight[j] * normal_pdf(g.at[j] - z + k - shift);
  }
  const std::vector<double> run = solve(std::move(a), std::vector<double>(m, 1.0));
  double length = 1 + run[0] * normal_cdf(k - head_start - shift);
  for (std::size_t j = 0; j < n; ++j) length += run[j + 1] * g.weight[j] * normal_pdf(g.at[j] - head_start + k - shift);
  return length;
}

double cusum_run_length_two_sided(double k, double h, double shift, double head_start) {
  const double up = cusum_run_length(k, h, shift), down = cusum_run_length(k, h, -shift);
  if (head_start == 0) return 1 / (1 / up + 1 / down);
  // The sum that signals leaves the other at 0 (Lucas & Crosier 1982): renewal from the zero state.
  const double up_head = cusum_run_length(k, h, shift, head_start),
               down_head = cusum_run_length(k, h, -shift, head_start);
  return (up_head * down + down_head * up - up * down) / (up + down);
}

double ewma_run_length(double lambda, double width, double shift) {
  need(lambda > 0 && lambda <= 1, "lambda", lambda, "above 0 and up to 1");
  need(width > 0, "width", width, "above 0");
  need(!std::isnan(shift), "shift", shift, "a number");
  if (lambda == 1) return shewhart_run_length(width, shift);
  const double limit = width * std::sqrt(lambda / (2 - lambda));
  const Nodes g = gauss_legendre(nodes_for(2 * limit / lambda), -limit, limit);
  const std::size_t n = g.at.size();
  const auto kernel = [&](double z, std::size_t j) {
    return g.weight[j] / lambda * normal_pdf((g.at[j] - (1 - lambda) * z) / lambda - shift);
  };
  std::vector<double> a(n * n, 0.0);
  for (std::size_t i = 0; i < n; ++i) {
    a[i * n + i] += 1;
    for (std::size_t j = 0; j < n; ++j) a[i * n + j] -= kernel(g.at[i], j);
  }
  const std::vector<double> run = solve(std::move(a), std::vector<double>(n, 1.0));
  double length = 1;
  for (std::size_t j = 0; j < n; ++j) length += run[j] * kernel(0, j);
  return length;
}

double shewhart_run_length(double width, double shift) {
  need(width > 0, "width", width, "above 0");
  need(!std::isnan(shift), "shift", shift, "a number");
  return 1 / (normal_tail(width - shift) + normal_tail(width + shift));
}

double cusum_limit_for(double k, double run_length) {
  need(k >= 0, "k", k, "0 or more");
  need(run_length > 2, "run length", run_length, "above 2");
  return rising_root([&](double h) { return cusum_run_length_two_sided(k, h, 0); }, 1e-3, 4, run_length);
}

double ewma_width_for(double lambda, double run_length) {
  need(run_length > 2, "run length", run_length, "above 2");
  return rising_root([&](double w) { return ewma_run_length(lambda, w, 0); }, 0.05, 3, run_length);
}

}  // namespace shaftlog
