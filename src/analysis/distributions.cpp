#include "analysis/distributions.hpp"

#include "base/error.hpp"

#include <limits>

#include <boost/math/special_functions/beta.hpp>
#include <boost/math/special_functions/digamma.hpp>
#include <boost/math/special_functions/erf.hpp>
#include <boost/math/special_functions/gamma.hpp>
#include <boost/math/special_functions/trigamma.hpp>
#include <fmt/format.h>

namespace shaftlog {

namespace {

// The special functions are called directly instead of through Boost's distribution classes: less to compile, and
// promotion to long double stays on, which the quantiles need for their last digits.
namespace bm = boost::math;

constexpr double kInf = std::numeric_limits<double>::infinity();

[[noreturn]] void refuse(const char* name, double value, const char* wanted) {
  throw Error{Errc::bad_data, fmt::format("{}: {} is not {}", name, value, wanted)};
}
void need_positive(const char* name, double v) {
  if (!(v > 0) || v == kInf) refuse(name, v, "a number above 0");
}
void need_number(const char* name, double v) {
  if (std::isnan(v)) refuse(name, v, "a number");
}
void need_chance(double p) {
  if (!(p >= 0 && p <= 1)) refuse("probability", p, "between 0 and 1");
}
void need_count(const char* name, std::int64_t n) {
  if (n < 0) throw Error{Errc::bad_data, fmt::format("{}: {} is not a count of 0 or more", name, n)};
}

// Upper tail of t for t >= 0 is I_{v/(v+t^2)}(v/2, 1/2) / 2; for small t the complement keeps the digits.
double t_upper(double t, double dof) {
  const double t2 = t * t;
  if (t2 > dof) return 0.5 * bm::ibeta(0.5 * dof, 0.5, dof / (dof + t2));
  return 0.5 * bm::ibetac(0.5, 0.5 * dof, t2 / (dof + t2));
}

}  // namespace

double normal_log_pdf(double z) noexcept { return -0.5 * z * z - 0.91893853320467274178; }

namespace {
// Mills' ratio P(Z > z) / pdf(z) for z >= 10 by Laplace's continued fraction 1/(z+ 1/(z+ 2/(z+ 3/(z+ ...)))).
double mills_far(double z) noexcept {
  double f = z;
  for (int k = 40; k >= 1; --k) f = z + k / f;
  return 1 / f;
}
}  // namespace

double normal_log_cdf(double z) noexcept {
  if (z > 5) return std::log1p(-normal_tail(z));
  if (z > -30) return std::log(normal_cdf(z));
  if (z == -kInf) return -kInf;
  return normal_log_pdf(z) + std::log(mills_far(-z));
}

double normal_quantile(double p) {
  need_chance(p);
  if (p == 0) return -kInf;
  if (p == 1) return kInf;
  return -1.41421356237309504880 * bm::erfc_inv(2 * p);
}

double t_pdf(double t, double dof) {
  need_number("t", t);
  need_positive("degrees of freedom", dof);
  return std::exp(log_gamma(0.5 * (dof + 1)) - log_gamma(0.5 * dof) - 0.5 * std::log(dof * 3.14159265358979323846) -
                  0.5 * (dof + 1) * std::log1p(t * t / dof));
}
double t_tail(double t, double dof) {
  need_number("t", t);
  need_positive("degrees of freedom", dof);
  if (std::isinf(t)) return t > 0 ? 0.0 : 1.0;
  return t >= 0 ? t_upper(t, dof) : 1 - t_upper(-t, dof);
}
double t_quantile(double p, double dof) {
  need_chance(p);
  need_positive("degrees of freedom", dof);
  if (p == 0) return -kInf;
  if (p == 1) return kInf;
  if (p == 0.5) return 0;
  const double a = p < 0.5 ? p : 1 - p;  // exact for p >= 0.5
  double y = 0;                          // 1 - x, x = v / (v + t^2)
  const double x = bm::ibeta_inv(0.5 * dof, 0.5, 2 * a, &y);
  double t = std::sqrt(dof * y / x);
  // One step of Newton's method in t: ibeta_inv near x = 1 leaves a few units in the last place.
  const double pdf = t_pdf(t, dof);
  if (pdf > 0) t += (t_upper(t, dof) - a) / pdf;
  return p < 0.5 ? -t : t;
}

double chi_square_cdf(double x, double dof) { return gamma_cdf(x, 0.5 * dof, 0.5); }
double chi_square_tail(double x, double dof) { return gamma_tail(x, 0.5 * dof, 0.5); }
double chi_square_quantile(double p, double dof) { return gamma_quantile(p, 0.5 * dof, 0.5); }
double f_tail(double f, double dof1, double dof2) {
  need_number("f", f);
  need_positive("degrees of freedom", dof1);
  need_positive("degrees of freedom", dof2);
  if (f <= 0) return 1;
  if (f == kInf) return 0;
  const double a = dof1 * f;
  return a > dof2 ? bm::ibeta(0.5 * dof2, 0.5 * dof1, dof2 / (dof2 + a))
                  : bm::ibetac(0.5 * dof1, 0.5 * dof2, a / (dof2 + a));
}
double gamma_cdf(double x, double shape, double rate) {
  need_number("x", x);
  need_positive("rate", rate);
  need_positive("shape", shape);
  return x <= 0 ? 0.0 : gamma_p(shape, x * rate);
}
double gamma_tail(double x, double shape, double rate) {
  need_number("x", x);
  need_positive("rate", rate);
  need_positive("shape", shape);
  return x <= 0 ? 1.0 : gamma_q(shape, x * rate);
}
double gamma_quantile(double p, double shape, double rate) {
  need_chance(p);
  need_positive("shape", shape);
  need_positive("rate", rate);
  if (p == 1) return kInf;
  return bm::gamma_p_inv(shape, p) / rate;
}
double gamma_p(double a, double x) {
  need_positive("shape", a);
  if (!(x >= 0)) refuse("x", x, "0 or more");
  return x == kInf ? 1.0 : bm::gamma_p(a, x);
}
double gamma_q(double a, double x) {
  need_positive("shape", a);
  if (!(x >= 0)) refuse("x", x, "0 or more");
  return x == kInf ? 0.0 : bm::gamma_q(a, x);
}
double beta_cdf(double x, double a, double b) {
  need_positive("a", a);
  need_positive("b", b);
  if (!(x >= 0 && x <= 1)) refuse("x", x, "between 0 and 1");
  return bm::ibeta(a, b, x);
}
double beta_quantile(double p, double a, double b) {
  need_chance(p);
  need_positive("a", a);
  need_positive("b", b);
  return bm::ibeta_inv(a, b, p);
}
double log_gamma(double x) {
  need_positive("x", x);
  return bm::lgamma(x);
}
double digamma(double x) {
  need_positive("x", x);
  return bm::digamma(x);
}
double trigamma(double x) {
  need_positive("x", x);
  return bm::trigamma(x);
}

namespace {
void need_mean(double mean) {
  if (!(mean >= 0) || mean == kInf) refuse("mean", mean, "a number of 0 or more");
}
}  // namespace

double poisson_log_pmf(std::int64_t n, double mean) {
  need_mean(mean);
  if (n < 0) return -kInf;
  if (mean == 0) return n == 0 ? 0.0 : -kInf;
  const auto k = static_cast<double>(n);
  return k * std::log(mean) - mean - log_gamma(k + 1);
}
double binomial_pmf(std::int64_t k, std::int64_t n, double p) {
  need_count("trials", n);
  need_chance(p);
  if (k < 0 || k > n) return 0;
  if (p == 0) return k == 0 ? 1.0 : 0.0;
  if (p == 1) return k == n ? 1.0 : 0.0;
  const auto a = static_cast<double>(k), b = static_cast<double>(n - k);
  return bm::ibeta_derivative(a + 1, b + 1, p) / (a + b + 1);
}
Interval poisson_interval(std::int64_t n, double confidence) {
  need_count("events", n);
  if (!(confidence > 0 && confidence < 1)) refuse("confidence", confidence, "between 0 and 1");
  const double a = 0.5 * (1 - confidence);
  const auto k = static_cast<double>(n);
  return {n == 0 ? 0.0 : bm::gamma_p_inv(k, a), bm::gamma_q_inv(k + 1, a)};
}

double log_sum_exp(double a, double b) noexcept {
  if (a < b) return log_sum_exp(b, a);
  if (b == -kInf || a == kInf) return a;
  return a + std::log1p(std::exp(b - a));
}
double log_sum_exp(std::span<const double> x) noexcept {
  double top = -kInf;
  for (const double v : x)
    if (!(v <= top)) top = v;  // a nan stays on top and is returned
  if (!std::isfinite(top)) return top;
  double sum = 0;
  for (const double v : x) sum += std::exp(v - top);
  return top + std::log(sum);
}
}  // namespace shaftlog
