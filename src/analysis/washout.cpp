#include "analysis/washout.hpp"

#include "analysis/washout_cell.hpp"
#include "base/error.hpp"

#include <array>
#include <memory>
#include <utility>

#include <fmt/format.h>

namespace shaftlog {

namespace washout {

void require_plain(const ShaftHistory& history, const WashoutPrior& prior) {
  const auto check = [](double v, const char* what, std::size_t i) {
    if (!(v >= 0) || !std::isfinite(v))
      throw Error{Errc::bad_data,
                  fmt::format("greasing {}, {}: {} found, a finite number >= 0 expected", i + 1, what, v)};
  };
  for (std::size_t i = 0; i < history.intervals.size(); ++i) {
    const GreasingInterval& g = history.intervals[i];
    check(g.run_h, "running hours", i);
    check(g.run_sd_h, "sd of the running hours", i);
    check(g.delivered_cm3, "delivered", i);
    check(g.delivered_sd_cm3, "sd of delivered", i);
    if (g.taken_cm3) check(*g.taken_cm3, "amount taken", i);
  }
  if (history.cavity_cm3 && (!(*history.cavity_cm3 > 0) || !std::isfinite(*history.cavity_cm3)))
    throw Error{Errc::bad_data, fmt::format("cavity: {} found, a finite number > 0 expected", *history.cavity_cm3)};
  const bool is_prior_good = std::isfinite(prior.mean_log_w) && prior.sd_log_w > 0 && prior.fill_sd_cm3 > 0 &&
                             prior.relative_sd >= 0 && prior.duty_sd >= 0 && prior.season_sd >= 0 &&
                             std::isfinite(prior.sd_log_w + prior.fill_sd_cm3 + prior.relative_sd + prior.duty_sd);
  if (!is_prior_good) throw Error{Errc::bad_data, "prior: a spread is not a finite number above 0"};
}

ConstantFit fit_constant(std::span<const GreasingInterval> intervals, bool is_full, double capacity,
                         const WashoutPrior& prior, double prior_sd) {
  constexpr std::size_t kPoints = 44;
  const double low = prior.mean_log_w - std::max(3.0 * prior_sd, 3.0);
  double width = 2 * std::max(3.0 * prior_sd, 3.0) / (kPoints - 1);
  double from = low;
  ConstantFit fit;
  for (int round = 0; round < 2; ++round) {  // coarse over the prior, then fine about what was found
    std::array<Cell, kPoints> cells;
    std::array<double, kPoints> w{};
    for (std::size_t i = 0; i < kPoints; ++i) {
      const double lw = from + width * static_cast<double>(i), z = (lw - prior.mean_log_w) / prior_sd;
      w[i] = std::exp(lw);
      cells[i] = start(is_full, capacity, prior);
      cells[i].p = width * (0.9 * normal_pdf(z) + 0.1 * normal_pdf(z / 3) / 3) / prior_sd;
    }
    fit = {};
    for (const GreasingInterval& g : intervals) {
      Reading r = reading_of(g, prior, capacity);
      double expected = 0, total = 0;
      for (std::size_t i = 0; i < kPoints; ++i) {
        expected += cells[i].p * std::clamp(cells[i].m + w[i] * r.run_h - r.delivered, 0.0, capacity);
        total += cells[i].p;
      }
      expected /= std::max(total, 1e-300);
      r.outlier_density = slip_density(r.amount, expected);
      r.is_blocked = is_path_suspect(g, expected, prior.fill_sd_cm3) || (g.starts_baseline && g.ended != Ended::packed);
      if (is_informative(g) && !r.is_blocked) ++fit.informative;
      double after = 0;
      for (std::size_t i = 0; i < kPoints; ++i) {
        pass(cells[i], w[i], r);
        after += cells[i].p;
      }
      if (!(after > 0)) after = 1e-300;
      fit.log_likelihood += std::log(after / std::max(total, 1e-300));
      for (Cell& c : cells) c.p /= after;
    }
    double sum = 0, mean = 0, second = 0;
    for (std::size_t i = 0; i < kPoints; ++i) sum += cells[i].p;
    for (std::size_t i = 0; i < kPoints; ++i) mean += cells[i].p / sum * (from + width * static_cast<double>(i));
    for (std::size_t i = 0; i < kPoints; ++i) {
      const double off = from + width * static_cast<double>(i) - mean;
      second += cells[i].p / sum * off * off;
    }
    fit.mean_log_w = mean;
    fit.sd_log_w = std::sqrt(second + width * width / 12);
    const double half = 5 * fit.sd_log_w;
    from = mean - half;
    width = 2 * half / (kPoints - 1);
  }
  return fit;
}

namespace {

constexpr double kPractical = 1.25;     ///< a smaller rise is not worth a word
constexpr double kStepPer1000h = 0.03;  ///< share of shafts whose rate jumps in 1000 running hours
constexpr double kWearPer1000h = 0.03;  ///< ... that begin to wear
constexpr double kLeast = 1e-7;         ///< a hypothesis of less weight is let go
constexpr double kOpens = 0.95, kCloses = 0.5;
constexpr std::array<double, 5> kDoublingH{1300, 2000, 3100, 4800, 7500};
constexpr std::size_t kRows = 26, kBins = 12;
constexpr double kBinWidth = 0.18;
constexpr double kFirstLogFactor = -0.96, kFactorWidth = 0.12;
constexpr std::size_t kFactors = 24;  // ln factor -0.96 ... 1.80, 0 among them: returned to the baseline
constexpr std::size_t kWear = 1 + kFactors, kCells = kWear + kDoublingH.size() * kBins;

double log_factor(std::size_t k) { return kFirstLogFactor + kFactorWidth * static_cast<double>(k); }

/// exp(log_factor(k)).
const std::array<double, kFactors>& factors() {
  static const std::array<double, kFactors> all = [] {
    std::array<double, kFactors> f{};
    for (std::size_t k = 0; k < kFactors; ++k) f[k] = std::exp(log_factor(k));
    return f;
  }();
  return all;
}

const std::array<double, kFactors>& factor_prior() {
  static const std::array<double, kFactors> prior = [] {
    std::array<double, kFactors> p{};
    double sum = 0;
    for (std::size_t k = 0; k < kFactors; ++k) {
      const double x = log_factor(k);
      p[k] = x < -0.06 ? 0.4 * std::exp(x / 0.5) : x < 0.06 ? 1.0 : 1.2 * std::exp(-x / 0.9);
      sum += p[k];
    }
    for (double& v : p) v /= sum;
    return p;
  }();
  return prior;
}

/// Quantiles of weighted points, each spread evenly over a small width.
class Histogram {
 public:
  Histogram(double mean, double sd, double widest) noexcept
      : reach_{5 * sd + widest}, from_{mean - reach_}, per_step_{kSlots / (2 * reach_)} {}
  void add(double value, double width, double weight) noexcept {
    const double at = (value - from_) * per_step_, half = 0.5 * width * per_step_;
    const double a = std::clamp(at - half, 0.0, kSlots - 1.0), b = std::clamp(at + half, a, kSlots - 1.0);
    const auto i = static_cast<std::size_t>(a), j = static_cast<std::size_t>(b);
    if (i == j) {
      mass_[i] += weight;
      return;
    }
    const double density = weight / (b - a);
    mass_[i] += density * (static_cast<double>(i + 1) - a);
    mass_[j] += density * (b - static_cast<double>(j));
    slope_[i + 1] += density;
    slope_[j] -= density;
  }
  /// \param sum of all weights
  [[nodiscard]] Estimate quantiles(double sum) const noexcept {
    std::array<double, 3> at{};
    constexpr std::array<double, 3> kLevels{0.05, 0.5, 0.95};
    double running = 0, below = 0;
    std::size_t next = 0;
    for (std::size_t i = 0; i < kSlots && next < 3; ++i) {
      running += slope_[i];
      const double here = mass_[i] + running;
      while (next < 3 && below + here >= kLevels[next] * sum) {
        const double share = here > 0 ? (kLevels[next] * sum - below) / here : 0;
        at[next++] = from_ + (static_cast<double>(i) + share) / per_step_;
      }
      below += here;
    }
    for (; next < 3; ++next) at[next] = from_ + 2 * reach_;
    return {at[1], at[0], at[2]};
  }

 private:
  static constexpr std::size_t kSlots = 160;
  double reach_, from_, per_step_;
  std::array<double, kSlots + 2> slope_{};  ///< differences of the density
  std::array<double, kSlots + 2> mass_{};
};

/// Weighted points of a real quantity, each spread evenly over a small width: quantiles by a histogram.
class Spread {
 public:
  void add(double value, double width, double weight) {
    if (weight > 0) points_.push_back({value, std::max(width, 1e-9), weight});
  }
  [[nodiscard]] Estimate quantiles() const {
    double sum = 0, mean = 0, second = 0;
    for (const Point& p : points_) sum += p.weight, mean += p.weight * p.value;
    if (!(sum > 0)) return {};
    mean /= sum;
    double widest = 0;
    for (const Point& p : points_) {
      second += p.weight * (p.value - mean) * (p.value - mean);
      widest = std::max(widest, p.weight > 1e-6 * sum ? p.width : 0);
    }
    Histogram h{mean, std::sqrt(second / sum), widest};
    for (const Point& p : points_) h.add(p.value, p.width, p.weight);
    return h.quantiles(sum);
  }

 private:
  struct Point {
    double value, width, weight;
  };
  std::vector<Point> points_;
};

Estimate exp_of(const Estimate& e) { return {std::exp(e.value), std::exp(e.low), std::exp(e.high)}; }

double log_odds(double yes, double no) { return std::log(std::max(yes, 1e-300) / std::max(no, 1e-300)); }

/// The filter over one stretch of history with one baseline.
class Segment {
 public:
  Segment(const WashoutPrior& prior, double capacity, bool is_automatic, double mean, double sd, double centre,
          double scale, const Cell& first)
      : prior_{prior}, capacity_{capacity}, is_automatic_{is_automatic}, mean_{mean}, sd_{sd} {
    const double reach = std::max(3.3 * sd, 2.2);
    const double low = std::min(mean - reach, centre - 5 * scale), high = std::max(mean + reach, centre + 5 * scale);
    const double ta = std::asinh((low - centre) / scale), tb = std::asinh((high - centre) / scale);
    double sum = 0;
    for (std::size_t i = 0; i < kRows; ++i) {  // fine about the centre, coarse far away: quadrature by t
      const double t = ta + (tb - ta) * (static_cast<double>(i) + 0.5) / kRows;
      log_w_[i] = centre + scale * std::sinh(t);
      width_[i] = scale * std::cosh(t) * (tb - ta) / kRows;
      const double z = (log_w_[i] - mean) / sd;
      base_prior_[i] = width_[i] * (0.9 * normal_pdf(z) + 0.1 * normal_pdf(z / 3) / 3);
      sum += base_prior_[i];
    }
    for (std::size_t i = 0; i < kRows; ++i) {
      base_prior_[i] /= sum;
      w_[i] = std::exp(log_w_[i]);
      cells_[i][0] = first;
      cells_[i][0].p = base_prior_[i];
    }
  }

  WashoutStep read(const GreasingInterval& g);

  [[nodiscard]] Estimate rate() const {
    double mean = 0, second = 0, sum = 0, widest = 0;
    for (std::size_t i = 0; i < kRows; ++i) {
      double p = 0, first = 0, square = 0;  // of the row, about its baseline
      for (std::size_t c = 0; c < used(i); ++c) {
        const Cell& x = cells_[i][c];
        const double v = ratio(c, x), pv = x.p * v;
        p += x.p;
        first += pv;
        square += pv * v;
        if (x.p > 1e-6) widest = std::max(widest, width_[i]);
      }
      sum += p;
      mean += first + p * log_w_[i];
      second += square + log_w_[i] * (2 * first + p * log_w_[i]);
    }
    if (!(sum > 0)) return {};
    mean /= sum;
    Histogram h{mean, std::sqrt(std::max(0.0, second / sum - mean * mean)), widest};
    each([&](std::size_t i, std::size_t c, const Cell& x) { h.add(log_w_[i] + ratio(c, x), width_[i], x.p); });
    return exp_of(h.quantiles(sum));
  }
  [[nodiscard]] Estimate log_baseline() const {
    Spread s;
    for (std::size_t i = 0; i < kRows; ++i) {
      double p = 0;
      for (const Cell& c : cells_[i]) p += c.p;
      s.add(log_w_[i], width_[i], p);
    }
    return s.quantiles();
  }
  [[nodiscard]] Cell state() const {
    Mixture all{cells_[kRows / 2][0].m};
    each([&](std::size_t, std::size_t, const Cell& c) { all.add(c, c.onset); });
    return all.whole();
  }
  /// ln(rate / baseline) where the rise is of the kind.
  [[nodiscard]] Estimate factor(bool is_wear) const {
    Spread s;
    each([&](std::size_t, std::size_t c, const Cell& x) {
      if (c > 0 && (c >= kWear) == is_wear && ratio(c, x) > std::log(kPractical) - 0.01)
        s.add(ratio(c, x), is_wear ? kBinWidth : kFactorWidth, x.p);
    });
    return exp_of(s.quantiles());
  }
  [[nodiscard]] Estimate onset(bool is_wear) const {
    Spread s;
    each([&](std::size_t, std::size_t c, const Cell& x) {
      if (c > 0 && (c >= kWear) == is_wear && ratio(c, x) > std::log(kPractical) - 0.01)
        s.add(x.onset, usual_run_, x.p);
    });
    return s.quantiles();
  }
  [[nodiscard]] Estimate slope() const {  // ln per 1000 h
    Spread s;
    each([&](std::size_t, std::size_t c, const Cell& x) {
      if (c >= kWear) {
        const double g = 693.147 / kDoublingH[(c - kWear) / kBins];
        s.add(std::log(g), 0.43, x.p);
      }
    });
    return exp_of(s.quantiles());
  }
  /// Odds that the baseline belongs to shafts that are high from the start, not to the group.
  [[nodiscard]] double log_odds_high() const {
    double usual = 0, high = 0;
    for (std::size_t i = 0; i < kRows; ++i) {
      double p = 0;
      for (const Cell& c : cells_[i]) p += c.p;
      const double like = p / base_prior_[i], x = log_w_[i] - mean_, z = x / sd_;
      usual += like * width_[i] * normal_pdf(z) / sd_;
      if (x > std::log(1.5) && x < std::log(5.0) + 1) high += like * width_[i] / (std::log(5.0) - std::log(1.5));
    }
    return log_odds(0.05 * high, 0.95 * usual);
  }
  double p_step = 0, p_wear = 0, p_not = 1;
  double hours = 0;
  int exact = 0, left = 0, right = 0;

 private:
  template <class F>
  void each(F f) const {
    for (std::size_t i = 0; i < kRows; ++i)
      for (std::size_t c = 0; c < used(i); ++c)
        if (cells_[i][c].p > 0) f(i, c, cells_[i][c]);
  }
  /// Cells of row `i` that may have weight: far from the estimate it is the unchanged rate alone.
  [[nodiscard]] std::size_t used(std::size_t i) const noexcept { return has_shift_[i] ? kCells : 1; }
  static double ratio(std::size_t c, const Cell& x) { return c == 0 ? 0 : c < kWear ? log_factor(c - 1) : x.log_ratio; }

  WashoutPrior prior_;
  double capacity_;
  bool is_automatic_;
  double mean_, sd_;
  double usual_run_ = 1;
  std::array<double, kRows> log_w_{}, w_{}, width_{}, base_prior_{};
  std::array<std::array<Cell, kCells>, kRows> cells_{};
  std::array<bool, kRows> has_shift_{};
};

WashoutStep Segment::read(const GreasingInterval& g) {
  Reading r = reading_of(g, prior_, capacity_);
  WashoutStep step;
  step.at = g.at;
  step.record = g.id;

  // What is to be expected, before the amount is looked at: the hypotheses' predictions gathered into few Gaussians.
  struct Lump {
    double p = 0, mean = 0, second = 0;
  };
  std::array<Lump, 16> lumps;
  double expected = 0, second = 0;
  std::vector<std::array<double, 3>> ahead;
  ahead.reserve(1000);
  each([&](std::size_t i, std::size_t c, const Cell& x) {
    if (x.p < 1e-5) return;
    const double factor = c == 0 ? 1 : c < kWear ? factors()[c - 1] : inline_exp(x.log_ratio);
    const Ahead a = predict(x, w_[i] * factor, r);
    const double mean = std::clamp(a.mean, 0.0, capacity_);
    const double var = (a.mean > capacity_ || a.mean < 0 ? 0 : a.var) + r.fill_var +
                       r.relative_sd * r.relative_sd * mean * mean + kRoundingVariance;
    ahead.push_back({x.p, mean, var});
    expected += x.p * mean;
    second += x.p * mean * mean;
  });
  const double spread = std::sqrt(std::max(1e-9, second - expected * expected));
  for (const auto& [p, mean, var] : ahead) {
    const double slot = std::clamp((mean - expected) / spread * 2.5 + 8, 0.0, 15.0);
    Lump& l = lumps[static_cast<std::size_t>(slot)];
    l.p += p;
    l.mean += p * mean;
    l.second += p * (var + mean * mean);
  }
  double total = 0;
  std::size_t count = 0;
  for (const Lump& l : lumps)
    if (l.p > 0) {
      total += l.p;
      const double mean = l.mean / l.p;
      lumps[count++] = {l.p, mean, std::sqrt(std::max(1e-6, l.second / l.p - mean * mean))};
    }
  const std::span<const Lump> parts{lumps.data(), count};
  const double noise_sd = std::sqrt(r.fill_var);
  const auto quantile = [&](double level, double x) {  // Newton's method from x, held within the bracket by bisection
    double a = 0, b = expected + 12 * (spread + noise_sd) + 10;
    const double close = 1e-5 * (spread + noise_sd);
    for (int k = 0; k < 60 && b - a > close; ++k) {
      if (!(x > a && x < b) || k % 8 == 7) x = 0.5 * (a + b);
      double off = -level * total, density = 0;
      for (const Lump& l : parts) {
        const double z = (x - l.mean) / l.second;
        if (z < -8) continue;
        off += l.p * normal_cdf(z);
        density += l.p * normal_pdf(z) / l.second;
      }
      (off < 0 ? a : b) = x;
      const double move = density > 0 ? off / density : b;
      x -= move;
      if (std::abs(move) < close && x > a - close && x < b + close) return std::max(0.0, x);
    }
    return 0.5 * (a + b);
  };
  const double sd_all = std::hypot(spread, noise_sd);
  step.expected_cm3 = quantile(0.5, expected);
  step.expected_low = quantile(0.05, expected - 1.645 * sd_all);
  step.expected_high = quantile(0.95, expected + 1.645 * sd_all);
  if (r.is_known && g.ended != Ended::not_done && g.ended != Ended::packed) {
    const double off = r.amount - step.expected_cm3;
    const double unit =
        (off > 0 ? step.expected_high - step.expected_cm3 : step.expected_cm3 - step.expected_low) / 1.645;
    step.surprise = off / std::max(unit, std::sqrt(r.fill_var) / 2);
    if (g.ended != Ended::pressure) step.surprise = std::max(0.0, step.surprise);
  }
  step.is_path_suspect = !is_automatic_ && is_path_suspect(g, step.expected_cm3, prior_.fill_sd_cm3);
  r.is_blocked = step.is_path_suspect || g.starts_baseline;
  r.outlier_density = slip_density(r.amount, step.expected_cm3);
  if (is_informative(g) && !r.is_blocked) {
    const double noise = 1.7 * std::sqrt(r.fill_var + r.relative_sd * r.relative_sd * r.amount * r.amount);
    if (g.ended != Ended::pressure || r.amount > capacity_ - noise)
      ++right;
    else if (g.delivered_cm3 > 0 && r.amount < noise)
      ++left;
    else
      ++exact;
  }

  const double step_share = 1 - std::exp(-kStepPer1000h * r.run_h / 1000);
  const double wear_share = 1 - std::exp(-kWearPer1000h * r.run_h / 1000);
  usual_run_ = std::max(1.0, r.run_h);
  std::array<double, kDoublingH.size()> rises{};  // of ln(rate) over the interval
  for (std::size_t j = 0; j < rises.size(); ++j) rises[j] = 0.693147180559945 / kDoublingH[j] * r.run_h;
  double sum = 0;
  for (std::size_t i = 0; i < kRows; ++i) {
    auto& row = cells_[i];
    double all = 0;
    for (std::size_t c = 0; c < used(i); ++c) all += row[c].p;
    if (all <= 0) continue;
    const bool can_jump = all * step_share > 2e-6;
    Cell source;
    if (can_jump) {
      Mixture mixture{row[0].m};
      const double begins = hours + 0.5 * r.run_h;  // a new rise begins now, an old one goes on
      for (std::size_t c = 0; c < used(i); ++c)
        if (row[c].p > 0) mixture.add(row[c], c == 0 || (c < kWear && log_factor(c - 1) < 0.2) ? begins : row[c].onset);
      source = mixture.whole();
    }
    const double w = w_[i];
    Cell fresh = row[0];
    fresh.p *= wear_share / static_cast<double>(kDoublingH.size());
    fresh.log_ratio = 0;
    fresh.onset = hours;
    row[0].p *= std::max(0.0, 1 - step_share - wear_share);
    pass(row[0], w, r);
    sum += row[0].p;
    if (!has_shift_[i] && !can_jump && fresh.p < kLeast) continue;  // nothing but the unchanged rate, before and after
    has_shift_[i] = true;
    for (std::size_t k = 0; k < kFactors; ++k) {
      const double f = factors()[k];
      Cell& stay = row[1 + k];
      stay.p *= 1 - step_share;
      Cell midway;
      if (can_jump) {
        Cell jump = source;
        jump.p *= 0.5 * step_share * factor_prior()[k];
        stay.add(jump);
        if (jump.p > 2e-7) {  // the jump fell inside the interval: only part of it at the new rate
          midway = jump;
          pass(midway, w * (1 + 0.45 * (f - 1)), r);
        }
      }
      if (stay.p > kLeast)
        pass(stay, w * f, r);
      else
        stay.p = 0;
      stay.add(midway);
      sum += stay.p;
    }
    for (std::size_t j = 0; j < kDoublingH.size(); ++j) {
      Cell* const bins = &row[kWear + j * kBins];
      bins[0].add(fresh);
      // A wear only rises: from the last bin down, each finds the bins it moves to already done.
      for (std::size_t b = kBins; b-- > 0;) {
        Cell x = bins[b];
        bins[b].p = 0;
        if (x.p < kLeast) continue;
        const double middle = std::min(x.log_ratio + 0.5 * rises[j], 2.2);
        x.log_ratio = std::min(x.log_ratio + rises[j], 2.2);
        pass(x, w * inline_exp(middle), r);
        sum += x.p;
        bins[std::clamp(static_cast<std::size_t>(x.log_ratio / kBinWidth), b, kBins - 1)].add(x);
      }
    }
  }
  hours += r.run_h;
  if (!(sum > 0)) sum = 1e-300;
  p_step = p_wear = 0;
  p_not = 0;
  const double share = 1 / sum, is_worth = std::log(kPractical) - 0.01;
  Mixture whole{cells_[kRows / 2][0].m};
  for (std::size_t i = 0; i < kRows; ++i) {
    bool any = false;
    for (std::size_t c = 0; c < used(i); ++c) {
      Cell& x = cells_[i][c];
      if (x.p <= 0) continue;
      x.p *= share;
      if (c > 0 && x.p < 1e-8) {
        x.p = 0;
        continue;
      }
      any = any || c > 0;
      whole.add(x, x.onset);
      const bool is_rise = ratio(c, x) > is_worth;
      (is_rise ? (c >= kWear ? p_wear : p_step) : p_not) += x.p;
    }
    has_shift_[i] = any;
  }
  step.p_step = p_step;
  step.p_wear = p_wear;
  step.washout_cm3_per_h = rate();
  const Cell now = whole.whole();
  step.missing_after_cm3 = std::max(0.0, now.m);
  step.missing_after_sd = std::sqrt(std::max(0.0, now.vm));
  return step;
}

Instant time_at(const std::vector<std::pair<double, Instant>>& marks, double hours) {
  if (marks.empty()) return {};
  if (hours <= marks.front().first) return marks.front().second;
  for (std::size_t i = 1; i < marks.size(); ++i) {
    const auto& [h0, t0] = marks[i - 1];
    const auto& [h1, t1] = marks[i];
    if (hours <= h1 && h1 > h0)
      return t0 + std::chrono::seconds{
                      static_cast<std::int64_t>((hours - h0) / (h1 - h0) * static_cast<double>((t1 - t0).count()))};
  }
  return marks.back().second;
}

}  // namespace
}  // namespace washout

WashoutResult fit_washout(const ShaftHistory& history, const WashoutPrior& prior) {
  using namespace washout;
  require_plain(history, prior);
  WashoutResult result;
  const auto& all = history.intervals;
  if (all.empty()) return result;
  const double capacity = history.cavity_cm3.value_or(kNoCapacity);
  Cell first = start(history.first_is_full, capacity, prior);
  double mean = prior.mean_log_w, sd = prior.sd_log_w;
  std::unique_ptr<Segment> segment;
  std::vector<std::pair<double, Instant>> marks;
  std::size_t open_since = 0, begins = 0;
  bool is_open = false;
  int total_exact = 0, total_left = 0, total_right = 0;
  std::vector<double> odds(all.size(), 0.0);
  const auto close_segment = [&] {
    if (!segment) return;
    total_exact += segment->exact;
    total_left += segment->left;
    total_right += segment->right;
  };
  for (std::size_t i = 0; i < all.size(); ++i) {
    const GreasingInterval& g = all[i];
    const bool is_new = i == 0 || all[i - 1].starts_baseline;
    if (is_new) {
      if (segment) {
        // The old baseline is worth something for the new seal or bearing, but not much more than a sister shaft.
        const Estimate old = segment->log_baseline();
        mean = old.value;
        sd = std::hypot((old.high - old.low) / 3.29, 0.35);
        first = segment->state();
        first.p = 1;
        first.onset = first.log_ratio = 0;
        close_segment();
      }
      begins = i;
      std::size_t upto = i;
      int seen = 0;
      while (upto < all.size() && seen < 10 && (upto == i || !all[upto - 1].starts_baseline)) {
        if (is_informative(all[upto])) ++seen;
        ++upto;
      }
      WashoutPrior own = prior;
      own.mean_log_w = mean;
      const ConstantFit rough =
          fit_constant(std::span{all}.subspan(i, upto - i), i == 0 ? history.first_is_full : true, capacity, own, sd);
      segment = std::make_unique<Segment>(prior, capacity, history.is_automatic, mean, sd, rough.mean_log_w,
                                          std::clamp(rough.sd_log_w, 0.03, 0.6), first);
      marks.assign(1, {0.0, g.from});
      is_open = false;
    }
    WashoutStep step = segment->read(g);
    marks.emplace_back(segment->hours, g.at);
    const double p = step.p_step + step.p_wear;
    odds[i] = log_odds(p, segment->p_not);
    if (!is_open && p >= kOpens) {
      is_open = true;
      open_since = i;
    } else if (is_open && p < kCloses) {
      is_open = false;
    }
    result.steps.push_back(step);
  }
  const Segment& now = *segment;
  close_segment();
  result.exact = total_exact;
  result.censored = total_left + total_right;
  if (result.exact + result.censored == 0) return result;
  result.washout_cm3_per_h = result.steps.back().washout_cm3_per_h;
  result.baseline_cm3_per_h = exp_of(now.log_baseline());
  result.is_upper_bound = total_exact == 0 && total_right == 0 && total_left > 0;
  result.is_lower_bound = total_exact == 0 && total_left == 0 && total_right > 0;
  if (is_open) {
    WashoutShift shift;
    const bool is_wear = now.p_wear > now.p_step;
    shift.factor = now.factor(is_wear);
    const Estimate began = now.onset(is_wear);
    shift.began = {time_at(marks, began.value), time_at(marks, began.low), time_at(marks, began.high)};
    shift.first_seen = all[open_since].at;
    shift.strength = odds.back();
    if (is_wear) {
      const Estimate per_1000h = now.slope();
      shift.slope_pct_per_1000h = {100 * std::expm1(per_1000h.value), 100 * std::expm1(per_1000h.low),
                                   100 * std::expm1(per_1000h.high)};
      result.trend_pct_per_1000h = shift.slope_pct_per_1000h;
    }
    std::vector<std::pair<double, std::size_t>> gains;  // by how much each greasing moved the odds
    for (std::size_t i = begins; i < all.size(); ++i) {
      const double before = i > begins ? odds[i - 1] : log_odds(1e-3, 1);
      if (all[i].at >= shift.began.low && odds[i] > before) gains.emplace_back(before - odds[i], i);
    }
    std::sort(gains.begin(), gains.end());
    for (const auto& [gain, i] : gains)
      if (shift.evidence.size() < 8) shift.evidence.push_back(all[i].id);
    if (std::find(shift.evidence.begin(), shift.evidence.end(), all[open_since].id) == shift.evidence.end())
      shift.evidence.push_back(all[open_since].id);
    (is_wear ? result.wear : result.step) = std::move(shift);
  }
  if (begins == 0 && prior.shafts >= 4 && now.exact + now.right >= 3) {
    const double strength = now.log_odds_high();
    if (strength >= std::log(kOpens / (1 - kOpens))) {
      WashoutShift high;
      const Estimate base = now.log_baseline();
      high.factor = exp_of({base.value - prior.mean_log_w, base.low - prior.mean_log_w, base.high - prior.mean_log_w});
      high.began = {all.front().from, all.front().from, all.front().at};
      high.strength = strength;
      // Seen when the records up to then would have said so.
      std::size_t seen = all.size() - 1;
      for (std::size_t i = 2; i + 1 < all.size(); ++i) {
        const Estimate& w = result.steps[i].washout_cm3_per_h;
        if (std::log(w.low) > prior.mean_log_w + 2 * prior.sd_log_w && w.low > 1.25 * std::exp(prior.mean_log_w)) {
          seen = i;
          break;
        }
      }
      high.first_seen = all[seen].at;
      high.evidence.push_back(all[seen].id);
      for (std::size_t i = 0; i < seen && high.evidence.size() < 8; ++i)
        if (is_informative(all[i])) high.evidence.push_back(all[i].id);
      result.high = std::move(high);
    }
  }
  return result;
}

}  // namespace shaftlog
