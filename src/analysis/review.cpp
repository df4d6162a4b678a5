#include "analysis/review.hpp"

#include "analysis/alarm_watch.hpp"
#include "analysis/fleet_lessons.hpp"
#include "analysis/parallel.hpp"
#include "analysis/review_context.hpp"
#include "analysis/vessel_reader.hpp"

#include <algorithm>
#include <memory>
#include <mutex>
#include <utility>

namespace shaftlog {
namespace {

void mark_doubtful(ShaftHistory& history, const std::vector<Suspect>& slips) {
  for (GreasingInterval& i : history.intervals) {
    for (const Suspect& s : slips) {
      // A greasing at a wrong date spoils the interval it left and the one it came into.
      const bool is_touched =
          s.kind == SuspectKind::date_slip && std::count(s.against.begin(), s.against.end(), i.id) > 0;
      if (s.record == i.id || is_touched) i.is_doubtful = true;
    }
  }
}

void rate_all_alarms(ReviewContext& c) {
  c.episodes = merge_alarms(c.log.alarms, c.as_of);
  for (const WatchedAlarms& w : watch_alarms(c.log, c.digest, c.episodes, c.as_of)) {
    AlarmRateResult rate = rate_alarms(w.episodes, w.run_h, w.from_h, w.to_h);
    if (w.lubricator.is_set()) {
      c.lubricator_alarms[w.lubricator] = std::move(rate);
    } else {
      c.shaft_alarms[w.shaft] = std::move(rate);
    }
  }
}

// When a level, a refill or a counter reading last vouched for what the lubricators delivered.
std::optional<Instant> last_vouched(const ReviewContext& c, const std::vector<LubricatorId>& feeding) {
  std::optional<Instant> last;
  const auto look = [&](const auto& records) {
    const auto newest = std::find_if(records.rbegin(), records.rend(), [&](const auto& r) {  // sorted by time
      return r.at <= c.as_of && std::find(feeding.begin(), feeding.end(), r.lubricator) != feeding.end();
    });
    if (newest != records.rend() && (!last || newest->at > *last)) last = newest->at;
  };
  look(c.log.levels), look(c.log.refills), look(c.log.cycles);
  return last;
}

// Whether what the shaft was delivered up to now is known: a record of late vouches for it, or the doses are taken as
// nil, and nothing needs vouching for. By the balance an emptied reservoir had nothing left to deliver; whether it was
// filled and nobody wrote it down is not known.
bool is_delivery_known(const ReviewContext& c, ShaftId shaft, const std::vector<LubricatorId>& feeding,
                       std::optional<Instant> vouched) {
  constexpr auto kVouchedFor = std::chrono::days{60};
  constexpr double kEmpty_pct = 0.5;
  constexpr double kNil = 0.1;  // of the doses called for
  const Instant since = vouched.value_or(kEarliest);
  double called_for = 0;
  for (const LubricatorId l : feeding) called_for += c.digest.schedule->called_for_cm3(l, shaft, since, c.as_of);
  if (called_for > 0 && delivered_cm3(c.digest, shaft, since, c.as_of) < kNil * called_for) return true;
  for (const LubricatorId l : feeding) {
    const auto d = c.digest.delivery.find(l);
    if (d != c.digest.delivery.end() && d->second.level_pct && d->second.level_pct->value < kEmpty_pct) return false;
  }
  return vouched && *vouched >= c.as_of - kVouchedFor;
}

// A docking whose end is written nowhere is believed for a time only: then she may be out again for long.
bool is_use_known(const ReviewContext& c) {
  const std::optional<Instant>& known = c.digest.dockings.known_until;
  return !known || days_between(*known, c.as_of) <= kUsualStay_days;
}

void leave_open(FillResult& fill) {
  fill.fill_pct.reset();
  fill.starved_h.reset();
  fill.starved_since.reset();
  fill.hours_to_reserve.reset();
  fill.p_below_now = fill.p_below_before_due = 0;
}

/// With the errors that the shaft's own records have shown.
WashoutPrior with_errors(WashoutPrior prior, const WashoutResult& w) {
  if (w.fill_sd_cm3 <= 0) return prior;
  prior.fill_sd_cm3 = w.fill_sd_cm3;
  prior.duty_sd = w.duty_sd;
  return prior;
}

/// Whether a record doubted by itself is one of those by which a bearing takes less since: one matter, no slip.
bool is_of_fall(const Suspect& s, const ShaftHistory& history, const IntakeFall& fall) {
  return std::any_of(history.intervals.begin(), history.intervals.end(), [&](const GreasingInterval& i) {
    return i.id == s.record && i.from >= fall.began.low && i.taken_cm3 && *i.taken_cm3 < kLeastFall * fall.usual_cm3;
  });
}

// What falls due by running hours has no day where they are not known; what was overdue before is so still.
void leave_open(NextGreasing& next) {
  next.expected_cm3.reset();
  if (next.overdue_h) return;
  next.due_in_h.reset();
  next.due_at = next.last ? next.due_by_days : std::nullopt;
}

void analyse_shafts(ReviewContext& c, const VesselDigest& digest, const FleetPrior& prior,
                    std::map<ShaftId, ShaftHistory>& histories) {
  for (const auto& entry : c.standing) {
    const Instant since = entry.second.since;
    std::erase_if(histories.at(entry.first).intervals, [since](const GreasingInterval& g) { return g.at > since; });
  }
  for (auto& [id, history] : histories) {
    c.priors[id] = prior.of(history.group);
    c.washouts[id] = fit_washout(history, c.priors[id]);
  }
  std::vector<Suspect> slips = find_amount_slips(c.log, histories, c.washouts, c.priors);
  for (const auto& [id, history] : histories) {
    const auto fall = fall_of_intake(history, with_errors(c.priors[id], c.washouts[id]));
    if (!fall) continue;
    const ShaftHistory& of = history;
    std::erase_if(slips, [&](const Suspect& s) {
      return (s.kind == SuspectKind::amount_slip || s.kind == SuspectKind::too_regular) && is_of_fall(s, of, *fall);
    });
    c.falls[id] = *fall;
  }
  if (!slips.empty()) {
    for (auto& [id, history] : histories) {
      const auto touched = std::any_of(history.intervals.begin(), history.intervals.end(), [&](const auto& i) {
        return std::any_of(slips.begin(), slips.end(), [&](const Suspect& s) { return s.record == i.id; });
      });
      if (!touched) continue;
      mark_doubtful(history, slips);
      c.washouts[id] = fit_washout(history, c.priors[id]);
    }
  }
  for (auto& [id, p] : c.priors) {  // from here on with the errors that the shaft's own records have shown
    p = with_errors(p, c.washouts[id]);
  }
  c.suspects = digest.suspects;
  c.suspects.insert(c.suspects.end(), slips.begin(), slips.end());
  for (const Shaft& shaft : c.log.shafts) {
    const HoursCurve* curve = c.curve(shaft.id);
    if (curve == nullptr) continue;
    const ShaftHistory& history = histories.at(shaft.id);
    const Delivered delivered = [&digest, id = shaft.id](Instant a, Instant b) {
      return delivered_cm3(digest, id, a, b);
    };
    c.greasings[shaft.id] =
        forecast_greasing(c.log, shaft, *curve, history, c.washouts[shaft.id], c.priors[shaft.id], delivered, c.as_of);
    c.fills[shaft.id] = reconstruct_fill(history, c.washouts[shaft.id], c.priors[shaft.id], *curve, delivered,
                                         reserve_pct(shaft, c.as_of), c.as_of, c.greasings[shaft.id].due_at);
    const auto standing = c.standing.find(shaft.id);
    if (standing != c.standing.end() || !is_use_known(c)) {
      leave_open(c.fills[shaft.id]);
      leave_open(c.greasings[shaft.id]);
      if (standing != c.standing.end())
        std::erase_if(c.fills[shaft.id].points, [&](const FillPoint& p) { return p.at > standing->second.since; });
      continue;
    }
    if (const auto fall = c.falls.find(shaft.id); fall != c.falls.end()) {
      // Nobody knows whether what goes in reaches the bearing: from the fall on its fill is not known.
      FillResult& fill = c.fills[shaft.id];
      leave_open(fill);
      fill.points.erase(std::find_if(fill.points.begin(), fill.points.end(),
                                     [&](const FillPoint& p) { return p.at > fall->second.began.low; }),
                        fill.points.end());
      c.greasings[shaft.id].expected_cm3.reset();
      continue;
    }
    if (!history.is_automatic) continue;
    const std::vector<LubricatorId> feeding = c.digest.schedule->lubricators_of(shaft.id);
    const std::optional<Instant> vouched = last_vouched(c, feeding);
    if (is_delivery_known(c, shaft.id, feeding, vouched)) continue;
    // Doses that nobody has checked for so long are no grease: the fill of today is not known, only that of then.
    leave_open(c.fills[shaft.id]);
    c.greasings[shaft.id].expected_cm3.reset();
    if (!vouched || history.intervals.empty()) continue;
    const Instant then = std::max(*vouched, history.intervals.back().at);
    c.last_known[shaft.id] = {then, reconstruct_fill(history, c.washouts[shaft.id], c.priors[shaft.id], *curve,
                                                     delivered, reserve_pct(shaft, c.as_of), then, std::nullopt)};
  }
}

ShaftState state_of(const ReviewContext& c, const Shaft& shaft) {
  ShaftState s;
  s.vessel = c.log.vessel.id;
  s.shaft = shaft.id;
  if (const auto h = c.digest.hours.find(shaft.id); h != c.digest.hours.end() && !h->second.curve.is_empty()) {
    s.running_h = h->second.total_h;
    s.last_hours = h->second.curve.last();
    if (h->second.curve.points().size() > 1 && !c.standing.contains(shaft.id))
      s.use_h_per_day = h->second.curve.use_h_per_day();
  }
  for (const Logged<Greasing>& g : c.log.greasings) {
    if (g.shaft == shaft.id && g.what.ended != Ended::not_done) s.last_greasing = g.at;
  }
  if (const auto w = c.washouts.find(shaft.id); w != c.washouts.end()) {
    if (!c.falls.contains(shaft.id)) s.washout_cm3_per_h = w->second.washout_cm3_per_h;
    s.baseline_cm3_per_h = w->second.baseline_cm3_per_h;
    s.trend_pct_per_1000h = w->second.trend_pct_per_1000h;
    s.exact_intervals = w->second.exact;
    s.censored_intervals = w->second.censored;
  }
  const std::vector<LubricatorId> feeding = c.digest.schedule->lubricators_of(shaft.id);
  const bool is_delivery_seen = std::any_of(feeding.begin(), feeding.end(), [&c](LubricatorId l) {
    const auto d = c.digest.delivery.find(l);
    return d != c.digest.delivery.end() && d->second.delivery_ratio;
  });
  s.is_judged = s.last_hours && (s.washout_cm3_per_h || c.falls.contains(shaft.id) || is_delivery_seen);
  if (const auto f = c.fills.find(shaft.id); f != c.fills.end()) {
    s.cavity_fill_pct = f->second.fill_pct;
    s.starved_h = f->second.starved_h;
    s.hours_to_reserve = f->second.hours_to_reserve;
  }
  if (const auto g = c.greasings.find(shaft.id); g != c.greasings.end()) s.next_greasing = g->second;
  if (const auto a = c.shaft_alarms.find(shaft.id); a != c.shaft_alarms.end() && a->second.run_h > 0) {
    s.alarms_per_1000h = a->second.per_1000h;
  }
  return s;
}

LubricatorState state_of(const ReviewContext& c, const Lubricator& lubricator) {
  LubricatorState s;
  s.vessel = c.log.vessel.id;
  s.lubricator = lubricator.id;
  if (const auto d = c.digest.delivery.find(lubricator.id); d != c.digest.delivery.end()) {
    s.delivery_ratio = d->second.delivery_ratio;
    s.cycle_ratio = d->second.cycle_ratio;
    s.level_pct = d->second.level_pct;
  }
  for (const Logged<LevelReading>& l : c.log.levels) {
    if (l.lubricator == lubricator.id) s.last_level = l.at;
  }
  for (const Logged<Refill>& r : c.log.refills) {
    if (r.lubricator == lubricator.id && (r.what.before || r.what.after)) {
      s.last_level = s.last_level ? std::max(*s.last_level, r.at) : r.at;
    }
  }
  if (const auto n = c.refills.find(lubricator.id); n != c.refills.end()) s.next_refill = n->second;
  if (const auto a = c.lubricator_alarms.find(lubricator.id); a != c.lubricator_alarms.end() && a->second.run_h > 0) {
    s.alarms_per_1000h = a->second.per_1000h;
  }
  return s;
}

ShaftDetail detail_of(const ReviewContext& c, const Shaft& shaft) {
  ShaftDetail d;
  d.shaft = shaft.id;
  d.history.vessel = c.log.vessel.id;
  d.history.shaft = shaft.id;
  if (const HoursCurve* curve = c.curve(shaft.id); curve != nullptr) d.hours = *curve;
  if (const auto h = c.digest.histories.find(shaft.id); h != c.digest.histories.end()) d.history = h->second;
  if (const auto p = c.priors.find(shaft.id); p != c.priors.end()) d.prior = p->second;
  if (const auto w = c.washouts.find(shaft.id); w != c.washouts.end()) d.washout = w->second;
  if (const auto f = c.fills.find(shaft.id); f != c.fills.end()) d.fill = f->second;
  d.reserve_pct = reserve_pct(shaft, c.as_of);
  if (const auto g = c.greasings.find(shaft.id); g != c.greasings.end()) d.next_greasing = g->second;
  for (const AlarmEpisode& e : c.episodes) {
    if (e.shaft == shaft.id) d.alarms.push_back(e);
  }
  if (const auto a = c.shaft_alarms.find(shaft.id); a != c.shaft_alarms.end()) d.alarm_rate = a->second;
  d.lubricators = c.digest.schedule->lubricators_of(shaft.id);
  return d;
}

LubricatorDetail detail_of(const ReviewContext& c, const Lubricator& lubricator) {
  LubricatorDetail d;
  d.lubricator = lubricator.id;
  d.delivery.lubricator = lubricator.id;
  if (const auto r = c.digest.delivery.find(lubricator.id); r != c.digest.delivery.end()) d.delivery = r->second;
  d.standstills = c.digest.schedule->standstills(lubricator.id);
  d.shafts = c.digest.schedule->shafts_fed(lubricator.id, c.as_of);
  if (const HoursCurve* curve = busiest_curve(c.log, c.digest, lubricator.id); curve != nullptr) d.hours = *curve;
  for (const AlarmEpisode& e : c.episodes) {
    if (e.lubricator == lubricator.id && !e.shaft.is_set()) d.alarms.push_back(e);
  }
  if (const auto a = c.lubricator_alarms.find(lubricator.id); a != c.lubricator_alarms.end()) d.alarm_rate = a->second;
  return d;
}

double strength_of(const Finding& f) {
  for (const Figure& x : f.figures) {
    if (x.name == "strength") return x.estimate.value;
  }
  return 0;
}

}  // namespace

bool is_more_pressing(const Finding& a, const Finding& b) {
  if (a.urgency != b.urgency) return a.urgency < b.urgency;
  const double sa = strength_of(a), sb = strength_of(b);
  if (sa != sb) return sa > sb;
  return a.id < b.id;
}

VesselReview review_vessel(const VesselLog& log, const VesselDigest& digest_in, const FleetPrior& prior, Instant as_of,
                           bool with_detail) {
  VesselDigest digest = digest_in;  // doubtful amounts are marked in a copy
  ReviewContext c{log, digest, as_of, Zone{log.vessel.time_zone}, {}, {}, {}, {}, {}, {}, {}, {}, {}, {}, {}, {}};
  c.standing = find_standing_meters(log, digest.hours, as_of);
  analyse_shafts(c, digest, prior, digest.histories);
  std::map<ShaftId, HoursCurve> curves;
  for (const auto& [id, result] : digest.hours) curves[id] = result.curve;
  for (const Lubricator& l : log.lubricators) {
    if (const auto d = digest.delivery.find(l.id); d != digest.delivery.end()) {
      c.refills[l.id] = forecast_refill(log, l, d->second, *digest.schedule, curves, as_of);
    }
  }
  rate_all_alarms(c);

  VesselReview out;
  out.vessel = log.vessel.id;
  out.docked_since = digest.dockings.standing;
  std::set<ShaftId> explained;
  find_delivery(c, out.findings);
  find_grease_changes(c, out.findings, explained);
  find_washout(c, out.findings, explained);
  find_starved_and_overdue(c, out.findings, out.within);
  find_refills_due(c, out.findings);
  find_alarms(c, out.findings);
  find_inspections(c, out.findings);
  find_records(c, out.findings);
  for (Finding& f : out.findings) f.first_seen = std::min(f.first_seen, as_of);
  for (ToldWithin& t : out.within) t.finding.first_seen = std::min(t.finding.first_seen, as_of);
  std::sort(out.findings.begin(), out.findings.end(), is_more_pressing);
  for (const Shaft& s : log.shafts) out.shafts.push_back(state_of(c, s));
  for (const Lubricator& l : log.lubricators) out.lubricators.push_back(state_of(c, l));
  if (with_detail) {
    for (const Shaft& s : log.shafts) out.shaft_details.push_back(detail_of(c, s));
    for (const Lubricator& l : log.lubricators) out.lubricator_details.push_back(detail_of(c, l));
    out.suspects = c.suspects;
    out.digest = std::make_shared<const VesselDigest>(std::move(digest));
  }
  return out;
}

FleetPrior review_fleet(const FleetSource& fleet, Instant as_of, unsigned threads,
                        const std::function<void(std::size_t, VesselLog, VesselReview)>& take,
                        const FleetPrior* prior) {
  std::mutex one_teaches;
  const auto is_asked = [&](std::size_t i) { return !fleet.is_asked || fleet.is_asked(i); };
  VesselReader reader{fleet.load, as_of};
  std::vector<std::unique_ptr<ReadVessel>> held(fleet.vessels);
  FleetPrior learnt;
  if (prior == nullptr) {
    FleetLessons lessons;
    std::size_t records = 0;
    in_parallel(fleet.vessels, threads, [&](std::size_t i) {
      std::unique_ptr<ReadVessel> v = reader.read(i, fleet.with_detail && is_asked(i));
      const std::lock_guard lock{one_teaches};
      for (const auto& [id, history] : v->digest.histories) lessons.hear(history);
      if (!is_asked(i) || records >= fleet.most_held) return;
      records += count_records(v->log);
      held[i] = std::move(v);
    });
    learnt = lessons.learn(threads);
    prior = &learnt;
  }
  std::vector<std::size_t> asked;
  for (std::size_t i = 0; i < fleet.vessels; ++i)
    if (is_asked(i)) asked.push_back(i);
  in_parallel(asked.size(), threads, [&](std::size_t n) {
    const std::size_t i = asked[n];
    std::unique_ptr<ReadVessel> v = held[i] ? std::move(held[i]) : reader.read(i, fleet.with_detail);
    VesselReview review = review_vessel(v->log, v->digest, *prior, as_of, fleet.with_detail);
    take(i, std::move(v->log), std::move(review));
  });
  return *prior;
}

FleetResult review_fleet(std::span<const VesselLog> fleet, Instant as_of, unsigned threads, bool with_detail) {
  FleetResult out;
  out.vessels.resize(fleet.size());
  const FleetSource source{fleet.size(), [&](std::size_t i) { return fleet[i]; }, {}, with_detail};
  out.prior = review_fleet(source, as_of, threads,
                           [&](std::size_t i, VesselLog, VesselReview r) { out.vessels[i] = std::move(r); });
  return out;
}

std::vector<Finding> ranked_findings(std::span<const VesselReview> reviews) {
  std::vector<Finding> out;
  for (const VesselReview& r : reviews) out.insert(out.end(), r.findings.begin(), r.findings.end());
  std::sort(out.begin(), out.end(), is_more_pressing);
  return out;
}

}  // namespace shaftlog
