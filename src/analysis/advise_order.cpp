#include "analysis/advise.hpp"
#include "analysis/distributions.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <map>

namespace shaftlog {
namespace {

constexpr std::size_t kDraws = 400, kBlock = 4;  // weeks that stay together when the past is replayed
constexpr double kZ95 = 1.6448536269514722;

/// Numbers that are the same on every run and machine (splitmix64).
class Draws {
 public:
  explicit Draws(std::uint64_t seed) : state_{seed} {}
  std::uint64_t next() {
    std::uint64_t z = (state_ += 0x9E3779B97F4A7C15ULL);
    z = (z ^ (z >> 30)) * 0xBF58476D1CE4E5B9ULL;
    z = (z ^ (z >> 27)) * 0x94D049BB133111EBULL;
    return z ^ (z >> 31);
  }
  /// Standard normal.
  double normal() { return normal_quantile((static_cast<double>(next() >> 11) + 0.5) * 0x1.0p-53); }

 private:
  std::uint64_t state_;
};

/// One shaft as it will be greased.
struct Greased {
  ShaftId shaft;
  const std::vector<double>* weekly = nullptr;  // [h per day]
  GreaseId by_hand;
  double interval_h = 0, interval_days = 0;  // 0: none
  double run_since_h = 0, days_since = 0;
  double missing_cm3 = 0, missing_sd = 0;
  double capacity = 1e9, log_w = 0, log_sd = 0, scatter_sd = 0, fill_sd = 0;
  bool is_known = false;  // loss and interval
  struct Dose {
    std::size_t lubricator = 0;  // among the drained ones
    double rate = 0;             // called for [cm3/h]
  };
  std::vector<Dose> doses;
  Estimate arrives{1, 1, 1};
};

/// What leaves a reservoir of what the settings call for: all of it is used, whether or not it arrives.
struct Drained {
  LubricatorId id;
  GreaseId grease;
  Estimate leaves;
};

std::vector<Drained> drained_of(const VesselLog& log, const VesselReview& review, Instant as_of) {
  std::vector<Drained> out;
  for (const LubricatorState& l : review.lubricators) {
    const auto row = std::find_if(log.lubricators.begin(), log.lubricators.end(),
                                  [&](const Lubricator& x) { return x.id == l.lubricator; });
    const LubricatorSetting* s = setting_at(row->settings, as_of);
    if (s == nullptr) continue;
    Estimate r = l.delivery_ratio.value_or(Estimate{1, 1 - kZ95 * 0.04, 1 + kZ95 * 0.04});
    if (l.cycle_ratio) r = {r.value * l.cycle_ratio->value, r.low * l.cycle_ratio->low, r.high * l.cycle_ratio->high};
    out.push_back({l.lubricator, s->grease, r});
  }
  return out;
}

double drawn(const Estimate& e, double z) { return std::max(0.0, e.value + (e.high - e.low) / (2 * kZ95) * z); }

std::vector<Greased> greased_of(const VesselLog& log, const VesselReview& review, const std::vector<Drained>& drained,
                                Instant as_of) {
  std::vector<Greased> out;
  for (const ShaftDetail& d : review.shaft_details) {
    const auto shaft =
        std::find_if(log.shafts.begin(), log.shafts.end(), [&](const Shaft& s) { return s.id == d.shaft; });
    const ShaftAdvice a = advise_shaft(log, review, d, as_of);
    Greased g;
    g.shaft = d.shaft;
    g.weekly = &d.hours.weekly_use();
    g.arrives = a.arrives;
    for (const FeedSetting& f : a.feeds) {
      const auto l =
          std::find_if(drained.begin(), drained.end(), [&](const Drained& x) { return x.id == f.lubricator; });
      if (l != drained.end())
        g.doses.push_back({static_cast<std::size_t>(l - drained.begin()), f.dose_cm3 * 60 / f.cycle_min});
    }
    const ShaftSetting* s = setting_at(shaft->settings, as_of);
    if (s != nullptr) {
      g.by_hand = s->grease;
      if (s->interval) g.interval_h = in_h(*s->interval);
      if (s->interval_days) g.interval_days = *s->interval_days;
    }
    if (g.interval_h <= 0 && g.interval_days <= 0) g.interval_h = a.practised_h.value_or(0);
    g.is_known = d.washout.washout_cm3_per_h && d.washout.washout_cm3_per_h->low > 0 &&
                 (g.interval_h > 0 || g.interval_days > 0) && !d.hours.is_empty() && !d.history.intervals.empty();
    if (g.is_known) {
      const Estimate& w = *d.washout.washout_cm3_per_h;
      g.log_w = std::log(w.value);
      g.log_sd = (std::log(w.high) - std::log(w.low)) / (2 * kZ95);
      g.scatter_sd = std::hypot(d.prior.duty_sd, d.prior.season_sd);
      g.fill_sd = d.prior.fill_sd_cm3;
      if (d.history.cavity_cm3) g.capacity = *d.history.cavity_cm3;
      const Instant last = d.history.intervals.back().at;
      g.run_since_h = std::max(0.0, d.hours.run_h(last, std::max(last, as_of)));
      g.days_since = std::max(0.0, days_between(last, as_of));
      if (!d.washout.steps.empty()) {
        g.missing_cm3 = d.washout.steps.back().missing_after_cm3;
        g.missing_sd = d.washout.steps.back().missing_after_sd;
      }
    }
    out.push_back(std::move(g));
  }
  return out;
}

struct Used {
  std::vector<double> by_hand, automatic, all;
};

double quantile(std::vector<double> x, double p) {
  std::sort(x.begin(), x.end());
  return x[std::min(x.size() - 1, static_cast<std::size_t>(p * static_cast<double>(x.size())))];
}

}  // namespace

std::vector<OrderLine> order_grease(const VesselLog& log, const VesselReview& review, Instant as_of, double days) {
  const std::vector<Drained> drained = drained_of(log, review, as_of);
  const std::vector<Greased> shafts = greased_of(log, review, drained, as_of);
  std::size_t past = 0;
  for (const Greased& g : shafts) past = std::max(past, g.weekly->size());
  std::map<GreaseId, Used> used;
  for (const Greased& g : shafts) {
    if (g.is_known) used[g.by_hand];
    for (const Greased::Dose& d : g.doses) used[drained[d.lubricator].grease];
  }
  for (auto& [id, u] : used) {
    u.by_hand.assign(kDraws, 0);
    u.automatic.assign(kDraws, 0);
  }
  for (std::size_t draw = 0; draw < kDraws && past > 0; ++draw) {
    Draws random{0x53484654ULL + draw};
    std::vector<double> leaves, log_w, ratio, rate, missing, run_h, day;
    for (const Drained& d : drained) leaves.push_back(drawn(d.leaves, random.normal()));
    for (const Greased& g : shafts) {
      log_w.push_back(g.log_w + g.log_sd * random.normal());
      ratio.push_back(drawn(g.arrives, random.normal()));
      rate.push_back(std::exp(log_w.back() + g.scatter_sd * random.normal()));
      run_h.push_back(g.run_since_h);
      day.push_back(g.days_since);
      double dose = 0;
      for (const Greased::Dose& d : g.doses) dose += d.rate;
      missing.push_back(std::max(0.0, g.missing_cm3 + g.missing_sd * random.normal()) +
                        (rate.back() - ratio.back() * dose) * g.run_since_h);
    }
    std::size_t week_of_past = 0;
    double left = days;
    for (std::size_t week = 0; left > 0; ++week, left -= 7) {
      // The whole ship replays the same weeks: all its shafts lie still in the same dockings.
      if (week % kBlock == 0) week_of_past = random.next() % past;
      const double span = std::min(7.0, left);
      for (std::size_t i = 0; i < shafts.size(); ++i) {
        const Greased& g = shafts[i];
        const std::size_t back = week_of_past % std::max<std::size_t>(1, g.weekly->size());
        const double run = g.weekly->empty() ? 0 : (*g.weekly)[g.weekly->size() - 1 - back] * span;
        double dose = 0;
        for (const Greased::Dose& d : g.doses) {
          used[drained[d.lubricator].grease].automatic[draw] += leaves[d.lubricator] * d.rate * run;
          dose += d.rate;
        }
        if (!g.is_known) continue;
        missing[i] += (rate[i] - ratio[i] * dose) * run;
        run_h[i] += run;
        day[i] += span;
        const bool is_due =
            (g.interval_h > 0 && run_h[i] >= g.interval_h) || (g.interval_days > 0 && day[i] >= g.interval_days);
        if (!is_due) continue;
        const double start = g.fill_sd * random.normal();
        used[g.by_hand].by_hand[draw] += std::clamp(missing[i] - start, 0.0, g.capacity);
        missing[i] = std::max(0.0, start);
        rate[i] = std::exp(log_w[i] + g.scatter_sd * random.normal());
        run_h[i] = day[i] = 0;
      }
      // Walks on towards today, then begins again with the oldest week.
      week_of_past = week_of_past == 0 ? past - 1 : week_of_past - 1;
    }
  }
  std::vector<OrderLine> out;
  for (auto& [id, u] : used) {
    OrderLine line;
    line.vessel = log.vessel.id;
    line.grease = id;
    if (past > 0) {
      for (std::size_t i = 0; i < kDraws; ++i) u.all.push_back(u.by_hand[i] + u.automatic[i]);
      line.p50_cm3 = quantile(u.all, 0.5);
      line.p90_cm3 = quantile(u.all, 0.9);
      line.by_hand_p50_cm3 = quantile(u.by_hand, 0.5);
      line.automatic_p50_cm3 = quantile(u.automatic, 0.5);
    }
    for (const Grease& g : log.greases)
      if (g.id == id) line.density_g_cm3 = in_g_cm3(g.density);
    out.push_back(std::move(line));
  }
  // A shaft whose manual greasings cannot be foreseen is told with the grease it takes.
  for (const Greased& g : shafts) {
    if (g.is_known || !g.by_hand.is_set()) continue;
    auto line = std::find_if(out.begin(), out.end(), [&](const OrderLine& l) { return l.grease == g.by_hand; });
    if (line == out.end()) {
      OrderLine unknown;
      unknown.vessel = log.vessel.id;
      unknown.grease = g.by_hand;
      out.push_back(std::move(unknown));
      line = out.end() - 1;
      for (const Grease& x : log.greases)
        if (x.id == g.by_hand) line->density_g_cm3 = in_g_cm3(x.density);
    }
    line->left_out.push_back(g.shaft);
  }
  return out;
}

}  // namespace shaftlog
