#include "analysis/ratio_filter.hpp"

#include "analysis/wide.hpp"

#include <algorithm>
#include <cmath>
#include <utility>

namespace shaftlog {
namespace {

constexpr std::array<double, 5> kScales{0.6, 1.0, 1.7, 3.0, 5.0};  // 1 sd of a reading [units]
constexpr std::array<double, 5> kScalePrior{0.25, 0.40, 0.28, 0.05, 0.02};
constexpr std::array<double, kRegimes> kStart{0.86, 0.10, 0.04};
constexpr double kHealthySd = 0.035;                                    // of a dose against its setting
constexpr double kDeparturesPerYear = 2.0, kOtherChangesPerYear = 0.3;  // from 1, and from elsewhere
constexpr double kBriskUse = 8;          // units a month from which departures are looked for at that rate
constexpr double kEarly = 0.3;           // share of changes that lie at the beginning of a stretch
constexpr double kSlip = 0.004;          // share of readings that are slips of the pen
constexpr double kOdd = 5;               // squared deviations below which a reading is taken as plain
constexpr double kLongStretch = 12;      // units of use above which the place of a change within it is told apart
constexpr double kLeastRatioVar = 0.05;  // what a stretch is unsure of even when nothing leaves
constexpr std::size_t kMost = 80;        // hypotheses kept
constexpr double kFaint = 20;            // natural-log odds below the best at which one is let go
constexpr double kWide = 1e4;            // sd of a content about which nothing is known [units]

double square(double x) { return x * x; }
std::size_t index(Regime r) { return static_cast<std::size_t>(r); }

/// \param use_per_month of the stretch [units]: where little is used nothing can be seen soon, and what is looked for
/// too eagerly would be believed without evidence
double changes_per_year(Regime from, double use_per_month) {
  return from == Regime::healthy ? kDeparturesPerYear * std::min(1.0, use_per_month / kBriskUse) : kOtherChangesPerYear;
}

/// \param parts at least one; weights sum to about 1
double mixture_quantile(const std::vector<Normal>& parts, double p, double start) {
  double lo = parts.front().mean, hi = lo, x = start;
  for (const Normal& n : parts) lo = std::min(lo, n.mean - 9 * n.sd), hi = std::max(hi, n.mean + 9 * n.sd);
  // Newton's method, held within the bracket by bisection (at every eighth step too, should it circle).
  const double close = 1e-9 * (hi - lo);
  for (int i = 0; i < 160 && hi - lo > close; ++i) {
    if (!(x > lo && x < hi) || i % 8 == 7) x = 0.5 * (lo + hi);
    double below = -p, density = 0;
    for (const Normal& n : parts) {
      const double z = (x - n.mean) / n.sd;
      if (z < -wide::kSure) continue;
      if (z > wide::kSure) {
        below += n.weight;
        continue;
      }
      below += n.weight * wide::normal_cdf(z);
      density += n.weight * wide::normal_pdf(z) / n.sd;
    }
    (below < 0 ? lo : hi) = x;
    const double step = density > 0 ? below / density : hi - lo;
    if (std::abs(step) < close) return x - step;
    x -= step;
  }
  return 0.5 * (lo + hi);
}

/// Takes a reading into the account; returns its log-likelihood but for a constant.
double update(Hypothesis& h, double value, double noise) {
  const double s = h.vv + noise, e = value - h.v, kv = h.vv / s, kr = h.vr / s;
  h.v += kv * e;
  h.r += kr * e;
  h.rr = std::max(1e-8, h.rr - kr * h.vr);
  h.vr -= kr * h.vv;
  h.vv = std::max(1e-9, kv * noise);
  return -0.5 * (inline_log(s) + e * e / s);
}

}  // namespace

double mixture_cdf(const std::vector<Normal>& parts, double x) {
  double p = 0;
  for (const Normal& n : parts) {
    const double z = (x - n.mean) / n.sd;
    if (z > wide::kSure)
      p += n.weight;
    else if (z > -wide::kSure)
      p += n.weight * wide::normal_cdf(z);
  }
  return p;
}

Estimate mixture_summary(std::vector<Normal> parts, double least, double faint) {
  double given = 0;
  for (const Normal& n : parts) given += n.weight;
  std::erase_if(parts, [&](const Normal& n) { return n.weight < faint * given; });
  double sum = 0, mean = 0, square_mean = 0;
  for (const Normal& n : parts) {
    sum += n.weight;
    mean += n.weight * n.mean;
    square_mean += n.weight * (n.mean * n.mean + n.sd * n.sd);
  }
  for (Normal& n : parts) n.weight /= sum;
  mean /= sum;
  const double sd = std::sqrt(std::max(0.0, square_mean / sum - mean * mean));
  return {std::max(least, mixture_quantile(parts, 0.5, mean)),
          std::max(least, mixture_quantile(parts, 0.05, mean - 1.645 * sd)),
          std::max(least, mixture_quantile(parts, 0.95, mean + 1.645 * sd))};
}

RatioFilter::RatioFilter(double unit, double slip_sd, const Jumps& jumps, const std::vector<double>& shares)
    : unit_{unit}, slip_sd_{slip_sd}, jumps_{jumps} {
  // One device of several that does not work leaves 1 less its share; equal shares make one such ratio.
  std::vector<double> single;
  for (const double s : shares)
    if (s > 0.06 && s < 0.95 &&
        std::none_of(single.begin(), single.end(), [s](double x) { return std::abs(x - s) < 0.04; }))
      single.push_back(s);
  constexpr double kSingle = 0.3, kNothing = 0.2;
  const double broad = 1 - kNothing - (single.empty() ? 0.0 : kSingle);
  parts_.push_back({Regime::healthy, 1.0, kHealthySd, 0.0});
  parts_.push_back({Regime::low, 0.55, 0.33, std::log(broad)});
  parts_.push_back({Regime::low, 0.0, 0.04, std::log(kNothing)});
  for (const double s : single)
    parts_.push_back(
        {Regime::low, 1 - s, std::hypot(kHealthySd, 0.02), std::log(kSingle / static_cast<double>(single.size()))});
  parts_.push_back({Regime::high, 1.3, 0.18, std::log(0.5)});
  parts_.push_back({Regime::high, 1.9, 0.5, std::log(0.5)});
  for (std::size_t s = 0; s < kScales.size(); ++s)
    for (const Part& p : parts_) {
      Hypothesis h;
      h.log_w = std::log(kScalePrior[s] * kStart[index(p.regime)]) + p.log_share;
      h.scale = s;
      h.vv = square(kWide * unit);
      h.r = p.mean;
      h.rr = square(p.sd);
      h.regime = p.regime;
      hyps_.push_back(h);
    }
}

void RatioFilter::start(Instant at) {
  for (Hypothesis& h : hyps_) h.from = h.to = at;
  at_ = at;
}

void RatioFilter::stay(Hypothesis& h, const BalanceEvent& e) {
  h.v -= h.r * e.expected;
  h.vv += e.expected * e.expected * h.rr - 2 * e.expected * h.vr +
          square(e.expected_sd) * std::max(kLeastRatioVar, h.r * h.r);
  h.vr -= e.expected * h.rr;
}

/// Weighted sums over accounts of one scale and regime, from which those that change now are made.
struct RatioFilter::Sums {
  double w = 0, v = 0, vv = 0, r = 0, rr = 0;
  const Hypothesis* best = nullptr;
  void add(double weight, double mean, double var, double ratio, double ratio_var) {
    w += weight;
    v += weight * mean;
    vv += weight * (var + mean * mean);
    r += weight * ratio;
    rr += weight * (ratio * ratio + ratio_var);
  }
  void add(const Sums& s, double factor) {
    w += factor * s.w, v += factor * s.v, vv += factor * s.vv, r += factor * s.r, rr += factor * s.rr;
  }
};

// The accounts in which the ratio changes within this stretch. Those of one scale, part and place are merged by their
// moments: they differ in the content alone, and readings have told that.
void RatioFilter::branch(const BalanceEvent& e, double years) {
  struct Place {
    double mean, width, share, from, to;  // of the change, in parts of the stretch
  };
  static const std::vector<Place> kShort{{0, 0, kEarly, 0, 0.2}, {0.5, 1, 1 - kEarly, 0, 1}};
  static const std::vector<Place> kLong{{0, 0, kEarly, 0, 0.08},
                                        {0.125, 0.25, (1 - kEarly) / 4, 0, 0.25},
                                        {0.375, 0.25, (1 - kEarly) / 4, 0.25, 0.5},
                                        {0.625, 0.25, (1 - kEarly) / 4, 0.5, 0.75},
                                        {0.875, 0.25, (1 - kEarly) / 4, 0.75, 1}};
  constexpr double kTransition[kRegimes][kRegimes]{{0, 0.6, 0.4}, {0.6, 0.2, 0.2}, {0.6, 0.2, 0.2}};
  std::array<double, kRegimes> chance{};
  for (std::size_t g = 0; g < kRegimes; ++g)
    chance[g] = 1 - std::exp(-changes_per_year(static_cast<Regime>(g), e.expected / unit_ / (12 * years)) * years);
  double best = -1e300;
  for (const Hypothesis& h : hyps_) best = std::max(best, h.log_w);
  // New ones are put behind the old, which must stay where they are: room for all of them.
  hyps_.reserve(hyps_.size() + 2 * kLong.size() * kScales.size() * parts_.size());
  std::vector<std::pair<double, const Hypothesis*>> from_all;  // with weights; others add nothing that shows
  from_all.reserve(hyps_.size());
  for (const Hypothesis& h : hyps_)
    if (h.log_w >= best - 14) from_all.emplace_back(inline_exp(h.log_w - best), &h);
  const Instant::duration length = e.at - at_;
  const auto moment = [&](double part) {
    return at_ + std::chrono::seconds{std::llround(part * static_cast<double>(length.count()))};
  };
  const double s = e.expected;
  for (const Place& place : s > kLongStretch * unit_ ? kLong : kShort) {
    std::array<std::array<Sums, kRegimes>, kScales.size()> sums{};
    const double before = s * place.mean, stretch_var = square(e.expected_sd);
    for (const auto& [weight, h] : from_all) {
      Sums& to = sums[h->scale][index(h->regime)];
      to.add(weight, h->v - before * h->r,
             h->vv + before * before * h->rr - 2 * before * h->vr + stretch_var * std::max(kLeastRatioVar, h->r * h->r),
             h->r, h->rr);
      if (to.best == nullptr || h->log_w > to.best->log_w) to.best = h;
    }
    for (std::size_t scale = 0; scale < kScales.size(); ++scale)
      for (const Part& p : parts_) {
        const auto add = [&](const Sums& from, const Hypothesis* held) {
          if (from.w <= 0) return;
          Hypothesis h;
          h.log_w = best + inline_log(from.w * place.share) + p.log_share;
          if (h.log_w < best - kFaint) return;
          h.scale = scale;
          h.regime = p.regime;
          const double after = s * (1 - place.mean), v = from.v / from.w, r = from.r / from.w;
          h.v = v - after * p.mean;
          h.vv = std::max(0.0, from.vv / from.w - v * v) + square(after * p.sd) +
                 square(s * place.width) / 12 *
                     (square(p.mean - r) + std::max(0.0, from.rr / from.w - r * r) + square(p.sd));
          h.r = p.mean;
          h.rr = square(p.sd);
          h.vr = -after * h.rr;
          h.from = held ? held->from : moment(place.from);
          h.to = held ? held->to : moment(place.to);
          hyps_.push_back(h);
        };
        Sums others;
        for (std::size_t g = 0; g < kRegimes; ++g)
          if (g != index(p.regime)) others.add(sums[scale][g], chance[g] * kTransition[g][index(p.regime)]);
        add(others, nullptr);
        if (p.regime == Regime::healthy) continue;
        Sums same;  // changes again, still on the same side: it began when the likeliest of these did
        const Sums& own = sums[scale][index(p.regime)];
        if (own.best == nullptr) continue;
        same.add(own, chance[index(p.regime)] * kTransition[index(p.regime)][index(p.regime)]);
        add(same, own.best);
      }
  }
}

void RatioFilter::run(const BalanceEvent& e) {
  const double years = std::max(0.0, hours_between(at_, e.at) / 8766.0);
  years_ += years;
  const double running = e.expected > 0 ? years : 0.0;
  const std::size_t old = hyps_.size();
  if (running > 0) branch(e, running);
  for (std::size_t k = 0; k < old; ++k) {
    Hypothesis& h = hyps_[k];
    h.log_w -= running > 0 ? changes_per_year(h.regime, e.expected / unit_ / (12 * running)) * running : 0.0;
    stay(h, e);
  }
  if (witness_) stay(*witness_, e);
  at_ = e.at;
}

void RatioFilter::see(Hypothesis& h, double value, double noise_var, double moment_var, bool is_after_pour) const {
  const double noise = square(kScales[h.scale] * unit_) + noise_var + moment_var * std::max(kLeastRatioVar, h.r * h.r);
  const double e = value - h.v, s = h.vv + noise;
  if (e * e < kOdd * s || h.vv > square(0.1 * kWide * unit_)) {
    h.log_w += update(h, value, noise);
    return;
  }
  // An odd reading: a slip of the pen, a content that jumped with nothing written, or the account is wrong.
  struct Way {
    Hypothesis h;
    double log_p;
  };
  std::array<Way, 5> ways;
  std::size_t n = 0;
  const auto way = [&](double p, double shift, double content_var, double reading_var) {
    if (p <= 0) return;
    Way& w = ways[n++];
    w.h = h;
    w.h.v += shift;
    w.h.vv += content_var;
    w.log_p = std::log(p) + update(w.h, value, noise + reading_var);
  };
  const double offset = 1 - std::exp(-jumps_.offset_per_year * years_);
  const double top_up = 1 - std::exp(-jumps_.top_up_per_year * years_);
  const double pour = is_after_pour ? jumps_.pour_chance : 0.0;
  way(1 - kSlip - offset - top_up - 1.2 * pour, 0, 0, 0);
  way(kSlip, 0, 0, square(slip_sd_));
  way(offset, 0, square(jumps_.offset_sd), 0);
  way(pour, 0, square(jumps_.pour_sd), 0);
  // A refill that nobody wrote down, or one of another amount than was written.
  if (e > 0)
    way(top_up + 0.2 * pour, jumps_.top_up_mean, square(jumps_.top_up_sd), 0);
  else
    way(0.2 * pour, -jumps_.top_up_mean, square(jumps_.top_up_sd), 0);
  double most = ways[0].log_p, sum = 0;
  for (std::size_t i = 1; i < n; ++i) most = std::max(most, ways[i].log_p);
  Hypothesis m = h;
  m.v = m.r = m.vv = m.vr = m.rr = 0;
  for (std::size_t i = 0; i < n; ++i) {
    const double w = std::exp(ways[i].log_p - most);
    const Hypothesis& x = ways[i].h;
    sum += w;
    m.v += w * x.v, m.r += w * x.r;
  }
  m.v /= sum, m.r /= sum;
  for (std::size_t i = 0; i < n; ++i) {  // merged by their moments
    const double w = std::exp(ways[i].log_p - most) / sum;
    const Hypothesis& x = ways[i].h;
    m.vv += w * (x.vv + square(x.v - m.v));
    m.vr += w * (x.vr + (x.v - m.v) * (x.r - m.r));
    m.rr += w * (x.rr + square(x.r - m.r));
  }
  m.log_w = h.log_w + most + std::log(sum);
  h = m;
}

void RatioFilter::read(double value, double noise_var, double moment_sd, bool is_after_pour) {
  for (Hypothesis& h : hyps_) see(h, value, noise_var, square(moment_sd), is_after_pour);
  if (witness_) see(*witness_, value, noise_var, square(moment_sd), is_after_pour);
  years_ = 0;
  prune();
}

void RatioFilter::pour(std::optional<double> amount, double sd) {
  const auto into = [&](Hypothesis& h) {
    if (amount) {
      h.v += *amount;
      h.vv += sd * sd;
    } else {
      h.vv = square(kWide * unit_);
      h.vr = 0;
    }
  };
  for (Hypothesis& h : hyps_) into(h);
  if (witness_) into(*witness_);
}

std::vector<Normal> RatioFilter::ratios() const {
  std::vector<Normal> parts;
  parts.reserve(hyps_.size());
  for (const Hypothesis& h : hyps_) parts.push_back({inline_exp(h.log_w), h.r, std::sqrt(std::max(1e-8, h.rr))});
  return parts;
}

double RatioFilter::scale() const {
  double s = 0;
  for (const Hypothesis& h : hyps_) s += std::exp(h.log_w) * kScales[h.scale];
  return s;
}

void RatioFilter::hold_witness() {
  const Hypothesis* best = nullptr;
  for (const Hypothesis& h : hyps_)
    if (h.regime == Regime::healthy && (best == nullptr || h.log_w > best->log_w)) best = &h;
  if (best != nullptr) witness_ = *best;
}

std::optional<double> RatioFilter::log_odds_of(Regime regime) const {
  if (!witness_) return std::nullopt;
  double sum = 0;
  for (const Hypothesis& h : hyps_)
    if (h.regime == regime) sum += std::exp(h.log_w);
  return std::log(std::max(1e-300, sum)) - witness_->log_w;
}

void RatioFilter::prune() {
  // Ranks are parted, not the hypotheses: most of those are dropped. Of equal weights the earlier stay.
  using Rank = std::pair<double, std::size_t>;
  double most = hyps_.front().log_w;
  for (const Hypothesis& h : hyps_) most = std::max(most, h.log_w);
  std::vector<Rank> ranks;
  ranks.reserve(hyps_.size());
  for (std::size_t k = 0; k < hyps_.size(); ++k)
    if (hyps_[k].log_w > most - kFaint) ranks.emplace_back(-hyps_[k].log_w, k);
  if (ranks.empty()) return;
  const std::size_t kept = std::min(kMost, ranks.size());
  const auto last = ranks.begin() + static_cast<std::ptrdiff_t>(kept) - 1;
  std::nth_element(ranks.begin(), last, ranks.end());
  const Rank cut = *last;
  std::size_t n = 0;
  double sum = 0;
  for (std::size_t k = 0; k < hyps_.size(); ++k) {
    const double log_w = hyps_[k].log_w;
    if (!(log_w > most - kFaint) || cut < Rank{-log_w, k}) continue;
    if (n != k) hyps_[n] = hyps_[k];
    ++n;
    sum += inline_exp(log_w - most);
  }
  hyps_.resize(n);
  const double off = most + std::log(sum);
  for (Hypothesis& h : hyps_) h.log_w -= off;
  if (witness_) witness_->log_w -= off;
}

}  // namespace shaftlog
