#include "analysis/review_context.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

namespace shaftlog {
namespace {

std::string spoken(AlarmKind a) {
  std::string out{name_of(a)};
  std::replace(out.begin(), out.end(), '_', ' ');
  return out;
}

void report_standing(const ReviewContext& c, const AlarmEpisode& e, std::vector<Finding>& found) {
  constexpr auto kStanding = std::chrono::hours{24};
  if (e.cleared || c.as_of - e.raised < kStanding || e.records.empty()) return;
  const double days = days_between(e.raised, c.as_of);
  if (Finding* other = finding_that_explains(c, found, {}, e.lubricator); other != nullptr && !e.shaft.is_set()) {
    other->summary += fmt::format("; the alarm {} stands since {}", spoken(e.alarm), c.day(e.raised));
    other->evidence.push_back(e.records.front());
    return;
  }
  Finding f = start_finding(c, FindingKind::alarm_standing, e.shaft, e.lubricator, format_uuid(e.records.front()));
  f.first_seen = e.raised + kStanding;
  f.began = When{e.raised, e.raised, e.raised};
  f.evidence = e.records;
  add_figure(f, "standing_days", days, "d");
  double run = 0;
  for (const ShaftId shaft : c.digest.schedule->shafts_fed(e.lubricator, c.as_of)) {
    if (const HoursCurve* curve = c.curve(shaft); curve != nullptr)
      run = std::max(run, curve->run_h(e.raised, c.as_of));
  }
  if (run > 0) add_figure(f, "run_h", run, "h");
  add_strength(f, 3 + std::log1p(days));
  f.summary =
      fmt::format("the alarm {} stands for {} days, since {}", spoken(e.alarm), figure_text(days), c.day(e.raised));
  if (run > 0) f.summary += fmt::format("; about {} running hours since", figure_text(run));
  const bool stops_grease = e.alarm == AlarmKind::empty || e.alarm == AlarmKind::power_fault ||
                            e.alarm == AlarmKind::no_pressure || e.alarm == AlarmKind::cycle_fault;
  double worst = 0;
  for (const ShaftId shaft : c.digest.schedule->shafts_fed(e.lubricator, c.as_of)) {
    if (const std::optional<FillThen> known = c.fill_known(shaft)) {
      worst = std::max({worst, known->fill.p_below_now, known->fill.p_below_before_due});
    }
  }
  f.urgency = stops_grease && worst > 0.3 ? Urgency::act : Urgency::plan;
  explain(f, {std::string{name_of(e.alarm)}}, {});
  found.push_back(std::move(f));
}

void report_rate(const ReviewContext& c, const AlarmRateResult& r, ShaftId shaft, LubricatorId lubricator,
                 std::vector<Finding>& found) {
  if (!r.rise) return;
  if (lubricator.is_set()) {
    if (Finding* other = finding_that_explains(c, found, {}, lubricator); other != nullptr) {
      add_figure(*other, "alarms_per_1000h", r.rise->per_1000h, "1/1000 h");
      return;
    }
  }
  Finding f = start_finding(c, FindingKind::alarm_rate, shaft, lubricator, format_utc(r.rise->first_seen));
  f.first_seen = r.rise->first_seen;
  f.began = r.rise->began;
  f.evidence = r.rise->evidence;
  add_figure(f, "factor", r.rise->factor, "1");
  add_figure(f, "alarms_per_1000h", r.rise->per_1000h, "1/1000 h");
  add_strength(f, r.rise->strength);
  f.summary = fmt::format("alarms come {} times as often as before, since {}; now {}", figure_text(r.rise->factor, ""),
                          c.days(r.rise->began), figure_text(r.rise->per_1000h, "per 1000 running hours"));
  std::map<AlarmKind, int> kinds;
  for (const AlarmEpisode& e : c.episodes) {
    const bool mine = shaft.is_set() ? e.shaft == shaft : e.lubricator == lubricator;
    if (mine && e.raised >= r.rise->began.low) ++kinds[e.alarm];
  }
  std::vector<std::string> symptoms;
  if (!kinds.empty()) {
    const auto most =
        std::max_element(kinds.begin(), kinds.end(), [](const auto& a, const auto& b) { return a.second < b.second; });
    f.summary += fmt::format("; most of them {}", spoken(most->first));
    symptoms.emplace_back(name_of(most->first));
  }
  f.urgency = Urgency::watch;
  explain(f, symptoms, {});
  found.push_back(std::move(f));
}

}  // namespace

void find_alarms(const ReviewContext& c, std::vector<Finding>& found) {
  for (const AlarmEpisode& e : c.episodes) report_standing(c, e, found);
  for (const auto& [id, r] : c.lubricator_alarms) report_rate(c, r, {}, id, found);
  for (const auto& [id, r] : c.shaft_alarms) report_rate(c, r, id, {}, found);
}

void find_refills_due(const ReviewContext& c, std::vector<Finding>& found) {
  constexpr auto kHorizon = std::chrono::days{30};  // grease must be ordered
  constexpr auto kSoon = std::chrono::days{10};
  for (const Lubricator& l : c.log.lubricators) {
    const auto it = c.refills.find(l.id);
    if (it == c.refills.end() || !it->second.p50 || *it->second.p50 > c.as_of + kHorizon) continue;
    const NextRefill& next = it->second;
    if (next.stands_since && *next.p50 > c.as_of) continue;  // what is not used need not be ordered yet
    const Logged<Refill>* last = nullptr;
    const Logged<LevelReading>* level = nullptr;
    for (const Logged<Refill>& r : c.log.refills) {
      if (r.lubricator == l.id) last = &r;
    }
    for (const Logged<LevelReading>& r : c.log.levels) {
      if (r.lubricator == l.id) level = &r;
    }
    Finding f = start_finding(c, FindingKind::refill_due, {}, l.id, last == nullptr ? "first" : format_uuid(last->id));
    f.first_seen = std::min(c.as_of, *next.p50 - kHorizon);
    f.began = When{*next.p50, next.p10.value_or(*next.p50), next.p90.value_or(*next.p50)};
    if (level != nullptr && (last == nullptr || level->at > last->at)) f.evidence.push_back(level->id);
    if (last != nullptr) f.evidence.push_back(last->id);
    const auto delivery = c.digest.delivery.find(l.id);
    if (delivery != c.digest.delivery.end() && delivery->second.level_pct) {
      add_figure(f, "level", *delivery->second.level_pct, "%");
    }
    add_figure(f, "days_to_low", days_between(c.as_of, *next.p50), "d");
    if (next.amount_cm3) add_figure(f, "refill_amount", *next.amount_cm3, "cm3");
    const bool is_now = *next.p50 <= c.as_of;
    add_strength(f, is_now ? 5 : 3);
    f.summary = is_now ? fmt::format("the reservoir is at or below its low mark by the balance, since about {}",
                                     c.day(*next.p50))
                       : fmt::format("the reservoir meets its low mark about {} ({} to {})", c.day(*next.p50),
                                     next.p10 ? c.day(*next.p10) : "unknown", next.p90 ? c.day(*next.p90) : "unknown");
    if (next.amount_cm3) f.summary += fmt::format("; a refill will take {}", figure_text(*next.amount_cm3, "cm3"));
    f.urgency = *next.p50 <= c.as_of + kSoon ? Urgency::plan : Urgency::watch;
    explain(f, {}, {});
    found.push_back(std::move(f));
  }
}

}  // namespace shaftlog
