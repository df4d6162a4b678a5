#include "analysis/delivery.hpp"

#include "analysis/distributions.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <functional>
#include <utility>

namespace shaftlog {
namespace {

constexpr std::array<double, 3> kScales{0.7, 1.5, 3.0};  // 1 sd of a level reading [% of full]
constexpr std::array<double, 3> kScalePrior{0.55, 0.42, 0.03};
constexpr double kHealthySd = 0.04;  // of a dose against its setting
constexpr double kChangesPerYear = 0.15;
constexpr double kEarly = 0.4;    // share of changes that lie at the beginning of a stretch
constexpr double kSlip = 0.0005;  // share of readings that are slips of the pen
constexpr double kOpen = 0.95, kClose = 0.50;
constexpr std::size_t kMost = 90;  // hypotheses kept
constexpr double kFaint = 23;      // natural-log odds below the best (1e-10) at which one is let go
constexpr double kWide = 1e4;      // sd of a content about which nothing is known, in per cent of full

enum Regime : int { kHealthy, kLow, kHigh };
struct RatioPrior {
  double mean, sd;
};
constexpr std::array<RatioPrior, 3> kRatio{{{1.0, kHealthySd}, {0.55, 0.35}, {1.6, 0.45}}};

struct Observation {
  double value = 0;
  Uuid record;
};
/// What happened at one moment: use since the moment before, a reading, what was poured, a reading.
struct Event {
  Instant at{};
  double expected = 0, expected_sd = 0;
  std::optional<Observation> before, after;
  std::optional<double> poured;  // empty with `refilled`: unknown
  double poured_sd = 0;
  bool refilled = false;
  Uuid record;
};

struct Hypothesis {
  double log_w = 0;
  std::size_t scale = 0;
  double v = 0, r = 1, vv = 0, vr = 0, rr = 0;
  Regime regime = kHealthy;
  Instant from{}, to{};  // where the present departure from 1 began
};

struct Normal {
  double weight, mean, sd;
};

double mixture_cdf(const std::vector<Normal>& parts, double x) {
  double p = 0;
  for (const Normal& n : parts) p += n.weight * normal_cdf((x - n.mean) / n.sd);
  return p;
}

/// \param parts at least one; weights sum to about 1
double mixture_quantile(const std::vector<Normal>& parts, double p) {
  double lo = parts.front().mean, hi = lo, x = 0;
  for (const Normal& n : parts) {
    lo = std::min(lo, n.mean - 9 * n.sd), hi = std::max(hi, n.mean + 9 * n.sd);
    x += n.weight * n.mean;
  }
  // Newton's method from the mean, held within the bracket by bisection (at every eighth step too, should it circle).
  const double close = 1e-10 * (hi - lo);
  for (int i = 0; i < 160 && hi - lo > close; ++i) {
    if (!(x > lo && x < hi) || i % 8 == 7) x = 0.5 * (lo + hi);
    double below = -p, density = 0;
    for (const Normal& n : parts) {
      const double z = (x - n.mean) / n.sd;
      if (z < -7) continue;
      if (z > 7) {
        below += n.weight;
        continue;
      }
      below += n.weight * normal_cdf(z);
      density += n.weight * normal_pdf(z) / n.sd;
    }
    (below < 0 ? lo : hi) = x;
    const double step = density > 0 ? below / density : hi - lo;
    if (std::abs(step) < close) return x - step;
    x -= step;
  }
  return 0.5 * (lo + hi);
}

Estimate summary(std::vector<Normal> parts, double least) {
  std::erase_if(parts, [](const Normal& n) { return n.weight < 1e-9; });  // a hundred of them move no printed digit
  return {std::max(least, mixture_quantile(parts, 0.5)), std::max(least, mixture_quantile(parts, 0.05)),
          std::max(least, mixture_quantile(parts, 0.95))};
}

/// Bank of two-state filters (content, ratio), one for each account of when the ratio last changed and how exact
/// readings are.
class Filter {
 public:
  /// \param unit what one unit of kScales is worth; \param slip_sd sd of a slip of the pen
  Filter(double unit, double slip_sd) : unit_{unit}, slip_sd_{slip_sd} {
    constexpr std::array<double, 3> kStart{0.86, 0.10, 0.04};
    for (std::size_t s = 0; s < kScales.size(); ++s)
      for (std::size_t g = 0; g < kStart.size(); ++g) {
        Hypothesis h;
        h.log_w = std::log(kScalePrior[s] * kStart[g]);
        h.scale = s;
        h.vv = square(kWide * unit);
        h.r = kRatio[g].mean;
        h.rr = square(kRatio[g].sd);
        h.regime = static_cast<Regime>(g);
        hyps_.push_back(h);
      }
  }

  void start(Instant at) {
    for (Hypothesis& h : hyps_) h.from = h.to = at;
    at_ = at;
  }

  void run(const Event& e) {
    const double years = hours_between(at_, e.at) / 8766.0;
    std::vector<Hypothesis> next;
    next.reserve(7 * hyps_.size());
    const double chance = e.expected > 0 ? 1 - std::exp(-kChangesPerYear * years) : 0.0;
    double best = -1e300;
    for (const Hypothesis& h : hyps_) best = std::max(best, h.log_w);
    const double log_stays = std::log1p(-chance), log_chance = chance > 0 ? std::log(chance) : 0.0;
    static const std::array<double, 3> log_to_other{0.0, std::log(0.6), std::log(0.4)};  // from healthy, by regime
    static const double log_back = std::log(0.6), log_other = std::log(0.2);
    static const double log_early = std::log(kEarly), log_within = std::log(1 - kEarly);
    for (const Hypothesis& h : hyps_) {
      Hypothesis stay = h;
      stay.log_w += log_stays;
      const double use_var = square(e.expected_sd) * std::max(0.05, h.r * h.r);
      stay.v -= h.r * e.expected;
      stay.vv += e.expected * e.expected * h.rr - 2 * e.expected * h.vr + use_var;
      stay.vr -= e.expected * h.rr;
      next.push_back(stay);
      if (chance <= 0 || h.log_w < best - 9) continue;
      for (const Regime g : {kHealthy, kLow, kHigh}) {
        if (g == kHealthy && h.regime == kHealthy) continue;
        const double log_share = h.regime == kHealthy ? log_to_other[static_cast<std::size_t>(g)]
                                 : g == kHealthy      ? log_back
                                                      : log_other;
        const RatioPrior& prior = kRatio[static_cast<std::size_t>(g)];
        // Changed right at its beginning: the whole stretch runs at the new ratio.
        Hypothesis early = h;
        early.log_w += log_chance + log_share + log_early;
        early.v -= e.expected * prior.mean;
        early.r = prior.mean;
        early.rr = square(prior.sd);
        early.vr = -e.expected * early.rr;
        early.vv += square(e.expected) * early.rr + use_var;
        early.regime = g;
        if (g != h.regime) early.from = at_, early.to = at_ + (e.at - at_) / 4;
        next.push_back(early);
        // Changed somewhere within it, each moment alike: half of it at each ratio, and what is unsure.
        const double half = 0.5 * e.expected, gap = square(prior.mean - h.r) + square(prior.sd) + h.rr;
        Hypothesis c = h;
        c.log_w += log_chance + log_share + log_within;
        c.v = h.v - half * (h.r + prior.mean);
        c.vv =
            h.vv + half * half * (h.rr + square(prior.sd)) - 2 * half * h.vr + square(e.expected) * gap / 12 + use_var;
        c.r = prior.mean;
        c.rr = square(prior.sd);
        c.vr = -half * c.rr;
        c.regime = g;
        if (g != h.regime) c.from = at_, c.to = e.at;
        next.push_back(c);
      }
    }
    hyps_ = std::move(next);
    at_ = e.at;
  }

  void read(double value) {
    static const double log_plain = std::log1p(-kSlip), log_slip = std::log(kSlip);
    for (Hypothesis& h : hyps_) {
      const double noise = square(kScales[h.scale] * unit_);
      Hypothesis plain = h, slip = h;
      const double a = log_plain + update(plain, value, noise);
      const double b = log_slip + update(slip, value, noise + square(slip_sd_));
      const double lesser = std::exp(-std::abs(a - b));  // of the greater
      const double all = std::max(a, b) + std::log1p(lesser), w = (a >= b ? 1.0 : lesser) / (1 + lesser);
      // The two accounts of this reading are merged by their moments.
      const double dv = plain.v - slip.v, dr = plain.r - slip.r;
      h.v = slip.v + w * dv;
      h.r = slip.r + w * dr;
      h.vv = w * plain.vv + (1 - w) * slip.vv + w * (1 - w) * dv * dv;
      h.vr = w * plain.vr + (1 - w) * slip.vr + w * (1 - w) * dv * dr;
      h.rr = w * plain.rr + (1 - w) * slip.rr + w * (1 - w) * dr * dr;
      h.log_w += all;
    }
    prune();
  }

  void pour(std::optional<double> amount, double sd) {
    for (Hypothesis& h : hyps_) {
      if (amount) {
        h.v += *amount;
        h.vv += sd * sd;
      } else {
        h.vv = square(kWide * unit_);
        h.vr = 0;
      }
    }
  }

  [[nodiscard]] std::vector<Normal> ratios() const {
    std::vector<Normal> parts;
    for (const Hypothesis& h : hyps_) parts.push_back({std::exp(h.log_w), h.r, std::sqrt(std::max(1e-8, h.rr))});
    return parts;
  }
  [[nodiscard]] const std::vector<Hypothesis>& hypotheses() const { return hyps_; }
  [[nodiscard]] double scale() const {
    double s = 0;
    for (const Hypothesis& h : hyps_) s += std::exp(h.log_w) * kScales[h.scale];
    return s;
  }

 private:
  static double square(double x) { return x * x; }

  static double update(Hypothesis& h, double value, double noise) {
    const double s = h.vv + noise, e = value - h.v, kv = h.vv / s, kr = h.vr / s;
    h.v += kv * e;
    h.r += kr * e;
    h.rr = std::max(1e-8, h.rr - kr * h.vr);
    h.vr -= kr * h.vv;
    h.vv = std::max(1e-9, kv * noise);
    return -0.5 * (std::log(s) + e * e / s);
  }

  void prune() {
    // Ranks are sorted, not the hypotheses: most of those are dropped. Equal weights keep their order.
    using Rank = std::pair<double, std::size_t>;
    double most = hyps_.front().log_w;
    for (const Hypothesis& h : hyps_) most = std::max(most, h.log_w);
    std::vector<Rank> ranks;
    ranks.reserve(hyps_.size());
    for (std::size_t k = 0; k < hyps_.size(); ++k)
      if (hyps_[k].log_w > most - kFaint) ranks.emplace_back(-hyps_[k].log_w, k);
    const std::size_t kept = std::min(kMost, ranks.size());
    std::partial_sort(ranks.begin(), ranks.begin() + static_cast<std::ptrdiff_t>(kept), ranks.end());
    std::vector<Hypothesis> best;
    best.reserve(kept);
    for (std::size_t k = 0; k < kept; ++k) best.push_back(hyps_[ranks[k].second]);
    hyps_ = std::move(best);
    double sum = 0;
    const double top = hyps_.front().log_w;
    for (const Hypothesis& h : hyps_) sum += std::exp(h.log_w - top);
    for (Hypothesis& h : hyps_) h.log_w -= top + std::log(sum);
  }

  double unit_, slip_sd_;
  Instant at_{};
  std::vector<Hypothesis> hyps_;
};

struct Watch {
  std::optional<Instant> open;
  std::size_t record = 0;  // event at which it opened
  void see(double p, Instant at, std::size_t event) {
    if (!open && p >= kOpen) open = at, record = event;
    if (open && p < kClose) open.reset();
  }
};

double p_low(const std::vector<Normal>& parts) { return mixture_cdf(parts, 1 - kRatioMargin); }
double p_high(const std::vector<Normal>& parts) { return 1 - mixture_cdf(parts, 1 + kRatioMargin); }

using Expected = std::function<double(Instant, Instant)>;

RatioShift shift_of(const Filter& filter, const Watch& watch, const std::vector<Event>& events, bool low, Instant as_of,
                    const Expected& expected, double cm3_per_unit, double units_per_cycle) {
  RatioShift s;
  s.first_seen = *watch.open;
  const double edge = low ? 1 - kRatioMargin : 1 + kRatioMargin;
  std::vector<Normal> ratio, amount;
  struct Start {
    Instant from, to;
    double weight;
  };
  std::vector<Start> starts;
  double sum = 0;
  for (const Hypothesis& h : filter.hypotheses()) {
    const double sd = std::sqrt(h.rr);
    const double z = (edge - h.r) / sd;
    const double w = std::exp(h.log_w) * (low ? normal_cdf(z) : normal_tail(z));
    sum += w;
    if (w < 1e-9) continue;
    const double inside = expected(h.from, h.to), since = expected(h.from, as_of) - 0.5 * inside;
    const double off = std::abs(1 - h.r);
    ratio.push_back({w, h.r, std::max(1e-6, sd)});
    amount.push_back({w, off * since, std::max(1e-6, std::hypot(sd * since, off * inside / std::sqrt(12.0)))});
    starts.push_back({h.from, h.to, w});
  }
  for (Normal& n : ratio) n.weight /= sum;
  for (Normal& n : amount) n.weight /= sum;
  s.ratio = summary(ratio, 0);
  s.amount_cm3 = summary(amount, 0);
  s.equivalent_cycles = units_per_cycle > 0 ? s.amount_cm3.value / units_per_cycle : 0;
  s.amount_cm3 = {s.amount_cm3.value * cm3_per_unit, s.amount_cm3.low * cm3_per_unit, s.amount_cm3.high * cm3_per_unit};
  s.strength = std::min(30.0, std::log(std::max(1e-13, sum) / std::max(1e-13, 1 - sum)));
  const auto start_at = [&](double p) {  // the beginning is as likely anywhere within its stretch
    std::int64_t lo = in_unix_s(as_of), hi = 0;
    for (const Start& x : starts) lo = std::min(lo, in_unix_s(x.from)), hi = std::max(hi, in_unix_s(x.to));
    while (hi - lo > 1) {
      const std::int64_t mid = lo + (hi - lo) / 2;
      double below = 0;
      for (const Start& x : starts) {
        const double a = static_cast<double>(in_unix_s(x.from)), b = static_cast<double>(in_unix_s(x.to));
        const double part = b > a ? (static_cast<double>(mid) - a) / (b - a) : (static_cast<double>(mid) >= a ? 1 : 0);
        below += x.weight * std::clamp(part, 0.0, 1.0);
      }
      (below < p * sum ? lo : hi) = mid;
    }
    return from_unix(hi);
  };
  s.began = {start_at(0.5), start_at(0.05), start_at(0.95)};
  s.evidence.push_back(events[watch.record].record);
  for (std::size_t i = events.size(); i-- > 0 && s.evidence.size() < 40;)
    if (i != watch.record && events[i].at >= s.began.low) s.evidence.push_back(events[i].record);
  return s;
}

/// Cycles that the hours call for while the lubricator is not known to stand.
double called_cycles(const Schedule& schedule, LubricatorId id, Instant a, Instant b) {
  double n = schedule.called_for_cycles(id, a, b);
  for (const Span& s : schedule.standstills(id)) {
    const Instant from = std::max(a, s.from), to = std::min(b, s.to);
    if (to > from) n -= schedule.called_for_cycles(id, from, to);
  }
  return std::max(0.0, n);
}

void balance_cycles(const VesselLog& log, LubricatorId id, const Schedule& schedule, Instant as_of,
                    DeliveryResult& result) {
  std::vector<Event> events;
  double called_all = 0, sum = 0;
  for (const Logged<Cycles>& c : log.cycles) {
    if (c.lubricator != id || c.at > as_of) continue;
    Event e;
    e.at = c.at;
    e.record = c.id;
    if (!events.empty()) {
      const Instant a = events.back().at;
      const auto counted = schedule.counted_cycles(id, a, c.at);
      if (!counted || c.at == a) continue;
      e.expected = called_cycles(schedule, id, a, c.at);
      const double called = schedule.called_for_cm3(id, a, c.at);
      const double relative = called > 0 ? schedule.called_for_sd_cm3(id, a, c.at) / called : 0;
      e.expected_sd = e.expected * std::hypot(std::min(1.0, relative), 0.01);
      sum += *counted;
      called_all += e.expected;
    }
    e.before = Observation{-sum, c.id};
    events.push_back(e);
  }
  if (events.size() < 2 || called_all < 40) return;  // 40 cycles: about ten hours, no more than the readings' own error
  // One hour in a reading is as many cycles as an hour calls for.
  const double days = days_between(events.front().at, events.back().at);
  const double run_h = std::min(24 * days, std::max(1.0, called_all / 4.0));
  const double unit = std::max(1.0, called_all / run_h);
  Filter filter{unit, 40 * unit};
  filter.start(events.front().at);
  Watch low, high;
  for (std::size_t i = 0; i < events.size(); ++i) {
    if (i > 0) filter.run(events[i]);
    filter.read(events[i].before->value);
    const auto parts = filter.ratios();
    if (i > 0) low.see(p_low(parts), events[i].at, i), high.see(p_high(parts), events[i].at, i);
  }
  result.cycle_ratio = summary(filter.ratios(), 0);
  const double called = called_all, cm3 = schedule.called_for_cm3(id, events.front().at, events.back().at);
  const double per_cycle = cm3 / std::max(1.0, schedule.called_for_cycles(id, events.front().at, events.back().at));
  const Expected expected = [&](Instant a, Instant b) { return b > a ? called_cycles(schedule, id, a, b) : 0.0; };
  if (low.open && called > 0)
    result.cycles_low = shift_of(filter, low, events, true, events.back().at, expected, per_cycle, 1);
  if (high.open && called > 0)
    result.cycles_high = shift_of(filter, high, events, false, events.back().at, expected, per_cycle, 1);
}

std::vector<Event> reservoir_events(const VesselLog& log, const Lubricator& lubricator, double full, Instant as_of) {
  bool has_levels = false;
  std::vector<Event> events;
  for (const auto& l : log.levels)
    if (l.lubricator == lubricator.id && l.at <= as_of) {
      has_levels = true;
      Event e;
      e.at = l.at;
      e.record = l.id;
      e.before = Observation{in_pct(l.what.level) / 100 * full, l.id};
      events.push_back(e);
    }
  for (const auto& r : log.refills)
    if (r.lubricator == lubricator.id && r.at <= as_of && (r.what.before || r.what.after)) has_levels = true;
  const Logged<Refill>* last = nullptr;
  for (const auto& r : log.refills) {
    if (r.lubricator != lubricator.id || r.at > as_of) continue;
    Event e;
    e.at = r.at;
    e.record = r.id;
    e.refilled = true;
    if (r.what.before) e.before = Observation{in_pct(*r.what.before) / 100 * full, r.id};
    if (r.what.after) e.after = Observation{in_pct(*r.what.after) / 100 * full, r.id};
    if (r.what.amount && r.what.amount->volume) e.poured = in_cm3(*r.what.amount->volume);
    if (e.poured && *e.poured > 1.5 * full) e.poured.reset();  // it cannot have gone in: the slip is told elsewhere
    if (e.poured && e.before && e.after &&
        std::abs(*e.poured - (e.after->value - e.before->value)) > 0.12 * full + 0.1 * *e.poured)
      e.poured.reset();
    // The same amount a second time within a day and nothing to show for it: written down twice.
    if (last && e.poured && last->what.amount && last->what.amount->volume &&
        r.what.amount->volume == last->what.amount->volume && hours_between(last->at, r.at) < 30 && !e.before &&
        !e.after)
      continue;
    last = &r;
    if (e.poured) e.poured_sd = 0.01 * *e.poured + 5;
    if (!has_levels) e.after = Observation{full, r.id};
    events.push_back(e);
  }
  std::stable_sort(events.begin(), events.end(),
                   [](const Event& a, const Event& b) { return a.at != b.at ? a.at < b.at : a.record < b.record; });
  return events;
}

}  // namespace

DeliveryResult balance_delivery(const VesselLog& log, const Lubricator& lubricator, const Schedule& schedule,
                                Instant as_of) {
  DeliveryResult result;
  result.lubricator = lubricator.id;
  const LubricatorId id = lubricator.id;
  balance_cycles(log, id, schedule, as_of, result);

  const LubricatorSetting* setting = setting_at(lubricator.settings, as_of);
  if (!setting || in_cm3(setting->reservoir) <= 0) return result;
  const double full = in_cm3(setting->reservoir);
  std::vector<Event> events = reservoir_events(log, lubricator, full, as_of);
  if (events.empty()) return result;

  const double unit = full / 100;
  Filter filter{unit, 12 * unit};
  filter.start(events.front().at);
  Watch low, high;
  double expected_all = 0, stretch = 0;
  double poured_since = 0;
  std::optional<double> level_then;
  Instant stretch_from = events.front().at;
  for (std::size_t i = 0; i < events.size(); ++i) {
    Event& e = events[i];
    if (i > 0) {
      const Instant a = events[i - 1].at;
      e.expected = std::max(0.0, schedule.expected_cm3(id, a, e.at));
      const double called = schedule.called_for_cm3(id, a, e.at);
      const bool is_counted = schedule.counted_cycles(id, a, e.at).has_value();
      const double relative = called > 0 ? std::min(1.0, schedule.called_for_sd_cm3(id, a, e.at) / called) : 0.0;
      // Where a moment lies between two hour readings its error enters two stretches with opposite signs; half is kept.
      e.expected_sd = e.expected * (is_counted ? std::min(relative, 0.01) : 0.5 * relative);
      filter.run(e);
      stretch += e.expected;
    }
    const auto close = [&](double level) {
      if (level_then && stretch > 0) {
        expected_all += stretch;
        RatioStep step;
        step.from = stretch_from;
        step.at = e.at;
        step.expected_cm3 = stretch;
        step.used_cm3 = *level_then - level + poured_since;
        const auto parts = filter.ratios();
        step.ratio = summary(parts, 0);
        step.p_low = p_low(parts);
        step.p_high = p_high(parts);
        step.record = e.record;
        low.see(step.p_low, e.at, i);
        high.see(step.p_high, e.at, i);
        const double sd = filter.scale() * unit * std::sqrt(2.0);
        result.stretch_sd = sd / stretch;
        result.steps.push_back(step);
      }
    };
    const auto begin = [&](double level) {
      level_then = level;
      poured_since = 0;
      stretch = 0;
      stretch_from = e.at;
    };
    if (e.before) {
      filter.read(e.before->value);
      close(e.before->value);
      begin(e.before->value);
    }
    if (e.refilled) {
      filter.pour(e.poured, e.poured_sd);
      if (e.poured)
        poured_since += *e.poured;
      else
        level_then.reset();
      if (e.after) {
        filter.read(e.after->value);
        if (!e.before) close(e.after->value);
        begin(e.after->value);
      }
    }
  }
  result.level_sd_pct = filter.scale();

  const Instant last = events.back().at;
  const double since = std::max(0.0, schedule.expected_cm3(id, last, as_of));
  const double since_called = schedule.called_for_cm3(id, last, as_of);
  const double since_sd =
      since_called > 0 ? since * std::min(1.0, schedule.called_for_sd_cm3(id, last, as_of) / since_called) : 0;
  std::vector<Normal> level;
  for (const Hypothesis& h : filter.hypotheses()) {
    const double var = h.vv - 2 * since * h.vr + since * since * h.rr + h.r * h.r * since_sd * since_sd;
    level.push_back(
        {std::exp(h.log_w), (h.v - h.r * since) / unit, std::max(1e-6, std::sqrt(std::max(0.0, var)) / unit)});
  }
  const Estimate pct = summary(level, 0);
  if (pct.high - pct.low < 100)
    result.level_pct = Estimate{std::min(100.0, pct.value), std::min(100.0, pct.low), std::min(100.0, pct.high)};

  // Below this the levels' own error is half of what should have been used: nothing can be said.
  if (expected_all <= 0 || filter.scale() * unit * std::sqrt(2.0) / expected_all > 0.5) return result;
  result.delivery_ratio = summary(filter.ratios(), 0);
  const double cycles = schedule.called_for_cycles(id, events.front().at, as_of);
  const double per_cycle = cycles > 0 ? schedule.called_for_cm3(id, events.front().at, as_of) / cycles : 0;
  const Expected expected = [&](Instant a, Instant b) { return b > a ? schedule.expected_cm3(id, a, b) : 0.0; };
  if (low.open) result.low = shift_of(filter, low, events, true, last, expected, 1, per_cycle);
  if (high.open) result.high = shift_of(filter, high, events, false, last, expected, 1, per_cycle);
  return result;
}

}  // namespace shaftlog
