#include "analysis/change_point.hpp"

#include "analysis/distributions.hpp"
#include "base/error.hpp"

#include <algorithm>
#include <cmath>
#include <numeric>
#include <vector>

#include <fmt/format.h>

namespace shaftlog {

namespace {

constexpr double kPi = 3.14159265358979323846;

void need_series(std::span<const double> y, std::size_t least) {
  if (y.size() < least)
    throw Error{Errc::bad_data, fmt::format("values: {} found, at least {} expected", y.size(), least)};
  for (std::size_t i = 0; i < y.size(); ++i)
    if (!std::isfinite(y[i])) throw Error{Errc::bad_data, fmt::format("value {}: {} is not finite", i + 1, y[i])};
}
void need_share(const char* name, double c) {
  if (!(c > 0 && c < 1)) throw Error{Errc::bad_data, fmt::format("{}: {} is not between 0 and 1", name, c)};
}

// Sum of squares and mean of every stretch in O(1), from cumulated sums around the overall mean.
class Stretches {
 public:
  explicit Stretches(std::span<const double> y) : sum_(y.size() + 1), square_(y.size() + 1) {
    centre_ = std::accumulate(y.begin(), y.end(), 0.0) / static_cast<double>(y.size());
    for (std::size_t i = 0; i < y.size(); ++i) {
      const double d = y[i] - centre_;
      sum_[i + 1] = sum_[i] + d;
      square_[i + 1] = square_[i] + d * d;
    }
  }
  [[nodiscard]] double rss(std::size_t from, std::size_t to) const {
    const double s = sum_[to] - sum_[from];
    return std::max(0.0, square_[to] - square_[from] - s * s / static_cast<double>(to - from));
  }
  [[nodiscard]] double mean(std::size_t from, std::size_t to) const {
    return centre_ + (sum_[to] - sum_[from]) / static_cast<double>(to - from);
  }

 private:
  double centre_ = 0;
  std::vector<double> sum_, square_;
};

// Law of the argmax s of W(s) - |s|/2 when the variance after the break is `ratio` times that before it (Bai 1997,
// proposition 3; Yao 1987 for ratio 1), as tails of the two sides. exp and normal tail are joined by logarithms.
double tail_below(double x, double ratio) {  // P(s < -x)
  const double f = 1 / ratio, r = std::sqrt(x);
  return -std::sqrt(x / (2 * kPi)) * std::exp(-x / 8) -
         ratio * (ratio + 2) / (ratio + 1) * std::exp(0.5 * f * (1 + f) * x + normal_log_cdf(-(0.5 + f) * r)) +
         (0.5 * x - 2 + (ratio + 2) * (ratio + 2) / (ratio + 1)) * normal_cdf(-0.5 * r);
}
double tail_above(double x, double ratio) {  // P(s > x)
  const double f = 1 / ratio, r = std::sqrt(x);
  return -std::sqrt(f * x / (2 * kPi)) * std::exp(-f * x / 8) -
         f * (2 * ratio + 1) / (ratio + 1) *
             std::exp(0.5 * (ratio + 1) * x + normal_log_cdf(-(ratio + 0.5) / std::sqrt(ratio) * r)) +
         ((2 * ratio + 1) * (2 * ratio + 1) / ((ratio + 1) * ratio) - 2 + 0.5 * f * x) *
             normal_cdf(-0.5 * std::sqrt(f) * r);
}
template <class Tail>
double reach_of(Tail tail, double p) {
  double low = 0, high = 1;
  while (tail(high) > p && high < 1e6) high *= 2;
  for (int i = 0; i < 200; ++i) {
    const double m = 0.5 * (low + high);
    (tail(m) > p ? low : high) = m;
  }
  return 0.5 * (low + high);
}

}  // namespace

LevelShift find_level_shift(std::span<const double> y, double confidence, double trim) {
  need_series(y, 4);
  need_share("confidence", confidence);
  if (!(trim >= 0 && trim < 0.5)) throw Error{Errc::bad_data, fmt::format("trim: {} is not between 0 and 0.5", trim)};
  const std::size_t n = y.size();
  const auto nn = static_cast<double>(n);
  const Stretches s{y};
  LevelShift r;
  r.rss_none = s.rss(0, n);
  if (!(r.rss_none > 0)) throw Error{Errc::bad_data, "values: all are equal, so nothing can have changed"};
  const auto edge = std::max<std::size_t>(1, static_cast<std::size_t>(std::floor(trim * nn)));
  for (std::size_t k = edge; k <= n - edge; ++k) {
    const double rss = s.rss(0, k) + s.rss(k, n);
    const double f = (r.rss_none - rss) / (rss / (nn - 2));
    if (r.at == 0 || f > r.sup_f) {
      r.sup_f = f;
      r.at = k;
    }
  }
  r.rss = s.rss(0, r.at) + s.rss(r.at, n);
  r.mean_before = s.mean(0, r.at);
  r.mean_after = s.mean(r.at, n);
  const auto k = static_cast<double>(r.at);
  const double shift = r.mean_before - r.mean_after;
  // Each side of the break has its own variance. A side without any spread fixes the break to the record.
  const double v1 = s.rss(0, r.at) / k, v2 = s.rss(r.at, n) / (nn - k), p = 0.5 * (1 - confidence);
  double down = 0, up = 0;
  if (v1 > 0 && v2 > 0 && shift != 0) {
    const double ratio = v2 / v1, unit = v1 / (shift * shift);
    down = std::ceil(unit * reach_of([&](double x) { return tail_above(x, ratio); }, p));
    up = std::ceil(unit * reach_of([&](double x) { return tail_below(x, ratio); }, p));
  } else if (shift == 0) {
    down = up = nn;
  }
  r.low = static_cast<std::size_t>(std::max(0.0, k - down));
  r.high = static_cast<std::size_t>(std::min(nn, k + up));
  return r;
}

}  // namespace shaftlog
