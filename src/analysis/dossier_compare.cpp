#include "analysis/dossier_parts.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

namespace shaftlog::dossier {
namespace {

// What waited for a new bearing did not wait for grease.
bool is_replaced_between(Work& w, Instant from, Instant to) {
  return std::any_of(w.log.work.begin(), w.log.work.end(), [&](const auto& r) {
    return r.shaft == w.shaft.id && r.what.work == WorkKind::bearing_replaced && r.at > from && r.at <= to;
  });
}

Phase phase_of(Work& w, std::string name, Instant from, Instant to) {
  Phase p;
  p.name = std::move(name);
  p.from = from;
  p.to = to;
  const ShaftDetail& d = w.detail(w.in.as_of);
  if (!d.hours.is_empty() && to > d.hours.first()) {
    const Instant a = std::max(from, d.hours.first());
    const Instant read = std::clamp(d.hours.last(), a, to);
    p.run_h = d.hours.run_h(a, to);
    p.assumed_h = d.hours.run_h(read, to);
    const double days = days_between(a, read);
    if (days > 0) p.use_h_per_day = d.hours.run_h(a, read) / days;
  }
  const std::vector<Occasion> done = occasions(w.log, w.shaft.id, kEarliest, w.in.as_of);
  std::vector<double> days, hours;
  for (std::size_t i = 0; i < done.size(); ++i) {
    if (done[i].at >= from && done[i].at < to) {
      const bool is_packing = done[i].ended == Ended::packed;
      ++(is_packing ? p.packings : p.greasings);
      (is_packing ? p.packed_cm3 : p.taken_cm3) += done[i].taken_cm3;
      p.records += is_packing ? 0 : static_cast<int>(done[i].records.size());
      p.with_pressure += done[i].ended == Ended::pressure ? 1 : 0;
    }
    // An interval belongs to the phase in which most of it lies.
    if (i + 1 == done.size()) continue;
    const Instant middle = done[i].at + (done[i + 1].at - done[i].at) / 2;
    if (middle < from || middle >= to || is_replaced_between(w, done[i].at, done[i + 1].at)) continue;
    days.push_back(days_between(done[i].at, done[i + 1].at));
    if (!d.hours.is_empty()) hours.push_back(d.hours.run_h(done[i].at, done[i + 1].at));
  }
  if (!days.empty()) {
    p.usual_gap_days = median_of(days);
    p.longest_gap_days = *std::max_element(days.begin(), days.end());
  }
  if (!hours.empty()) {
    p.usual_gap_h = median_of(hours);
    p.longest_gap_h = *std::max_element(hours.begin(), hours.end());
  }
  for (const AlarmEpisode& e : merge_alarms(w.log.alarms, w.in.as_of))
    p.alarms += w.concerns(e.shaft, e.lubricator) && e.raised >= from && e.raised < to ? 1 : 0;
  return p;
}

// The same place on the other side: port and starboard exchanged in the code.
std::string other_side(const std::string& code) {
  static constexpr std::pair<std::string_view, std::string_view> kSides[]{
      {"port", "stbd"}, {"port", "starboard"}, {"stbd", "port"}, {"starboard", "port"}};
  std::string out;
  for (const auto& [a, b] : kSides) {
    const std::size_t at = code.find(a);
    if (at != std::string::npos) {
      out = code;
      out.replace(at, a.size(), b);
      return out;
    }
  }
  return out;
}

void add_gaps(Peer& p, const ShaftHistory& h, Instant from, Instant to) {
  std::vector<double> hours;
  Instant begin{};
  double run_h = 0;
  for (std::size_t i = 0; i < h.intervals.size(); ++i) {
    const GreasingInterval& g = h.intervals[i];
    if (run_h <= 0) begin = g.from;
    run_h += g.run_h;
    // What was broken off and finished within days is one greasing, at its end.
    const bool goes_on =
        i + 1 < h.intervals.size() && g.ended == Ended::stopped && h.intervals[i + 1].at <= g.at + kOneGreasing;
    if (goes_on) continue;
    const Instant middle = begin + (g.at - begin) / 2;
    if (middle >= from && g.at <= to && run_h > 0) hours.push_back(run_h);
    run_h = 0;
  }
  p.intervals = static_cast<int>(hours.size());
  if (hours.empty()) return;
  p.usual_gap_h = median_of(hours);
  p.longest_gap_h = *std::max_element(hours.begin(), hours.end());
}

ShaftHistory until(const ShaftHistory& h, Instant to) {
  ShaftHistory out = h;
  std::erase_if(out.intervals, [&](const GreasingInterval& g) { return g.at > to; });
  return out;
}

std::optional<Estimate> ratio_of(const std::optional<Estimate>& a, const std::optional<Estimate>& b) {
  if (!a || !b || a->value <= 0 || b->value <= 0 || a->low <= 0 || b->low <= 0) return std::nullopt;
  const double mid = std::log(a->value / b->value);
  const double up = std::hypot(std::log(a->high / a->value), std::log(b->value / b->low));
  const double down = std::hypot(std::log(a->value / a->low), std::log(b->high / b->value));
  return Estimate{std::exp(mid), std::exp(mid - down), std::exp(mid + up)};
}

}  // namespace

void add_comparison(Work& w, Dossier& d) {
  const BearingLife& focus = d.lives[d.focus];
  const auto first = std::find_if(d.marks.begin(), d.marks.end(),
                                  [](const Mark& m) { return m.role == MarkRole::change && m.p_first > 0.5; });
  const bool splits = first != d.marks.end() && first->when.estimate > focus.from && first->when.estimate < focus.to;
  if (splits) {
    d.phases.push_back(phase_of(w, "before the first change", focus.from, first->when.estimate));
    d.phases.push_back(phase_of(w, "from then on", first->when.estimate, focus.to));
  } else {
    d.phases.push_back(phase_of(w, "the bearing in question", focus.from, focus.to));
  }
  if (!focus.seals.empty()) {
    d.phases.push_back(phase_of(w, "of this, up to the last new seal", focus.from, focus.seals.back()));
    d.phases.push_back(phase_of(w, "of this, since the last new seal", focus.seals.back(), focus.to));
  }
  for (std::size_t i = 0; i < d.lives.size(); ++i) {
    if (i == d.focus) continue;
    d.phases.push_back(
        phase_of(w, i < d.focus ? "an earlier bearing" : "since it was replaced", d.lives[i].from, d.lives[i].to));
  }

  const Instant gaps_from = splits ? first->when.estimate : focus.from;
  const std::string twin = other_side(w.shaft.code);
  const std::string own_key = w.log.vessel.code + "/" + w.shaft.code;
  const auto add = [&](PeerKind kind, const ShaftHistory& h) {
    Peer p;
    p.kind = kind;
    p.key = h.key;
    const WashoutResult r = fit_washout(until(h, focus.to), w.in.prior.of(h.group));
    // The loss before any rise: what the place and the seal are like.
    p.washout_cm3_per_h = r.baseline_cm3_per_h ? r.baseline_cm3_per_h : r.washout_cm3_per_h;
    add_gaps(p, h, gaps_from, focus.to);
    d.peers.push_back(std::move(p));
  };
  const auto& own = w.at(w.in.as_of).digest.histories;
  add(PeerKind::itself, own.at(w.shaft.id));
  for (const Shaft& s : w.log.shafts)
    if (s.id != w.shaft.id && s.code == twin) add(PeerKind::twin, own.at(s.id));
  for (const Shaft& s : w.log.shafts)
    if (s.id != w.shaft.id && s.code != twin) add(PeerKind::same_ship, own.at(s.id));
  std::vector<const ShaftHistory*> sisters;
  for (const ShaftHistory& h : w.in.group)
    if (h.vessel != w.log.vessel.id) sisters.push_back(&h);
  std::sort(sisters.begin(), sisters.end(), [&](const ShaftHistory* a, const ShaftHistory* b) {
    // The same place aboard a sister first.
    const bool same_a = a->key.ends_with("/" + w.shaft.code), same_b = b->key.ends_with("/" + w.shaft.code);
    return same_a != same_b ? same_a : a->key < b->key;
  });
  constexpr std::size_t kMostSisters = 24;
  if (sisters.size() > kMostSisters) sisters.resize(kMostSisters);
  for (const ShaftHistory* h : sisters) add(PeerKind::sister, *h);
  for (Peer& p : d.peers)
    if (p.kind != PeerKind::itself) p.ratio = ratio_of(d.peers.front().washout_cm3_per_h, p.washout_cm3_per_h);
}

}  // namespace shaftlog::dossier
