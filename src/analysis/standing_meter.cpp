#include "analysis/standing_meter.hpp"

#include <algorithm>

namespace shaftlog {
namespace {

// All of these: judgement, no source.
constexpr double kStands_h = 1;                               // what a standing meter may creep
constexpr double kLongEnough_h = 300, kLongEnough_days = 30;  // of the others' running, and of the calendar
constexpr std::size_t kReadings = 3;                          // that show the same
constexpr int kMostMonths = 24, kFewestMonths = 6;
constexpr double kRanInMonth_h = 60;  // of the other shaft: a month that tells
constexpr double kSteady = 1.6;       // a month's ratio against the median, either way
constexpr double kLeastRatio = 0.1;

/// Hours of `own` over those of `other` in the months before `until`; empty: they did not go together.
std::vector<double> steady_ratios(const HoursCurve& own, const HoursCurve& other, Instant until) {
  constexpr auto kMonth = std::chrono::days{30};
  std::vector<double> ratios;
  const Instant first = std::max(own.first(), other.first());
  for (Instant to = until; ratios.size() < kMostMonths && to - kMonth >= first; to -= kMonth) {
    const double ran = other.run_h(to - kMonth, to);
    if (ran >= kRanInMonth_h) ratios.push_back(own.run_h(to - kMonth, to) / ran);
  }
  if (ratios.size() < kFewestMonths) return {};
  std::sort(ratios.begin(), ratios.end());
  const double middle = ratios[ratios.size() / 2];
  const bool is_steady =
      middle >= kLeastRatio && ratios.front() >= middle / kSteady && ratios.back() <= middle * kSteady;
  return is_steady ? ratios : std::vector<double>{};
}

/// The reading of `log` that stands at the curve's point.
Uuid reading_at(const VesselLog& log, ShaftId shaft, Instant at) {
  for (const Logged<Hours>& r : log.hours)
    if (r.shaft == shaft && r.at == at) return r.id;
  return {};
}

}  // namespace

std::map<ShaftId, StandingMeter> find_standing_meters(const VesselLog& log, const std::map<ShaftId, HoursResult>& hours,
                                                      Instant as_of) {
  std::map<ShaftId, StandingMeter> out;
  for (const Shaft& shaft : log.shafts) {
    const auto found = hours.find(shaft.id);
    if (found == hours.end() || found->second.curve.points().size() < 2) continue;
    const HoursCurve& own = found->second.curve;
    const auto& p = own.points();
    std::size_t first = p.size() - 1;
    while (first > 0 && p.back().hours - p[first - 1].hours < kStands_h) --first;
    if (first == 0 || p.size() - first < kReadings || days_between(p[first].at, own.last()) < kLongEnough_days)
      continue;
    StandingMeter s;
    s.since = s.first_seen = p[first].at;
    bool does_other_stand = false;
    for (const Shaft& x : log.shafts) {
      const auto h = hours.find(x.id);
      if (x.id == shaft.id || h == hours.end() || h->second.curve.points().size() < 2) continue;
      const HoursCurve& other = h->second.curve;
      const std::vector<double> ratios = steady_ratios(own, other, s.since);
      if (ratios.empty()) continue;
      const Instant until = std::min({own.last(), other.last(), as_of});
      const double ran = other.run_h(s.since, until);
      does_other_stand |= ran < kLongEnough_h;
      if (s.others.empty() || ran < s.others_h) s.others_h = ran;
      if (s.others.empty() || ratios.size() > static_cast<std::size_t>(s.months))
        s.months = static_cast<int>(ratios.size());
      s.ratio_low = s.others.empty() ? ratios.front() : std::min(s.ratio_low, ratios.front());
      s.ratio_high = std::max(s.ratio_high, ratios.back());
      s.others.push_back(x.id);
      const Instant met = other.time_of(other.hours_at(s.since) + kLongEnough_h).value_or(as_of);
      s.first_seen = std::max(s.first_seen, met);
    }
    // Where a shaft that goes with it stands too, the ship does without both.
    if (s.others.empty() || does_other_stand) continue;
    s.first_seen = std::max(s.first_seen, s.since + std::chrono::days{static_cast<int>(kLongEnough_days)});
    const auto shows = std::find_if(p.begin(), p.end(), [&](const auto& x) { return x.at >= s.first_seen; });
    s.first_seen = shows == p.end() ? own.last() : shows->at;
    s.since_record = reading_at(log, shaft.id, s.since);
    s.last_record = reading_at(log, shaft.id, own.last());
    s.shows_h = found->second.meter_now_h;
    out[shaft.id] = std::move(s);
  }
  return out;
}

}  // namespace shaftlog
