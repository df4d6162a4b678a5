#include "analysis/dossier_parts.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

namespace shaftlog::dossier {
namespace {

constexpr double kEmptied = 0.95;  // share of the cavity from which a greasing took all it can hold

// Running hours of an interval with more than `limit` missing, the loss even over them.
double below_h(double missing, double w, double run_h, double delivered, double limit) {
  if (run_h <= 0) return 0;
  const double net = w - delivered / run_h;
  if (missing >= limit) return net >= 0 ? run_h : std::min(run_h, (missing - limit) / -net);
  return net <= 0 ? 0.0 : std::max(0.0, run_h - (limit - missing) / net);
}

std::vector<IntervalAccount> account(Work& w, const ShaftDetail& d, const BearingLife& life) {
  std::vector<IntervalAccount> out;
  const auto& all = d.history.intervals;
  const double reserve = life.reserve_pct / 100;
  const double capacity = d.history.cavity_cm3.value_or(0), limit = capacity * (1 - reserve);
  const std::optional<Estimate> usual =
      d.washout.baseline_cm3_per_h ? d.washout.baseline_cm3_per_h : d.washout.washout_cm3_per_h;
  const bool has_steps = d.washout.steps.size() == all.size();
  double missing = d.history.first_is_full ? 0 : 0.4 * capacity;
  for (std::size_t i = 0; i <= all.size(); ++i) {
    IntervalAccount a;
    if (i < all.size()) {
      const GreasingInterval& g = all[i];
      a.record = g.id;
      a.from = g.from;
      a.to = g.at;
      a.run_h = g.run_h;
      a.delivered_cm3 = g.delivered_cm3;
      a.taken_cm3 = g.taken_cm3;
      a.ended = g.ended;
    } else {
      if (all.empty() || life.to <= all.back().at) break;
      a.from = all.back().at;
      a.to = life.to;
      a.run_h = d.hours.is_empty() ? 0 : d.hours.run_h(a.from, a.to);
      a.delivered_cm3 = delivered_cm3(w.at(life.to).digest, w.shaft.id, a.from, a.to);
    }
    a.missing_before_cm3 = missing;
    if (has_steps && i < all.size()) missing = d.washout.steps[i].missing_after_cm3;
    if (a.from < life.from) continue;  // of the bearing before, or across its replacement
    if (a.run_h > 0) {
      const bool is_told = a.taken_cm3 && a.ended &&
                           (*a.ended == Ended::pressure || *a.ended == Ended::limit || *a.ended == Ended::stopped);
      const double taken = is_told ? capacity > 0 ? std::min(*a.taken_cm3, capacity) : *a.taken_cm3 : 0.0;
      const double seen = std::max(0.0, (taken + a.delivered_cm3 - a.missing_before_cm3) / a.run_h);
      a.is_bound = !is_told || *a.ended != Ended::pressure || (capacity > 0 && taken >= kEmptied * capacity) ||
                   (a.delivered_cm3 > 0 && taken <= 0);
      a.least_w = is_told ? seen : 0.0;
      a.usual_w = a.is_bound ? std::max(a.least_w, usual ? usual->value : 0.0) : seen;
      if (!is_told || (a.delivered_cm3 > 0 && taken <= 0)) a.least_w = 0;
      if (capacity > 0) {
        a.least_h = below_h(a.missing_before_cm3, a.least_w, a.run_h, a.delivered_cm3, limit);
        a.usual_h = below_h(a.missing_before_cm3, a.usual_w, a.run_h, a.delivered_cm3, limit);
      }
    }
    out.push_back(a);
  }
  return out;
}

Instant crossing(const FillPoint& a, const FillPoint& b, double reserve, double Estimate::*which) {
  const double ya = a.fill_pct.*which, yb = b.fill_pct.*which;
  const double share = ya == yb ? 0 : std::clamp((ya - reserve) / (ya - yb), 0.0, 1.0);
  return a.at + std::chrono::seconds{static_cast<std::int64_t>(share * static_cast<double>((b.at - a.at).count()))};
}

// The first interval in which the median met the reserve, and when the pessimistic and the optimistic limit did.
std::optional<When> first_below(const std::vector<FillPoint>& points, double reserve) {
  const auto falls = [&](std::size_t i, double Estimate::*which) {
    return !points[i].is_greasing && points[i].fill_pct.*which < reserve;
  };
  for (std::size_t i = 1; i < points.size(); ++i) {
    if (!falls(i, &Estimate::value)) continue;
    std::size_t begin = i;
    while (begin > 0 && !points[begin].is_greasing) --begin;
    std::size_t end = i;
    while (end + 1 < points.size() && !points[end + 1].is_greasing) ++end;
    When w{crossing(points[i - 1], points[i], reserve, &Estimate::value), points[begin].at, points[end].at};
    for (std::size_t k = begin + 1; k <= end; ++k)
      if (falls(k, &Estimate::low)) {
        w.low = crossing(points[k - 1], points[k], reserve, &Estimate::low);
        break;
      }
    for (std::size_t k = begin + 1; k <= end; ++k)
      if (falls(k, &Estimate::high)) {
        w.high = crossing(points[k - 1], points[k], reserve, &Estimate::high);
        break;
      }
    w.low = std::min(w.low, w.estimate);
    w.high = std::max(w.high, w.estimate);
    return w;
  }
  return std::nullopt;
}

void add(std::optional<StarvedHours>& sum, const std::optional<StarvedHours>& part) {
  if (!part) return;
  if (!sum) sum = StarvedHours{};
  sum->least += part->least;
  sum->best += part->best;
  sum->most += part->most;
}

void add_sensitivities(Work& w, const ShaftDetail& d, BearingLife& life) {
  if (!life.starved_h || !life.cavity_cm3 || life.starved_h->most < 1) return;
  const VesselDigest& digest = w.at(life.to).digest;
  const Delivered delivered = [&digest, id = w.shaft.id](Instant a, Instant b) {
    return delivered_cm3(digest, id, a, b);
  };
  const auto with = [&](std::string what, const ShaftHistory& h, double reserve) {
    const WashoutResult washout = fit_washout(h, d.prior);
    const FillResult fill = reconstruct_fill(h, washout, d.prior, d.hours, delivered, reserve, life.to, std::nullopt);
    life.sensitivities.push_back({std::move(what), fill.starved_h});
  };
  for (const double reserve : {life.reserve_pct / 2, std::min(100.0, life.reserve_pct * 1.5)})
    with(fmt::format("reserve {} % instead of {} %", pct_text(reserve), pct_text(life.reserve_pct)), d.history,
         reserve);
  for (const double k : {0.8, 1.2}) {
    ShaftHistory h = d.history;
    *h.cavity_cm3 *= k;
    with(fmt::format("cavity {} cm3 instead of {}", figure_text(*h.cavity_cm3), figure_text(*life.cavity_cm3)), h,
         life.reserve_pct);
  }
  ShaftHistory full = d.history;
  int changed = 0;
  for (GreasingInterval& g : full.intervals) {
    if (g.from < life.from || g.ended != Ended::limit) continue;
    g.ended = Ended::pressure;
    ++changed;
  }
  if (changed > 0)
    with(
        fmt::format("the {} that ended at the limit taken as ended full", count_text(changed, "greasing", "greasings")),
        full, life.reserve_pct);
  for (const double k : {0.9, 1.1}) {
    ShaftHistory h = d.history;
    int counted = 0;
    for (GreasingInterval& g : h.intervals) {
      if (!g.by_strokes || !g.taken_cm3) continue;
      *g.taken_cm3 *= k;
      ++counted;
    }
    if (counted > 0)
      with(fmt::format("a stroke of the gun worth 10 % {} than registered", k < 1 ? "less" : "more"), h,
           life.reserve_pct);
  }
  const WashoutPrior alone;
  const WashoutResult washout = fit_washout(d.history, alone);
  life.sensitivities.push_back(
      {"nothing learnt from other shafts: the program's starting values",
       reconstruct_fill(d.history, washout, alone, d.hours, delivered, life.reserve_pct, life.to, std::nullopt)
           .starved_h});
}

void fill_life(Work& w, BearingLife& life) {
  const ShaftDetail& d = w.detail(life.to);
  life.cavity_cm3 = d.history.cavity_cm3;
  life.reserve_pct = d.reserve_pct;
  life.baseline_cm3_per_h = d.washout.baseline_cm3_per_h;
  life.washout_cm3_per_h = d.washout.washout_cm3_per_h;
  if (!d.hours.is_empty() && d.hours.first() < life.to) {
    const Instant from = std::max(life.from, d.hours.first());
    life.run_h = d.hours.run_h(from, life.to);
    life.assumed_h = d.hours.run_h(std::clamp(d.hours.last(), from, life.to), life.to);
    for (const HoursCurve::Point& p : w.detail(w.in.as_of).hours.points())
      if (p.at >= life.from && p.at <= life.to) life.last_reading = p.at;
  }
  // A new seal begins a new baseline, and the hours below the reserve are counted anew from there.
  std::vector<Instant> ends = life.seals;
  ends.push_back(life.to);
  Instant from = life.from;
  bool is_first = life.is_first;
  for (const Instant end : ends) {
    const ShaftDetail& part = w.detail(end);
    // What was counted at `end` is of this stretch only when a greasing interval of it began after its start.
    const bool has_own = std::any_of(part.history.intervals.begin(), part.history.intervals.end(),
                                     [&](const GreasingInterval& g) { return g.at > from; }) ||
                         is_first;
    if (has_own) add(life.starved_h, part.fill.starved_h);
    if (end == life.to && !life.seals.empty() && has_own) life.since_last_seal = part.fill.starved_h;
    const auto first_greasing = std::find_if(part.fill.points.begin(), part.fill.points.end(), [&](const FillPoint& p) {
      return is_first || (p.at > from && p.is_greasing);
    });
    for (auto p = first_greasing; p != part.fill.points.end() && p->at <= end; ++p) life.fill.push_back(*p);
    from = end;
    is_first = false;
  }
  life.first_below = first_below(life.fill, life.reserve_pct);
  life.intervals = account(w, d, life);
  for (const IntervalAccount& a : life.intervals) {
    life.judged_h += a.run_h;
    if (a.record.is_nil()) life.after_last_h += a.run_h;
    if (!a.record.is_nil()) ++(a.is_bound ? life.censored : life.exact);
  }
  if (life.seals.empty()) add_sensitivities(w, d, life);
}

}  // namespace

void add_lives(Work& w, Dossier& d) {
  Instant first = w.in.as_of;
  for (const auto& r : w.log.hours)
    if (r.shaft == w.shaft.id) first = std::min(first, r.at);
  for (const auto& r : w.log.greasings)
    if (r.shaft == w.shaft.id) first = std::min(first, r.at);
  BearingLife life;
  life.from = first;
  life.is_first = true;
  for (const auto& r : w.log.work) {
    if (r.shaft != w.shaft.id) continue;
    if (r.what.work == WorkKind::seal_replaced && r.at > life.from) life.seals.push_back(r.at);
    if (r.what.work != WorkKind::bearing_replaced || r.at <= life.from) continue;
    // A seal put in with the bearing is no second baseline.
    while (!life.seals.empty() && life.seals.back() > r.at - std::chrono::days{7}) life.seals.pop_back();
    life.to = r.at;
    life.ended_with = r.id;
    d.lives.push_back(life);
    life = BearingLife{};
    life.from = r.at;
    life.began_with = r.id;
  }
  std::erase_if(life.seals, [&](Instant t) { return life.began_with && t < life.from + std::chrono::days{7}; });
  life.to = w.in.as_of;
  life.is_standing = true;
  d.lives.push_back(life);
  d.focus = d.lives.size() == 1 ? 0 : d.lives.size() - 2;
  for (BearingLife& l : d.lives) fill_life(w, l);
}

}  // namespace shaftlog::dossier
