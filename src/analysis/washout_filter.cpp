#include "analysis/washout_filter.hpp"

#include "analysis/washout_spread.hpp"

#include <utility>

namespace shaftlog::washout {
namespace {

constexpr double kStepPer1000h = 0.08;                   ///< share of shafts whose rate jumps in 1000 running hours
constexpr double kWearPer1000h = 0.06;                   ///< ... that begin to wear
constexpr double kLeast = 1e-5;                          ///< a hypothesis of less weight is let go
constexpr double kLeastShift = -1.0, kMostShift = 1.85;  ///< of ln(rate / baseline)
constexpr double kFallScale = 0.5, kRiseScale = 0.9;     ///< of its prior, exponential on both sides
const double kIsWorth = std::log(kPractical) - 0.01;
constexpr double kFaintest = 1e-6;  ///< ... after the greasing

/// What the fleet's errors weigh against a shaft's own residuals: like so many of them.
constexpr double kErrorPrior = 14;
constexpr double kResidualClip = 3;  ///< a larger residual is a slip or a change, not scatter [sd]

/// sums[k][b] += to[b] * of[k]
SHAFTLOG_WIDE void add_shares(std::size_t bins, const double* to, std::size_t kinds, const double* of, double* sums) {
  for (std::size_t k = 0; k < kinds; ++k) {
    const double by = of[k];
    double* const row = sums + k * bins;
    SHAFTLOG_IVDEP
    for (std::size_t b = 0; b < bins; ++b) row[b] += to[b] * by;
  }
}

/// Weight below x and density at x of each of some Gaussians, |z| up to kSure.
SHAFTLOG_WIDE void weigh_all(std::size_t n, double x, const double* p, const double* mean, const double* per_sd,
                             double* below, double* density) {
  SHAFTLOG_IVDEP
  for (std::size_t i = 0; i < n; ++i) {
    const double z = (x - mean[i]) * per_sd[i];
    below[i] = p[i] * normal_cdf(z);
    density[i] = p[i] * per_sd[i] * normal_pdf(z);
  }
}

/// A mixture of many Gaussians, gathered into few by where they lie.
struct Lumps {
  static constexpr std::size_t kMost = 16;
  std::array<double, kMost> p{}, mean{}, second{};  ///< sums while they are gathered; then `second` is 1 / sd
  std::size_t count = 0;

  /// Lets those go that weigh no more than `faint`. \return weight of the rest
  double finish(double faint) {
    double total = 0;
    for (std::size_t i = 0; i < kMost; ++i) {
      if (!(p[i] > faint)) continue;
      const double weight = p[i], m = mean[i] / weight;
      const double var = std::max(1e-6, second[i] / weight - m * m);
      p[count] = weight;
      mean[count] = m;
      second[count++] = 1 / std::sqrt(var);
      total += weight;
    }
    return total;
  }
  /// Weight below x, and density there.
  [[nodiscard]] std::pair<double, double> at(double x) const {
    std::array<double, kMost> below, density;
    weigh_all(count, x, p.data(), mean.data(), second.data(), below.data(), density.data());
    double sum = 0, dense = 0;
    for (std::size_t i = 0; i < count; ++i) {
      sum += below[i];
      dense += density[i];
    }
    return {sum, dense};
  }
};

}  // namespace

double log_odds(double yes, double no) { return std::log(std::max(yes, 1e-300) / std::max(no, 1e-300)); }

Segment::Segment(const WashoutPrior& prior, double capacity, bool is_automatic, double mean, double sd, double centre,
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
    base_prior_[i] = width_[i] * density(log_w_[i]);
    sum += base_prior_[i];
  }
  for (std::size_t i = 0; i < kRows; ++i) {
    base_prior_[i] /= sum;
    w_[i] = std::exp(log_w_[i]);
    rows_[i] = first;
    rows_[i].p = base_prior_[i];
    rows_[i].log_w = rows_[i].base = log_w_[i];
    rows_[i].base_var = rows_[i].log_w_var = width_[i] * width_[i] / 12;
  }
  bin_from_ = centre + kLeastShift - 2 * scale;
  bin_width_ = (kMostShift - kLeastShift + 4 * scale) / kBins;
  for (std::size_t i = 0; i < kBins; ++i) {
    const double x = bin_from_ + (static_cast<double>(i) + 0.5) * bin_width_;
    bin_log_w_[i] = x;
    bin_w_[i] = std::exp(x);
    bin_fall_[i] = std::exp((x - centre) / kFallScale);
    bin_rise_[i] = std::exp((centre - x) / kRiseScale);
  }
  centre_ = centre;
  for (std::size_t i = 0; i < kRows; ++i) share_out(log_w_[i], jumps_[i]);
}

/// Prior density of ln(baseline) of the stretch.
double Segment::density(double log_w) const {
  const double z = (log_w - mean_) / sd_;
  return (0.9 * normal_pdf(z) + 0.1 * normal_pdf(z / 3) / 3) / sd_;
}

std::size_t Segment::bin_of(double log_w) const noexcept {
  return static_cast<std::size_t>(std::clamp((log_w - bin_from_) / bin_width_, 0.0, kBins - 1.0));
}

double Segment::rise_of(const Cell& c) {
  const double off = c.log_w - c.base - kIsWorth, var = c.base_var + 1e-6;
  if (off * off > 20 * var) return off > 0 ? 1 : 0;
  return normal_cdf(off / std::sqrt(var));
}

Estimate Segment::rate() const {
  double mean = 0, second = 0, sum = 0, widest = 3 * bin_width_;
  const auto weigh = [&](const Cell& c) {
    const double pv = c.p * c.log_w;
    sum += c.p;
    mean += pv;
    second += pv * c.log_w;
  };
  for (std::size_t i = 0; i < kRows; ++i) {
    weigh(rows_[i]);
    if (rows_[i].p > 1e-6) widest = std::max(widest, width_[i]);
  }
  each_shift([&](const Cell& c, bool, std::size_t) { weigh(c); });
  if (!(sum > 0)) return {};
  mean /= sum;
  Histogram h{mean, std::sqrt(std::max(0.0, second / sum - mean * mean)), widest};
  for (std::size_t i = 0; i < kRows; ++i) h.add(log_w_[i], width_[i], rows_[i].p);
  each_shift([&](const Cell& c, bool, std::size_t) { h.add(c.log_w, std::sqrt(12 * c.log_w_var), c.p); });
  return exp_of(h.quantiles(sum));
}

Estimate Segment::log_baseline() const {
  Spread s;
  for (std::size_t i = 0; i < kRows; ++i) s.add(log_w_[i], width_[i], rows_[i].p);
  each_shift([&](const Cell& c, bool, std::size_t) { s.add(c.base, std::sqrt(12 * c.base_var), c.p); });
  return s.quantiles();
}

Cell Segment::state() const {
  // By sums of moments about a point near all of them: no quotient for each.
  const double about = rows_[kRows / 2].m;
  double p = 0, m = 0, d = 0, mm = 0, md = 0, dd = 0;
  const auto add = [&](const Cell& c) {
    const double x = c.m - about, pm = c.p * x, pd = c.p * c.d;
    p += c.p;
    m += pm;
    d += pd;
    mm += c.p * c.vm + pm * x;
    md += c.p * c.cmd + pm * c.d;
    dd += c.p * c.vd + pd * c.d;
  };
  for (const Cell& c : rows_) add(c);
  each_shift([&](const Cell& c, bool, std::size_t) { add(c); });
  Cell out;
  if (!(p > 0)) return out;
  m /= p;
  out.p = p;
  out.m = about + m;
  out.d = d / p;
  out.vm = std::max(0.0, mm / p - m * m);
  out.cmd = md / p - m * out.d;
  out.vd = std::max(0.0, dd / p - out.d * out.d);
  return out;
}

double Segment::cov_rate_duty() const {
  double p = 0, w = 0, d = 0, wd = 0;
  const auto add = [&](const Cell& c) {
    const double x = c.log_w - centre_, pw = c.p * x;
    p += c.p;
    w += pw;
    d += c.p * c.d;
    wd += pw * c.d;
  };
  for (const Cell& c : rows_) add(c);
  each_shift([&](const Cell& c, bool, std::size_t) { add(c); });
  return p > 0 ? (wd - w * d / p) / p : 0.0;
}

Cell Segment::fresh_state() const {
  Cell out = state();
  out.p = 1;
  out.onset = out.onset_var = 0;
  return out;
}

Estimate Segment::factor(bool is_wear) const {
  Spread s;
  each_shift([&](const Cell& c, bool wear, std::size_t) {
    if (wear == is_wear) s.add(c.log_w - c.base, std::sqrt(12 * (c.base_var + c.log_w_var)), c.p * rise_of(c));
  });
  return exp_of(s.quantiles());
}

Estimate Segment::onset(bool is_wear) const {
  Spread s;
  each_shift([&](const Cell& c, bool wear, std::size_t) {
    if (wear == is_wear) s.add(c.onset, std::sqrt(12 * c.onset_var), c.p * rise_of(c));
  });
  return s.quantiles();
}

Estimate Segment::slope() const {
  Spread s;
  each_shift([&](const Cell& c, bool wear, std::size_t j) {
    if (wear) s.add(std::log(693.147 / kDoublingH[j]), 0.43, c.p * rise_of(c));
  });
  return exp_of(s.quantiles());
}

double Segment::log_odds_high() const {
  double usual = 0, high = 0;
  const auto weigh = [&](double base, double p) {
    const double like = p / std::max(density(base), 1e-300), x = base - mean_;
    usual += like * normal_pdf(x / sd_) / sd_;
    if (x > std::log(1.5) && x < std::log(5.0) + 1) high += like / (std::log(5.0) - std::log(1.5));
  };
  for (std::size_t i = 0; i < kRows; ++i) weigh(log_w_[i], rows_[i].p);
  each_shift([&](const Cell& c, bool, std::size_t) { weigh(c.base, c.p); });
  return log_odds(0.05 * high, 0.95 * usual);
}

WashoutStep Segment::read(const GreasingInterval& g) {
  Reading r = reading_of(g, prior_, capacity_);
  set_errors(r, errors());
  WashoutStep step;
  step.at = g.at;
  step.record = g.id;

  line_up(r);
  lanes_.predict(r);
  foresee(g, r, step);
  step.is_path_suspect = !is_automatic_ && is_path_suspect(g, step.expected_cm3, prior_.fill_sd_cm3);
  r.is_blocked = step.is_path_suspect || g.starts_baseline;
  r.outlier_density = slip_density(r.amount, step.expected_cm3);
  const int exact_before = exact;
  if (is_informative(g) && !r.is_blocked) {
    const double noise = 1.7 * std::sqrt(r.fill_var + r.relative_sd * r.relative_sd * r.amount * r.amount);
    if (g.ended != Ended::pressure || r.amount > capacity_ - noise)
      ++right;
    else if ((g.delivered_cm3 > 0 && r.amount < noise) || took_nothing(r))
      ++left;
    else
      ++exact;
  }
  lanes_.pass(r);
  hours += r.run_h;
  take_back();
  learn_errors(g, r, exact > exact_before);
  step.p_step = p_step;
  step.p_wear = p_wear;
  step.washout_cm3_per_h = rate();
  rate_now_ = step.washout_cm3_per_h.value;
  const Cell now = state();
  step.missing_after_cm3 = std::max(0.0, now.m);
  step.missing_after_sd = std::sqrt(std::max(0.0, now.vm));
  step.slow_duty = now.d;
  step.slow_duty_sd = std::sqrt(std::max(0.0, now.vd));
  return step;
}

/// Every history that the interval may have had, with its rate in it.
void Segment::line_up(const Reading& r) {
  lanes_.clear();
  routes_.clear();
  // What was there before the first record that tells anything is the baseline.
  const double run = exact + left + right > 0 ? r.run_h / 1000 : 0;
  const double step_share = 1 - std::exp(-kStepPer1000h * run), wear_share = 1 - std::exp(-kWearPer1000h * run);
  const auto push = [&](const Cell& c, double w, Cell& to) {
    lanes_.push(c, w);
    routes_.push_back(&to);
  };
  if (step_share > 0) jump(step_share, r);
  for (std::size_t j = 0; j < kSlopes; ++j) {
    auto& bins = wears_[j];
    for (const Cell& c : rows_) {  // begins to wear, anywhere in the interval
      if (c.p < kLeast) continue;
      Cell fresh = c;
      fresh.p *= wear_share / static_cast<double>(kSlopes);
      fresh.onset = hours + 0.5 * r.run_h;
      fresh.onset_var = r.run_h * r.run_h / 12;
      bins[bin_of(c.log_w)].add(fresh);
    }
    const double rise = 0.693147180559945 / kDoublingH[j] * r.run_h;  // of ln(rate) over the interval
    for (std::size_t b = kBins; b-- > 0;) {
      Cell x = bins[b];
      bins[b].p = 0;
      if (x.p < kLeast) continue;
      const double to = std::min(x.log_w + rise, x.base + 2.2);
      const double w = inline_exp(0.5 * (x.log_w + to));
      x.log_w = to;
      push(x, w, bins[std::max(b, bin_of(to))]);
    }
  }
  for (std::size_t b = 0; b < kBins; ++b) {
    if (steps_[b].p > kLeast) push(steps_[b], bin_w_[b], steps_[b]);
    if (step_share > 0 && midway_[b].p > kLeast) push(midway_[b], midway_w_[b], steps_[b]);
    steps_[b].p = 0;
  }
  first_row_ = routes_.size();
  for (std::size_t i = 0; i < kRows; ++i) {
    rows_[i].p *= std::max(0.0, 1 - step_share - wear_share);
    if (rows_[i].p > 0) push(rows_[i], w_[i], rows_[i]);
    rows_[i].p = 0;
  }
}

void Segment::share_out(double base, std::array<double, kBins>& to) const {
  const double fall = 0.4 * inline_exp((centre_ - base) / kFallScale);
  const double rise = 1.2 * inline_exp((base - centre_) / kRiseScale);
  double all = 0;
  for (std::size_t b = 0; b < kBins; ++b) {
    const double x = bin_log_w_[b] - base;
    const double density = x < -0.06 ? fall * bin_fall_[b] : x < 0.06 ? 1.0 : rise * bin_rise_[b];
    to[b] = x < kLeastShift || x > kMostShift ? 0.0 : density;
    all += to[b];
  }
  const double scale = 1 / std::max(all, 1e-300);
  for (double& v : to) v *= scale;
}

/// The rate jumps, from any row or from where a shift has brought it, to any bin: half of the jumps before the
/// interval, half within it. The new rate is drawn by its ratio to the baseline.
void Segment::jump(double share, const Reading& r) {
  enum Sum : std::size_t { kP, kM, kD, kMM, kMD, kDD, kBase, kBase2, kOnset, kOnset2, kNew, kW, kWorn, kSums };
  std::array<std::array<double, kBins>, kSums> sums{};
  const double about = rows_[kRows / 2].m;
  const auto spread = [&](const Cell& c, double w, double is_new, const std::array<double, kBins>& to) {
    const double p = c.p * share, m = c.m - about, base = c.base - centre_, onset = c.onset - hours;
    const std::array<double, kSums> of{p,
                                       p * m,
                                       p * c.d,
                                       p * (c.vm + m * m),
                                       p * (c.cmd + m * c.d),
                                       p * (c.vd + c.d * c.d),
                                       p * base,
                                       p * (c.base_var + base * base),
                                       p * onset,
                                       p * (c.onset_var + onset * onset),
                                       p * is_new,
                                       p * w,
                                       p * c.worn};
    add_shares(kBins, to.data(), kSums, of.data(), sums.front().data());
  };
  const double begins_var = r.run_h * r.run_h / 48;  // even over half an interval
  for (std::size_t i = 0; i < kRows; ++i) {
    if (rows_[i].p * share < kLeast) continue;
    Cell c = rows_[i];
    c.onset = hours;
    c.onset_var = begins_var;
    spread(c, w_[i], 1, jumps_[i]);
  }
  Cell shifted;  // all shifts as one source: a new rise begins now, an old one goes on
  double begun = 0;
  each_shift([&](const Cell& c, bool is_wear, std::size_t) {
    Cell x = c;
    if (is_wear) x.worn = 1;
    if (x.log_w - x.base < 0.2) {
      x.worn = 0;
      x.onset = hours;
      x.onset_var = begins_var;
      begun += x.p;
    }
    shifted.add(x);
  });
  if (shifted.p * share >= kLeast) {
    std::array<double, kBins> to{};
    share_out(shifted.base, to);
    spread(shifted, inline_exp(shifted.log_w), begun / shifted.p, to);
  }
  for (std::size_t b = 0; b < kBins; ++b) {
    steps_[b].p *= 1 - share;
    midway_[b].p = 0;
    const double p = sums[kP][b];
    if (p < kLeast / 4) continue;
    const double k = 1 / p;
    Cell c;
    c.p = 0.5 * p;
    const double m = sums[kM][b] * k, base = sums[kBase][b] * k, onset = sums[kOnset][b] * k;
    c.m = about + m;
    c.d = sums[kD][b] * k;
    c.vm = std::max(1e-6, sums[kMM][b] * k - m * m);
    c.cmd = sums[kMD][b] * k - m * c.d;
    c.vd = std::max(0.0, sums[kDD][b] * k - c.d * c.d);
    c.base = centre_ + base;
    c.base_var = std::max(0.0, sums[kBase2][b] * k - base * base);
    c.onset = hours + onset;
    c.onset_var = std::max(0.0, sums[kOnset2][b] * k - onset * onset);
    c.log_w = bin_log_w_[b];
    c.log_w_var = bin_width_ * bin_width_ / 12;
    c.worn = sums[kWorn][b] * k;
    steps_[b].add(c);
    midway_[b] = c;  // only part of the interval at the new rate
    midway_[b].onset += 0.5 * r.run_h * sums[kNew][b] * k;
    midway_w_[b] = 0.55 * sums[kW][b] * k + 0.45 * bin_w_[b];
  }
}

/// What is to be expected, before the amount is looked at: the hypotheses' predictions gathered into few Gaussians.
void Segment::foresee(const GreasingInterval& g, const Reading& r, WashoutStep& step) const {
  const auto p = lanes_.weights(), ahead = lanes_.expected_mean(), var = lanes_.expected_var();
  double expected = 0, second = 0, weight = 0;
  for (std::size_t i = 0; i < p.size(); ++i) {
    const double mean = std::clamp(ahead[i], 0.0, capacity_), pm = p[i] * mean;
    weight += p[i];
    expected += pm;
    second += pm * mean;
  }
  expected /= weight;
  const double spread = std::sqrt(std::max(1e-9, second / weight - expected * expected));
  const double rel2 = r.relative_sd * r.relative_sd, per_spread = 2.5 / spread;
  Lumps lumps;
  for (std::size_t i = 0; i < p.size(); ++i) {
    const double a = ahead[i], mean = std::clamp(a, 0.0, capacity_);
    const double v = (a > capacity_ || a < 0 ? 0 : var[i]) + r.fill_var + rel2 * mean * mean + kRoundingVariance;
    const auto slot = static_cast<std::size_t>(std::clamp((mean - expected) * per_spread + 8, 0.0, 15.0));
    const double pm = p[i] * mean;
    lumps.p[slot] += p[i];
    lumps.mean[slot] += pm;
    lumps.second[slot] += p[i] * v + pm * mean;
  }
  const double total = lumps.finish(1e-4 * weight);
  const double noise_sd = std::sqrt(r.fill_var);
  const auto quantile = [&](double level, double x) {  // Newton's method from x, held within the bracket by bisection
    double a = 0, b = expected + 12 * (spread + noise_sd) + 10;
    const double close = 1e-3 * (spread + noise_sd);
    for (int k = 0; k < 60 && b - a > close; ++k) {
      if (!(x > a && x < b) || k % 8 == 7) x = 0.5 * (a + b);
      const auto [below, density] = lumps.at(x);
      const double off = below - level * total;
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
}

WashoutPrior Segment::errors() const {
  WashoutPrior own = prior_;
  const double fleet = prior_.fill_sd_cm3 * prior_.fill_sd_cm3;
  const double fill_var = (kErrorPrior * fleet + products_) / (kErrorPrior + pairs_);
  own.fill_sd_cm3 = std::sqrt(std::clamp(fill_var, 0.1 * fleet, 12 * fleet));
  const double scatter = std::sqrt(std::clamp((kErrorPrior + squares_) / (kErrorPrior + singles_), 0.3, 3.0));
  own.duty_sd *= scatter;
  own.relative_sd *= scatter;
  return own;
}

/// The fill-level error telescopes, so neighbouring residuals have minus its variance in common, but for the slow duty,
/// which raises or lowers both; what they scatter beyond that is duty and reading. Causal: it weighs from the next
/// greasing on.
void Segment::learn_errors(const GreasingInterval& g, const Reading& r, bool is_exact) {
  const std::optional<double> before = std::exchange(last_residual_, std::nullopt);
  const double loss_before = std::exchange(last_loss_, 0.0);
  if (!is_exact || g.is_doubtful || rate_now_ <= 0) return;
  const double loss = rate_now_ * r.run_h, expected = loss - r.delivered;
  if (expected <= 0 || expected > 0.9 * capacity_) return;
  const double residual = r.amount - expected;
  const double rest = loss * loss * (r.duty_var + r.season_var) + std::pow(r.relative_sd * expected, 2) +
                      r.delivered_var + rate_now_ * rate_now_ * r.run_var + kRoundingVariance;
  const double all = rest + 2 * r.fill_var;
  if (residual * residual > kResidualClip * kResidualClip * all) return;
  last_residual_ = residual;
  last_loss_ = loss;
  singles_ += rest / all;
  squares_ += (residual * residual - 2 * r.fill_var) / all;
  if (!before) return;
  pairs_ += 1;
  products_ += loss * loss_before * r.season_decay * r.season_var - residual * *before;
}

/// Each lane to its cell again; the whole becomes 1.
void Segment::take_back() {
  double sum = 0;
  for (const double p : lanes_.weights()) sum += p;
  if (!(sum > 0)) sum = 1e-300;
  const double share = 1 / sum;
  for (std::size_t n = 0; n < routes_.size(); ++n) {
    const double p = lanes_.weight(n) * share;
    if (p < kFaintest && n < first_row_) continue;
    Cell x = lanes_.cell(n);
    x.p = p;
    routes_[n]->add(x);
  }
  p_step = p_wear = p_not = p_worn = 0;
  for (const Cell& c : rows_) p_not += c.p;
  each_shift([&](const Cell& c, bool is_wear, std::size_t) {
    const double rise = rise_of(c);
    (is_wear ? p_wear : p_step) += c.p * rise;
    if (!is_wear) p_worn += c.p * rise * c.worn;
    p_not += c.p * (1 - rise);
  });
}

}  // namespace shaftlog::washout
