#include "analysis/contradictions.hpp"
#include "analysis/face_value.hpp"
#include "analysis/review.hpp"
#include "analysis/review_context.hpp"
#include "analysis/whole_hours.hpp"

#include <algorithm>
#include <cmath>
#include <set>

namespace shaftlog {
namespace {

// The log without what must not be counted twice. The records stay where they are kept; only the sums leave them out.
VesselLog without(const VesselLog& log, const std::set<Uuid>& ids) {
  VesselLog out = log;
  for_each_list(out, [&](auto& records) { std::erase_if(records, [&](const auto& r) { return ids.contains(r.id); }); });
  return out;
}

std::optional<double> rollover_of(const Shaft& shaft) {
  for (auto it = shaft.settings.rbegin(); it != shaft.settings.rend(); ++it) {
    if (it->meter_rollover) return in_h(*it->meter_rollover);
  }
  return std::nullopt;
}

ShaftHistory make_history(const VesselLog& log, const Shaft& shaft, const VesselDigest& d, Instant as_of) {
  ShaftHistory h;
  h.vessel = log.vessel.id;
  h.shaft = shaft.id;
  h.key = log.vessel.code + "/" + shaft.code;
  h.is_automatic = !d.schedule->lubricators_of(shaft.id).empty();
  h.group =
      (log.vessel.group ? *log.vessel.group : "=" + log.vessel.code) + (h.is_automatic ? "/automatic" : "/manual");
  if (const ShaftSetting* now = setting_at(shaft.settings, as_of); now != nullptr && now->cavity) {
    h.cavity_cm3 = in_cm3(*now->cavity);
  }
  const auto curve_it = d.hours.find(shaft.id);
  if (curve_it == d.hours.end() || curve_it->second.curve.points().size() < 2) return h;
  const HoursCurve& curve = curve_it->second.curve;

  std::set<Uuid> doubtful;
  for (const Suspect& s : d.suspects) doubtful.insert(s.record);

  const Logged<Greasing>* before = nullptr;
  for (const Logged<Greasing>& g : log.greasings) {
    if (g.shaft != shaft.id || g.what.ended == Ended::not_done) continue;
    if (before == nullptr) {
      h.first_is_full = g.what.ended == Ended::pressure || g.what.ended == Ended::packed;
      before = &g;
      continue;
    }
    GreasingInterval i;
    i.id = g.id;
    i.from = before->at;
    i.at = g.at;
    i.run_h = std::max(0.0, curve.run_h(i.from, i.at));
    i.run_sd_h = curve.run_sd_h(i.from, i.at);
    i.idle_days = std::max(0.0, days_between(i.from, i.at) - i.run_h / 24.0);
    i.delivered_cm3 = delivered_cm3(d, shaft.id, i.from, i.at);
    const double rate = i.run_h > 0 ? i.delivered_cm3 / i.run_h : 0.0;
    i.delivered_sd_cm3 = std::hypot(0.04 * i.delivered_cm3, rate * i.run_sd_h);
    if (g.what.amount && g.what.amount->volume) i.taken_cm3 = in_cm3(*g.what.amount->volume);
    i.ended = g.what.ended;
    i.by_strokes = g.what.amount && g.what.amount->unit == Unit::strokes;
    i.is_doubtful = doubtful.contains(g.id);
    i.by = g.by;
    i.gun = g.what.gun;
    i.purge = g.what.purge;
    for (const Logged<Work>& w : log.work) {
      if (w.shaft == shaft.id && renews_baseline(w.what.work) && w.at > i.from && w.at <= i.at)
        i.starts_baseline = true;
    }
    h.intervals.push_back(i);
    before = &g;
  }
  return h;
}

double delivered_by(const VesselDigest& d, LubricatorId lubricator, ShaftId shaft, Instant a, Instant b) {
  const Schedule& schedule = *d.schedule;
  const auto result = d.delivery.find(lubricator);
  if (result == d.delivery.end()) return schedule.expected_cm3(lubricator, shaft, a, b);
  if (!result->second.low) return doses_cm3(schedule, result->second, shaft, a, b);
  const RatioShift& low = *result->second.low;
  const Instant since = std::clamp(low.began.estimate, a, b);
  double ratio = std::clamp(low.ratio.value, 0.0, 1.0);
  if (const auto blame = d.blame.find(lubricator); blame != d.blame.end() && blame->second.shaft.is_set()) {
    ratio = blame->second.shaft == shaft ? blame->second.device_ratio : 1.0;
  }
  double out = 0;
  if (a < since) out += schedule.expected_cm3(lubricator, shaft, a, since);
  if (since < b) out += ratio * schedule.expected_cm3(lubricator, shaft, since, b);
  return out;
}

}  // namespace

double delivered_cm3(const VesselDigest& digest, ShaftId shaft, Instant a, Instant b) {
  if (b <= a) return 0;
  double out = 0;
  for (const LubricatorId l : digest.schedule->lubricators_of(shaft)) out += delivered_by(digest, l, shaft, a, b);
  return out;
}

namespace {

/// The curve up to `as_of`, its end by the readings around that moment.
HoursCurve cut_at(const HoursCurve& curve, Instant as_of) {
  std::vector<HoursCurve::Point> points = curve.points();
  const auto after = std::find_if(points.begin(), points.end(), [&](const auto& p) { return p.at > as_of; });
  if (after == points.end() || after == points.begin()) {
    points.erase(after, points.end());
    return HoursCurve{std::move(points)};
  }
  const bool is_read = std::prev(after)->at == as_of;
  points.erase(after, points.end());
  if (!is_read) {
    HoursCurve::Point end;
    end.at = as_of;
    end.hours = curve.hours_at(as_of);
    end.is_estimated = true;
    end.sd_h = curve.moment_sd_h(as_of);
    points.push_back(end);
  }
  return HoursCurve{std::move(points)};
}

/// \param weigh fills in the schedule and what is known of each lubricator's delivery
/// \param whole tells the running hours; null: the log itself
template <class Weigh>
VesselDigest digest_by(const VesselLog& full_log, Instant as_of, const Weigh& weigh,
                       const VesselDigest* whole = nullptr) {
  VesselDigest d;
  d.vessel = full_log.vessel.id;
  d.suspects = find_contradictions(full_log, as_of);
  const std::vector<Uuid> left_out = uncounted(d.suspects);
  VesselLog reduced;
  if (!left_out.empty()) reduced = without(full_log, std::set<Uuid>{left_out.begin(), left_out.end()});
  const VesselLog& log = left_out.empty() ? full_log : reduced;

  std::map<ShaftId, HoursCurve> curves;
  std::map<ShaftId, std::optional<double>> rollovers;
  std::vector<Logged<Hours>> readings;
  for (const Shaft& shaft : log.shafts) {
    readings.clear();
    for (const Logged<Hours>& r : log.hours) {
      if (r.shaft == shaft.id) readings.push_back(r);
    }
    HoursResult result = build_hours(readings, rollovers[shaft.id] = rollover_of(shaft), as_of);
    d.suspects.insert(d.suspects.end(), result.suspects.begin(), result.suspects.end());
    if (whole != nullptr) result.curve = cut_at(whole->hours.at(shaft.id).curve, as_of);
    curves[shaft.id] = result.curve;
    d.hours[shaft.id] = std::move(result);
  }
  name_exchanged_meters(log, rollovers, as_of, d.suspects);
  d.dockings = dockings_of(log, curves, as_of);
  for (auto& [shaft, curve] : curves) {
    curve.rest(d.dockings.rests());
    d.hours[shaft].curve = curve;
  }
  weigh(log, curves, d);
  for (const Shaft& shaft : log.shafts) d.histories[shaft.id] = make_history(log, shaft, d, as_of);
  return d;
}

using Curves = std::map<ShaftId, HoursCurve>;

void weigh_delivery(const VesselLog& log, const Curves& curves, Instant as_of, bool with_detail, VesselDigest& d) {
  d.schedule = std::make_shared<const Schedule>(log, curves, as_of);
  d.blame.clear();
  for (const Lubricator& lubricator : log.lubricators) {
    DeliveryResult result = balance_delivery(log, lubricator, *d.schedule, as_of, with_detail);
    if (result.low) d.blame[lubricator.id] = blame_device(log, d.hours, *d.schedule, lubricator.id, result, as_of);
    d.delivery[lubricator.id] = std::move(result);
  }
}

/// Where counter or reservoir show that a lubricator recorded off goes: the log with the record that is missing.
VesselLog with_set_going(const VesselLog& log, const std::map<LubricatorId, SetGoing>& going) {
  VesselLog out = log;
  for (const auto& [id, g] : going) {
    Logged<Work> on;
    on.at = on.recorded_at = g.by;
    on.lubricator = id;
    on.what.work = WorkKind::lubricator_on;
    const auto behind = std::upper_bound(out.work.begin(), out.work.end(), on.at,
                                         [](Instant t, const Logged<Work>& w) { return t < w.at; });
    out.work.insert(behind, on);
  }
  return out;
}

/// Readings of counters that their reservoirs contradict, from where they began to show too little.
std::set<Uuid> wrong_counts(const VesselLog& log, const std::map<LubricatorId, RatioShift>& low) {
  std::set<Uuid> out;
  for (const Logged<Cycles>& c : log.cycles)
    if (const auto l = low.find(c.lubricator); l != low.end() && c.at > l->second.began.low) out.insert(c.id);
  return out;
}

/// Balances every lubricator, by the log mended where its own records show what is missing or wrong.
struct Balance {
  Instant as_of{};
  bool with_detail = true;
  void operator()(const VesselLog& log, const Curves& curves, VesselDigest& d) const {
    weigh_delivery(log, curves, as_of, with_detail, d);
    std::map<LubricatorId, SetGoing> going;
    for (const Lubricator& l : log.lubricators)
      if (const auto g = set_going_of(log, l, *d.schedule, as_of)) going[l.id] = *g;
    VesselLog mended;
    if (!going.empty()) {
      mended = with_set_going(log, going);
      weigh_delivery(mended, curves, as_of, with_detail, d);
    }
    const VesselLog& told = going.empty() ? log : mended;
    std::map<LubricatorId, RatioShift> wrong;
    for (const Lubricator& l : told.lubricators)
      if (const DeliveryResult& r = d.delivery.at(l.id); contradicts_counter(told, l, *d.schedule, r, as_of))
        wrong[l.id] = *r.cycles_low;
    if (!wrong.empty()) weigh_delivery(without(told, wrong_counts(told, wrong)), curves, as_of, with_detail, d);
    for (const auto& [id, low] : wrong) {
      DeliveryResult& r = d.delivery.at(id);
      r.is_counter_wrong = true;
      r.cycles_low = low;
      r.cycle_ratio.reset();
    }
    for (const auto& [id, g] : going) d.delivery.at(id).set_going = g;
  }
};

}  // namespace

VesselDigest digest(const VesselLog& full_log, Instant as_of, bool with_detail) {
  return digest_by(full_log, as_of, Balance{as_of, with_detail});
}

VesselDigest digest_with_hours_of(const VesselDigest& whole, const VesselLog& log, Instant as_of) {
  return digest_by(log, as_of, Balance{as_of, /*with_detail=*/true}, &whole);
}

VesselDigest digest_at_face_value(const VesselLog& full_log, Instant as_of) {
  return digest_by(full_log, as_of, [&](const VesselLog& log, const Curves& curves, VesselDigest& d) {
    d.schedule = std::make_shared<const Schedule>(log, curves, as_of);
    for (const Lubricator& lubricator : log.lubricators) {
      DeliveryResult& result = d.delivery[lubricator.id];
      result.lubricator = lubricator.id;
      result.steps = list_stretches(log, lubricator, *d.schedule, as_of);
    }
  });
}

}  // namespace shaftlog
