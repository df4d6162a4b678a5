#include "analysis/contradictions.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

namespace shaftlog {
namespace {

constexpr double kSameDay_h = 24;

bool is_of_hours(const Suspect& s) {
  return s.kind == SuspectKind::hours_backwards || s.kind == SuspectKind::hours_impossible ||
         s.kind == SuspectKind::digits_swapped || s.kind == SuspectKind::digit_lost || s.kind == SuspectKind::date_slip;
}

}  // namespace

void name_exchanged_meters(const VesselLog& log, const std::map<ShaftId, std::optional<double>>& rollover_h,
                           Instant as_of, std::vector<Suspect>& suspects) {
  const auto find = [&](const Uuid& id) {
    return std::find_if(log.hours.begin(), log.hours.end(), [&](const auto& r) { return r.id == id; });
  };
  const auto readings_of = [&](ShaftId shaft) {
    std::vector<Logged<Hours>> out;
    for (const Logged<Hours>& r : log.hours) {
      if (r.shaft == shaft) out.push_back(r);
    }
    return out;
  };
  // With the figure of another reading in the place of one: how many are left out, and whether that one is.
  const auto left_out = [&](std::vector<Logged<Hours>> readings, const Uuid& id, const Hours& instead) {
    for (Logged<Hours>& r : readings) {
      if (r.id == id) r.what = instead;
    }
    const auto rollover = readings.empty() ? std::nullopt : rollover_h.at(readings.front().shaft);
    const HoursResult result = build_hours(readings, rollover, as_of);
    const bool is_left =
        std::any_of(result.suspects.begin(), result.suspects.end(), [&](const Suspect& s) { return s.record == id; });
    return std::pair{result.suspects.size(), is_left};
  };
  for (std::size_t i = 0; i < suspects.size(); ++i) {
    if (!is_of_hours(suspects[i])) continue;
    const auto x = find(suspects[i].record);
    if (x == log.hours.end()) continue;
    for (auto y = log.hours.begin(); y != log.hours.end(); ++y) {
      if (y->shaft == x->shaft || std::abs(hours_between(x->at, y->at)) > kSameDay_h || y->at > as_of) continue;
      if (y->what.is_new_meter || x->what.is_new_meter || y->what.reading == x->what.reading) continue;
      const auto of_x = readings_of(x->shaft), of_y = readings_of(y->shaft);
      const auto [x_after, x_left] = left_out(of_x, x->id, y->what);
      if (x_left || x_after >= left_out(of_x, x->id, x->what).first) continue;
      const auto [y_after, y_left] = left_out(of_y, y->id, x->what);
      if (y_left || y_after > left_out(of_y, y->id, y->what).first) continue;
      const auto other = std::find_if(suspects.begin(), suspects.end(),
                                      [&](const Suspect& s) { return s.record == y->id && is_of_hours(s); });
      Suspect& s = suspects[i];
      s.kind = SuspectKind::swapped_shafts;
      s.against = {y->id};
      s.says = fmt::format("the meters of two shafts show {:.1f} and {:.1f} h on {}: both fit exchanged",
                           in_h(x->what.reading), in_h(y->what.reading), format_day(s.at));
      if (other != suspects.end()) {
        s.seen_at = std::min(s.seen_at, other->seen_at);
        s.strength = std::min(40.0, s.strength + other->strength);
        const bool is_before = other - suspects.begin() < static_cast<std::ptrdiff_t>(i);
        suspects.erase(other);
        if (is_before) --i;
      }
      break;
    }
  }
}

}  // namespace shaftlog
