#include "analysis/schedule.hpp"

#include "analysis/dockings.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>
#include <set>
#include <utility>

namespace shaftlog {
namespace {

constexpr double kNoCycle_h = 0;

bool concerns(const Logged<Work>& w, LubricatorId lubricator) {
  return w.lubricator == lubricator || (!w.lubricator.is_set() && !w.shaft.is_set());
}

void add_span(std::vector<Span>& spans, Instant from, Instant to) {
  if (to > from) spans.push_back({from, to});
}

std::vector<Span> merged(std::vector<Span> spans) {
  std::sort(spans.begin(), spans.end(),
            [](const Span& a, const Span& b) { return a.from != b.from ? a.from < b.from : a.to < b.to; });
  std::vector<Span> out;
  for (const Span& s : spans) {
    if (!out.empty() && s.from <= out.back().to)
      out.back().to = std::max(out.back().to, s.to);
    else
      out.push_back(s);
  }
  return out;
}

bool covers(const std::vector<Span>& spans, Instant t) {
  const auto next =
      std::upper_bound(spans.begin(), spans.end(), t, [](Instant x, const Span& s) { return x < s.from; });
  return next != spans.begin() && t < std::prev(next)->to;
}

/// Spans in which no cycle runs (`off`) and in which cycles may run but move no grease (`empty`).
struct Stands {
  std::vector<Span> off, empty;
};

Stands stands_of(const VesselLog& log, LubricatorId lubricator, Instant as_of) {
  Stands s;
  for (const OffSpan& o : off_spans(log, lubricator, as_of)) add_span(s.off, o.from, o.to);
  for (const Logged<Alarm>& a : log.alarms) {
    if (a.at > as_of || a.lubricator != lubricator) continue;
    const bool is_empty = a.what.alarm == AlarmKind::empty;
    if (!is_empty && a.what.alarm != AlarmKind::power_fault) continue;
    Instant to = a.what.cleared ? std::min(a.what.cleared->utc, as_of) : as_of;
    // Nobody refills an empty reservoir and leaves it empty: an alarm not cleared by then was forgotten.
    if (is_empty)
      for (const Logged<Refill>& r : log.refills)
        if (r.lubricator == lubricator && r.at > a.at && r.at < to) {
          to = r.at;
          break;
        }
    add_span(is_empty ? s.empty : s.off, a.at, to);
  }
  s.off = merged(std::move(s.off));
  s.empty = merged(std::move(s.empty));
  return s;
}

/// Use of one shaft in each interval between moments, by its own two readings around it.
struct OwnUse {
  std::vector<double> per_h;   // hours run an hour of the calendar; index of the interval's end
  std::vector<double> span_d;  // days between the readings; 0: not between two
  double usual_per_h = 0;      // over all its readings
};

double docked_h(const std::vector<Span>& docked, Instant a, Instant b) {
  double sum = 0;
  for (const Span& s : docked)
    if (s.to > a && s.from < b) sum += hours_between(std::max(a, s.from), std::min(b, s.to));
  return sum;
}

OwnUse own_use(const HoursCurve& curve, const std::vector<Instant>& moments, const std::vector<Span>& docked) {
  OwnUse u;
  u.per_h.assign(moments.size() + 1, 0.0);
  u.span_d.assign(moments.size() + 1, 0.0);
  const std::vector<HoursCurve::Point>& p = curve.points();
  if (p.size() < 2 || p.back().at <= p.front().at) return u;
  u.usual_per_h = (p.back().hours - p.front().hours) / hours_between(p.front().at, p.back().at);
  std::size_t next = 0;  // first reading behind the interval's beginning
  for (std::size_t k = 1; k < moments.size(); ++k) {
    while (next < p.size() && p[next].at <= moments[k - 1]) ++next;
    if (next == 0 || next == p.size()) continue;
    u.span_d[k] = days_between(p[next - 1].at, p[next].at);
    const double hours = p[next].hours - p[next - 1].hours,
                 at_sea = 24 * u.span_d[k] - docked_h(docked, p[next - 1].at, p[next].at);
    const bool ran_at_sea = hours <= at_sea;
    u.per_h[k] = !ran_at_sea || at_sea <= 0       ? hours / (24 * u.span_d[k])
                 : covers(docked, moments[k - 1]) ? 0.0
                                                  : hours / at_sea;
  }
  return u;
}

/// How much the ship's shafts ran in each interval against their usual use: those read most often tell most.
/// \return for each interval, at the index of its end; below 0: no shaft's readings lie around it
std::vector<double> pattern_of(const std::vector<OwnUse>& uses, std::size_t moments) {
  constexpr double kLeastSpan_d = 0.5;  // readings of two shafts minutes apart are no closer than that
  std::vector<double> pattern(moments + 1, -1.0);
  for (std::size_t k = 1; k < moments; ++k) {
    double sum = 0, weight = 0;
    for (const OwnUse& u : uses) {
      if (u.span_d[k] <= 0 || u.usual_per_h < 0.002) continue;
      const double w = std::pow(std::max(kLeastSpan_d, u.span_d[k]), -6.0);
      sum += w * u.per_h[k] / u.usual_per_h;
      weight += w;
    }
    if (weight > 0) pattern[k] = sum / weight;
  }
  return pattern;
}

/// Running hours of one shaft in each interval: its own between two readings, spread as the ship's shafts ran in that
/// time, and none in dock where the rest of the time can hold them; beyond its readings as the others ran.
/// \param moments rising, with all points of the curve and all ends of `docked` that lie among them
/// \return one value for each interval at the index of its end
std::vector<double> runs_between(const HoursCurve& curve, const OwnUse& own, const std::vector<double>& pattern,
                                 const std::vector<Instant>& moments, const std::vector<Span>& docked) {
  std::vector<double> run(moments.size() + 1, 0.0), share(moments.size() + 1, 0.0);
  const std::vector<HoursCurve::Point>& points = curve.points();
  std::size_t next = 0;  // first reading behind the interval's beginning
  for (std::size_t k = 1; k < moments.size();) {
    while (next < points.size() && points[next].at <= moments[k - 1]) ++next;
    const bool is_read = next > 0 && next < points.size();
    const Instant until = next < points.size() ? points[next].at : kLatest;
    std::size_t end = k;
    double all = 0, time = 0, at_sea = 0;
    for (; end < moments.size() && moments[end] <= until; ++end) {
      const double hours = hours_between(moments[end - 1], moments[end]);
      const bool in_dock = covers(docked, moments[end - 1]);
      share[end] = in_dock ? 0.0 : (pattern[end] >= 0 ? pattern[end] + 0.02 : 1.0) * hours;
      all += share[end];
      time += hours;
      at_sea += in_dock ? 0.0 : hours;
    }
    if (end == k) ++end;
    const double hours = is_read ? points[next].hours - points[next - 1].hours : 0.0;
    if (is_read && hours > at_sea) {  // it ran in dock, or the docking is wrongly dated
      for (std::size_t i = k; i < end; ++i) share[i] = hours_between(moments[i - 1], moments[i]);
      all = time;
    }
    double left = hours, room = 0;
    for (std::size_t i = k; i < end; ++i) {
      const double widest = hours_between(moments[i - 1], moments[i]);
      if (is_read)
        run[i] = all > 0 ? std::min(widest, hours * share[i] / all) : 0.0;
      else if (share[i] > 0)
        run[i] = std::min(widest, pattern[i] >= 0 && own.usual_per_h > 0 ? own.usual_per_h * pattern[i] * widest
                                                                         : curve.use_h_per_day() / 24 * widest);
      left -= run[i];
      room += widest - run[i];
    }
    if (is_read && left > 1e-9 && room > 0)  // more than the calendar holds there: into the rest
      for (std::size_t i = k; i < end; ++i)
        run[i] += left * (hours_between(moments[i - 1], moments[i]) - run[i]) / room;
    k = end;
  }
  return run;
}

struct CounterPoint {
  Instant at{};
  double cycles = 0;
  bool is_counted = true;  // since the point before
};

/// Counts since the first reading. A count that falls with no mark is a reset at power-up when the later readings go
/// on from it, else a slip that is left out.
std::vector<CounterPoint> count(const VesselLog& log, LubricatorId lubricator, Instant as_of) {
  std::vector<const Logged<Cycles>*> read;
  for (const Logged<Cycles>& c : log.cycles)
    if (c.lubricator == lubricator && c.at <= as_of) read.push_back(&c);
  std::vector<CounterPoint> points;
  std::int64_t shown = 0;
  double sum = 0;
  for (std::size_t i = 0; i < read.size(); ++i) {
    const Cycles& c = read[i]->what;
    bool is_counted = true;
    if (!points.empty()) {
      const Cycles* next = i + 1 < read.size() ? &read[i + 1]->what : nullptr;
      if (c.is_new_counter) {
        // The cycles between the last reading and the change are not known; the row says where the new one starts.
        is_counted = false;
      } else if (c.count >= shown) {
        // A reading that the next one falls behind, though that one agrees with the reading before, was too high.
        if (next && !next->is_new_counter && next->count < c.count && next->count >= shown) continue;
        sum += static_cast<double>(c.count - shown);
      } else {
        const bool goes_on = !next || next->is_new_counter || (next->count >= c.count && next->count < shown);
        if (!goes_on) continue;
        is_counted = false;  // from 0 at power-up, and nobody read it before
      }
    }
    shown = c.count;
    if (!points.empty() && points.back().at == read[i]->at) {
      points.back().cycles = sum;
      points.back().is_counted = points.back().is_counted && is_counted;
    } else {
      points.push_back({read[i]->at, sum, is_counted});
    }
  }
  return points;
}

}  // namespace

std::vector<OffSpan> off_spans(const VesselLog& log, LubricatorId lubricator, Instant as_of) {
  std::vector<OffSpan> out;
  for (const Logged<Work>& w : log.work) {
    if (w.at > as_of || !concerns(w, lubricator)) continue;
    const bool is_off = !out.empty() && out.back().is_open;
    if (w.what.work == WorkKind::lubricator_off && !is_off) out.push_back({w.at, as_of, w.id, true});
    if (w.what.work == WorkKind::lubricator_on && is_off) out.back().to = w.at, out.back().is_open = false;
  }
  return out;
}

double Schedule::Curve::at(std::int64_t s) const {
  if (t.empty()) return 0;
  if (s <= t.front()) return y.front();
  if (s >= t.back()) return y.back() + after * static_cast<double>(s - t.back());
  const auto i = static_cast<std::size_t>(std::upper_bound(t.begin(), t.end(), s) - t.begin());
  const double part = static_cast<double>(s - t[i - 1]) / static_cast<double>(t[i] - t[i - 1]);
  return y[i - 1] + part * (y[i] - y[i - 1]);
}

Schedule::Schedule(const VesselLog& log, const std::map<ShaftId, HoursCurve>& hours, Instant as_of) : hours_{hours} {
  const std::vector<Span> docked = dockings_of(log, hours, as_of).spans;
  for (const Lubricator& l : log.lubricators) {
    Unit unit;
    const Stands stands = stands_of(log, l.id, as_of);
    unit.standstills = stands.off;
    unit.standstills.insert(unit.standstills.end(), stands.empty.begin(), stands.empty.end());
    unit.standstills = merged(std::move(unit.standstills));
    const std::vector<CounterPoint> counter = count(log, l.id, as_of);
    for (const CounterPoint& c : counter) unit.read.push_back(c.at);

    // Between two of these moments every rate is constant.
    std::set<Instant> moments{as_of};
    const auto mark = [&](Instant t) {
      if (t <= as_of) moments.insert(t);
    };
    for (const Feed& f : log.feeds) {
      if (f.lubricator != l.id) continue;
      if (unit.feeds.empty() || unit.feeds.back().shaft != f.shaft) {
        unit.feeds.emplace_back();
        unit.feeds.back().shaft = f.shaft;
      }
      FeedLine& line = unit.feeds.back();
      const Instant from = f.from ? f.from->utc : kEarliest;
      if (!line.spans.empty()) line.spans.back().to = from;
      line.spans.push_back(
          {from, kLatest, in_cm3(f.dose), f.cycle_s > 0 ? static_cast<double>(f.cycle_s) / 3600.0 : kNoCycle_h});
      if (f.from) mark(from);
    }
    for (const FeedLine& f : unit.feeds)
      if (const auto h = hours_.find(f.shaft); h != hours_.end())
        for (const HoursCurve::Point& p : h->second.points()) mark(p.at);
    for (const Span& s : unit.standstills) mark(s.from), mark(s.to);
    for (const Span& s : docked) mark(s.from), mark(s.to);
    for (const CounterPoint& c : counter) mark(c.at);
    for (const auto& r : log.refills)
      if (r.lubricator == l.id) mark(r.at);
    for (const auto& r : log.levels)
      if (r.lubricator == l.id) mark(r.at);

    const std::vector<Instant> ts{moments.begin(), moments.end()};
    const std::size_t n = ts.size();
    const auto start = [&](Curve& c) {
      c.t.reserve(n);
      for (const Instant t : ts) c.t.push_back(in_unix_s(t));
      c.y.assign(n, 0.0);
    };
    start(unit.called_cm3);
    start(unit.expected_cm3);
    if (counter.size() > 1) start(unit.counted);
    for (FeedLine& f : unit.feeds) start(f.called_cm3), start(f.expected_cm3), start(f.cycles);

    // Interval n is the time after the last moment, taken over one day: its rates carry the curves on.
    std::vector<double> weight(n, 0.0), shortest(n + 1, 0.0);
    std::vector<OwnUse> uses;
    for (const FeedLine& f : unit.feeds)
      if (const auto h = hours_.find(f.shaft); h != hours_.end())
        uses.push_back(own_use(h->second, ts, docked));
      else
        uses.push_back({std::vector<double>(n + 1, 0.0), std::vector<double>(n + 1, 0.0), 0.0});
    const std::vector<double> pattern = pattern_of(uses, n);
    std::vector<std::vector<double>> run;
    for (std::size_t i = 0; i < unit.feeds.size(); ++i) {
      const auto h = hours_.find(unit.feeds[i].shaft);
      if (h == hours_.end() || h->second.is_empty()) {
        run.emplace_back(n + 1, 0.0);
        continue;
      }
      run.push_back(runs_between(h->second, uses[i], pattern, ts, docked));
      run.back()[n] = h->second.run_h(ts[n - 1], ts[n - 1] + std::chrono::days{1});
    }
    const auto span_at = [&](const FeedLine& f, Instant t) {
      const FeedSpan* held = nullptr;
      for (const FeedSpan& s : f.spans)
        if (s.from <= t && t < s.to) held = &s;
      return held;
    };
    const auto end_of = [&](std::size_t k) { return k < n ? ts[k] : ts[n - 1] + std::chrono::days{1}; };
    for (std::size_t k = 1; k <= n; ++k) {
      const Instant a = ts[k - 1];
      double least = std::numeric_limits<double>::infinity();
      for (const FeedLine& f : unit.feeds)
        if (const FeedSpan* s = span_at(f, a); s && s->dose_cm3 > 0 && s->cycle_h > 0)
          least = std::min(least, s->cycle_h);
      shortest[k] = std::isfinite(least) ? least : 0.0;
      double most = 0;
      for (std::size_t i = 0; i < unit.feeds.size(); ++i)
        if (const FeedSpan* s = span_at(unit.feeds[i], a); s && s->dose_cm3 > 0) most = std::max(most, run[i][k]);
      if (k < n && shortest[k] > 0 && !covers(stands.off, a)) weight[k] = most / shortest[k];
    }

    std::vector<double> counted(n, -1.0);  // cycles in each interval; below 0: not counted
    for (std::size_t c = 1; c < counter.size(); ++c) {
      if (!counter[c].is_counted) {
        add_span(unit.not_counted, counter[c - 1].at, counter[c].at);
        continue;
      }
      const auto first =
          static_cast<std::size_t>(std::lower_bound(ts.begin(), ts.end(), counter[c - 1].at) - ts.begin());
      const auto last = static_cast<std::size_t>(std::lower_bound(ts.begin(), ts.end(), counter[c].at) - ts.begin());
      double sum = 0;
      for (std::size_t k = first + 1; k <= last; ++k) sum += weight[k];
      const double cycles = counter[c].cycles - counter[c - 1].cycles;
      const double time = hours_between(counter[c - 1].at, counter[c].at);
      for (std::size_t k = first + 1; k <= last; ++k)
        counted[k] = cycles * (sum > 0 ? weight[k] / sum : hours_between(ts[k - 1], ts[k]) / time);
    }

    for (std::size_t k = 1; k <= n; ++k) {
      const Instant a = ts[k - 1];
      const double seconds = static_cast<double>((end_of(k) - a).count());
      const bool is_off = covers(stands.off, a), is_empty = covers(stands.empty, a);
      // Standing at as_of: nothing says when it ends, so what comes after is told by the settings alone.
      const bool stands_still = k < n && (is_off || is_empty);
      double called_all = 0, expected_all = 0;
      for (std::size_t i = 0; i < unit.feeds.size(); ++i) {
        FeedLine& f = unit.feeds[i];
        const FeedSpan* s = span_at(f, a);
        const bool feeds = s && s->dose_cm3 > 0 && s->cycle_h > 0;
        const double called = feeds ? run[i][k] / s->cycle_h * s->dose_cm3 : 0.0;
        const double cycles = feeds && shortest[k] > 0 ? run[i][k] / shortest[k] : 0.0;
        double expected = stands_still ? 0.0 : called;
        if (k < n && counted[k] >= 0)
          expected = feeds && !is_empty ? counted[k] * (shortest[k] / s->cycle_h) * s->dose_cm3 : 0.0;
        called_all += called;
        expected_all += expected;
        const auto put = [&](Curve& c, double amount) {
          if (k < n)
            c.y[k] = c.y[k - 1] + amount;
          else
            c.after = amount / seconds;
        };
        put(f.called_cm3, called);
        put(f.expected_cm3, expected);
        put(f.cycles, cycles);
      }
      const auto put = [&](Curve& c, double amount) {
        if (k < n)
          c.y[k] = c.y[k - 1] + amount;
        else
          c.after = amount / seconds;
      };
      put(unit.called_cm3, called_all);
      put(unit.expected_cm3, expected_all);
      if (!unit.counted.t.empty() && k < n) unit.counted.y[k] = unit.counted.y[k - 1] + std::max(0.0, counted[k]);
    }

    if (!unit.counted.t.empty()) {  // keep only what the readings bracket
      Curve c;
      for (std::size_t k = 0; k < n; ++k)
        if (ts[k] >= counter.front().at && ts[k] <= counter.back().at) {
          c.t.push_back(unit.counted.t[k]);
          c.y.push_back(unit.counted.y[k]);
        }
      unit.counted = std::move(c);
    }
    units_.emplace(l.id, std::move(unit));
  }
}

const Schedule::Unit* Schedule::find(LubricatorId lubricator) const {
  const auto u = units_.find(lubricator);
  return u == units_.end() ? nullptr : &u->second;
}

const Schedule::FeedLine* Schedule::find(const Unit& unit, ShaftId shaft) {
  for (const FeedLine& f : unit.feeds)
    if (f.shaft == shaft) return &f;
  return nullptr;
}

double Schedule::called_for_cm3(LubricatorId lubricator, ShaftId shaft, Instant a, Instant b) const {
  const Unit* u = find(lubricator);
  const FeedLine* f = u ? find(*u, shaft) : nullptr;
  return f ? f->called_cm3.between(a, b) : 0.0;
}

double Schedule::called_for_cm3(LubricatorId lubricator, Instant a, Instant b) const {
  const Unit* u = find(lubricator);
  return u ? u->called_cm3.between(a, b) : 0.0;
}

double Schedule::called_for_cycles(LubricatorId lubricator, Instant a, Instant b) const {
  const Unit* u = find(lubricator);
  double most = 0;
  if (u)
    for (const FeedLine& f : u->feeds) most = std::max(most, f.cycles.between(a, b));
  return most;
}

double Schedule::called_for_cycles(LubricatorId lubricator, ShaftId shaft, Instant a, Instant b) const {
  const Unit* u = find(lubricator);
  const FeedLine* f = u ? find(*u, shaft) : nullptr;
  return f ? f->cycles.between(a, b) : 0.0;
}

double Schedule::moment_sd_h(const Unit& unit, ShaftId shaft, Instant t) const {
  constexpr double kLayStill = 0.4;  // sd of the use behind the last reading, as a part of it: a ship may lie still
  constexpr double kOwnWay = 0.12;   // sd of a shaft's hours against those of its sisters
  const auto h = hours_.find(shaft);
  if (h == hours_.end() || h->second.is_empty()) return 0;
  const auto alone = [t](const HoursCurve& c) {
    if (t <= c.last()) return c.moment_sd_h(t);
    return std::hypot(c.run_sd_h(c.last(), t), kLayStill * c.use_h_per_day() * days_between(c.last(), t));
  };
  const HoursCurve& own = h->second;
  double sd = alone(own);
  if (own.points().size() < 2 || t <= own.first() || sd <= 0) return sd;
  // A sister that was read nearer to the moment tells how the ship ran.
  const auto next = std::lower_bound(own.points().begin(), own.points().end(), t,
                                     [](const HoursCurve::Point& p, Instant x) { return p.at < x; });
  const double since = days_between(std::prev(next)->at, t);
  const double until = next == own.points().end() ? since : days_between(t, next->at);
  const double per_day = std::max(own.use_h_per_day(), 0.5);
  for (const FeedLine& f : unit.feeds) {
    if (f.shaft == shaft) continue;
    const auto s = hours_.find(f.shaft);
    if (s == hours_.end() || s->second.points().size() < 2 || s->second.use_h_per_day() <= 0) continue;
    const double scale = std::min(3.0, per_day / std::max(0.5, s->second.use_h_per_day()));
    sd = std::min(sd, std::hypot(scale * alone(s->second), kOwnWay * per_day * std::min(since, until)));
  }
  return sd;
}

double Schedule::called_for_moment_sd_cm3(LubricatorId lubricator, Instant t) const {
  const Unit* u = find(lubricator);
  double sum = 0;  // shafts of one ship are in doubt at the same times
  if (u)
    for (const FeedLine& f : u->feeds)
      for (const FeedSpan& s : f.spans)
        if (s.from <= t && t < s.to && s.cycle_h > 0) sum += s.dose_cm3 / s.cycle_h * moment_sd_h(*u, f.shaft, t);
  return sum;
}

double Schedule::called_for_moment_sd_cycles(LubricatorId lubricator, Instant t) const {
  const Unit* u = find(lubricator);
  double most = 0;
  if (u)
    for (const FeedLine& f : u->feeds)
      for (const FeedSpan& s : f.spans)
        if (s.from <= t && t < s.to && s.cycle_h > 0 && s.dose_cm3 > 0)
          most = std::max(most, moment_sd_h(*u, f.shaft, t) / s.cycle_h);
  return most;
}

double Schedule::expected_moment_sd_cm3(LubricatorId lubricator, Instant t) const {
  const Unit* u = find(lubricator);
  if (!u) return 0;
  const double by_hours = called_for_moment_sd_cm3(lubricator, t);
  if (u->counted.t.empty() || in_unix_s(t) < u->counted.t.front() || in_unix_s(t) > u->counted.t.back())
    return by_hours;
  const auto next = std::lower_bound(u->read.begin(), u->read.end(), t);
  if (next != u->read.end() && *next == t) return 0;
  if (next == u->read.begin() || next == u->read.end()) return by_hours;
  // Cycles between two counts may lie anywhere between them, the more surely the nearer one of them is.
  const double between = expected_cm3(lubricator, *std::prev(next), *next);
  const double part = hours_between(*std::prev(next), t) / hours_between(*std::prev(next), *next);
  return std::min(by_hours, between * std::sqrt(part * (1 - part) / 3));
}

std::vector<Instant> Schedule::hour_readings(LubricatorId lubricator) const {
  const Unit* u = find(lubricator);
  std::vector<Instant> at;
  if (!u) return at;
  for (const FeedLine& f : u->feeds)
    if (const auto h = hours_.find(f.shaft); h != hours_.end())
      for (const HoursCurve::Point& p : h->second.points()) at.push_back(p.at);
  std::sort(at.begin(), at.end());
  return at;
}

double Schedule::standstill_edge_sd(LubricatorId lubricator, Instant a, Instant b, double per_cm3) const {
  double var = 0;
  const auto add = [&](Instant t) {
    if (t > a && t < b) var += std::pow(per_cm3 * called_for_moment_sd_cm3(lubricator, t), 2);
  };
  for (const Span& s : standstills(lubricator)) add(s.from), add(s.to);
  return std::sqrt(var);
}

double Schedule::estimated_part_sd(LubricatorId lubricator, Instant a, Instant b) const {
  const Unit* u = find(lubricator);
  double worst = 0;
  if (u && b > a)
    for (const FeedLine& f : u->feeds) {
      const auto h = hours_.find(f.shaft);
      if (h == hours_.end() || h->second.is_empty()) continue;
      double var = 0;
      for (const HoursCurve::Point& p : h->second.points())
        if (p.sd_h > 0 && p.at > a && p.at <= b) var += p.sd_h * p.sd_h;
      if (var > 0) worst = std::max(worst, std::sqrt(var) / std::max(1.0, h->second.run_h(a, b)));
    }
  return std::min(1.0, worst);
}

double Schedule::called_for_sd_cm3(LubricatorId lubricator, Instant a, Instant b) const {
  const Unit* u = find(lubricator);
  double sum = 0;  // shafts of one ship are in doubt at the same times: their errors are added, not squared
  if (u && b > a)
    for (const FeedLine& f : u->feeds) {
      const auto h = hours_.find(f.shaft);
      if (h == hours_.end() || h->second.is_empty()) continue;
      const FeedSpan* held = nullptr;
      for (const FeedSpan& s : f.spans)
        if (s.from <= b) held = &s;
      if (held && held->cycle_h > 0) sum += held->dose_cm3 / held->cycle_h * h->second.run_sd_h(a, b);
    }
  return sum;
}

std::optional<double> Schedule::counted_cycles(LubricatorId lubricator, Instant a, Instant b) const {
  const Unit* u = find(lubricator);
  if (!u || u->counted.t.empty() || b < a) return std::nullopt;
  if (in_unix_s(a) < u->counted.t.front() || in_unix_s(b) > u->counted.t.back()) return std::nullopt;
  for (const Span& s : u->not_counted)
    if (s.from < b && s.to > a) return std::nullopt;
  return u->counted.between(a, b);
}

std::optional<Instant> Schedule::last_count(LubricatorId lubricator) const {
  const Unit* u = find(lubricator);
  if (!u || u->counted.t.empty()) return std::nullopt;
  return from_unix(u->counted.t.back());
}

double Schedule::expected_cm3(LubricatorId lubricator, ShaftId shaft, Instant a, Instant b) const {
  const Unit* u = find(lubricator);
  const FeedLine* f = u ? find(*u, shaft) : nullptr;
  return f ? f->expected_cm3.between(a, b) : 0.0;
}

double Schedule::expected_cm3(LubricatorId lubricator, Instant a, Instant b) const {
  const Unit* u = find(lubricator);
  return u ? u->expected_cm3.between(a, b) : 0.0;
}

const std::vector<Span>& Schedule::standstills(LubricatorId lubricator) const {
  static const std::vector<Span> kNone;
  const Unit* u = find(lubricator);
  return u ? u->standstills : kNone;
}

std::vector<ShaftId> Schedule::shafts_fed(LubricatorId lubricator, Instant t) const {
  std::vector<ShaftId> fed;
  if (const Unit* u = find(lubricator))
    for (const FeedLine& f : u->feeds)
      for (const FeedSpan& s : f.spans)
        if (s.from <= t && t < s.to && s.dose_cm3 > 0) fed.push_back(f.shaft);
  return fed;
}

std::vector<LubricatorId> Schedule::lubricators_of(ShaftId shaft) const {
  std::vector<LubricatorId> found;
  for (const auto& [id, unit] : units_)
    if (find(unit, shaft)) found.push_back(id);
  return found;
}

double Schedule::share(LubricatorId lubricator, ShaftId shaft, Instant a, Instant b) const {
  const double all = called_for_cm3(lubricator, a, b);
  return all > 0 ? called_for_cm3(lubricator, shaft, a, b) / all : 0.0;
}

}  // namespace shaftlog
