#include "analysis/review_context.hpp"
#include "analysis/trend.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

namespace shaftlog {
namespace {

void report_suspect(const ReviewContext& c, const Suspect& s, std::vector<Finding>& found) {
  ShaftId shaft;
  LubricatorId lubricator;
  const auto look = [&](const auto& records) {
    for (const auto& r : records) {
      if (r.id == s.record) {
        shaft = r.shaft;
        lubricator = r.lubricator;
        return true;
      }
    }
    return false;
  };
  look(c.log.hours) || look(c.log.cycles) || look(c.log.levels) || look(c.log.refills) || look(c.log.greasings) ||
      look(c.log.alarms) || look(c.log.work) || look(c.log.inspections) || look(c.log.future);
  Finding f = start_finding(c, FindingKind::record_suspect, shaft, lubricator, format_uuid(s.record));
  f.first_seen = s.seen_at;
  f.began = When{s.at, s.at, s.at};
  f.evidence.push_back(s.record);
  f.evidence.insert(f.evidence.end(), s.against.begin(), s.against.end());
  f.summary = s.says;
  f.urgency = Urgency::note;
  add_strength(f, s.strength);
  explain(f, {std::string{name_of(s.kind)}}, {});
  found.push_back(std::move(f));
}

void report_silence(const ReviewContext& c, const Silence& s, std::vector<Finding>& found) {
  Finding f = start_finding(c, FindingKind::records_missing, s.shaft, s.lubricator,
                            fmt::format("{} {}", name_of(s.kind), format_uuid(s.last_record)));
  f.first_seen = s.first_seen;
  f.began = When{s.since, s.since, s.since};
  f.evidence.push_back(s.last_record);
  add_figure(f, "silent_days", s.days, "d");
  add_figure(f, "usual_days", s.usual_days, "d");
  if (s.run_h) add_figure(f, "run_h", *s.run_h, "h");
  add_strength(f, s.strength);
  const bool whole_vessel = !s.shaft.is_set() && !s.lubricator.is_set();
  f.summary =
      fmt::format("{} for {} days, since {}; {} usual gap is {} days",
                  whole_vessel ? std::string{"no records of any kind"} : fmt::format("no {} records", name_of(s.kind)),
                  figure_text(s.days), c.day(s.since), whole_vessel ? "the ship's" : "its", figure_text(s.usual_days));
  if (s.run_h) f.summary += fmt::format("; about {} running hours since", figure_text(*s.run_h));
  f.urgency = whole_vessel ? Urgency::plan : Urgency::note;
  explain(f, {whole_vessel ? "whole_vessel" : "one_subject"}, {});
  found.push_back(std::move(f));
}

struct Sample {
  Uuid id;
  Instant at{};
  double value = 0;
};

double median(std::vector<double> x) {
  std::sort(x.begin(), x.end());
  const std::size_t n = x.size();
  return n % 2 == 1 ? x[n / 2] : (x[n / 2 - 1] + x[n / 2]) / 2;
}

// Trend of one measured quantity: it lasts (rank test one-sided 5 %) and the newest stands clear of the earlier ones.
void report_trend(const ReviewContext& c, ShaftId shaft, const std::vector<Sample>& x, FindingKind kind,
                  std::string_view what, std::string_view unit, std::optional<double> limit,
                  std::vector<Finding>& found) {
  if (x.empty()) return;
  const Sample& last = x.back();
  const bool over_limit = limit && last.value > *limit;
  double before = 0, z = 0;
  bool rising = false;
  if (x.size() >= 4) {
    std::vector<double> days, values;
    for (const Sample& s : x) {
      days.push_back(days_between(x.front().at, s.at));
      values.push_back(s.value);
    }
    before = median({values.begin(), values.end() - 2});
    z = mann_kendall(days, values).z;
    rising = z > 1.645 && last.value > 1.5 * before && last.value > 0;
  }
  if (!over_limit && !rising) return;
  Finding f = start_finding(c, kind, shaft, {}, what);
  f.first_seen = last.at;
  for (std::size_t i = x.size(); i-- > 0;) {
    if ((limit && x[i].value > *limit) || (rising && x[i].value > 1.5 * before)) {
      f.first_seen = x[i].at;
    } else {
      break;
    }
  }
  f.began = When{f.first_seen, x.front().at, f.first_seen};
  for (auto it = x.rbegin(); it != x.rend() && f.evidence.size() < 5; ++it) f.evidence.push_back(it->id);
  add_figure(f, std::string{what}, last.value, std::string{unit});
  add_strength(f, std::max(z, over_limit ? 3.0 * last.value / *limit : 0.0));
  f.summary = fmt::format("{} is {} {} on {}", what, figure_text(last.value), unit, c.day(last.at));
  if (rising) f.summary += fmt::format(", up from {} over {} inspections", figure_text(before), x.size());
  if (over_limit)
    f.summary += fmt::format(", above {} {} (common practice, no published limit)", figure_text(*limit), unit);
  f.urgency = over_limit && rising ? Urgency::plan : Urgency::watch;
  explain(f, {rising ? "slow_rise" : "over_limit"}, {});
  found.push_back(std::move(f));
}

// What falls due while nobody writes is not known to be undone: one matter, the silence.
std::string fold_due(std::vector<Finding>& found) {
  int greasings = 0, refills = 0;
  std::erase_if(found, [&](const Finding& f) {
    if (f.kind == FindingKind::greasing_overdue) ++greasings;
    if (f.kind == FindingKind::refill_due) ++refills;
    return f.kind == FindingKind::greasing_overdue || f.kind == FindingKind::refill_due;
  });
  const auto counted = [](int n, std::string_view what) { return fmt::format("{} {}{}", n, what, n == 1 ? "" : "s"); };
  if (greasings > 0 && refills > 0) {
    return counted(greasings, "greasing") + " and " + counted(refills, "refill");
  }
  if (greasings > 0) return counted(greasings, "greasing");
  return refills > 0 ? counted(refills, "refill") : std::string{};
}

}  // namespace

void find_records(const ReviewContext& c, std::vector<Finding>& found) {
  std::vector<Suspect> sorted = c.suspects;
  std::sort(sorted.begin(), sorted.end(), [](const Suspect& a, const Suspect& b) {
    if (a.record != b.record) return a.record < b.record;
    if (a.strength != b.strength) return a.strength > b.strength;
    return a.kind < b.kind;
  });
  const Suspect* before = nullptr;
  for (const Suspect& s : sorted) {
    if (before != nullptr && before->record == s.record) continue;  // one record, one matter: the surest reason
    before = &s;
    const bool is_told_already = std::any_of(found.begin(), found.end(), [&](const Finding& f) {
      return f.kind == FindingKind::abnormal_washout && !f.evidence.empty() && f.evidence.front() == s.record &&
             s.kind == SuspectKind::amount_beyond_capacity;
    });
    if (!is_told_already) report_suspect(c, s, found);
  }
  std::map<ShaftId, HoursCurve> curves;
  for (const auto& [id, result] : c.digest.hours) curves[id] = result.curve;
  for (const Silence& s : find_silences(c.log, curves, c.as_of)) {
    const bool whole_vessel = !s.shaft.is_set() && !s.lubricator.is_set();
    const std::string due = whole_vessel ? fold_due(found) : std::string{};
    report_silence(c, s, found);
    if (!due.empty()) {
      found.back().summary += fmt::format("; {} fell due since by its former use, whether done is unknown", due);
    }
  }
}

void find_inspections(const ReviewContext& c, std::vector<Finding>& found) {
  constexpr double kWaterLimit_pct = 2.0;
  for (const Shaft& shaft : c.log.shafts) {
    std::vector<Sample> water, iron, clearance;
    Instant since{};
    for (const Logged<Work>& w : c.log.work) {
      if (w.shaft == shaft.id && (w.what.work == WorkKind::seal_replaced || w.what.work == WorkKind::bearing_replaced ||
                                  w.what.work == WorkKind::purged)) {
        since = std::max(since, w.at);
      }
    }
    for (const Logged<Inspection>& i : c.log.inspections) {
      if (i.shaft != shaft.id || i.at < since) continue;
      if (i.what.water_ppm) water.push_back({i.id, i.at, static_cast<double>(*i.what.water_ppm) / 10000});
      if (i.what.iron_ppm_milli) iron.push_back({i.id, i.at, static_cast<double>(*i.what.iron_ppm_milli) / 1000});
      if (i.what.clearance_um) clearance.push_back({i.id, i.at, static_cast<double>(*i.what.clearance_um) / 1000});
    }
    const std::size_t before = found.size();
    report_trend(c, shaft.id, water, FindingKind::water_ingress, "water", "%", kWaterLimit_pct, found);
    int wet = 0, looked = 0;
    std::vector<Uuid> seen;
    Instant first{};
    for (const Logged<Greasing>& g : c.log.greasings) {
      if (g.shaft != shaft.id || !g.what.purge || g.at < since || g.at < c.as_of - std::chrono::days{365}) continue;
      ++looked;
      if (*g.what.purge != Purge::water) continue;
      if (++wet == 2) first = g.at;
      seen.push_back(g.id);
    }
    if (found.size() == before && wet >= 2 && wet * 3 >= looked) {
      Finding f = start_finding(c, FindingKind::water_ingress, shaft.id, {}, "purge");
      f.first_seen = first;
      f.evidence.assign(seen.rbegin(), seen.rend());
      add_figure(f, "greasings_with_water", wet, "1");
      add_strength(f, 2.0 * wet);
      f.summary = fmt::format("water came out at the seal at {} of {} greasings in the last year", wet, looked);
      f.urgency = Urgency::watch;
      explain(f, {"water_seen"}, {});
      found.push_back(std::move(f));
    }
    report_trend(c, shaft.id, iron, FindingKind::wear_sign, "iron", "ppm", std::nullopt, found);
    report_trend(c, shaft.id, clearance, FindingKind::wear_sign, "clearance", "mm", std::nullopt, found);
  }
}

}  // namespace shaftlog
