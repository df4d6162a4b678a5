#include "analysis/contradictions.hpp"
#include "analysis/dockings.hpp"

#include <algorithm>
#include <cmath>
#include <tuple>

namespace shaftlog {
namespace {

constexpr std::size_t kFewestGaps = 5;
constexpr double kLongerThanUsual = 2.5;       // times the 90 % quantile of the gaps
constexpr double kPartLongerThanUsual = 3.05;  // ... of one subject: three readings forgotten in a row, not two
constexpr double kLongerThanEver = 1.25;       // times the longest gap so far
constexpr double kShortest_days = 14, kShortestVessel_days = 15;

constexpr double kOneBatch_h = 6;  // records written within so many hours came together

struct Mark {
  Instant at{};
  Uuid id;
  Instant recorded_at{};
};

struct Habit {
  double usual = 0, limit = 0;  // 90 % quantile of the gaps, and beyond what a gap is silence
};

std::optional<Habit> habit_of(std::vector<double> gaps, double shortest, double longer = kLongerThanUsual) {
  std::erase_if(gaps, [](double g) { return g <= 0; });
  if (gaps.size() < kFewestGaps) return std::nullopt;
  std::sort(gaps.begin(), gaps.end());
  const double place = 0.9 * static_cast<double>(gaps.size() - 1);
  const auto below = static_cast<std::size_t>(place);
  const double above = gaps[std::min(below + 1, gaps.size() - 1)];
  const double usual = gaps[below] + (place - std::floor(place)) * (above - gaps[below]);
  return Habit{usual, std::max({longer * usual, kLongerThanEver * gaps.back(), shortest})};
}

// Running hours at `t` from the readings alone: what lies beyond them is not known here, so nothing is extrapolated.
double read_h(const HoursCurve& curve, Instant t) {
  const auto& p = curve.points();
  if (t <= p.front().at) return p.front().hours;
  if (t >= p.back().at) return p.back().hours;
  const auto after = std::upper_bound(p.begin(), p.end(), t, [](Instant x, const auto& q) { return x < q.at; });
  const auto before = std::prev(after);
  const double part = hours_between(before->at, t) / hours_between(before->at, after->at);
  return before->hours + part * (after->hours - before->hours);
}

std::vector<Mark> by_day(std::vector<Mark> marks) {
  std::sort(marks.begin(), marks.end(),
            [](const Mark& a, const Mark& b) { return a.at != b.at ? a.at < b.at : a.id < b.id; });
  std::vector<Mark> out;
  for (const Mark& m : marks) {
    if (!out.empty() && days_between(out.back().at, m.at) < 0.5) {
      out.back() = m;
    } else {
      out.push_back(m);
    }
  }
  return out;
}

std::vector<double> gaps_days(const std::vector<Mark>& marks) {
  std::vector<double> out;
  for (std::size_t i = 1; i < marks.size(); ++i) out.push_back(days_between(marks[i - 1].at, marks[i].at));
  return out;
}

Instant after(Instant t, double days) { return t + std::chrono::seconds{std::llround(days * 86400)}; }

// What the moments of recording tell. Records that were typed or imported together came as one batch; those that carry
// no moment of their own are taken as written at once.
struct Arrivals {
  std::vector<double> stale_days;    // how old the newest record was when the next batch came
  std::map<Uuid, double> late_days;  // by how much a record came after newer ones were there already
};

Arrivals arrivals_of(std::vector<Mark> marks) {
  Arrivals out;
  std::sort(marks.begin(), marks.end(), [](const Mark& a, const Mark& b) {
    return std::tie(a.recorded_at, a.at, a.id) < std::tie(b.recorded_at, b.at, b.id);
  });
  std::optional<Instant> newest;  // of the batches before
  for (std::size_t i = 0; i < marks.size();) {
    std::size_t j = i;
    Instant of_batch = marks[i].at;
    while (j < marks.size() && hours_between(marks[i].recorded_at, marks[j].recorded_at) <= kOneBatch_h) {
      of_batch = std::max(of_batch, marks[j].at);
      if (newest && marks[j].at < *newest) out.late_days[marks[j].id] = days_between(marks[j].at, *newest);
      ++j;
    }
    if (newest && of_batch > *newest) out.stale_days.push_back(days_between(*newest, marks[i].recorded_at));
    newest = newest ? std::max(*newest, of_batch) : of_batch;
    i = j;
  }
  return out;
}

double quantile(std::vector<double> x, double level) {
  if (x.empty()) return 0;
  std::sort(x.begin(), x.end());
  return x[static_cast<std::size_t>(level * static_cast<double>(x.size() - 1))];
}

// The usual gap is met by 9 in 10: a gap k times as long has about the odds 10^k, against a prior of 1 in 100.
double strength_of(double gap, double usual) {
  return std::min(40.0, std::log(10.0) * (gap / std::max(usual, 0.5) - 2));
}

}  // namespace

std::vector<Silence> find_silences(const VesselLog& log, const std::map<ShaftId, HoursCurve>& hours, Instant as_of) {
  std::vector<Silence> out;
  std::vector<Mark> all;
  const auto gather = [&](const auto& records, std::vector<Mark>& into, const auto& wanted) {
    for (const auto& r : records) {
      if (r.at <= as_of && wanted(r))
        into.push_back(Mark{r.at, r.id, r.recorded_at > as_of ? r.at : std::max(r.at, r.recorded_at)});
    }
  };
  const auto any = [](const auto&) { return true; };
  gather(log.hours, all, any);
  gather(log.cycles, all, any);
  gather(log.levels, all, any);
  gather(log.refills, all, any);
  gather(log.greasings, all, any);
  gather(log.alarms, all, any);
  gather(log.work, all, any);
  gather(log.inspections, all, any);
  if (all.empty()) return out;
  const Arrivals arrivals = arrivals_of(all);
  all = by_day(std::move(all));

  // A stay in dock explains a silence; one that lasts unusually long is asked about.
  if (const Dockings dockings = dockings_of(log, hours, as_of); dockings.standing) {
    if (days_between(*dockings.known_until, as_of) <= kUsualStay_days) return out;
    Silence s;
    s.kind = Kind::work;
    s.since = *dockings.standing;
    s.days = days_between(*dockings.standing, as_of);
    s.usual_days = kUsualStay_days;
    s.first_seen = after(*dockings.known_until, kUsualStay_days);
    s.strength = strength_of(days_between(*dockings.known_until, as_of), kUsualStay_days);
    s.last_record = dockings.standing_record;
    s.in_dock = true;
    out.push_back(s);
    return out;
  }

  // A ship that sends nothing at all is one silence. Its parts are judged as they were at its last record: what is not
  // there yet may come with the next batch.
  const Instant end = all.back().at;
  const double quiet = days_between(end, as_of);
  auto of_ship = habit_of(gaps_days(all), kShortestVessel_days);
  if (const auto stale = habit_of(arrivals.stale_days, kShortestVessel_days); of_ship && stale) {
    of_ship = Habit{std::max(of_ship->usual, stale->usual), std::max(of_ship->limit, stale->limit)};
  }
  if (of_ship && quiet > of_ship->limit) {
    Silence s;
    const auto is_last = [&](const auto& records) {
      return std::any_of(records.begin(), records.end(), [&](const auto& r) { return r.id == all.back().id; });
    };
    s.kind = is_last(log.cycles)        ? Kind::cycles
             : is_last(log.levels)      ? Kind::level
             : is_last(log.refills)     ? Kind::refill
             : is_last(log.greasings)   ? Kind::greasing
             : is_last(log.alarms)      ? Kind::alarm
             : is_last(log.work)        ? Kind::work
             : is_last(log.inspections) ? Kind::inspection
                                        : Kind::hours;
    s.since = all.back().at;
    s.days = quiet;
    s.usual_days = of_ship->usual;
    s.first_seen = after(s.since, of_ship->limit);
    s.strength = strength_of(quiet, of_ship->usual);
    s.last_record = all.back().id;
    out.push_back(s);
  }

  const auto judge = [&](std::vector<Mark> marks, Kind kind, ShaftId shaft, LubricatorId lubricator,
                         const HoursCurve* curve) {
    marks = by_day(std::move(marks));
    if (marks.empty()) return;
    auto habit = habit_of(gaps_days(marks), kShortest_days, kPartLongerThanUsual);
    if (!habit) return;
    std::vector<double> late;
    for (const Mark& m : marks) {
      const auto it = arrivals.late_days.find(m.id);
      late.push_back(it == arrivals.late_days.end() ? 0.0 : it->second);
    }
    habit->limit += quantile(std::move(late), 0.95);
    const Mark& last = marks.back();
    const double gap = days_between(last.at, end);
    if (gap <= habit->limit) return;
    Silence s;
    // Not running is told from not recorded by the hour meter, as far as it was read.
    if (kind != Kind::hours && curve != nullptr && !curve->is_empty() && curve->last() > last.at &&
        days_between(last.at, curve->last()) > 0.5 * gap) {
      const double run = read_h(*curve, end) - read_h(*curve, last.at);
      s.run_h = run;
      std::vector<double> runs;
      for (std::size_t i = 1; i < marks.size(); ++i) {
        if (marks[i - 1].at >= curve->first())
          runs.push_back(read_h(*curve, marks[i].at) - read_h(*curve, marks[i - 1].at));
      }
      if (const auto by_hours = habit_of(runs, 0); by_hours && run <= by_hours->limit) return;
      if (run < 1) return;
    }
    s.shaft = shaft;
    s.lubricator = lubricator;
    s.kind = kind;
    s.since = last.at;
    s.days = days_between(last.at, as_of);
    s.usual_days = habit->usual;
    // Seen with the first record of the ship beyond the limit.
    const auto shows = std::upper_bound(all.begin(), all.end(), after(last.at, habit->limit),
                                        [](Instant t, const Mark& m) { return t < m.at; });
    s.first_seen = shows == all.end() ? end : shows->at;
    s.strength = strength_of(gap, habit->usual);
    s.last_record = last.id;
    out.push_back(s);
  };
  const HoursCurve* busiest = nullptr;
  for (const Shaft& shaft : log.shafts) {  // of two that end together the first by its code, whatever its row
    const auto it = hours.find(shaft.id);
    if (it == hours.end() || it->second.is_empty()) continue;
    if (busiest == nullptr || it->second.last() > busiest->last()) busiest = &it->second;
  }
  for (const Shaft& shaft : log.shafts) {
    const auto own = [&](const auto& r) { return r.shaft == shaft.id; };
    const auto curve = hours.find(shaft.id);
    std::vector<Mark> readings, greasings;
    gather(log.hours, readings, own);
    gather(log.greasings, greasings, own);
    judge(std::move(readings), Kind::hours, shaft.id, {}, nullptr);
    judge(std::move(greasings), Kind::greasing, shaft.id, {}, curve == hours.end() ? nullptr : &curve->second);
  }
  for (const Lubricator& lubricator : log.lubricators) {
    const auto own = [&](const auto& r) { return r.lubricator == lubricator.id; };
    std::vector<Mark> reservoir, counts;
    gather(log.refills, reservoir, own);
    const std::size_t refills = reservoir.size();
    gather(log.levels, reservoir, own);
    const Kind kind = reservoir.size() > 2 * refills ? Kind::level : Kind::refill;
    gather(log.cycles, counts, own);
    judge(std::move(reservoir), kind, {}, lubricator.id, busiest);
    judge(std::move(counts), Kind::cycles, {}, lubricator.id, busiest);
  }
  return out;
}

}  // namespace shaftlog
