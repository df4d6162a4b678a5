#include "analysis/alarms.hpp"

#include "analysis/distributions.hpp"
#include "analysis/rate_rise.hpp"
#include "base/error.hpp"

#include <algorithm>
#include <cmath>
#include <map>
#include <tuple>

#include <fmt/format.h>

namespace shaftlog {
namespace {

constexpr auto kForgotten = std::chrono::days{30};

}  // namespace

std::vector<AlarmEpisode> merge_alarms(std::span<const Logged<Alarm>> alarms, Instant as_of,
                                       std::chrono::minutes apart) {
  std::vector<const Logged<Alarm>*> sorted;
  for (const Logged<Alarm>& a : alarms) {
    if (a.at <= as_of) sorted.push_back(&a);
  }
  std::sort(sorted.begin(), sorted.end(),
            [](const auto* a, const auto* b) { return std::tie(a->at, a->id) < std::tie(b->at, b->id); });
  std::map<std::tuple<AlarmKind, LubricatorId, ShaftId>, AlarmEpisode> open;
  std::vector<AlarmEpisode> out;
  for (const Logged<Alarm>* a : sorted) {
    std::optional<Instant> cleared;
    // Cleared before it was raised is a slip of the pen: the alarm did clear, when is not known.
    if (a->what.cleared && a->what.cleared->utc <= as_of) cleared = std::max(a->what.cleared->utc, a->at);
    const auto key = std::tuple{a->what.alarm, a->lubricator, a->shaft};
    const auto found = open.find(key);
    if (found != open.end()) {
      AlarmEpisode& e = found->second;
      const bool goes_on = e.cleared ? a->at <= *e.cleared + apart : a->at - e.raised <= kForgotten;
      if (goes_on) {
        // One contact cannot stand twice: the newer record says whether it stands.
        e.cleared = e.cleared && cleared ? std::max(*e.cleared, *cleared) : cleared;
        e.records.push_back(a->id);
        continue;
      }
      if (!e.cleared) e.cleared = a->at;  // cleared unnoticed some time before
      out.push_back(std::move(e));
      open.erase(found);
    }
    open.emplace(key, AlarmEpisode{a->what.alarm, a->lubricator, a->shaft, a->at, cleared, {a->id}});
  }
  for (auto& [key, e] : open) out.push_back(std::move(e));
  std::sort(out.begin(), out.end(), [](const AlarmEpisode& a, const AlarmEpisode& b) {
    return std::tie(a.raised, a.records.front()) < std::tie(b.raised, b.records.front());
  });
  return out;
}

AlarmRateResult rate_alarms(std::span<const AlarmEpisode> episodes, std::span<const double> run_h_at,
                            double watched_from_h, double watched_to_h) {
  if (episodes.size() != run_h_at.size()) {
    throw Error{Errc::bad_data, fmt::format("{} alarm episodes with {} running hours: one each is expected",
                                            episodes.size(), run_h_at.size())};
  }
  if (!std::isfinite(watched_from_h) || !std::isfinite(watched_to_h) || watched_to_h < watched_from_h) {
    throw Error{Errc::bad_data, fmt::format("alarms watched from {} h to {} h: the end must not be before the start",
                                            watched_from_h, watched_to_h)};
  }
  AlarmRateResult out;
  out.run_h = watched_to_h - watched_from_h;
  std::vector<std::size_t> kept;
  double before = -1e300;
  for (std::size_t i = 0; i < episodes.size(); ++i) {
    if (!std::isfinite(run_h_at[i]) || run_h_at[i] < before) {
      throw Error{Errc::bad_data,
                  fmt::format("running hours at alarm episode {}: {} is not finite or falls", i + 1, run_h_at[i])};
    }
    before = run_h_at[i];
    if (run_h_at[i] >= watched_from_h && run_h_at[i] <= watched_to_h) kept.push_back(i);
  }
  out.episodes = static_cast<int>(kept.size());
  if (out.run_h <= 0) return out;
  const auto n = static_cast<double>(kept.size());
  const Interval count = poisson_interval(out.episodes, 0.9);
  const double per = 1000.0 / out.run_h;
  out.per_1000h = {n * per, count.low * per, count.high * per};
  if (kept.empty()) return out;

  std::vector<double> at_h;
  at_h.reserve(kept.size());
  for (const std::size_t i : kept) at_h.push_back(run_h_at[i]);
  const auto rise = watch_rate(at_h, watched_from_h, watched_to_h).standing;
  if (!rise) return out;

  // Calendar time of an hour count, along the line through the episodes.
  const auto time_at = [&](double h) {
    std::size_t j = 1;
    while (j + 1 < kept.size() && run_h_at[kept[j]] < h) ++j;
    if (kept.size() < 2) return episodes[kept[0]].raised;
    const double ha = run_h_at[kept[j - 1]], hb = run_h_at[kept[j]];
    const Instant a = episodes[kept[j - 1]].raised, b = episodes[kept[j]].raised;
    double pace = hb > ha ? static_cast<double>((b - a).count()) / (hb - ha) : 3600.0;
    if (h < ha || h > hb) {
      const double whole = run_h_at[kept.back()] - run_h_at[kept.front()];
      pace = whole > 0
                 ? static_cast<double>((episodes[kept.back()].raised - episodes[kept.front()].raised).count()) / whole
                 : 3600.0;
    }
    return a + std::chrono::seconds{std::llround(std::clamp((h - ha) * pace, -3e9, 3e9))};
  };
  AlarmShift s;
  s.factor = rise->factor;
  const double began_h = rise->began_h.value;
  s.began = {time_at(began_h), time_at(rise->began_h.low), time_at(rise->began_h.high)};
  s.first_seen = episodes[kept[rise->seen_at]].raised;
  s.strength = rise->strength;
  int since = 0;
  for (const std::size_t i : kept) {
    if (run_h_at[i] < began_h) continue;
    ++since;
    s.evidence.insert(s.evidence.end(), episodes[i].records.begin(), episodes[i].records.end());
  }
  const double since_h = watched_to_h - began_h;
  const Interval c = poisson_interval(since, 0.9);
  s.per_1000h = {1000 * since / since_h, 1000 * c.low / since_h, 1000 * c.high / since_h};
  out.rise = std::move(s);
  return out;
}

}  // namespace shaftlog
