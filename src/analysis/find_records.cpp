#include "analysis/review_context.hpp"
#include "base/text.hpp"

#include <algorithm>

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
  if (s.in_dock)
    f.summary = fmt::format(
        "recorded as docked since {}, {} days ago, and no undocking since: is she out again? hours, fill and next "
        "greasings are not known from then on",
        c.day(s.since), figure_text(s.days));
  f.urgency = whole_vessel && !s.in_dock ? Urgency::plan : Urgency::note;
  explain(f, {s.in_dock ? "docked" : whole_vessel ? "whole_vessel" : "one_subject"}, {});
  found.push_back(std::move(f));
}

/// What the shaft took before its meter stood and, but for the first greasing, since: that one made up for the time
/// before too.
struct TakenAround {
  std::vector<double> before, since;
  [[nodiscard]] bool is_as_usual() const {
    constexpr double kAsUsual = 0.5;  // judgement; a shaft that stands takes next to nothing
    return !before.empty() && !since.empty() && middle_of(since) >= kAsUsual * middle_of(before);
  }
};
TakenAround taken_around(const VesselLog& log, ShaftId shaft, Instant since) {
  TakenAround out;
  bool is_first = true;
  for (const Logged<Greasing>& g : log.greasings) {
    if (g.shaft != shaft || g.what.ended != Ended::pressure || !g.what.amount || !g.what.amount->volume) continue;
    const bool is_since = g.at > since;
    if (!(is_since && is_first)) (is_since ? out.since : out.before).push_back(in_cm3(*g.what.amount->volume));
    if (is_since) is_first = false;
  }
  return out;
}

void report_standing(const ReviewContext& c, ShaftId shaft, const StandingMeter& s, std::vector<Finding>& found) {
  Finding f = start_finding(c, FindingKind::records_missing, shaft, {}, "meter " + format_uuid(s.since_record));
  f.first_seen = s.first_seen;
  f.began = When{s.since, s.since, s.since};
  f.evidence = {s.last_record, s.since_record};
  add_figure(f, "others_h", s.others_h, "h");
  add_figure(f, "standing_days", days_between(s.since, c.curve(shaft)->last()), "d");
  add_strength(f, s.others_h / 100);
  std::vector<std::string> others;
  for (const ShaftId id : s.others) others.push_back(c.shaft(id).code);
  const bool one = s.others.size() == 1;
  f.summary = fmt::format(
      "the hour meter shows {:.1f} h since {} while {} ran {}{} h; in the {} months before it ran {} to {} times as "
      "long as {}",
      s.shows_h, c.day(s.since), listed(others), one ? "" : "at least ", figure_text(s.others_h), s.months,
      figure_text(s.ratio_low), figure_text(s.ratio_high), one ? "it" : "they");
  const TakenAround taken = taken_around(c.log, shaft, s.since);
  const bool ran = taken.is_as_usual();
  f.summary +=
      ran ? fmt::format(
                "; greasings since took {} cm3 in the middle, {} before: a shaft that stands loses none, so it "
                "ran, and the meter is stuck",
                figure_text(middle_of(taken.since)), figure_text(middle_of(taken.before)))
          : "; either the shaft was out of use or the meter is stuck";
  f.summary += "; its hours, fill and next greasing are not known from then on";
  // A remark to the shaft may say why; it is read by people.
  const Logged<Work>* said = nullptr;
  for (const Logged<Work>& w : c.log.work)
    if (w.shaft == shaft && w.what.work == WorkKind::other && w.at >= s.since - std::chrono::days{14}) said = &w;
  if (said != nullptr) f.summary += fmt::format("; a work record of {} may say why", c.day(said->at));
  f.urgency = said != nullptr && !ran ? Urgency::note : Urgency::plan;
  explain(f, ran ? std::vector<std::string>{"meter_stands", "took_as_usual"} : std::vector<std::string>{"meter_stands"},
          {});
  found.push_back(std::move(f));
}

// What falls due while nobody writes is not known to be undone: one matter, the silence. What was overdue before that
// stays a matter of its own.
std::string fold_due(std::vector<Finding>& found, Instant silent_since) {
  int greasings = 0, refills = 0;
  std::erase_if(found, [&](const Finding& f) {
    if (f.began && f.began->estimate <= silent_since) return false;
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
  for (const auto& [shaft, standing] : c.standing) report_standing(c, shaft, standing, found);
  std::map<ShaftId, HoursCurve> curves;
  for (const auto& [id, result] : c.digest.hours) curves[id] = result.curve;
  for (const Silence& s : find_silences(c.log, curves, c.as_of)) {
    const bool whole_vessel = !s.shaft.is_set() && !s.lubricator.is_set();
    // A greasing that is overdue is told already, and of a shaft whose meter stands nobody knows whether one is due.
    if (s.kind == Kind::greasing && !whole_vessel &&
        (c.standing.contains(s.shaft) || has_finding(found, FindingKind::greasing_overdue, s.shaft, {}) ||
         has_finding(found, FindingKind::starved, s.shaft, {}))) {
      continue;
    }
    const std::string due = whole_vessel ? fold_due(found, s.since) : std::string{};
    report_silence(c, s, found);
    if (!due.empty()) {
      found.back().summary += fmt::format("; {} fell due since by its former use, whether done is unknown", due);
    }
  }
}

}  // namespace shaftlog
