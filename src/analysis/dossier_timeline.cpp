#include "analysis/dossier_parts.hpp"

#include <algorithm>
#include <cmath>
#include <unordered_map>

#include <fmt/format.h>

namespace shaftlog::dossier {
namespace {

constexpr double kStretch_days = 92;  // a line a quarter, so that events stand between the readings
constexpr std::size_t kFewestGaps = 5;
constexpr double kLongerThanUsual = 2.5;  // times the 90 % quantile of this subject's gaps, as docs/methods/silences.md
constexpr double kShortest_days = 14;

std::optional<double> late(Instant at, Instant recorded_at) {
  const double days = days_between(at, recorded_at);
  return days > kLate_days ? std::optional{days} : std::nullopt;
}

template <class What>
void add_record(Work& w, const Logged<What>& r, std::string text, std::vector<TimelineItem>& out) {
  if (!w.concerns(r.shaft, r.lubricator)) return;
  out.push_back({TimelineKind::record,
                 r.at,
                 r.at,
                 r.precision,
                 std::move(text),
                 {r.id},
                 late(r.at, r.recorded_at),
                 r.shaft,
                 r.lubricator});
}

// Readings of one meter, counter or reservoir, gathered into stretches of at most a quarter; `cuts` ends one early.
template <class What, class Cuts, class Say>
void add_stretches(const std::vector<const Logged<What>*>& readings, TimelineKind kind, Cuts cuts, Say say,
                   std::vector<TimelineItem>& out) {
  std::vector<const Logged<What>*> open;
  const auto close = [&] {
    if (open.empty()) return;
    TimelineItem item;
    item.kind = kind;
    item.from = open.front()->at;
    item.to = open.back()->at;
    item.shaft = open.front()->shaft;
    item.lubricator = open.front()->lubricator;
    for (const auto* r : open) {
      item.records.push_back(r->id);
      if (const auto l = late(r->at, r->recorded_at); l && (!item.late_days || *l > *item.late_days))
        item.late_days = l;
    }
    item.text = say(open);
    out.push_back(std::move(item));
  };
  for (const auto* r : readings) {
    if (!open.empty() && (cuts(*open.back(), *r) || days_between(open.front()->at, r->at) > kStretch_days)) {
      const auto* last = open.back();
      close();
      open.clear();
      // The next stretch begins where this one ended, so that no hour is between two lines.
      if (!cuts(*last, *r)) open.push_back(last);
    }
    open.push_back(r);
  }
  close();
}

void add_readings(Work& w, const Dossier& d, std::vector<TimelineItem>& out) {
  std::set<Uuid> left_out;
  for (const Suspect& s : d.suspects) left_out.insert(s.record);
  const HoursCurve& curve = d.detail.hours;
  std::vector<const Logged<Hours>*> hours;
  for (const auto& r : w.log.hours)
    if (r.shaft == w.shaft.id) hours.push_back(&r);
  add_stretches(
      hours, TimelineKind::hours, [](const auto&, const auto& b) { return b.what.is_new_meter; },
      [&](const auto& rows) {
        const double days = days_between(rows.front()->at, rows.back()->at);
        int odd = 0;
        for (const auto* r : rows) odd += left_out.contains(r->id) ? 1 : 0;
        std::string text;
        if (!curve.is_empty() && days > 0) {
          const double run = curve.run_h(rows.front()->at, rows.back()->at);
          text = fmt::format("{:.0f} h run in {:.0f} days ({} a day), ", run, days, figure_text(run / days));
        }
        text += fmt::format("meter {:.1f} to {:.1f} h, {}", in_h(rows.front()->what.reading),
                            in_h(rows.back()->what.reading),
                            count_text(static_cast<double>(rows.size()), "reading", "readings"));
        if (rows.front()->what.is_new_meter) text = "new meter: " + text;
        if (odd > 0) text += fmt::format(", {} of them odd", odd);
        return text;
      },
      out);
  for (const LubricatorId lub : w.feeding) {
    std::vector<const Logged<Cycles>*> counts;
    for (const auto& r : w.log.cycles)
      if (r.lubricator == lub) counts.push_back(&r);
    add_stretches(
        counts, TimelineKind::counts, [](const auto&, const auto& b) { return b.what.is_new_counter; },
        [](const auto& rows) {
          return fmt::format("{} full cycles counted, counter {} to {}, {}{}",
                             rows.back()->what.count - rows.front()->what.count, rows.front()->what.count,
                             rows.back()->what.count,
                             count_text(static_cast<double>(rows.size()), "reading", "readings"),
                             rows.front()->what.is_new_counter ? ", new counter" : "");
        },
        out);
    std::vector<const Logged<LevelReading>*> levels;
    for (const auto& r : w.log.levels)
      if (r.lubricator == lub) levels.push_back(&r);
    add_stretches(
        levels, TimelineKind::levels, [](const auto&, const auto&) { return false; },
        [](const auto& rows) {
          double low = 100, high = 0;
          for (const auto* r : rows) {
            low = std::min(low, in_pct(r->what.level));
            high = std::max(high, in_pct(r->what.level));
          }
          return fmt::format("level {} % at first, {} % at last, between {} and {} %, {}",
                             figure_text(in_pct(rows.front()->what.level)),
                             figure_text(in_pct(rows.back()->what.level)), figure_text(low), figure_text(high),
                             count_text(static_cast<double>(rows.size()), "reading", "readings"));
        },
        out);
  }
}

void add_alarms(Work& w, std::vector<TimelineItem>& out) {
  std::unordered_map<Uuid, const Logged<Alarm>*> by_id;
  for (const auto& a : w.log.alarms) by_id[a.id] = &a;
  for (const AlarmEpisode& e : merge_alarms(w.log.alarms, w.in.as_of)) {
    if (!w.concerns(e.shaft, e.lubricator)) continue;
    TimelineItem item{
        TimelineKind::alarm, e.raised, e.cleared.value_or(w.in.as_of), Precision::minute, "", e.records, {}, e.shaft,
        e.lubricator};
    for (const Uuid& id : e.records) {
      const auto* r = by_id.at(id);
      if (const auto l = late(r->at, r->recorded_at); l && !item.late_days) item.late_days = l;
    }
    std::string kind{name_of(e.alarm)};
    std::replace(kind.begin(), kind.end(), '_', ' ');
    const double h = hours_between(e.raised, item.to);
    const std::string lasted = h < 1    ? fmt::format("{:.0f} minutes", h * 60)
                               : h < 48 ? fmt::format("{} hours", figure_text(h))
                                        : fmt::format("{:.0f} days", h / 24);
    item.text = fmt::format("{}, {}{}", kind, e.cleared ? "stood " + lasted : "standing for " + lasted,
                            e.records.size() > 1 ? fmt::format(", raised {} times", e.records.size()) : "");
    out.push_back(std::move(item));
  }
}

std::string setting_text(Work& w, const ShaftSetting& s) {
  std::string plan;
  if (s.interval) plan = fmt::format("{:.0f} h", in_h(*s.interval));
  if (s.interval_days) plan += fmt::format("{}{} days", plan.empty() ? "" : " or ", *s.interval_days);
  return fmt::format("register: cavity {}, greasing every {}, reserve {}, grease {}",
                     s.cavity ? fmt::format("{} cm3", figure_text(in_cm3(*s.cavity))) : "not known",
                     plan.empty() ? "(no interval registered)" : plan,
                     s.reserve ? fmt::format("{} %", figure_text(in_pct(*s.reserve))) : "20 % (none registered)",
                     w.grease(s.grease));
}

void add_settings(Work& w, Instant first, std::vector<TimelineItem>& out) {
  const auto add = [&](const std::optional<Stamp>& from, std::string text, ShaftId s, LubricatorId l) {
    const Instant at = from ? std::max(from->utc, kEarliest) : first;
    if (at > w.in.as_of) return;
    out.push_back({TimelineKind::setting, at, at, Precision::day, std::move(text), {}, {}, s, l});
  };
  for (const ShaftSetting& s : w.shaft.settings) add(s.from, setting_text(w, s), w.shaft.id, {});
  for (const LubricatorId id : w.feeding) {
    const Lubricator* l = w.find_lubricator(id);
    if (l == nullptr) continue;
    for (const LubricatorSetting& s : l->settings)
      add(s.from,
          fmt::format("register: reservoir {} cm3, low mark {}, grease {}", figure_text(in_cm3(s.reservoir)),
                      s.low_level ? fmt::format("{} cm3", figure_text(in_cm3(*s.low_level))) : "10 % (none registered)",
                      w.grease(s.grease)),
          {}, id);
  }
  for (const Feed& f : w.log.feeds) {
    if (f.shaft != w.shaft.id) continue;
    const Lubricator* l = w.find_lubricator(f.lubricator);
    add(f.from,
        f.dose.base() == 0 ? fmt::format("register: feed from {} off", l == nullptr ? "?" : l->code)
                           : fmt::format("register: feed from {}, {} cm3 a full cycle, a cycle every {} min of running",
                                         l == nullptr ? "?" : l->code, figure_text(in_cm3(f.dose)),
                                         figure_text(static_cast<double>(f.cycle_s) / 60)),
        w.shaft.id, f.lubricator);
  }
  std::set<GunId> used;
  for (const auto& g : w.log.greasings)
    if (g.shaft == w.shaft.id && g.what.gun.is_set()) used.insert(g.what.gun);
  for (const Gun& gun : w.log.guns) {
    if (!used.contains(gun.id)) continue;
    for (const GunCalibration& c : gun.calibrations)
      add(c.from, fmt::format("register: gun {} {} cm3 a stroke", gun.code, figure_text(in_cm3(c.per_stroke))),
          w.shaft.id, {});
  }
}

void add_changes_of_log(Work& w, std::vector<TimelineItem>& out) {
  std::unordered_map<Uuid, const Entry*> by_id;
  for (const Entry& e : w.in.entries) by_id[e.head.id] = &e;
  for (const Entry& e : w.in.entries) {
    const auto& about = e.is_withdrawal() ? e.head.withdraws : e.head.replaces;
    if (!about) continue;
    const auto old = by_id.find(*about);
    const bool is_ours = w.concerns(e.shaft, e.lubricator) ||
                         (old != by_id.end() && w.concerns(old->second->shaft, old->second->lubricator));
    if (!is_ours) continue;
    TimelineItem item{e.is_withdrawal() ? TimelineKind::withdrawal : TimelineKind::correction,
                      e.head.recorded_at.utc,
                      e.head.recorded_at.utc,
                      Precision::minute,
                      "",
                      {*about, e.head.id},
                      {},
                      e.shaft,
                      e.lubricator};
    const Instant event = old != by_id.end() ? old->second->head.at.utc : e.head.at.utc;
    item.late_days = late(event, e.head.recorded_at.utc);
    out.push_back(std::move(item));
  }
}

// The register is used as it stands; that a row of it was another before is told as it was.
void add_put_right(Work& w, std::vector<TimelineItem>& out) {
  for (const PutRight& r : w.in.put_right) {
    if (r.at > w.in.as_of) continue;
    out.push_back({TimelineKind::correction,
                   r.at,
                   r.at,
                   Precision::minute,
                   fmt::format("register: {} put right{}; it was {}", r.row, r.by.empty() ? "" : " by " + r.by, r.was),
                   {},
                   {},
                   w.shaft.id,
                   {}});
  }
}

struct Written {
  Instant at{};
  Uuid id;
};

void add_gaps_of(Work& w, std::vector<Written> marks, std::string_view what, ShaftId s, LubricatorId l,
                 std::vector<TimelineItem>& out) {
  std::sort(marks.begin(), marks.end(),
            [](const Written& a, const Written& b) { return a.at != b.at ? a.at < b.at : a.id < b.id; });
  std::vector<double> gaps;
  for (std::size_t i = 1; i < marks.size(); ++i) {
    const double days = days_between(marks[i - 1].at, marks[i].at);
    if (days > 0.5) gaps.push_back(days);
  }
  if (gaps.size() < kFewestGaps) return;
  std::sort(gaps.begin(), gaps.end());
  const double usual = gaps[static_cast<std::size_t>(0.9 * static_cast<double>(gaps.size() - 1))];
  // Long gaps must not make themselves the habit: those over the first limit are left out of the second.
  const double median = gaps[gaps.size() / 2];
  std::erase_if(gaps, [&](double g) { return g > kLongerThanUsual * std::max(median, 1.0); });
  const double habit =
      gaps.empty() ? usual : gaps[static_cast<std::size_t>(0.9 * static_cast<double>(gaps.size() - 1))];
  const double limit = std::max(kLongerThanUsual * habit, kShortest_days);
  marks.push_back({w.in.as_of, {}});
  const HoursCurve& curve = w.detail(w.in.as_of).hours;
  for (std::size_t i = 1; i < marks.size(); ++i) {
    const Instant a = marks[i - 1].at, b = marks[i].at;
    const double days = days_between(a, b);
    if (days <= limit) continue;
    bool docked = false;
    for (const auto& x : w.log.work)
      docked |= (x.what.work == WorkKind::docked || x.what.work == WorkKind::undocked) && x.at >= a && x.at <= b;
    std::string text =
        fmt::format("no {} for {:.0f} days{}; between two of the others there are in 9 of 10 cases at most {:.0f} days",
                    what, days, marks[i].id.is_nil() ? ", up to the end of the view" : "", habit);
    if (s.is_set() && !curve.is_empty() && curve.last() > a) {
      const double run = curve.run_h(a, std::min(b, curve.last()));
      text +=
          fmt::format("; {:.0f} running hours by the meter{}", run, b > curve.last() ? " as far as it was read" : "");
    }
    if (!s.is_set() && !l.is_set()) text += " (the usual gap of the review also counts how late its records come)";
    if (docked) text += "; a docking falls into it";
    TimelineItem item{TimelineKind::gap, a, b, Precision::minute, std::move(text), {marks[i - 1].id}, {}, s, l};
    if (!marks[i].id.is_nil()) item.records.push_back(marks[i].id);
    out.push_back(std::move(item));
  }
}

void add_gaps(Work& w, std::vector<TimelineItem>& out) {
  std::vector<Written> all, hours, greasings;
  const auto gather = [](const auto& rows, std::vector<Written>& into, const auto& wanted) {
    for (const auto& r : rows)
      if (wanted(r)) into.push_back({r.at, r.id});
  };
  const auto any = [](const auto&) { return true; };
  gather(w.log.hours, all, any);
  gather(w.log.cycles, all, any);
  gather(w.log.levels, all, any);
  gather(w.log.refills, all, any);
  gather(w.log.greasings, all, any);
  gather(w.log.alarms, all, any);
  gather(w.log.work, all, any);
  gather(w.log.inspections, all, any);
  add_gaps_of(w, std::move(all), "record of any kind from the ship", {}, {}, out);
  const auto own = [&](const auto& r) { return r.shaft == w.shaft.id; };
  gather(w.log.hours, hours, own);
  gather(w.log.greasings, greasings, own);
  add_gaps_of(w, std::move(hours), "hour meter reading", w.shaft.id, {}, out);
  add_gaps_of(w, std::move(greasings), "greasing recorded", w.shaft.id, {}, out);
  for (const LubricatorId id : w.feeding) {
    const auto mine = [&](const auto& r) { return r.lubricator == id; };
    std::vector<Written> reservoir, counts;
    gather(w.log.levels, reservoir, mine);
    gather(w.log.refills, reservoir, mine);
    gather(w.log.cycles, counts, mine);
    add_gaps_of(w, std::move(reservoir), "level or refill", {}, id, out);
    add_gaps_of(w, std::move(counts), "cycle counter reading", {}, id, out);
  }
}

}  // namespace

void add_timeline(Work& w, Dossier& d) {
  std::vector<TimelineItem>& out = d.timeline;
  const HoursCurve& curve = d.detail.hours;
  Instant first = w.in.as_of;
  const auto earliest = [&](const auto& rows) {
    for (const auto& r : rows)
      if (w.concerns(r.shaft, r.lubricator)) first = std::min(first, r.at);
  };
  earliest(w.log.hours);
  earliest(w.log.greasings);
  earliest(w.log.refills);
  earliest(w.log.work);
  add_settings(w, first, out);
  if (w.in.every_reading) {
    for (const auto& r : w.log.hours) add_record(w, r, "", out);
    for (const auto& r : w.log.cycles) add_record(w, r, "", out);
    for (const auto& r : w.log.levels) add_record(w, r, "", out);
  } else {
    add_readings(w, d, out);
  }
  std::optional<Instant> before;
  for (const auto& g : w.log.greasings) {
    if (g.shaft != w.shaft.id) continue;
    std::string text;
    if (before && !curve.is_empty() && g.at <= curve.last() + std::chrono::days{31})
      text = fmt::format("{:.0f} h and {} after the last", curve.run_h(*before, g.at),
                         count_text(std::round(days_between(*before, g.at)), "day", "days"));
    add_record(w, g, std::move(text), out);
    if (g.what.ended != Ended::not_done) before = g.at;
  }
  for (const auto& r : w.log.refills) add_record(w, r, "", out);
  for (const auto& r : w.log.work) add_record(w, r, "", out);
  for (const auto& r : w.log.inspections) add_record(w, r, "", out);
  add_alarms(w, out);
  add_changes_of_log(w, out);
  add_put_right(w, out);
  add_gaps(w, out);
  std::stable_sort(out.begin(), out.end(), [](const TimelineItem& a, const TimelineItem& b) {
    if (a.from != b.from) return a.from < b.from;
    if (a.kind != b.kind) return a.kind < b.kind;
    return !a.records.empty() && !b.records.empty() && a.records.front() < b.records.front();
  });
}

void add_lateness(Work& w, Dossier& d) {
  const Instant end = d.lives[d.focus].to;
  std::vector<std::pair<double, Uuid>> lags;
  Lateness& l = d.lateness;
  const auto look = [&](const auto& rows) {
    for (const auto& r : rows) {
      if (!w.concerns(r.shaft, r.lubricator)) continue;
      const double days = std::max(0.0, days_between(r.at, r.recorded_at));
      lags.emplace_back(-days, r.id);
      if (r.at >= end) continue;
      ++l.before_the_end;
      if (r.recorded_at > end) ++l.after_the_end;
    }
  };
  look(w.log.hours);
  look(w.log.cycles);
  look(w.log.levels);
  look(w.log.refills);
  look(w.log.greasings);
  look(w.log.alarms);
  look(w.log.work);
  look(w.log.inspections);
  std::sort(lags.begin(), lags.end());
  l.records = static_cast<int>(lags.size());
  for (const auto& [minus, id] : lags) {
    if (-minus <= kLate_days) break;
    ++l.late;
    if (l.late_records.size() < 20) l.late_records.push_back(id);
  }
  if (!lags.empty()) {
    l.longest_days = -lags.front().first;
    l.p90_days = -lags[lags.size() / 10].first;
    l.median_days = -lags[lags.size() / 2].first;
  }
  for (const TimelineItem& t : d.timeline) {
    l.corrected += t.kind == TimelineKind::correction && !t.records.empty() ? 1 : 0;
    l.withdrawn += t.kind == TimelineKind::withdrawal ? 1 : 0;
  }
}

}  // namespace shaftlog::dossier
