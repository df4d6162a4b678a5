#include "match.hpp"

#include <algorithm>
#include <cmath>
#include <set>

namespace shaftlog::judge {

using world::Fault;
using world::FaultKind;
using world::LubricatorTruth;
using world::MadeVessel;
using world::ShaftTruth;
using world::Slip;
using world::SlipKind;
using world::Truth;

namespace {

constexpr double kTrulyHigh = 1.5, kTrulyOff = 0.07, kMoved = 1.2;

bool runs_at(const Fault& f, Instant t) {
  const Instant end = f.end == kLatest ? kLatest : f.end + kGrace;
  return t >= f.onset - std::chrono::hours{24} && t <= end;
}

bool feeds(const MadeVessel& v, LubricatorId lubricator, ShaftId shaft) {
  return std::any_of(v.log.feeds.begin(), v.log.feeds.end(),
                     [&](const Feed& f) { return f.lubricator == lubricator && f.shaft == shaft; });
}

bool is_low(FaultKind k) {
  return k == FaultKind::not_cycling || k == FaultKind::low_delivery || k == FaultKind::stuck_device ||
         k == FaultKind::left_off;
}

int fault_that(const MadeVessel& v, Instant t, const std::function<bool(const Fault&)>& fits) {
  for (std::size_t i = 0; i < v.truth.faults.size(); ++i) {
    if (runs_at(v.truth.faults[i], t) && fits(v.truth.faults[i])) return static_cast<int>(i);
  }
  return -1;
}

std::string group_key(const MadeVessel& v, const ShaftTruth& s) {
  return (v.log.vessel.group ? *v.log.vessel.group : "=" + v.log.vessel.code) + (s.is_fed ? "/automatic" : "/manual");
}

int blocked(const MadeVessel& v, const Track& t) {
  return fault_that(v, t.first_seen,
                    [&](const Fault& f) { return f.kind == FaultKind::blocked_path && f.shaft == t.shaft; });
}

Judged of_washout(const MadeVessel& v, const Track& t, const std::map<std::string, double>& groups) {
  const int i = fault_that(v, t.first_seen, [&](const Fault& f) { return is_of_loss(f.kind) && f.shaft == t.shaft; });
  if (i >= 0) return {Verdict::right, i};
  if (blocked(v, t) >= 0) return {Verdict::excused, -1};
  if (v.truth.grease_changed && t.first_seen >= *v.truth.grease_changed && v.truth.grease_factor >= kMoved) {
    return {Verdict::excused, -1};
  }
  for (const Slip& s : v.truth.slips) {
    if (s.kind == SlipKind::gun_changed && t.first_seen >= s.at && s.factor >= kMoved) return {Verdict::excused, -1};
  }
  const int low = fault_that(v, t.first_seen, [&](const Fault& f) {
    if (!is_low(f.kind)) return false;
    return f.shaft.is_set() ? f.shaft == t.shaft : feeds(v, f.lubricator, t.shaft);
  });
  if (low >= 0) return {Verdict::excused, -1};
  const ShaftTruth& s = v.truth.of(t.shaft);
  if (const auto g = groups.find(group_key(v, s)); g != groups.end() && s.usual.front() >= kTrulyHigh * g->second) {
    return {Verdict::excused, -1};
  }
  return {Verdict::wrong, -1};
}

Judged of_fall(const MadeVessel& v, const Track& t) {
  if (const int i = blocked(v, t); i >= 0) return {Verdict::right, i};
  const bool is_of_grease =
      v.truth.grease_changed && t.first_seen >= *v.truth.grease_changed && v.truth.grease_factor <= 1 / kMoved;
  const bool is_of_gun = std::any_of(v.truth.slips.begin(), v.truth.slips.end(), [&](const Slip& s) {
    return s.kind == SlipKind::gun_changed && t.first_seen >= s.at && s.factor <= 1 / kMoved;
  });
  return {is_of_grease || is_of_gun ? Verdict::excused : Verdict::wrong, -1};
}

Judged of_delivery(const MadeVessel& v, const Track& t) {
  const bool is_leak = t.kind == FindingKind::line_leak;
  const int i = fault_that(v, t.first_seen, [&](const Fault& f) {
    return f.lubricator == t.lubricator && (is_leak ? f.kind == FaultKind::line_leak : is_low(f.kind));
  });
  if (i >= 0) return {Verdict::right, i};
  const LubricatorTruth& l = v.truth.of(t.lubricator);
  const bool is_recorded_off = std::any_of(t.at_open.figures.begin(), t.at_open.figures.end(),
                                           [](const Figure& f) { return f.name == "bare_h"; });
  if (is_recorded_off && t.at_open.began) {  // so it was, and nothing went out
    const Instant off = t.at_open.began->estimate;
    const auto since = [&](const std::vector<double>& series) {
      return v.truth.at(series, t.first_seen) - v.truth.at(series, off);
    };
    return {since(l.left) < 0.1 * since(l.scheduled) ? Verdict::excused : Verdict::wrong, -1};
  }
  const bool knows_standstill = std::any_of(v.log.work.begin(), v.log.work.end(), [&](const Logged<Work>& w) {
    return w.what.work == WorkKind::lubricator_off && w.lubricator == t.lubricator && w.recorded_at <= t.shown &&
           w.at >= t.first_seen - std::chrono::days{150};
  });
  for (int back = 0; back < 3; ++back) {
    const Instant to = t.first_seen - std::chrono::days{30 * back}, from = to - std::chrono::days{60};
    const auto change = [&](const std::vector<double>& series) {
      return v.truth.at(series, to) - v.truth.at(series, from);
    };
    const double due = change(l.due), left = change(l.left);
    if (due > 0 && (is_leak ? left > (1 + kTrulyOff) * due : left < (1 - kTrulyOff) * due))
      return {Verdict::excused, -1};
    // It stood, and the review could not know why.
    if (!is_leak && !knows_standstill && change(l.cycles) < (1 - kTrulyOff) * change(l.called)) {
      return {Verdict::excused, -1};
    }
  }
  return {Verdict::wrong, -1};
}

// From the last greasing that the log of `shown` holds to the day on which the next is due by its interval, had none
// been done between: did the cavity truly come down to its reserve?
bool would_run_low(const MadeVessel& v, const ShaftTruth& s, Instant shown) {
  std::optional<Instant> last;
  for (const Logged<Greasing>& g : v.log.greasings)
    if (g.shaft == s.shaft && g.at <= shown && g.recorded_at <= shown && g.what.ended != Ended::not_done) last = g.at;
  const auto shaft =
      std::find_if(v.log.shafts.begin(), v.log.shafts.end(), [&](const Shaft& x) { return x.id == s.shaft; });
  const ShaftSetting* setting = setting_at(shaft->settings, shown);
  if (!last || setting == nullptr) return false;
  const Instant after = *last + std::chrono::days{1};
  const auto since = [&](const std::vector<double>& series, Instant x) {
    return v.truth.at(series, x) - v.truth.at(series, after);
  };
  for (Instant x = after; x <= v.truth.last; x += std::chrono::days{1}) {
    if (setting->interval && since(s.hours, x) > in_h(*setting->interval)) break;
    if (setting->interval_days && days_between(*last, x) > static_cast<double>(*setting->interval_days)) break;
    const double missing = v.truth.at(s.missing, after) + since(s.demand, x) - since(s.delivered, x);
    if (1 - missing / s.cavity_cm3 < s.reserve_share + kReserveSlack) return true;
  }
  return false;
}

Judged of_starved(const MadeVessel& v, const Track& t) {
  const ShaftTruth& s = v.truth.of(t.shaft);
  Instant from = t.first_seen - std::chrono::days{30};
  if (t.at_open.began) from = std::min(from, t.at_open.began->low);
  for (Instant x = from; x <= t.shown; x += std::chrono::days{1}) {
    const double fill = 1 - v.truth.at(s.missing, x) / s.cavity_cm3;
    if (fill < s.reserve_share + kReserveSlack) return {Verdict::right, -1};
  }
  const bool is_foretold = !t.at_open.began;
  return {is_foretold && would_run_low(v, s, t.shown) ? Verdict::right : Verdict::wrong, -1};
}

Judged of_record(const MadeVessel& v, const Track& t) {
  for (const Slip& s : v.truth.slips) {
    for (const Uuid& id : t.at_open.evidence) {
      if (std::find(s.records.begin(), s.records.end(), id) != s.records.end()) return {Verdict::right, -1};
    }
  }
  if (blocked(v, t) >= 0) return {Verdict::excused, -1};
  return {Verdict::wrong, -1};
}

// Written on board, but not sent by then.
template <class What>
bool was_on_its_way(const std::vector<Logged<What>>& list, const Track& t, Instant from) {
  return std::any_of(list.begin(), list.end(), [&](const Logged<What>& r) {
    return r.at > from && r.at <= t.shown && r.recorded_at > t.shown && (!t.shaft.is_set() || r.shaft == t.shaft) &&
           (!t.lubricator.is_set() || r.lubricator == t.lubricator);
  });
}

Judged of_silence(const MadeVessel& v, const Track& t) {
  const Instant from = t.at_open.began ? t.at_open.began->low : t.first_seen - std::chrono::days{60};
  for (const Truth::Quiet& q : v.truth.silences) {
    if (q.from <= t.shown && q.to >= from && (!q.shaft.is_set() || q.shaft == t.shaft)) return {Verdict::right, -1};
  }
  const VesselLog& l = v.log;
  if (was_on_its_way(l.hours, t, from) || was_on_its_way(l.cycles, t, from) || was_on_its_way(l.levels, t, from) ||
      was_on_its_way(l.refills, t, from) || was_on_its_way(l.greasings, t, from)) {
    return {Verdict::excused, -1};
  }
  return {Verdict::wrong, -1};
}

}  // namespace

std::map<std::string, double> group_rates(const std::vector<MadeVessel>& fleet) {
  std::map<std::string, std::vector<double>> rates;
  for (const MadeVessel& v : fleet) {
    for (const ShaftTruth& s : v.truth.shafts) rates[group_key(v, s)].push_back(s.usual.front());
  }
  std::map<std::string, double> out;
  for (auto& [group, r] : rates) {
    if (r.size() < 3) continue;
    std::sort(r.begin(), r.end());
    out[group] = r[r.size() / 2];
  }
  return out;
}

Judged judge_track(const MadeVessel& vessel, const Track& track, const std::map<std::string, double>& groups) {
  switch (track.kind) {
    case FindingKind::abnormal_washout:
    case FindingKind::seal_wear:
      return of_washout(vessel, track, groups);
    case FindingKind::less_grease_taken:
      return of_fall(vessel, track);
    case FindingKind::missed_cycles:
    case FindingKind::line_leak:
      return of_delivery(vessel, track);
    case FindingKind::alarm_rate: {
      const int i =
          fault_that(vessel, track.first_seen, [&](const Fault& f) { return f.kind == FaultKind::alarm_rate; });
      if (i >= 0) return {Verdict::right, i};
      const int other = fault_that(vessel, track.first_seen, [](const Fault& f) { return !is_of_shaft(f.kind); });
      return {other >= 0 ? Verdict::excused : Verdict::wrong, -1};
    }
    case FindingKind::starved:
      return of_starved(vessel, track);
    case FindingKind::record_suspect:
      return of_record(vessel, track);
    case FindingKind::records_missing:
      return of_silence(vessel, track);
    default:
      return {Verdict::excused, -1};
  }
}

double healthy_years(const MadeVessel& v, FindingKind kind) {
  const Truth& t = v.truth;
  const double all = days_between(t.first, t.last) / 365.25;
  // Of the subject, the time that a fault of the sort and its grace take away.
  const auto without = [&](const std::function<bool(const Fault&)>& fits) {
    double years = all;
    for (const Fault& f : t.faults) {
      if (!fits(f)) continue;
      const Instant end = std::min(f.end == kLatest ? kLatest : f.end + kGrace, t.last);
      years -= days_between(f.onset, end) / 365.25;
    }
    return std::max(0.0, years);
  };
  double sum = 0;
  switch (kind) {
    case FindingKind::abnormal_washout:
    case FindingKind::seal_wear:
    case FindingKind::less_grease_taken:
      for (const ShaftTruth& s : t.shafts) {
        if (kind == FindingKind::less_grease_taken && s.is_fed) continue;  // looked for at the gun's greasings only
        if (s.is_greased) sum += without([&](const Fault& f) { return is_of_shaft(f.kind) && f.shaft == s.shaft; });
      }
      return sum;
    case FindingKind::missed_cycles:
      for (std::size_t i = 0; i < t.lubricators.size(); ++i)
        sum += without([](const Fault& f) { return is_low(f.kind); });
      return sum;
    case FindingKind::line_leak:
      for (std::size_t i = 0; i < t.lubricators.size(); ++i)
        sum += without([](const Fault& f) { return f.kind == FaultKind::line_leak; });
      return sum;
    case FindingKind::alarm_rate:
      for (std::size_t i = 0; i < t.lubricators.size(); ++i)
        sum += without([](const Fault& f) { return !is_of_shaft(f.kind); });
      return sum;
    default:
      return all * static_cast<double>(t.shafts.size());
  }
}

FindingKind kind_at(const Track& track, Instant t) {
  FindingKind kind = track.kind;
  for (const auto& [since, name] : track.named)
    if (since <= t) kind = name;
  return kind;
}

std::vector<FindingKind> kinds_for(FaultKind kind) {
  switch (kind) {
    case FaultKind::step:
      return {FindingKind::abnormal_washout, FindingKind::seal_wear};
    case FaultKind::wear:
      return {FindingKind::seal_wear, FindingKind::abnormal_washout};
    case FaultKind::not_cycling:
    case FaultKind::low_delivery:
    case FaultKind::stuck_device:
    case FaultKind::left_off:
      return {FindingKind::missed_cycles};
    case FaultKind::line_leak:
      return {FindingKind::line_leak};
    case FaultKind::alarm_rate:
      return {FindingKind::alarm_rate};
    case FaultKind::blocked_path:
      return {FindingKind::less_grease_taken};
  }
  return {};
}

int records_since_onset(const MadeVessel& v, const Fault& f, Instant until) {
  int n = 0;
  const auto count = [&](const auto& list, const auto& mine) {
    for (const auto& r : list) n += r.at > f.onset && r.at <= until && mine(r) ? 1 : 0;
  };
  const auto of_lubricator = [&](const auto& r) { return r.lubricator == f.lubricator; };
  if (is_of_shaft(f.kind)) {
    count(v.log.greasings, [&](const auto& r) { return r.shaft == f.shaft && r.what.ended != Ended::not_done; });
  } else if (f.kind == FaultKind::alarm_rate) {
    count(v.log.alarms, of_lubricator);
  } else {
    count(v.log.levels, of_lubricator);
    count(v.log.refills, of_lubricator);
    if (f.kind == FaultKind::not_cycling) count(v.log.cycles, of_lubricator);
    if (f.kind == FaultKind::left_off)
      count(v.log.hours, [&](const auto& r) { return feeds(v, f.lubricator, r.shaft); });
  }
  return n;
}

double run_between(const MadeVessel& v, const Fault& f, Instant a, Instant b) {
  double most = 0;
  for (const ShaftTruth& s : v.truth.shafts) {
    if (is_of_shaft(f.kind) ? s.shaft != f.shaft : !s.is_fed) continue;
    most = std::max(most, v.truth.at(s.hours, b) - v.truth.at(s.hours, a));
  }
  return most;
}

Met meet(const MadeVessel& v, const VesselReplay& replay, std::size_t fault) {
  Met m;
  const Fault& f = v.truth.faults[fault];
  m.fault = &f;
  for (const ShaftTruth& s : v.truth.shafts) m.has_greasings |= s.is_fed && s.is_greased;
  const std::vector<FindingKind> kinds = kinds_for(f.kind);
  const Instant end = std::min(f.end, v.truth.last);
  for (const Track& t : replay.tracks) {
    if (std::find(kinds.begin(), kinds.end(), t.kind) == kinds.end()) continue;
    if (is_of_shaft(f.kind) ? t.shaft != f.shaft : t.lubricator != f.lubricator) continue;
    if (t.told < f.onset) {
      m.was_accused |= t.last_shown >= f.onset;
      continue;
    }
    if (t.told > end || (m.is_found && t.told >= m.told)) continue;
    m.is_found = true;
    m.told = t.told;
    m.track = &t;
    m.right_kind_at_open = t.kind == kinds.front();
    m.right_shaft_at_open = t.at_open.shaft == f.shaft;
  }
  if (!m.is_found) return m;
  m.records = records_since_onset(v, f, m.told);
  m.run_h = run_between(v, f, f.onset, m.told);
  // The last word on the matter before its end.
  const Track* last = m.track;
  for (const Track& t : replay.tracks) {
    if (std::find(kinds.begin(), kinds.end(), t.kind) == kinds.end()) continue;
    if (is_of_shaft(f.kind) ? t.shaft != f.shaft : t.lubricator != f.lubricator) continue;
    if (t.told < f.onset || t.shown > end) continue;
    const Instant until = std::min(t.last_shown, end), best = std::min(last->last_shown, end);
    if (until > best || (until == best && t.shown > last->shown)) last = &t;
  }
  m.last_word = std::min(end, last->last_shown);
  m.right_kind_at_last = kind_at(*last, m.last_word) == kinds.front();
  m.right_shaft_at_last = last->last.shaft == f.shaft;
  return m;
}

}  // namespace shaftlog::judge
