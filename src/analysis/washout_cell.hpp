#pragma once

#include "analysis/washout.hpp"
#include "analysis/wide.hpp"

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <limits>

/// The arithmetic of one hypothesis about a shaft (docs/methods/washout.md, "One hypothesis"): a Gaussian over the
/// missing volume and the slow part of the duty, carried through one interval and one greasing. Internal to analysis.
namespace shaftlog::washout {

constexpr double kNoCapacity = 1e12;       ///< stands for a cavity that is not known [cm3]
constexpr double kSeasonDays = 75;         ///< correlation time of the slow duty [d]: a season's rise and fall
constexpr double kOutlierShare = 0.012;    ///< of greasings written wrongly (common practice, no source)
constexpr double kDoubtfulShare = 0.6;     ///< the same for a record that others contradict
constexpr double kRoundingVariance = 1.0;  ///< of an amount [cm6]

using wide::kSure;
using wide::normal_cdf;
using wide::normal_pdf;

/// A weighted hypothesis. The pair (missing volume m [cm3], slow duty d [ln]) is Gaussian; of the rest mean and
/// variance are kept.
struct Cell {
  double p = 0;
  double m = 0, d = 0;
  double vm = 0, cmd = 0, vd = 0;
  double log_w = 0, log_w_var = 0;  ///< ln(rate now [cm3/h])
  double base = 0, base_var = 0;    ///< ln(rate before the shift)
  double onset = 0, onset_var = 0;  ///< running hours at which the shift began [h]
  double worn = 0;                  ///< of a step: share of the weight whose rate had climbed before

  /// Mixes `o` in, keeping weight, means and (co)variances.
  void add(const Cell& o) noexcept {
    if (o.p <= 0) return;
    if (p <= 0) {
      *this = o;
      return;
    }
    const double total = p + o.p;
    const double b = o.p / total, a = 1 - b, ab = a * b, dm = o.m - m, dd = o.d - d;
    const double db = o.base - base, later = o.onset - onset, dw = o.log_w - log_w;
    vm = a * vm + b * o.vm + ab * dm * dm;
    cmd = a * cmd + b * o.cmd + ab * dm * dd;
    vd = a * vd + b * o.vd + ab * dd * dd;
    base_var = a * base_var + b * o.base_var + ab * db * db;
    onset_var = a * onset_var + b * o.onset_var + ab * later * later;
    m += b * dm;
    d += b * dd;
    base += b * db;
    onset += b * later;
    log_w_var = a * log_w_var + b * o.log_w_var + ab * dw * dw;
    log_w += b * dw;
    worn += b * (o.worn - worn);
    p = total;
  }
};

/// One interval and the greasing that closes it, as every hypothesis sees it.
struct Reading {
  double run_h = 0, run_var = 0, delivered = 0, delivered_var = 0;
  double capacity = kNoCapacity;
  double amount = 0;
  Ended ended = Ended::pressure;
  bool is_known = false;    ///< the amount was told
  bool is_blocked = false;  ///< believed to say nothing about the loss
  double season_decay = 1;  ///< of the slow duty over the interval
  double outlier_share = kOutlierShare;
  double outlier_density = 0;  ///< of an amount that was written wrongly [1/cm3]
  double fill_var = 100, relative_sd = 0.06, duty_var = 0.01, season_var = 0.0036;
};

/// Missing volume at the end of an interval, before the greasing.
struct Ahead {
  double mean = 0, var = 0, cov_d = 0, d = 0, vd = 0;
};

inline Ahead predict(const Cell& c, double w, const Reading& r) noexcept {
  const double loss = w * r.run_h, k = r.season_decay;
  Ahead a;
  a.d = k * c.d;
  a.vd = k * k * c.vd + (1 - k * k) * r.season_var;
  const double cmd = k * c.cmd;
  a.mean = c.m + loss * (1 + a.d) - r.delivered;
  a.var = c.vm + 2 * loss * cmd + loss * loss * (a.vd + r.duty_var) + w * w * r.run_var + r.delivered_var;
  a.cov_d = cmd + loss * a.vd;
  if (a.var < 1e-6) a.var = 1e-6;
  return a;
}

/// Mean and variance of a Gaussian clipped to [0, capacity].
inline void clip_moments(double& mean, double& var, double capacity) noexcept {
  const double sd = std::sqrt(var);
  if (mean > 5 * sd && mean < capacity - 5 * sd) return;
  const double a = -mean / sd, b = std::min((capacity - mean) / sd, 40.0);
  const double below = normal_cdf(a), above = normal_cdf(-b), in = std::max(0.0, 1 - below - above);
  const double pa = normal_pdf(a), pb = normal_pdf(b);
  const double top = above > 0 ? above * capacity : 0, top2 = above > 0 ? above * capacity * capacity : 0;
  const double first = in * mean + sd * (pa - pb) + top;
  const double second = in * (mean * mean + var) + sd * mean * (pa - pb) + var * (a * pa - b * pb) + top2;
  mean = std::clamp(first, 0.0, capacity);
  var = std::max(1e-6, second - first * first);
}

/// How far doses can fill a cavity: to its usual "full", or as it was left when it had been packed beyond that.
struct Floor {
  double mean = 0, var = 0;  ///< of min(m, 0) [cm3, cm6]
  double above_var = 0;      ///< of m - min(m, 0)
};
/// \param m, vm missing volume after the last greasing; what is not known of it beyond the usual error of "full"
/// (`fill_var`) does not make it fuller
SHAFTLOG_INLINE Floor floor_of(double m, double vm, double fill_var) noexcept {
  const double v = (vm < fill_var ? vm : fill_var) + 1e-9, sd = std::sqrt(v), z = m / sd;
  const double below = normal_cdf(-z), density = 0.3989422804014327 * inline_exp(-0.5 * z * z);
  Floor f;
  f.mean = m * below - sd * density;
  const double second = (m * m + v) * below - m * sd * density, left = m - f.mean;
  const double var = second - f.mean * f.mean, above = m * m + v - second - left * left;
  f.var = var > 0 ? var : 0.0;
  f.above_var = above > 0 ? above : 0.0;
  return f;
}

/// Back-pressure at once: nothing was pumped, so the cavity stays as it was.
inline bool took_nothing(const Reading& r) noexcept {
  return r.ended == Ended::pressure && r.is_known && !r.is_blocked && r.amount < 1;
}

/// Weighs `c`, which is predicted to come to `a`, by the reading (likelihood) and moves it past the greasing.
inline void leave_ahead(Cell& c, const Ahead& a, const Reading& r) noexcept {
  const auto leave = [&](double m, double vm, double cmd, double d, double vd) {
    c.m = m;
    c.vm = std::max(vm, 1e-6);
    c.cmd = cmd;
    c.d = d;
    c.vd = std::max(vd, 0.0);
  };
  const auto missing = [&](double scale) {  // nothing learnt; `scale` of the missing volume stays
    double mean = a.mean, var = a.var;
    clip_moments(mean, var, r.capacity);
    leave(scale * mean, scale * scale * var, scale * a.cov_d, a.d, a.vd);
  };
  if (r.ended == Ended::not_done) return missing(1);
  if (r.ended == Ended::packed || (r.ended == Ended::pressure && !r.is_known))
    return leave(0, r.fill_var, 0, a.d, a.vd);
  if (r.is_blocked || !r.is_known) {
    missing(0.5);  // half and half between all and nothing of it, or anything between
    c.vm += c.m * c.m * (r.is_blocked ? 1.0 : 1.0 / 3.0);
    return;
  }
  if (r.ended == Ended::limit || r.ended == Ended::stopped) {  // the cavity had at least this much room
    // What it cannot hold went elsewhere and bounds nothing: else the more unsure a rate, the better it would seem.
    const double y = std::min(r.amount, r.capacity);
    const double error_var = r.relative_sd * r.relative_sd * y * y + kRoundingVariance;
    const double s = std::sqrt(a.var + error_var), top = std::min(a.mean, r.capacity), z = (top - y) / s;
    const double pass_share = std::max(normal_cdf(z), 1e-300);
    c.p *= (1 - r.outlier_share) * pass_share + r.outlier_share * 0.3;
    double mean = top, var = a.var;
    if (z < 6) {
      const double hazard = z > -6.5 ? normal_pdf(z) / pass_share : -z - 1 / z;  // its asymptote
      const double rho2 = a.var / (s * s);
      mean += a.var / s * hazard;
      var *= std::max(0.02, 1 - rho2 * hazard * (hazard + z));
    }
    const double beta = a.cov_d / a.var;
    const double d = a.d + beta * (mean - a.mean), vd = a.vd - beta * beta * (a.var - var);
    clip_moments(mean, var, r.capacity);
    mean = std::max(0.0, mean - y);
    return leave(mean, var + error_var, beta * var, d, vd);
  }
  const bool is_fed = r.delivered > 0;
  const Floor floor = is_fed ? floor_of(c.m, c.vm, r.fill_var) : Floor{};
  // Of the missing volume above that floor, had it none.
  const double above_floor = a.mean - floor.mean;
  const double above_var = is_fed ? std::max(a.var - c.vm, 1e-6) + floor.above_var : a.var;
  if (took_nothing(r)) {
    // The level of "full" lay at or above x: by how much is not told. Doses keep x from falling below the floor, so the
    // level lies above that; the margin, a normal cut at 0, is taken as normal with its mean and variance.
    const double s2 = r.fill_var + kRoundingVariance;
    double shown = 1, margin = 0, margin_var = s2, floor_mean = floor.mean, floor_var = floor.var;
    if (is_fed) {
      const double t_var = s2 + floor.var, t_sd = std::sqrt(t_var), t = -floor.mean / t_sd;
      shown = normal_cdf(t);
      const double ratio = normal_pdf(t) / shown, kept = 1 - ratio * (ratio + t);
      margin = -floor.mean + t_sd * ratio;
      margin_var = t_var * kept;
      floor_mean -= floor.var / t_sd * ratio;
      floor_var -= floor.var * floor.var / t_var * (1 - kept);
    }
    const double v_var = above_var + margin_var, v_sd = std::sqrt(v_var), z = (margin - above_floor) / v_sd;
    const double share = std::max(normal_cdf(z), 1e-12);
    const double hazard = z > -6.5 ? normal_pdf(z) / share : -z - 1 / z;
    c.p *= (1 - r.outlier_share) * shown * share + r.outlier_share * 0.05;
    const double k = above_var / v_sd, beta = a.cov_d / a.var;
    double mean = above_floor - k * hazard, var = above_var - k * k * std::min(1.0, hazard * (hazard + z));
    const double d = a.d + beta * (mean - above_floor), vd = a.vd - beta * beta * (above_var - var);
    if (is_fed) clip_moments(mean, var, r.capacity - floor_mean);
    return leave(floor_mean + mean, floor_var + var, beta * var, d, vd);
  }
  const double y = r.amount;
  // By the amount predicted, not the one read: else a large error would be its own excuse.
  const double read = r.relative_sd * std::clamp(a.mean, 0.0, r.capacity);
  const double s2 = r.fill_var + read * read + kRoundingVariance;
  Cell after;
  const double s_var = a.var + s2, nu = y - a.mean;
  const double gain = 1 / s_var, fill_gain = r.fill_var * gain, cov_gain = a.cov_d * gain;
  // Squares are compared and one quotient is shared: this runs some thousand times for each greasing.
  const double above = r.capacity - a.mean, far_var = 16 * a.var;
  const bool is_inside = above_floor > 0 && above > 0 && above_floor * above_floor > far_var && above * above > far_var;
  const double keep = 1 - r.outlier_share;
  after.p = keep * 0.3989422804014327 * std::sqrt(gain) * inline_exp(-0.5 * nu * nu * gain);
  after.m = -fill_gain * nu;
  after.vm = r.fill_var - r.fill_var * fill_gain;
  after.d = a.d + cov_gain * nu;
  after.vd = a.vd - a.cov_d * cov_gain;
  after.cmd = r.fill_var * cov_gain;
  if (!is_inside) {
    const double low = -above_floor / std::sqrt(above_var), high = -above / std::sqrt(a.var);
    if (low > kSure || high > kSure) {
      after.p = 0;
    } else {
      const double x = a.mean + a.var * gain * nu, tau = std::sqrt(a.var * s2 * gain);
      after.p *= std::max(0.0, normal_cdf((r.capacity - x) / tau) - normal_cdf((floor.mean - x) / tau));
    }
    const auto bound = [&](double at, double at_var, double z) {  // the loss met the end: x is there
      if (z < -kSure) return;
      const double share = normal_cdf(z);
      Cell b = after;
      const double off = y - at, v = s2 + at_var;
      b.p = keep * share * 0.3989422804014327 / std::sqrt(v) * inline_exp(-0.5 * off * off / v);
      b.m = -r.fill_var / v * off;
      b.vm = r.fill_var - r.fill_var * r.fill_var / v;
      b.cmd = 0;
      b.d = a.d;
      b.vd = a.vd;
      after.add(b);
    };
    bound(floor.mean, floor.var, low);
    if (r.capacity < kNoCapacity) bound(r.capacity, 0, high);
  }
  const double slip = r.outlier_share * r.outlier_density;
  if (slip > 1e-4 * after.p) {  // mixed in: full to the usual error, nothing learnt about the duty
    const double total = after.p + slip, b = slip / total, e = 1 - b, dm = -after.m, dd = a.d - after.d, be = b * e;
    after.vm = e * after.vm + b * r.fill_var + be * dm * dm;
    after.cmd = e * after.cmd + be * dm * dd;
    after.vd = e * after.vd + b * a.vd + be * dd * dd;
    after.m *= e;
    after.d += b * dd;
    after.p = total;
  }
  c.p *= after.p;
  leave(after.m, after.vm, after.cmd, after.d, after.vd);
}

/// The same through the whole interval. `w` [cm3/h] is the rate in it.
inline void pass(Cell& c, double w, const Reading& r) noexcept { leave_ahead(c, predict(c, w, r), r); }

inline void set_errors(Reading& r, const WashoutPrior& prior) noexcept {
  r.fill_var = prior.fill_sd_cm3 * prior.fill_sd_cm3;
  r.relative_sd = prior.relative_sd;
  r.duty_var = prior.duty_sd * prior.duty_sd;
  r.season_var = prior.season_sd * prior.season_sd;
}

/// The reading of an interval under the prior's error parameters; outlier_density and is_blocked are left to the
/// caller.
inline Reading reading_of(const GreasingInterval& g, const WashoutPrior& prior, double capacity) noexcept {
  Reading r;
  r.run_h = g.run_h;
  r.run_var = g.run_sd_h * g.run_sd_h;
  r.delivered = g.delivered_cm3;
  r.delivered_var = g.delivered_sd_cm3 * g.delivered_sd_cm3;
  r.capacity = capacity;
  r.is_known = g.taken_cm3.has_value();
  r.amount = g.taken_cm3.value_or(0);
  r.ended = g.ended;
  r.season_decay = std::exp(-std::max(0.0, days_between(g.from, g.at)) / kSeasonDays);
  r.outlier_share = g.is_doubtful ? kDoubtfulShare : kOutlierShare;
  set_errors(r, prior);
  return r;
}

/// Density of an amount written wrongly, about the amount expected: log-Cauchy, so a slip of 10 costs little [1/cm3].
inline double slip_density(double amount, double expected) noexcept {
  const double scale = 0.7, z = std::log((amount + 5) / (std::max(expected, 0.0) + 5)) / scale;
  return 1 / ((amount + 5) * 3.141592653589793 * scale * (1 + z * z));
}

/// State before the first interval: full, or anything.
inline Cell start(bool is_full, double capacity, const WashoutPrior& prior) noexcept {
  Cell c;
  c.p = 1;
  c.vd = prior.season_sd * prior.season_sd;
  if (is_full) {
    c.vm = prior.fill_sd_cm3 * prior.fill_sd_cm3;
  } else {
    c.m = capacity < kNoCapacity ? 0.4 * capacity : 100;
    c.vm = c.m * c.m;
  }
  return c;
}

/// \throws Error{bad_data} if an amount, a run or a parameter is negative or not finite
void require_plain(const ShaftHistory& history, const WashoutPrior& prior);

/// True where a greasing can say something about the loss.
inline bool is_informative(const GreasingInterval& g) noexcept {
  return g.taken_cm3 && !g.starts_baseline && g.run_h > 0 && g.ended != Ended::packed && g.ended != Ended::not_done;
}

/// Sd of ln(loss) over an interval still open, beyond what the fleet's past shows of a shaft greased by hand alone:
/// more or less time at rest, an unlike voyage. Tuned on simulated ships.
inline double untold_sd(const ShaftHistory& history) noexcept { return history.is_automatic ? 0.0 : 0.12; }

/// Mean over the time ahead of the slow duty, a stationary process that fades with kSeasonDays.
struct SlowAhead {
  double mean = 0, sd = 0;  ///< of ln(washout)
  double cov = 0;           ///< with ln(washout) itself
};
/// \param step the last greasing read; null: none, so the usual spread is all that is known
inline SlowAhead slow_ahead(const WashoutStep* step, double season_sd, double days) noexcept {
  const double t = std::max(days, 1e-3) / kSeasonDays, fade = std::exp(-t), kept = (1 - fade) / t;
  const double d = step != nullptr ? step->slow_duty : 0, sd = step != nullptr ? step->slow_duty_sd : season_sd;
  const double fresh =
      std::max(0.0, (2 * t - 3 + 4 * fade - fade * fade) / (t * t));  // variance of the mean, from d = 0
  return {kept * d, std::sqrt(kept * kept * sd * sd + fresh * season_sd * season_sd),
          step != nullptr ? kept * step->slow_duty_cov : 0.0};
}

/// Sd of ln(washout) and slow duty together. \param w_sd of ln(washout)
inline double joint_sd(double w_sd, const SlowAhead& slow) noexcept {
  const double least = 0.3 * std::hypot(w_sd, slow.sd);
  return std::sqrt(std::max(w_sd * w_sd + slow.sd * slow.sd + 2 * slow.cov, least * least));
}

/// True where a manual shaft took next to nothing though `expected` was well above what a full cavity shows.
inline bool is_path_suspect(const GreasingInterval& g, double expected, double fill_sd) noexcept {
  return g.ended == Ended::pressure && g.taken_cm3 && g.delivered_cm3 <= 0 && expected > 3 * fill_sd &&
         *g.taken_cm3 <= 0.12 * expected;
}

/// Washout as constant over `intervals`: estimate of ln(w) with its sd, by the censored likelihood on a grid.
struct ConstantFit {
  double mean_log_w = 0, sd_log_w = 0;
  double log_likelihood = 0;
  int informative = 0;
};
ConstantFit fit_constant(std::span<const GreasingInterval> intervals, bool is_full, double capacity,
                         const WashoutPrior& prior, double prior_sd);

}  // namespace shaftlog::washout
