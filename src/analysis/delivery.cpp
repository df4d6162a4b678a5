#include "analysis/delivery.hpp"

#include "analysis/distributions.hpp"
#include "analysis/face_value.hpp"
#include "analysis/ratio_filter.hpp"
#include "analysis/wide.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <functional>
#include <utility>

namespace shaftlog {
namespace {

constexpr double kOpen = 0.95, kClose = 0.30;
constexpr auto kSameMatter = std::chrono::days{60};  // a departure that shows again so soon is the one before
constexpr double kStepFaint = 3e-4;                  // weight below which an account moves no curve of a chart
constexpr double kOwnSd = 0.006;                     // of a stretch's use: doses are not equal all the time

constexpr double kVeryLikely = 0.8;
constexpr double kUnseenDeparture = 0.15;
constexpr double kLeastCycles = 40;  // about ten hours: no more than the readings' own error
constexpr double kLeastUnits = 1.5;  // per cent of the reservoir
constexpr double kOwnCyclesSd = 0.002;

double square(double x) { return x * x; }

/// Opens when the evidence suffices, closes well below that, and knows a departure again that dipped for a while.
struct Watch {
  std::optional<Instant> open;
  std::size_t record = 0;  // event at which it opened
  int number = 0;
  void see(double p, Instant at, std::size_t event) {
    if (!open && p >= kOpen) {
      if (closed_ && at - *closed_ <= kSameMatter) {
        open = opened_;
      } else {
        open = opened_ = at, record = event;
        ++number;
      }
    }
    if (open && p < kClose) closed_ = at, open.reset();
  }

 private:
  Instant opened_{};
  std::optional<Instant> closed_;
};

double p_low(const std::vector<Normal>& parts) { return mixture_cdf(parts, 1 - kRatioMargin); }
double p_high(const std::vector<Normal>& parts) { return 1 - mixture_cdf(parts, 1 + kRatioMargin); }

using Expected = std::function<double(Instant, Instant)>;

/// A filter and what is watched on it.
struct Balance {
  RatioFilter filter;
  Expected expected;
  double least = 0;  ///< missing or in excess below which nothing is opened, however sure
  Watch low, high;
  void see(const std::vector<Normal>& parts, Instant at, std::size_t event) {
    look(low, evidence(parts, Regime::low), Regime::low, at, event);
    look(high, evidence(parts, Regime::high), Regime::high, at, event);
    // The account to weigh a departure against is the best without one before it was seen.
    if (!low.open && !high.open) filter.hold_witness();
  }
  void look(Watch& watch, double p, Regime side, Instant at, std::size_t event) const {
    if (p >= kOpen && !watch.open && amount(side, at) < least) p = 0.5;
    watch.see(p, at, event);
  }
  /// Missing or in excess by the likeliest account of a departure to this side.
  [[nodiscard]] double amount(Regime side, Instant at) const {
    const Hypothesis* best = nullptr;
    for (const Hypothesis& h : filter.hypotheses())
      if (h.regime == side && (best == nullptr || h.log_w > best->log_w)) best = &h;
    if (best == nullptr) return 0;
    return std::abs(1 - best->r) * (expected(best->from, at) - 0.5 * expected(best->from, best->to));
  }
  /// Probability of being beyond the margin; an account in which the ratio departed and very likely beyond it counts
  /// whole: how far beyond is not asked.
  [[nodiscard]] double evidence(const std::vector<Normal>& parts, Regime side) const {
    double sum = 0;
    std::size_t k = 0;
    for (const Hypothesis& h : filter.hypotheses()) {
      const Normal& n = parts[k++];
      const double z = side == Regime::low ? 1 - kRatioMargin - n.mean : n.mean - 1 - kRatioMargin;
      const double beyond = wide::normal_cdf(z / n.sd);
      sum += n.weight * (h.regime == side && beyond >= kVeryLikely ? 1.0 : beyond);
    }
    return sum;
  }
  /// The present ratio. Departures are looked for more often than they happen, so that they are found in time; one that
  /// is not seen yet counts here with the chance that it really has.
  [[nodiscard]] std::vector<Normal> ratios() const {
    std::vector<Normal> parts = filter.ratios();
    std::size_t k = 0;
    for (const Hypothesis& h : filter.hypotheses()) {
      const bool is_seen = h.regime == Regime::healthy || (h.regime == Regime::low ? low.open : high.open).has_value();
      parts[k++].weight *= is_seen ? 1.0 : kUnseenDeparture;
    }
    return parts;
  }
};

/// Odds that normal errors make larger than anybody should believe grow with their logarithm only: in order, no ties.
double bounded(double ln_odds) {
  constexpr double kPlain = 50;
  return ln_odds <= kPlain ? ln_odds : kPlain * (1 + std::log(ln_odds / kPlain));
}

RatioShift shift_of(const RatioFilter& filter, const Watch& watch, const std::vector<BalanceEvent>& events, bool low,
                    Instant as_of, const Expected& expected, double cm3_per_unit, double units_per_cycle) {
  RatioShift s;
  s.first_seen = *watch.open;
  s.number = watch.number;
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
    if (w < 1e-7) continue;
    const double inside = expected(h.from, h.to), since = expected(h.from, as_of) - 0.5 * inside;
    const double off = std::abs(1 - h.r);
    ratio.push_back({w, h.r, std::max(1e-6, sd)});
    amount.push_back({w, off * since, std::max(1e-6, std::hypot(sd * since, off * inside / std::sqrt(12.0)))});
    starts.push_back({h.from, h.to, w});
  }
  s.ratio = mixture_summary(std::move(ratio), 0);
  s.amount_cm3 = mixture_summary(std::move(amount), 0);
  s.equivalent_cycles = units_per_cycle > 0 ? s.amount_cm3.value / units_per_cycle : 0;
  s.amount_cm3 = {s.amount_cm3.value * cm3_per_unit, s.amount_cm3.low * cm3_per_unit, s.amount_cm3.high * cm3_per_unit};
  s.strength = bounded(filter.log_odds_of(low ? Regime::low : Regime::high)
                           .value_or(std::log(std::max(1e-13, sum) / std::max(1e-13, 1 - sum))));
  double all = 0;
  for (const Start& x : starts) all += x.weight;
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
      (below < p * all ? lo : hi) = mid;
    }
    return from_unix(hi);
  };
  s.began = {start_at(0.5), start_at(0.05), start_at(0.95)};
  s.evidence.push_back(events[watch.record].record);
  for (std::size_t i = events.size(); i-- > 0 && s.evidence.size() < 40;)
    if (i != watch.record && events[i].at >= s.began.low) s.evidence.push_back(events[i].record);
  return s;
}

constexpr double kLeadUnsure = 0.4;      ///< how far the ratio may be off to either side, as a part of lead_of_the_day
constexpr double kCountUnsure = 0.0006;  ///< of a ratio of counts: hours and cycles are read to whole ones

/// Cycles that the hours call for while the lubricator is not known to stand.
double called_cycles(const Schedule& schedule, LubricatorId id, Instant a, Instant b) {
  double n = schedule.called_for_cycles(id, a, b);
  for (const Span& s : schedule.standstills(id)) {
    const Instant from = std::max(a, s.from), to = std::min(b, s.to);
    if (to > from) n -= schedule.called_for_cycles(id, from, to);
  }
  return std::max(0.0, n);
}

/// Moments between the same two readings of the hours are in doubt together; taken one by one each says less.
/// \param read moments of those readings, rising
void share_doubt(std::vector<BalanceEvent>& events, const std::vector<Instant>& read) {
  for (std::size_t i = 0; i < events.size();) {
    const auto next = std::upper_bound(read.begin(), read.end(), events[i].at);
    const bool is_last = next == read.end();
    std::size_t end = i, unsure = 0;
    for (; end < events.size() && (is_last || events[end].at < *next); ++end) unsure += events[end].moment_sd > 0;
    const double others = unsure > 1 ? static_cast<double>(unsure - 1) : 0.0;
    const double more = std::sqrt(1 + (is_last ? 1.0 : 0.5) * others);
    for (; i < end; ++i) events[i].moment_sd *= more;
  }
}

/// How much more cycles the shaft that runs most calls for day by day than between two readings, as a part of them: the
/// readings show only how the lead changes from one to the next; day by day it changes more by the root of their
/// number.
double lead_of_the_day(const std::vector<BalanceEvent>& events, const Schedule& schedule, LubricatorId id,
                       Instant as_of) {
  const std::vector<ShaftId> fed = schedule.shafts_fed(id, as_of);
  if (fed.size() < 2) return 0;
  std::vector<double> sums(fed.size(), 0.0);
  double most = 0;
  for (std::size_t i = 1; i < events.size(); ++i) {
    double best = 0;
    for (std::size_t k = 0; k < fed.size(); ++k) {
      const double n = schedule.called_for_cycles(id, fed[k], events[i - 1].at, events[i].at);
      sums[k] += n;
      best = std::max(best, n);
    }
    most += best;
  }
  const double longest = *std::max_element(sums.begin(), sums.end());
  const double days = days_between(events.front().at, events.back().at) / static_cast<double>(events.size() - 1);
  if (longest <= 0) return 0;
  return std::clamp((most / longest - 1) * (std::sqrt(std::max(1.0, days)) - 1), 0.0, 0.05);
}

void balance_cycles(const VesselLog& log, LubricatorId id, const Schedule& schedule, Instant as_of,
                    DeliveryResult& result) {
  std::vector<BalanceEvent> events;
  double called_all = 0, sum = 0;
  for (const Logged<Cycles>& c : log.cycles) {
    if (c.lubricator != id || c.at > as_of) continue;
    BalanceEvent e;
    e.at = c.at;
    e.record = c.id;
    e.moment_sd = schedule.called_for_moment_sd_cycles(id, c.at);
    if (!events.empty()) {
      const Instant a = events.back().at;
      if (c.at == a) continue;
      e.expected = called_cycles(schedule, id, a, c.at);
      const double called_cm3 = schedule.called_for_cm3(id, a, c.at);
      const double per_cm3 = called_cm3 > 0 ? schedule.called_for_cycles(id, a, c.at) / called_cm3 : 0;
      e.expected_sd = std::hypot(e.expected * std::hypot(schedule.estimated_part_sd(id, a, c.at), kOwnCyclesSd),
                                 schedule.standstill_edge_sd(id, a, c.at, per_cm3));
      const auto counted = schedule.counted_cycles(id, a, c.at);
      const std::vector<Span>& stands = schedule.standstills(id);
      const bool is_known_to_stand =
          std::any_of(stands.begin(), stands.end(), [&](const Span& x) { return x.from <= a && c.at <= x.to; });
      if (is_known_to_stand && counted && *counted <= 0) continue;  // nothing was asked of it
      // Counted while it is written to have stood: that tells how it was written, not how it cycles.
      const bool stood = e.expected < 0.5 * schedule.called_for_cycles(id, a, c.at);
      if (counted && !(stood && *counted > e.expected + kLeastCycles)) {
        sum += *counted;
        called_all += e.expected;
      } else {
        e.refilled = true;  // the count starts again: what was made in between is not known
      }
    }
    e.before = -sum;
    events.push_back(e);
  }
  if (events.size() < 2 || called_all < kLeastCycles) return;
  share_doubt(events, schedule.hour_readings(id));
  // One hour in a reading is as many cycles as an hour calls for.
  const double days = days_between(events.front().at, events.back().at);
  const double run_h = std::min(24 * days, std::max(1.0, called_all / 4.0));
  const double unit = std::max(1.0, called_all / run_h);
  const Expected expected = [&](Instant a, Instant b) { return b > a ? called_cycles(schedule, id, a, b) : 0.0; };
  Balance balance{RatioFilter{unit, 40 * unit, Jumps{}, {}}, expected, kLeastCycles, {}, {}};
  RatioFilter& filter = balance.filter;
  filter.start(events.front().at);
  for (std::size_t i = 0; i < events.size(); ++i) {
    if (i > 0) filter.run(events[i]);
    if (events[i].refilled) filter.pour(std::nullopt, 0);
    filter.read(*events[i].before, 0, events[i].moment_sd, false);
    if (i > 0) balance.see(filter.ratios(), events[i].at, i);
  }
  result.cycle_ratio = mixture_summary(balance.ratios(), 0);
  const double lead = lead_of_the_day(events, schedule, id, as_of);
  // Which shaft led on a day the readings do not tell; tuned on simulated ships.
  const double unsure = 1 + kLeadUnsure * lead + kCountUnsure;
  result.cycle_ratio->low /= unsure;
  result.cycle_ratio->high *= unsure;
  const double cm3 = schedule.called_for_cm3(id, events.front().at, events.back().at);
  const double per_cycle = cm3 / std::max(1.0, schedule.called_for_cycles(id, events.front().at, events.back().at));
  const Instant last = events.back().at;
  if (balance.low.open) result.cycles_low = shift_of(filter, balance.low, events, true, last, expected, per_cycle, 1);
  if (balance.high.open)
    result.cycles_high = shift_of(filter, balance.high, events, false, last, expected, per_cycle, 1);
}

/// Step to which levels are noted, as far as the readings up to now tell [% of full]: 10, 5 or 0 (finer).
class Rounding {
 public:
  double step_pct(Level level) {
    const auto base = level.base();  // 0.01 %
    ++seen_;
    is_five_ = is_five_ && base % 500 == 0;
    is_ten_ = is_ten_ && base % 1000 == 0;
    if (seen_ < 4) return 0;
    return is_ten_ ? 10 : is_five_ ? 5 : 0;
  }

 private:
  int seen_ = 0;
  bool is_five_ = true, is_ten_ = true;
};

double reservoir_at(const Lubricator& lubricator, Instant t) {
  const LubricatorSetting* s = setting_at(lubricator.settings, t);
  if (s == nullptr && !lubricator.settings.empty()) s = &lubricator.settings.front();
  return s != nullptr ? in_cm3(s->reservoir) : 0;
}

std::vector<BalanceEvent> reservoir_events(const VesselLog& log, const Lubricator& lubricator, Instant as_of) {
  bool has_levels = false;
  std::vector<BalanceEvent> events;
  struct Coarse {
    Instant at;
    Level level;
  };
  std::vector<Coarse> coarse;
  for (const auto& l : log.levels)
    if (l.lubricator == lubricator.id && l.at <= as_of) {
      has_levels = true;
      BalanceEvent e;
      e.at = l.at;
      e.record = l.id;
      e.before = in_pct(l.what.level) / 100 * reservoir_at(lubricator, l.at);
      coarse.push_back({l.at, l.what.level});
      events.push_back(e);
    }
  for (const auto& r : log.refills)
    if (r.lubricator == lubricator.id && r.at <= as_of && (r.what.before || r.what.after)) has_levels = true;
  const Logged<Refill>* last = nullptr;
  for (const auto& r : log.refills) {
    if (r.lubricator != lubricator.id || r.at > as_of) continue;
    const double full = reservoir_at(lubricator, r.at);
    BalanceEvent e;
    e.at = r.at;
    e.record = r.id;
    e.refilled = true;
    if (r.what.before) e.before = in_pct(*r.what.before) / 100 * full, coarse.push_back({r.at, *r.what.before});
    if (r.what.after) e.after = in_pct(*r.what.after) / 100 * full, coarse.push_back({r.at, *r.what.after});
    if (r.what.amount && r.what.amount->volume) e.poured = in_cm3(*r.what.amount->volume);
    if (e.poured && *e.poured > 1.5 * full) e.poured.reset();  // it cannot have gone in: the slip is told elsewhere
    if (e.poured && e.before && e.after && std::abs(*e.poured - (*e.after - *e.before)) > 0.12 * full + 0.1 * *e.poured)
      e.poured.reset();
    // The same amount a second time within a day and nothing to show for it: written down twice.
    if (last && e.poured && last->what.amount && last->what.amount->volume &&
        r.what.amount->volume == last->what.amount->volume && hours_between(last->at, r.at) < 30 && !e.before &&
        !e.after)
      continue;
    last = &r;
    if (e.poured) e.poured_sd = std::hypot(0.02 * *e.poured, 5);
    if (!has_levels) e.after = full;
    events.push_back(e);
  }
  std::stable_sort(events.begin(), events.end(), [](const BalanceEvent& a, const BalanceEvent& b) {
    return a.at != b.at ? a.at < b.at : a.record < b.record;
  });
  std::stable_sort(coarse.begin(), coarse.end(), [](const Coarse& a, const Coarse& b) { return a.at < b.at; });
  Rounding rounding;
  std::size_t next = 0;
  double step = 0;
  for (BalanceEvent& e : events) {
    for (; next < coarse.size() && coarse[next].at <= e.at; ++next) step = rounding.step_pct(coarse[next].level);
    e.rounding_sd = step / 100 * reservoir_at(lubricator, e.at) / std::sqrt(12.0);
  }
  return events;
}

/// What each stretch should have used, and how sure that is.
void expect(std::vector<BalanceEvent>& events, LubricatorId id, const Schedule& schedule) {
  for (std::size_t i = 0; i < events.size(); ++i) {
    BalanceEvent& e = events[i];
    e.moment_sd = schedule.expected_moment_sd_cm3(id, e.at);
    if (i == 0) continue;
    const Instant a = events[i - 1].at;
    e.expected = std::max(0.0, schedule.expected_cm3(id, a, e.at));
    const bool is_counted = schedule.counted_cycles(id, a, e.at).has_value();
    e.expected_sd = e.expected * kOwnSd;
    if (!is_counted)
      e.expected_sd = std::hypot(e.expected_sd, e.expected * schedule.estimated_part_sd(id, a, e.at),
                                 schedule.standstill_edge_sd(id, a, e.at, 1));
  }
  share_doubt(events, schedule.hour_readings(id));
}

/// What was used and called for between two levels, as the events come.
class Tally {
 public:
  explicit Tally(Instant first) : from_{first} {}
  void run(double expected_cm3) { expected_ += expected_cm3; }
  void pour(std::optional<double> cm3) {
    if (cm3)
      poured_ += *cm3;
    else
      lose();
  }
  /// The level is not known any more: another reservoir, or grease poured that nobody measured.
  void lose() { knows_level_ = false; }
  /// The stretch that ends with this level; empty: it has no beginning, or nothing was called for.
  [[nodiscard]] std::optional<RatioStep> end(double level, const BalanceEvent& e) const {
    if (!knows_level_ || expected_ <= 0) return std::nullopt;
    RatioStep step;
    step.from = from_;
    step.at = e.at;
    step.expected_cm3 = expected_;
    step.used_cm3 = level_ - level + poured_;
    step.record = e.record;
    return step;
  }
  void begin(double level, Instant at) {
    knows_level_ = true;
    level_ = level;
    from_ = at;
    expected_ = poured_ = 0;
  }

 private:
  Instant from_;
  bool knows_level_ = false;
  double level_ = 0, expected_ = 0, poured_ = 0;
};

bool is_remedy(WorkKind w) {
  return w == WorkKind::metering_replaced || w == WorkKind::setting_corrected || w == WorkKind::line_repaired ||
         w == WorkKind::pump_repaired || w == WorkKind::bled || w == WorkKind::controller_changed ||
         w == WorkKind::lubricator_on;
}

/// What does not cycle goes on not cycling until a record tells otherwise: else a cavity would fill itself again as
/// soon as nobody reads the counter. \param last_level of the reservoir: levels tell of the cycles, too
void carry_on(const VesselLog& log, LubricatorId id, const Schedule& schedule, Instant last_level, double level_sd_cm3,
              DeliveryResult& result) {
  constexpr double kTells = 4;  // times the error of a level: so much use would show
  result.cycles_since.reset();
  const std::optional<Instant> count = schedule.last_count(id);
  if (!result.cycles_low || !count) return;
  const bool is_remedied = std::any_of(log.work.begin(), log.work.end(), [&](const Logged<Work>& w) {
    return w.lubricator == id && w.at > *count && is_remedy(w.what.work);
  });
  if (is_remedied || schedule.expected_cm3(id, *count, last_level) > kTells * level_sd_cm3) return;
  result.cycles_since = std::clamp(result.cycles_low->ratio.value, 0.0, 1.0);
  result.last_count = *count;
}

/// Jumps of a reservoir's content, with `unit` one per cent of full.
Jumps jumps_of_reservoir(double unit) { return {0.3, 5 * unit, 0.6, 52 * unit, 15 * unit, 0.03, 6 * unit}; }

}  // namespace

DeliveryResult balance_delivery(const VesselLog& log, const Lubricator& lubricator, const Schedule& schedule,
                                Instant as_of, bool with_ratios) {
  DeliveryResult result;
  result.lubricator = lubricator.id;
  const LubricatorId id = lubricator.id;
  balance_cycles(log, id, schedule, as_of, result);

  const LubricatorSetting* setting = setting_at(lubricator.settings, as_of);
  carry_on(log, id, schedule, kEarliest, 0, result);  // as long as no reservoir tells anything
  if (!setting || in_cm3(setting->reservoir) <= 0) return result;
  const double full = in_cm3(setting->reservoir);
  std::vector<BalanceEvent> events = reservoir_events(log, lubricator, as_of);
  if (events.empty()) return result;
  expect(events, id, schedule);

  const double unit = full / 100;
  std::vector<double> shares;
  for (const ShaftId shaft : schedule.shafts_fed(id, as_of))
    shares.push_back(schedule.share(id, shaft, events.front().at, events.back().at));
  const Expected expected = [&](Instant a, Instant b) { return b > a ? schedule.expected_cm3(id, a, b) : 0.0; };
  Balance balance{RatioFilter{unit, 12 * unit, jumps_of_reservoir(unit), shares}, expected, kLeastUnits * unit, {}, {}};
  RatioFilter& filter = balance.filter;
  filter.start(events.front().at);
  double expected_all = 0;
  Tally tally{events.front().at};
  for (std::size_t i = 0; i < events.size(); ++i) {
    BalanceEvent& e = events[i];
    if (i > 0) {
      filter.run(e);
      tally.run(e.expected);
      if (reservoir_at(lubricator, events[i - 1].at) != reservoir_at(lubricator, e.at)) {
        filter.pour(std::nullopt, 0);  // another reservoir
        tally.lose();
      }
    }
    const auto close = [&](double level) {
      std::optional<RatioStep> step = tally.end(level, e);
      if (!step) return;
      expected_all += step->expected_cm3;
      const auto parts = filter.ratios();
      balance.see(parts, e.at, i);
      if (with_ratios) {
        step->p_low = p_low(parts);
        step->p_high = p_high(parts);
        step->ratio = mixture_summary(balance.ratios(), 0, kStepFaint);
      }
      const double sd = filter.scale() * unit * std::sqrt(2.0);
      result.stretch_sd = sd / step->expected_cm3;
      result.steps.push_back(*step);
    };
    // Two readings of one moment share its doubt: each is given twice its variance, so that their mean has it once.
    const bool is_double = e.before && e.after && e.poured;
    const double moment_sd = e.moment_sd * (is_double ? std::sqrt(2.0) : 1.0);
    const double coarse = square(e.rounding_sd);
    if (e.before) {
      filter.read(*e.before, coarse, moment_sd, false);
      close(*e.before);
      tally.begin(*e.before, e.at);
    }
    if (e.refilled) {
      filter.pour(e.poured, e.poured_sd);
      tally.pour(e.poured);
      if (e.after) {
        filter.read(*e.after, coarse, moment_sd, e.poured.has_value());
        if (!e.before) close(*e.after);
        tally.begin(*e.after, e.at);
      }
    }
  }
  result.level_sd_pct = filter.scale();

  const Instant last = events.back().at;
  carry_on(log, id, schedule, last, filter.scale() * unit * std::sqrt(2.0), result);
  const double since = std::max(0.0, doses_cm3(schedule, result, {}, last, as_of));
  const double since_sd = std::hypot(schedule.expected_moment_sd_cm3(id, as_of) * result.cycles_since.value_or(1),
                                     schedule.expected_moment_sd_cm3(id, last));
  std::vector<Normal> level;
  result.level_read = last;
  for (const Hypothesis& h : filter.hypotheses()) {
    result.level_then_pct += std::exp(h.log_w) * h.v / unit;
    const double var = h.vv - 2 * since * h.vr + since * since * h.rr + h.r * h.r * since_sd * since_sd;
    level.push_back(
        {std::exp(h.log_w), (h.v - h.r * since) / unit, std::max(1e-6, std::sqrt(std::max(0.0, var)) / unit)});
  }
  const Estimate pct = mixture_summary(level, 0);
  if (pct.high - pct.low < 100)
    result.level_pct = Estimate{std::min(100.0, pct.value), std::min(100.0, pct.low), std::min(100.0, pct.high)};

  // Below this the levels' own error is half of what should have been used: nothing can be said.
  if (expected_all <= 0 || filter.scale() * unit * std::sqrt(2.0) / expected_all > 0.5) return result;
  result.delivery_ratio = mixture_summary(balance.ratios(), 0);
  const double cycles = schedule.called_for_cycles(id, events.front().at, as_of);
  const double per_cycle = cycles > 0 ? schedule.called_for_cm3(id, events.front().at, as_of) / cycles : 0;
  if (balance.low.open) result.low = shift_of(filter, balance.low, events, true, last, expected, 1, per_cycle);
  if (balance.high.open) result.high = shift_of(filter, balance.high, events, false, last, expected, 1, per_cycle);
  return result;
}

double doses_cm3(const Schedule& schedule, const DeliveryResult& delivery, ShaftId shaft, Instant a, Instant b) {
  const auto all = [&](Instant from) {
    return shaft.is_set() ? schedule.expected_cm3(delivery.lubricator, shaft, from, b)
                          : schedule.expected_cm3(delivery.lubricator, from, b);
  };
  if (b <= a) return 0;
  if (!delivery.cycles_since || b <= delivery.last_count) return all(a);
  return all(a) - (1 - *delivery.cycles_since) * all(std::max(a, delivery.last_count));
}

namespace {

/// Stretches between two levels, with what was called for in each by `expected`; those in which nothing was are left
/// out.
std::vector<RatioStep> stretches_of(const Lubricator& lubricator, const std::vector<BalanceEvent>& events,
                                    const Expected& expected) {
  std::vector<RatioStep> out;
  if (events.empty()) return out;
  Tally tally{events.front().at};
  const auto close = [&](double level, const BalanceEvent& e) {
    if (const std::optional<RatioStep> step = tally.end(level, e)) out.push_back(*step);
    tally.begin(level, e.at);
  };
  for (std::size_t i = 0; i < events.size(); ++i) {
    const BalanceEvent& e = events[i];
    if (i > 0) {
      const Instant before = events[i - 1].at;
      tally.run(std::max(0.0, expected(before, e.at)));
      if (reservoir_at(lubricator, before) != reservoir_at(lubricator, e.at)) tally.lose();
    }
    if (e.before) close(*e.before, e);
    if (!e.refilled) continue;
    tally.pour(e.poured);
    if (!e.after) continue;
    if (e.before)
      tally.begin(*e.after, e.at);
    else
      close(*e.after, e);
  }
  return out;
}

bool has_reservoir(const Lubricator& lubricator, Instant as_of) {
  const LubricatorSetting* setting = setting_at(lubricator.settings, as_of);
  return setting != nullptr && in_cm3(setting->reservoir) > 0;
}

}  // namespace

std::vector<RatioStep> list_stretches(const VesselLog& log, const Lubricator& lubricator, const Schedule& schedule,
                                      Instant as_of) {
  if (!has_reservoir(lubricator, as_of)) return {};
  return stretches_of(lubricator, reservoir_events(log, lubricator, as_of),
                      [&](Instant a, Instant b) { return schedule.expected_cm3(lubricator.id, a, b); });
}

UseByHours use_by_hours(const VesselLog& log, const Lubricator& lubricator, const Schedule& schedule, Instant since,
                        Instant as_of) {
  constexpr double kLevelSd = 0.01;   // of full: a level as it is read
  constexpr double kPouredSd = 0.02;  // of what is poured and measured
  UseByHours out;
  if (!has_reservoir(lubricator, as_of)) return out;
  const std::vector<BalanceEvent> events = reservoir_events(log, lubricator, as_of);
  double level_var = 0, poured_var = 0;  // of the worst level; of all that was poured
  for (const BalanceEvent& e : events) {
    if (e.at < since) continue;
    level_var = std::max(level_var, square(kLevelSd * reservoir_at(lubricator, e.at)) + square(e.rounding_sd));
    if (e.poured) poured_var += square(kPouredSd * *e.poured);
  }
  std::optional<Instant> first, last;
  int chains = 0;  // levels between telescope
  for (const RatioStep& s : stretches_of(
           lubricator, events, [&](Instant a, Instant b) { return schedule.called_for_cm3(lubricator.id, a, b); })) {
    if (s.from < since) continue;
    if (!last || s.from != *last) ++chains;
    if (!first) first = s.from;
    last = s.at;
    out.used_cm3 += s.used_cm3;
    out.called_for_cm3 += s.expected_cm3;
  }
  if (!first) return out;
  out.sd_cm3 = std::hypot(std::sqrt(2 * chains * level_var + poured_var),
                          schedule.called_for_moment_sd_cm3(lubricator.id, *first),
                          schedule.called_for_moment_sd_cm3(lubricator.id, *last));
  return out;
}

std::optional<SetGoing> set_going_of(const VesselLog& log, const Lubricator& lubricator, const Schedule& schedule,
                                     Instant as_of) {
  constexpr double kMost = 0.8;
  constexpr int kParts = 8;  // of the time since, from which it may go
  const std::vector<OffSpan> spans = off_spans(log, lubricator.id, as_of);
  if (spans.empty() || !spans.back().is_open) return std::nullopt;
  const OffSpan& off = spans.back();
  for (int k = 0; k < kParts; ++k) {
    const Instant from = off.from + (as_of - off.from) * k / kParts;
    SetGoing going{off.from, off.record, from, false, false};
    std::optional<Instant> first, last;
    for (const Logged<Cycles>& c : log.cycles) {
      if (c.lubricator != lubricator.id || c.at < from || c.at > as_of) continue;
      if (!first) first = c.at;
      last = c.at;
    }
    if (first && *last > *first) {
      const double called = schedule.called_for_cycles(lubricator.id, *first, *last);
      const std::optional<double> counted = schedule.counted_cycles(lubricator.id, *first, *last);
      going.by_counter = counted && called > kLeastCycles && *counted > kMost * called;
    }
    const UseByHours use = use_by_hours(log, lubricator, schedule, from, as_of);
    going.by_level = use.is_known() && use.used_cm3 > kMost * use.called_for_cm3;
    if (going.by_counter || going.by_level) return going;
  }
  return std::nullopt;
}

bool contradicts_counter(const VesselLog& log, const Lubricator& lubricator, const Schedule& schedule,
                         const DeliveryResult& result, Instant as_of) {
  if (!result.cycles_low) return false;
  const UseByHours use = use_by_hours(log, lubricator, schedule, result.cycles_low->began.estimate, as_of);
  if (!use.is_known()) return false;
  const double ratio = use.used_cm3 / use.called_for_cm3, sd = use.sd_cm3 / use.called_for_cm3;
  // Far nearer to what the hours call for than to what was counted.
  return std::abs(ratio - 1) < kRatioMargin + 2 * sd && ratio - 2 * sd > (1 + result.cycles_low->ratio.value) / 2;
}

}  // namespace shaftlog
