#include "analysis/alarm_watch.hpp"

#include <algorithm>
#include <map>
#include <utility>

namespace shaftlog {
namespace {

const HoursCurve* curve_of(const VesselDigest& digest, ShaftId shaft) {
  const auto it = digest.hours.find(shaft);
  return it == digest.hours.end() || it->second.curve.points().size() < 2 ? nullptr : &it->second.curve;
}

bool mends_alarms(WorkKind w) {
  return w == WorkKind::line_repaired || w == WorkKind::pump_repaired || w == WorkKind::metering_replaced ||
         w == WorkKind::controller_changed || w == WorkKind::bled;
}

void place(WatchedAlarms& out, std::span<const AlarmEpisode* const> episodes, const HoursCurve& curve, Instant since,
           Instant as_of) {
  const Instant from = std::max(since, curve.first());
  for (const AlarmEpisode* e : episodes) {
    if (e->raised < from || e->raised > as_of) continue;
    out.episodes.push_back(*e);
    out.run_h.push_back(curve.hours_at(e->raised));
  }
  out.from_h = curve.hours_at(from);
  out.to_h = std::max(out.from_h, curve.hours_at(as_of));
}

}  // namespace

const HoursCurve* busiest_curve(const VesselLog& log, const VesselDigest& digest, LubricatorId lubricator) {
  const HoursCurve* best = nullptr;
  for (const Shaft& s : log.shafts) {
    const auto& of = digest.schedule->lubricators_of(s.id);
    if (std::find(of.begin(), of.end(), lubricator) == of.end()) continue;
    const HoursCurve* curve = curve_of(digest, s.id);
    if (curve != nullptr &&
        (best == nullptr || curve->run_h(curve->first(), curve->last()) > best->run_h(best->first(), best->last()))) {
      best = curve;
    }
  }
  return best;
}

std::vector<WatchedAlarms> watch_alarms(const VesselLog& log, const VesselDigest& digest,
                                        std::span<const AlarmEpisode> episodes, Instant as_of) {
  std::map<LubricatorId, std::vector<const AlarmEpisode*>> by_lubricator;
  std::map<ShaftId, std::vector<const AlarmEpisode*>> by_shaft;
  for (const Lubricator& l : log.lubricators) by_lubricator[l.id];
  for (const AlarmEpisode& e : episodes) {
    if (e.shaft.is_set()) {
      by_shaft[e.shaft].push_back(&e);
    } else if (const auto of = by_lubricator.find(e.lubricator); of != by_lubricator.end()) {
      of->second.push_back(&e);
    }
  }
  std::vector<WatchedAlarms> out;
  for (const auto& [id, of] : by_lubricator) {
    const HoursCurve* curve = busiest_curve(log, digest, id);
    if (curve == nullptr) continue;
    Instant since{};
    for (const Logged<Work>& w : log.work) {
      if (w.lubricator == id && mends_alarms(w.what.work)) since = std::max(since, w.at);
    }
    WatchedAlarms& watched = out.emplace_back();
    watched.lubricator = id;
    place(watched, of, *curve, since, as_of);
  }
  for (const auto& [id, of] : by_shaft) {
    const HoursCurve* curve = curve_of(digest, id);
    if (curve == nullptr) continue;
    WatchedAlarms& watched = out.emplace_back();
    watched.shaft = id;
    place(watched, of, *curve, {}, as_of);
  }
  return out;
}

}  // namespace shaftlog
