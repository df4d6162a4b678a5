#include "analysis/change_point.hpp"

#include "analysis/distributions.hpp"
#include "analysis/least_squares.hpp"
#include "base/error.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numeric>

#include <fmt/format.h>

namespace shaftlog {

namespace {

constexpr double kInf = std::numeric_limits<double>::infinity();
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
  double least = kInf;
  for (std::size_t k = 1; k < n; ++k) {
    const double rss = s.rss(0, k) + s.rss(k, n);
    if (rss < least) {
      least = rss;
      r.lr_at = k;
    }
    if (k < edge || k > n - edge) continue;
    const double f = (r.rss_none - rss) / (rss / (nn - 2));
    if (r.at == 0 || f > r.sup_f) {
      r.sup_f = f;
      r.at = k;
    }
  }
  r.lr = nn * std::log(r.rss_none / least);
  r.rss = s.rss(0, r.at) + s.rss(r.at, n);
  r.mean_before = s.mean(0, r.at);
  r.mean_after = s.mean(r.at, n);
  const auto k = static_cast<double>(r.at);
  r.t = (r.mean_before - r.mean_after) / std::sqrt(r.rss / (nn - 2) * (1 / k + 1 / (nn - k)));
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

CusumOfResiduals cusum_of_residuals(std::span<const double> y) {
  need_series(y, 2);
  const auto n = static_cast<double>(y.size());
  const double mean = std::accumulate(y.begin(), y.end(), 0.0) / n;
  double square = 0, sum = 0;
  for (const double v : y) square += (v - mean) * (v - mean);
  if (!(square > 0)) throw Error{Errc::bad_data, "values: all are equal, so nothing can have changed"};
  const double unit = std::sqrt(square / (n - 1) * n);
  CusumOfResiduals r;
  for (std::size_t i = 0; i < y.size(); ++i) {
    sum += y[i] - mean;
    if (std::abs(sum) / unit > r.statistic) {
      r.statistic = std::abs(sum) / unit;
      r.at = i + 1;
    }
  }
  const double x = r.statistic;
  if (x < 0.3) return r;  // Kolmogorov's law gives 1 to nine digits
  double p = 0;
  for (int i = 1; i <= 100; ++i) p += (i % 2 == 1 ? 2 : -2) * std::exp(-2.0 * i * i * x * x);
  r.p = std::clamp(p, 0.0, 1.0);
  return r;
}

Pettitt pettitt(std::span<const double> y) {
  need_series(y, 2);
  const std::size_t n = y.size();
  Pettitt r;
  double u = 0;
  for (std::size_t i = 0; i < n; ++i) {  // U_t = U_(t-1) + sum over j of sign(y_t - y_j)
    for (std::size_t j = 0; j < n; ++j) u += (y[i] > y[j]) - (y[i] < y[j]);
    if (std::abs(u) > r.k) {
      r.k = std::abs(u);
      r.at = i + 1;
    }
  }
  const auto m = static_cast<double>(n);
  r.p = std::min(1.0, 2 * std::exp(-6 * r.k * r.k / (m * m * m + m * m)));
  return r;
}

std::vector<Segmentation> find_level_shifts(std::span<const double> y, std::size_t min_length, std::size_t max_breaks) {
  need_series(y, 2);
  const std::size_t n = y.size(), h = min_length;
  if (h == 0 || h > n) throw Error{Errc::bad_data, fmt::format("shortest segment: {} is not between 1 and {}", h, n)};
  const Stretches s{y};
  const auto nn = static_cast<double>(n);
  // best[m][i]: least sum of squares of the first i records in m + 1 segments; from[m][i]: where the last one begins.
  std::vector<std::vector<double>> best(1, std::vector<double>(n + 1, kInf));
  std::vector<std::vector<std::size_t>> from(1, std::vector<std::size_t>(n + 1, 0));
  for (std::size_t i = h; i <= n; ++i) best[0][i] = s.rss(0, i);
  std::vector<Segmentation> all;
  for (std::size_t m = 0; m <= max_breaks && (m + 1) * h <= n; ++m) {
    if (m > 0) {
      best.emplace_back(n + 1, kInf);
      from.emplace_back(n + 1, 0);
      for (std::size_t i = (m + 1) * h; i <= n; ++i)
        for (std::size_t j = m * h; j + h <= i; ++j)
          if (const double v = best[m - 1][j] + s.rss(j, i); v < best[m][i]) {
            best[m][i] = v;
            from[m][i] = j;
          }
    }
    Segmentation g;
    std::size_t end = n;
    for (std::size_t k = m; k > 0; --k) {
      end = from[k][end];
      g.breaks.insert(g.breaks.begin(), end);
    }
    std::size_t begin = 0;
    for (std::size_t k = 0; k <= m; ++k) {
      const std::size_t stop = k < m ? g.breaks[k] : n;
      g.means.push_back(s.mean(begin, stop));
      g.rss += s.rss(begin, stop);
      begin = stop;
    }
    g.bic = nn * (std::log(2 * kPi * g.rss / nn) + 1) + static_cast<double>(2 * m + 2) * std::log(nn);
    all.push_back(g);
  }
  return all;
}

const Segmentation& best_by_bic(const std::vector<Segmentation>& all) {
  if (all.empty()) throw Error{Errc::bad_data, "segmentations: none found, at least 1 expected"};
  return *std::min_element(all.begin(), all.end(), [](const auto& a, const auto& b) { return a.bic < b.bic; });
}

namespace {
double poisson_part(double events, double exposure) { return events > 0 ? events * std::log(events / exposure) : 0.0; }
}  // namespace

RateChange find_rate_change(std::span<const double> counts, double confidence) {
  need_series(counts, 2);
  need_share("confidence", confidence);
  double total = 0;
  for (std::size_t i = 0; i < counts.size(); ++i) {
    if (counts[i] < 0) throw Error{Errc::bad_data, fmt::format("count {}: {} is not 0 or more", i + 1, counts[i])};
    total += counts[i];
  }
  const auto n = static_cast<double>(counts.size());
  std::vector<double> l;
  double before = 0, before_best = 0;
  std::size_t best = 0;
  for (std::size_t k = 1; k < counts.size(); ++k) {
    before += counts[k - 1];
    const auto kk = static_cast<double>(k);
    l.push_back(poisson_part(before, kk) + poisson_part(total - before, n - kk));
    if (k == 1 || l.back() > l[best]) {
      best = k - 1;
      before_best = before;
    }
  }
  RateChange r;
  r.at = static_cast<double>(best + 1);
  r.events_before = static_cast<std::size_t>(before_best);
  r.rate_before = before_best / r.at;
  r.rate_after = (total - before_best) / (n - r.at);
  r.lr = std::max(0.0, 2 * (l[best] - poisson_part(total, n)));
  const double limit = l[best] - 0.5 * chi_square_quantile(confidence, 1);
  for (std::size_t i = 0; i < l.size(); ++i)
    if (l[i] > limit || i == best) {
      if (r.low == 0) r.low = static_cast<double>(i + 1);
      r.high = static_cast<double>(i + 1);
    }
  return r;
}

RateChange find_rate_change(std::span<const double> times, double from, double to, double min_length) {
  need_series(times, 1);
  if (!std::isfinite(from) || !std::isfinite(to) || !(from < to))
    throw Error{Errc::bad_data, fmt::format("watch: from {} to {} is no stretch of time", from, to)};
  if (!(min_length > 0 && 2 * min_length < to - from))
    throw Error{Errc::bad_data,
                fmt::format("shortest part: {} is not above 0 and below half of {}", min_length, to - from)};
  double before = from;
  for (std::size_t i = 0; i < times.size(); ++i) {
    if (times[i] < before || times[i] > to)
      throw Error{Errc::bad_data, fmt::format("event {}: {} is not between {} and {}", i + 1, times[i], before, to)};
    before = times[i];
  }
  const auto n = static_cast<double>(times.size());
  RateChange r;
  double best = -kInf;
  // Between events the likelihood is convex in the moment, so its top is at an event, just before or just after it.
  const auto consider = [&](double t, std::size_t count) {
    if (t - from < min_length || to - t < min_length) return;
    const auto m = static_cast<double>(count);
    const double l = poisson_part(m, t - from) + poisson_part(n - m, to - t);
    if (l <= best) return;
    best = l;
    r.at = t;
    r.events_before = count;
    r.rate_before = m / (t - from);
    r.rate_after = (n - m) / (to - t);
  };
  for (std::size_t i = 0; i < times.size(); ++i) {
    consider(times[i], i);
    if (i + 1 == times.size() || times[i + 1] != times[i]) consider(times[i], i + 1);
  }
  if (best == -kInf) throw Error{Errc::bad_data, "events: none lies where a change is looked for"};
  r.lr = std::max(0.0, 2 * (best - poisson_part(n, to - from)));
  r.low = r.high = r.at;
  return r;
}

BrokenLine fit_broken_line(std::span<const double> x, std::span<const double> y) {
  need_series(x, 5);
  need_series(y, 5);
  std::vector<double> knots{x.begin(), x.end()};
  std::sort(knots.begin(), knots.end());
  knots.erase(std::unique(knots.begin(), knots.end()), knots.end());
  if (knots.size() < 5)
    throw Error{Errc::bad_data, fmt::format("x: {} different values found, at least 5 expected", knots.size())};
  const auto fit = [&](double join) {
    std::vector<std::vector<double>> columns{{x.begin(), x.end()}, {}};
    for (const double v : x) columns[1].push_back(std::max(v - join, 0.0));
    return fit_linear(y, columns);
  };
  // The sum of squares is smooth between two knots only: search each stretch by golden section.
  double best = kInf, join = 0;
  const double g = 0.5 * (std::sqrt(5.0) - 1);
  for (std::size_t i = 1; i + 2 < knots.size(); ++i) {
    double a = knots[i], b = knots[i + 1];
    double c = b - g * (b - a), d = a + g * (b - a), fc = fit(c).rss, fd = fit(d).rss;
    for (int step = 0; step < 60 && b - a > 1e-9 * (knots.back() - knots.front()); ++step) {
      if (fc <= fd) {
        b = d;
        d = c;
        fd = fc;
        c = b - g * (b - a);
        fc = fit(c).rss;
      } else {
        a = c;
        c = d;
        fc = fd;
        d = a + g * (b - a);
        fd = fit(d).rss;
      }
    }
    const double m = 0.5 * (a + b);
    if (const double rss = fit(m).rss; rss < best) {
      best = rss;
      join = m;
    }
  }
  const LinearFit f = fit(join);
  BrokenLine r{join, f.coefficients[0], f.coefficients[1], f.coefficients[1] + f.coefficients[2], f.rss, 0};
  // Linearised at the join: the column -c (x > join) is the derivative by it.
  std::vector<std::vector<double>> columns{{x.begin(), x.end()}, {}, {}};
  for (const double v : x) {
    columns[1].push_back(std::max(v - join, 0.0));
    columns[2].push_back(v > join ? -f.coefficients[2] : 0.0);
  }
  r.join_se = fit_linear(y, columns).standard_errors[3];
  return r;
}

}  // namespace shaftlog
