#include "analysis/amount_law.hpp"

#include "analysis/distributions.hpp"
#include "analysis/wide.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <utility>

namespace shaftlog {
namespace {

constexpr std::size_t kBefore = 6;  // earlier spans that are looked at
constexpr double kOddShare = 1.0 / 30;
// Chances of what an amount may be, a greasing (judgements, no source). The chance of a change is that of the washout.
constexpr double kShortShare = 0.02;
constexpr double kUndeliveredShare = 0.05;  // the doses, or some of them, did not arrive
constexpr double kChangePer1000h = 0.05;
constexpr double kDriftPerSpan = 0.04;  // of ln(rate), from one greasing to the next
constexpr double kLeastSd_cm3 = 2.0;

/// Student's t density with 7 degrees of freedom; what lies further out is called odd, not scatter.
SHAFTLOG_INLINE double law(double y, double mean, double sd) {
  const double t = (y - mean) / sd, x = 1 + t * t / 7, x2 = x * x;
  return 0.38499145083226738 / (x2 * x2 * sd);
}
SHAFTLOG_INLINE double held(double density) { return density > 1e-300 ? density : 1e-300; }

/// Density of an amount that says nothing: even on the scale of logarithms, about four decades wide.
double odd_density(double taken) { return 1 / (9.0 * std::max(taken, 1.0)); }

/// What a span's amount is expected to be at a rate, and how far it scatters.
struct Terms {
  double run_h, delivered, capacity;
  double fixed_var, relative_var, rate_var, run_var;
};
/// \param apart spans between it and the one that is weighed: the rate drifts meanwhile
Terms terms_of(const FullSpan& s, const WashoutPrior& prior, std::optional<double> cavity_cm3, double apart) {
  const auto square = [](double x) { return x * x; };
  return {s.run_h,
          s.delivered_cm3,
          cavity_cm3.value_or(std::numeric_limits<double>::infinity()),
          square(1.4 * prior.fill_sd_cm3) + square(s.delivered_sd_cm3) + square(kLeastSd_cm3),
          square(prior.relative_sd),
          square(prior.duty_sd) + square(prior.season_sd) + square(kDriftPerSpan * apart),
          square(s.run_sd_h)};
}
/// Missing volume at the rate w [cm3].
SHAFTLOG_INLINE double mean_at(const Terms& t, double w) {
  const double lost = w * t.run_h - t.delivered, m = lost > 0 ? lost : 0.0;
  return m < t.capacity ? m : t.capacity;
}
SHAFTLOG_INLINE double var_at(const Terms& t, double w, double m) {
  const double run = w * t.run_h;
  return t.fixed_var + t.relative_var * m * m + t.rate_var * run * run + t.run_var * w * w;
}

/// Means and variances at each rate, with `owing` on top of the mean.
SHAFTLOG_WIDE void predict_all(std::size_t n, const double* w, const Terms& t, const double* owing, double* mean,
                               double* var) {
  SHAFTLOG_IVDEP
  for (std::size_t g = 0; g < n; ++g) {
    const double m = mean_at(t, w[g]) + owing[g];
    mean[g] = m;
    var[g] = var_at(t, w[g], m);
  }
}

/// ln of the density of `taken`, with a share of `odd` in it.
SHAFTLOG_WIDE void log_laws(std::size_t n, double taken, double kept, double odd, const double* mean, const double* var,
                            double* out) {
  SHAFTLOG_IVDEP
  for (std::size_t g = 0; g < n; ++g) {
    const double density = kept * law(taken, mean[g], std::sqrt(var[g])) + odd;
    out[g] = inline_log(held(density));
  }
}

/// Density of `taken` at each rate, times a weight.
SHAFTLOG_WIDE void weighted_laws(std::size_t n, double taken, const double* mean, const double* var,
                                 const double* weight, double* out) {
  SHAFTLOG_IVDEP
  for (std::size_t g = 0; g < n; ++g) out[g] = weight[g] * law(taken, mean[g], std::sqrt(var[g]));
}

SHAFTLOG_WIDE void exps(std::size_t n, const double* x, double top, double* out) {
  SHAFTLOG_IVDEP
  for (std::size_t g = 0; g < n; ++g) out[g] = inline_exp(x[g] - top);
}
SHAFTLOG_WIDE void logs(std::size_t n, const double* x, double* out) {
  SHAFTLOG_IVDEP
  for (std::size_t g = 0; g < n; ++g) out[g] = inline_log(x[g]);
}

/// A rate that changed from w[g] to v[g], or back: the density of `taken`, half the times within the interval.
SHAFTLOG_WIDE void change_laws(std::size_t n, double taken, const Terms& t, const double* w, const double* v,
                               double* out) {
  SHAFTLOG_IVDEP
  for (std::size_t g = 0; g < n; ++g) {
    const double half = 0.5 * (w[g] + v[g]), m = mean_at(t, half);
    out[g] = law(taken, m, std::sqrt(var_at(t, half, m)));
  }
}

template <class Row>
void add(Row& a, const Row& b) {
  for (std::size_t g = 0; g < a.size(); ++g) a[g] += b[g];
}

template <class Row>
double sum_of(const Row& a) {
  double sum = 0;
  for (const double v : a) sum += v;
  return sum;
}

/// ln of the sum of what the logarithms stand for.
template <class Row>
double total(const Row& a) {
  const double top = *std::max_element(a.begin(), a.end());
  Row weights;
  exps(a.size(), a.data(), top, weights.data());
  return top + std::log(sum_of(weights));
}

}  // namespace

std::vector<FullSpan> full_spans(const ShaftHistory& history, const WashoutResult& washout) {
  std::vector<FullSpan> out;
  bool is_full = history.first_is_full, is_known = true;
  std::size_t baseline = 0;
  FullSpan s;
  bool is_open = false;
  for (std::size_t k = 0; k < history.intervals.size(); ++k) {
    const GreasingInterval& i = history.intervals[k];
    if (!is_open) {
      s = {};
      s.from = i.from;
      s.first = k;
      is_known = is_full;
    }
    is_open = true;
    s.run_h += i.run_h;
    s.run_sd_h = std::hypot(s.run_sd_h, i.run_sd_h);
    s.delivered_cm3 += i.delivered_cm3;
    s.delivered_sd_cm3 = std::hypot(s.delivered_sd_cm3, i.delivered_sd_cm3);
    if (i.taken_cm3) {
      s.taken_cm3 += *i.taken_cm3;
    } else {
      is_known = false;
    }
    if (i.starts_baseline) is_known = false;
    is_full = i.ended == Ended::pressure || i.ended == Ended::packed;
    if (!is_full) {
      s.is_single = false;
      continue;
    }
    is_open = false;
    if (i.ended == Ended::pressure && is_known) {
      s.record = i.id;
      s.at = i.at;
      s.last = k;
      s.baseline = baseline;
      s.is_path_suspect = k < washout.steps.size() && washout.steps[k].is_path_suspect;
      out.push_back(s);
    }
    if (i.starts_baseline) ++baseline;
  }
  return out;
}

AmountLaw::AmountLaw(std::vector<FullSpan> spans, const WashoutPrior& prior, std::optional<double> cavity_cm3)
    : spans_{std::move(spans)}, prior_{prior}, cavity_{cavity_cm3}, rows_(spans_.size()) {
  const double reach = std::max(3.0 * prior.sd_log_w, 2.2);
  step_ = 2 * reach / (kGrid - 1);
  for (std::size_t g = 0; g < kGrid; ++g) {
    const double lw = prior.mean_log_w - reach + step_ * static_cast<double>(g);
    const double z = (lw - prior.mean_log_w) / prior.sd_log_w;
    rates_[g] = std::exp(lw);
    prior_row_[g] = std::log(0.9 * std::exp(-0.5 * z * z) + 0.1 * std::exp(-z * z / 18) / 3);
  }
  const double all = total(prior_row_);
  for (double& p : prior_row_) p -= all;
}

AmountLaw::Prediction AmountLaw::predict(const FullSpan& s, double apart, const Row& owing) const {
  const Terms t = terms_of(s, prior_, cavity_, apart);
  Prediction p;
  predict_all(kGrid, rates_.data(), t, owing.data(), p.mean.data(), p.var.data());
  return p;
}

const AmountLaw::Row& AmountLaw::row_of(std::size_t k, std::size_t apart) const {
  Kept& kept = rows_[k][std::min(apart, kFarthest)];
  if (!kept.is_made) {
    const double taken = spans_[k].taken_cm3;
    const Prediction p = predict(spans_[k], static_cast<double>(apart));
    log_laws(kGrid, taken, 1 - kOddShare, kOddShare * odd_density(taken), p.mean.data(), p.var.data(), kept.row.data());
    kept.is_made = true;
  }
  return kept.row;
}

AmountLaw::Row AmountLaw::before(std::size_t i, std::size_t skip) const {
  Row out = prior_row_;
  const std::size_t first = i > kBefore + skip ? i - kBefore - skip : 0;
  for (std::size_t k = first; k + skip < i; ++k) {
    if (spans_[k].baseline == spans_[i].baseline) add(out, row_of(k, i - k));
  }
  return out;
}

std::vector<double> AmountLaw::plain_if(std::size_t i, std::size_t after, std::span<const double> taken_cm3) const {
  Row all = before(i, 0);
  for (std::size_t k = i + 1; k < spans_.size() && k <= i + after && spans_[k].baseline == spans_[i].baseline; ++k)
    add(all, row_of(k, k - i));
  const double peak = *std::max_element(all.begin(), all.end());
  const Prediction p = predict(spans_[i], 0);
  Row weights, densities;
  exps(kGrid, all.data(), peak, weights.data());
  std::vector<double> out;
  for (const double taken : taken_cm3) {
    weighted_laws(kGrid, taken, p.mean.data(), p.var.data(), weights.data(), densities.data());
    out.push_back(peak + std::log(held(sum_of(densities))));
  }
  return out;
}

/// \param short_of of the span that was broken off, `taken` its amount; what it left went into the next
void AmountLaw::add_carried(Row& both, const Prediction& short_of, double taken, const FullSpan& next) const {
  constexpr double kNever = -1e300;
  Row owing;
  for (std::size_t g = 0; g < kGrid; ++g) owing[g] = std::max(0.0, short_of.mean[g] - taken);
  Prediction p = predict(next, 0, owing);
  add(p.var, short_of.var);
  Row like, room, log_room;
  log_laws(kGrid, next.taken_cm3, 1, 0, p.mean.data(), p.var.data(), like.data());
  for (std::size_t g = 0; g < kGrid; ++g) room[g] = std::max(short_of.mean[g], 1.0);
  logs(kGrid, room.data(), log_room.data());
  for (std::size_t g = 0; g < kGrid; ++g) both[g] = owing[g] > 0 ? both[g] + like[g] - log_room[g] : kNever;
}

AmountEvidence AmountLaw::weigh(std::size_t i, std::size_t after) const {
  const FullSpan& s = spans_[i];
  const Row earlier = before(i, 0);
  const Prediction here = predict(s, 0);
  Row own, weights, own_density;
  log_laws(kGrid, s.taken_cm3, 1, 0, here.mean.data(), here.var.data(), own.data());
  weights.fill(1);
  weighted_laws(kGrid, s.taken_cm3, here.mean.data(), here.var.data(), weights.data(), own_density.data());
  Row later{};
  std::size_t last = i;
  for (std::size_t k = i + 1; k < spans_.size() && k <= i + after && spans_[k].baseline == s.baseline; ++k, ++last)
    add(later, row_of(k, k - i));
  AmountEvidence out;

  Row usual = earlier;
  add(usual, later);
  const double rest = total(usual);
  exps(kGrid, usual.data(), rest, weights.data());
  double expected = 0, second = 0, var = 0;
  for (std::size_t g = 0; g < kGrid; ++g) {
    const double m = here.mean[g], pm = weights[g] * m;
    expected += pm;
    second += pm * m;
    var += weights[g] * here.var[g];
  }
  out.expected_cm3 = expected;
  out.sd_cm3 = std::sqrt(var + std::max(0.0, second - expected * expected));
  out.odd = rest + std::log(odd_density(s.taken_cm3));

  Row plain = usual;
  add(plain, own);
  out.plain = total(plain);

  // A change by whole steps of the grid, up to about sixfold and either way: in the interval or halfway through it.
  const double peak = *std::max_element(earlier.begin(), earlier.end());
  const double later_peak = *std::max_element(later.begin(), later.end());
  Row from, to, halfway;
  exps(kGrid, earlier.data(), peak, from.data());
  exps(kGrid, later.data(), later_peak, to.data());
  const Terms terms_here = terms_of(s, prior_, cavity_, 0);
  double weight_sum = 0, changes = 0;
  const auto steps = std::min(static_cast<std::size_t>(std::lround(1.8 / step_)), kGrid - 1);
  for (std::size_t f = 1; f <= steps; ++f) {
    const double log_f = step_ * static_cast<double>(f);
    if (log_f < 0.18) continue;
    const double up = std::exp(-log_f / 0.9), down = 0.4 * up;
    change_laws(kGrid - f, s.taken_cm3, terms_here, rates_.data(), rates_.data() + f, halfway.data());
    double risen = 0, fallen = 0;
    for (std::size_t g = 0; g + f < kGrid; ++g) {
      risen += from[g] * to[g + f] * (own_density[g + f] + halfway[g]);
      fallen += from[g + f] * to[g] * (own_density[g] + halfway[g]);
    }
    weight_sum += up + down;
    changes += 0.5 * (up * risen + down * fallen);
  }
  out.change = peak + later_peak + std::log(std::max(changes, 1e-300) / weight_sum) +
               std::log(kChangePer1000h * std::clamp(s.run_h, 20.0, 2000.0) / 1000);

  // Broken off early though back-pressure was written: what is missing goes in the next time.
  double shorts = -1e300;
  if (s.taken_cm3 < expected && last > i) {
    Row both = earlier;
    add_carried(both, here, s.taken_cm3, spans_[i + 1]);
    for (std::size_t k = i + 2; k <= last; ++k) add(both, row_of(k, k - i));
    shorts = total(both);
  } else if (s.taken_cm3 < expected) {
    shorts = rest - std::log(std::max(expected, 1.0));
  } else if (i > 0 && spans_[i - 1].baseline == s.baseline) {
    Row both = before(i, 1);
    add(both, later);
    add_carried(both, predict(spans_[i - 1], 0), spans_[i - 1].taken_cm3, s);
    shorts = total(both);
  }
  out.cut_short = shorts + std::log(kShortShare);
  if (s.delivered_cm3 > 0 && s.taken_cm3 > expected) {  // a quarter to all of the doses stayed away
    constexpr int kParts = 4;
    Row like{};
    exps(kGrid, usual.data(), rest, weights.data());
    for (int part = 1; part <= kParts; ++part) {
      FullSpan less = s;
      less.delivered_cm3 *= 1 - static_cast<double>(part) / kParts;
      less.delivered_sd_cm3 = s.delivered_cm3 / (kParts * std::sqrt(12.0));
      const Prediction p = predict(less, 0);
      Row density;
      weighted_laws(kGrid, s.taken_cm3, p.mean.data(), p.var.data(), weights.data(), density.data());
      add(like, density);
    }
    out.cut_short = log_sum_exp(out.cut_short, rest + std::log(kUndeliveredShare / kParts * held(sum_of(like))));
  }
  return out;
}

AmountLaw::Fit AmountLaw::fit(const FullSpan& span, std::size_t about, std::span<const std::size_t> left_out) const {
  Row all = prior_row_;
  const std::size_t first = about > kBefore ? about - kBefore : 0;
  for (std::size_t k = first; k < std::min(spans_.size(), about + kAfter + 1); ++k) {
    if (spans_[k].baseline != span.baseline || std::find(left_out.begin(), left_out.end(), k) != left_out.end())
      continue;
    add(all, row_of(k, k > about ? k - about : about - k));
  }
  const double peak = *std::max_element(all.begin(), all.end());
  const Prediction p = predict(span, 0);
  Row weights, densities;
  exps(kGrid, all.data(), peak, weights.data());
  weighted_laws(kGrid, span.taken_cm3, p.mean.data(), p.var.data(), weights.data(), densities.data());
  const double plain = sum_of(densities) / sum_of(weights);
  const double robust = (1 - kOddShare) * plain + kOddShare * odd_density(span.taken_cm3);
  return {std::log(std::max(robust, 1e-300)), std::log(std::max(plain, 1e-300))};
}

}  // namespace shaftlog
