#include "analysis/amount_law.hpp"

#include "analysis/distributions.hpp"

#include <algorithm>
#include <cmath>
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
constexpr double kFaint = 45;  // natural-log odds below the best at which a rate is left out

/// Student's t density with 7 degrees of freedom; what lies further out is called odd, not scatter.
double law(double y, double mean, double sd) {
  const double t = (y - mean) / sd, x = 1 + t * t / 7, x2 = x * x;
  return 0.38499145083226738 / (x2 * x2 * sd);
}
double log_law(double y, double mean, double sd) { return std::log(std::max(law(y, mean, sd), 1e-300)); }

/// Density of an amount that says nothing: even on the scale of logarithms, about four decades wide.
double odd_density(double taken) { return 1 / (9.0 * std::max(taken, 1.0)); }

template <class Row>
void add(Row& a, const Row& b) {
  for (std::size_t g = 0; g < a.size(); ++g) a[g] += b[g];
}

template <class Row>
double total(const Row& a) {
  return log_sum_exp({a.data(), a.size()});
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

double AmountLaw::mean(const FullSpan& s, double w) const noexcept {
  const double m = std::max(0.0, w * s.run_h - s.delivered_cm3);
  return cavity_ ? std::min(m, *cavity_) : m;
}

double AmountLaw::sd(const FullSpan& s, double w, double m, double apart) const noexcept {
  const auto square = [](double x) { return x * x; };
  const double rate_var = square(prior_.duty_sd) + square(prior_.season_sd) + square(kDriftPerSpan * apart);
  return std::sqrt(square(1.4 * prior_.fill_sd_cm3) + square(prior_.relative_sd * m) + rate_var * square(w * s.run_h) +
                   square(w * s.run_sd_h) + square(s.delivered_sd_cm3) + square(kLeastSd_cm3));
}

AmountLaw::Row AmountLaw::row(const FullSpan& s, double taken, double apart, bool is_robust, double owing) const {
  Row out;
  const double odd = is_robust ? kOddShare * odd_density(taken) : 0.0, kept = is_robust ? 1 - kOddShare : 1.0;
  for (std::size_t g = 0; g < kGrid; ++g) {
    const double m = mean(s, rates_[g]) + owing;
    out[g] = std::log(std::max(kept * law(taken, m, sd(s, rates_[g], m, apart)) + odd, 1e-300));
  }
  return out;
}

const AmountLaw::Row& AmountLaw::row_of(std::size_t k, std::size_t apart) const {
  Kept& kept = rows_[k][std::min(apart, kFarthest)];
  if (!kept.is_made) {
    kept.row = row(spans_[k], spans_[k].taken_cm3, static_cast<double>(apart), true, 0);
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
  // Rates that the amounts about it all but exclude add nothing that shows.
  const double peak = *std::max_element(all.begin(), all.end());
  std::array<double, kGrid> means{}, sds{}, weights{};
  std::size_t n = 0;
  for (std::size_t g = 0; g < kGrid; ++g) {
    if (all[g] < peak - kFaint) continue;
    means[n] = mean(spans_[i], rates_[g]);
    sds[n] = sd(spans_[i], rates_[g], means[n], 0);
    weights[n++] = std::exp(all[g] - peak);
  }
  std::vector<double> out;
  for (const double taken : taken_cm3) {
    double sum = 0;
    for (std::size_t g = 0; g < n; ++g) sum += weights[g] * law(taken, means[g], sds[g]);
    out.push_back(peak + std::log(std::max(sum, 1e-300)));
  }
  return out;
}

AmountEvidence AmountLaw::weigh(std::size_t i, std::size_t after) const {
  const FullSpan& s = spans_[i];
  const Row earlier = before(i, 0), own = row(s, s.taken_cm3, 0, false, 0);
  Row later{};
  std::size_t last = i;
  for (std::size_t k = i + 1; k < spans_.size() && k <= i + after && spans_[k].baseline == s.baseline; ++k, ++last)
    add(later, row_of(k, k - i));
  AmountEvidence out;

  Row usual = earlier;
  add(usual, later);
  const double rest = total(usual);
  double expected = 0, second = 0, var = 0;
  for (std::size_t g = 0; g < kGrid; ++g) {
    const double p = std::exp(usual[g] - rest), m = mean(s, rates_[g]);
    expected += p * m;
    second += p * m * m;
    var += p * std::pow(sd(s, rates_[g], m, 0), 2);
  }
  out.expected_cm3 = expected;
  out.sd_cm3 = std::sqrt(var + std::max(0.0, second - expected * expected));
  out.odd = rest + std::log(odd_density(s.taken_cm3));

  Row plain = usual;
  add(plain, own);
  out.plain = total(plain);

  // A change by whole steps of the grid, up to about sixfold: in the interval or halfway through it.
  const auto steps = static_cast<std::ptrdiff_t>(std::lround(1.8 / step_));
  const double peak = *std::max_element(earlier.begin(), earlier.end());
  const double later_peak = *std::max_element(later.begin(), later.end());
  Row own_density;
  for (std::size_t g = 0; g < kGrid; ++g) own_density[g] = std::exp(own[g]);
  double weight_sum = 0, changes = 0;
  for (std::ptrdiff_t f = -steps; f <= steps; ++f) {
    const double log_f = step_ * static_cast<double>(f);
    if (std::abs(log_f) < 0.18) continue;
    const double weight = std::exp(-std::abs(log_f) / 0.9) * (f < 0 ? 0.4 : 1.0);
    weight_sum += weight;
    double moved = 0;
    for (std::size_t g = 0; g < kGrid; ++g) {
      const std::ptrdiff_t to = static_cast<std::ptrdiff_t>(g) + f;
      if (to < 0 || to >= static_cast<std::ptrdiff_t>(kGrid)) continue;
      const auto t = static_cast<std::size_t>(to);
      const double off = earlier[g] - peak + later[t] - later_peak;
      if (off < -kFaint) continue;
      const double half_w = 0.5 * (rates_[g] + rates_[t]), m = mean(s, half_w);
      moved += std::exp(off) * 0.5 * (own_density[t] + law(s.taken_cm3, m, sd(s, half_w, m, 0)));
    }
    changes += weight * moved;
  }
  out.change = peak + later_peak + std::log(std::max(changes, 1e-300) / weight_sum) +
               std::log(kChangePer1000h * std::clamp(s.run_h, 20.0, 2000.0) / 1000);

  // Broken off early though back-pressure was written: what is missing goes in the next time.
  double shorts = -1e300;
  if (s.taken_cm3 < expected && last > i) {
    const FullSpan& n = spans_[i + 1];
    Row both = earlier;
    for (std::size_t g = 0; g < kGrid; ++g) {
      const double m = mean(s, rates_[g]);
      if (s.taken_cm3 >= m) {
        both[g] = -1e300;
        continue;
      }
      const double owing = m - s.taken_cm3, n_mean = mean(n, rates_[g]) + owing;
      both[g] += log_law(n.taken_cm3, n_mean, std::hypot(sd(n, rates_[g], n_mean, 0), sd(s, rates_[g], m, 0))) -
                 std::log(std::max(m, 1.0));
    }
    for (std::size_t k = i + 2; k <= last; ++k) add(both, row_of(k, k - i));
    shorts = total(both);
  } else if (s.taken_cm3 < expected) {
    shorts = rest - std::log(std::max(expected, 1.0));
  } else if (i > 0 && spans_[i - 1].baseline == s.baseline) {
    const FullSpan& b = spans_[i - 1];
    Row both = before(i, 1);
    add(both, later);
    for (std::size_t g = 0; g < kGrid; ++g) {
      const double m = mean(b, rates_[g]), owing = m - b.taken_cm3, all = mean(s, rates_[g]) + owing;
      if (owing <= 0) {
        both[g] = -1e300;
        continue;
      }
      both[g] += log_law(s.taken_cm3, all, std::hypot(sd(s, rates_[g], all, 0), sd(b, rates_[g], m, 0))) -
                 std::log(std::max(m, 1.0));
    }
    shorts = total(both);
  }
  out.cut_short = shorts + std::log(kShortShare);
  if (s.delivered_cm3 > 0 && s.taken_cm3 > expected) {  // anything up to the doses that were called for
    const double most = cavity_ ? std::min(s.delivered_cm3, *cavity_) : s.delivered_cm3;
    out.cut_short = log_sum_exp(out.cut_short, rest + std::log(kUndeliveredShare / std::max({most, s.taken_cm3, 1.0})));
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
  double rest = 0, with = 0;
  for (std::size_t g = 0; g < kGrid; ++g) {
    if (all[g] < peak - kFaint) continue;
    const double weight = std::exp(all[g] - peak), m = mean(span, rates_[g]);
    rest += weight;
    with += weight * law(span.taken_cm3, m, sd(span, rates_[g], m, 0));
  }
  const double plain = with / rest;
  const double robust = (1 - kOddShare) * plain + kOddShare * odd_density(span.taken_cm3);
  return {std::log(std::max(robust, 1e-300)), std::log(std::max(plain, 1e-300))};
}

}  // namespace shaftlog
