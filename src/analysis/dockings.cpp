#include "analysis/dockings.hpp"

#include <algorithm>

namespace shaftlog {
namespace {

constexpr double kTrials_h = 24;  // gear that is tried in dock runs no longer

/// The last moment up to which the meters leave room for a docking since `docked`; as_of where none denies it.
Instant stood_until(const HoursCurve& curve, Instant docked, Instant as_of) {
  const auto& p = curve.points();
  const auto after =
      std::upper_bound(p.begin(), p.end(), docked, [](Instant t, const HoursCurve::Point& x) { return t < x.at; });
  if (after == p.begin()) return as_of;
  const HoursCurve::Point& before = *std::prev(after);
  const double most_before = hours_between(before.at, docked);  // it may have run all the time until then
  for (auto x = after; x != p.end() && x->at <= as_of; ++x)
    if (x->hours - before.hours > most_before + kTrials_h) return std::max(docked, std::prev(x)->at);
  return as_of;
}

}  // namespace

std::vector<Span> Dockings::rests() const {
  std::vector<Span> out = spans;
  if (standing && (out.empty() || out.back().from != *standing)) out.push_back({*standing, kLatest});
  if (standing) out.back().to = kLatest;
  return out;
}

Dockings dockings_of(const VesselLog& log, const std::map<ShaftId, HoursCurve>& hours, Instant as_of) {
  Dockings out;
  const Logged<Work>* docked = nullptr;
  for (const Logged<Work>& w : log.work) {
    if (w.at > as_of) continue;
    if (w.what.work == WorkKind::docked && docked == nullptr) docked = &w;
    if (w.what.work == WorkKind::undocked && docked != nullptr) {
      if (w.at > docked->at) out.spans.push_back({docked->at, w.at});
      docked = nullptr;
    }
  }
  if (docked == nullptr) return out;
  Instant until = as_of, read = docked->at;
  for (const auto& [shaft, curve] : hours) {
    if (curve.is_empty()) continue;
    until = std::min(until, stood_until(curve, docked->at, as_of));
    read = std::max(read, std::min(curve.last(), as_of));
  }
  if (until > docked->at) out.spans.push_back({docked->at, until});
  if (until < as_of) return out;
  out.standing = docked->at;
  out.known_until = read;
  out.standing_record = docked->id;
  return out;
}

}  // namespace shaftlog
