// Silences of ships that write irregularly: late, in batches, in dock, with holidays; and of ships that fell silent.
#include "analysis/contradictions.hpp"
#include "simulation/world/world.hpp"

#include <algorithm>
#include <cstdio>
#include <cstdlib>
#include <set>

#include <catch2/catch.hpp>

using namespace shaftlog;

namespace {

// Settings are chosen with SHAFTLOG_TUNE=1 and judged without.
std::uint64_t seed() { return std::getenv("SHAFTLOG_TUNE") != nullptr ? 5 : 5005; }

std::map<ShaftId, HoursCurve> curves_of(const VesselLog& log, Instant as_of) {
  std::map<ShaftId, HoursCurve> out;
  for (const Shaft& s : log.shafts) {
    std::vector<Logged<Hours>> readings;
    for (const auto& r : log.hours)
      if (r.shaft == s.id) readings.push_back(r);
    out[s.id] = build_hours(readings, std::nullopt, as_of).curve;
  }
  return out;
}

struct Told {
  ShaftId shaft;
  LubricatorId lubricator;
  Kind kind{};
  Instant since{};
  auto operator<=>(const Told&) const = default;
};

/// Usual days between the records of a ship that are one a day at most: its 90 % quantile.
double usual_days(const VesselLog& log) {
  std::set<Instant> days;
  const auto gather = [&](const auto& records) {
    for (const auto& r : records) days.insert(std::chrono::floor<std::chrono::days>(r.at));
  };
  gather(log.hours);
  gather(log.cycles);
  gather(log.levels);
  gather(log.refills);
  gather(log.greasings);
  std::vector<double> gaps;
  for (auto a = days.begin(), b = std::next(a); b != days.end(); ++a, ++b) gaps.push_back(days_between(*a, *b));
  std::sort(gaps.begin(), gaps.end());
  return gaps[gaps.size() * 9 / 10];
}

}  // namespace

TEST_CASE("simulation: false silences, and how soon a real one is told", "[simulation][records]") {
  world::WorldPlan plan;
  plan.seed = seed();
  plan.vessels = 60;
  plan.years = 4;
  plan.fault_share = 0;
  double shaft_years = 0;
  int false_told = 0, of_vessel = 0, real = 0, found = 0;
  std::map<Kind, int> kinds;
  std::vector<double> delays, gaps;
  for (const world::MadeVessel& v : world::make_world(plan)) {
    shaft_years += plan.years * static_cast<double>(v.log.shafts.size());
    std::set<Told> told;
    std::vector<std::optional<Instant>> first(v.truth.silences.size());
    for (Instant t = v.truth.first + std::chrono::days{120}; t < v.truth.last; t += std::chrono::days{7}) {
      const VesselLog known = world::known_at(v.log, t);
      for (const Silence& s : find_silences(known, curves_of(known, t), t)) {
        bool is_real = false;
        for (std::size_t i = 0; i < v.truth.silences.size(); ++i) {
          const auto& q = v.truth.silences[i];
          // What is told while nothing comes, or of the hole that it left.
          if (t < q.from || s.since > q.to || t > q.to + std::chrono::days{60}) continue;
          is_real = true;
          if (!first[i]) first[i] = t;
        }
        if (is_real || !told.insert({s.shaft, s.lubricator, s.kind, s.since}).second) continue;
        ++false_told;
        ++kinds[s.kind];
        of_vessel += !s.shaft.is_set() && !s.lubricator.is_set();
        if (std::getenv("SHAFTLOG_TALK") != nullptr)
          std::printf("false: vessel %s on %s: %s %s since %s, %.1f d, usual %.1f\n", v.log.vessel.code.c_str(),
                      format_utc(t).c_str(), std::string{name_of(s.kind)}.c_str(),
                      s.shaft.is_set()        ? "shaft"
                      : s.lubricator.is_set() ? "lubricator"
                                              : "vessel",
                      format_utc(s.since).c_str(), s.days, s.usual_days);
      }
    }
    for (std::size_t i = 0; i < first.size(); ++i) {
      const auto& q = v.truth.silences[i];
      if (q.from < v.truth.first + std::chrono::days{150} || q.to > v.truth.last) continue;
      ++real;
      if (!first[i]) continue;
      ++found;
      delays.push_back(days_between(q.from, *first[i]));
      gaps.push_back(delays.back() / usual_days(v.log));
    }
  }
  std::sort(delays.begin(), delays.end());
  std::sort(gaps.begin(), gaps.end());
  std::printf("silences: %d false in %.0f shaft-years, %.2f per 100 (%d of whole ships", false_told, shaft_years,
              100 * false_told / shaft_years, of_vessel);
  for (const auto& [kind, n] : kinds) std::printf(", %s %d", std::string{name_of(kind)}.c_str(), n);
  std::printf(")\nreal silences of 40 to 150 days: %d of %d found", found, real);
  if (found > 0)
    std::printf(", median after %.0f days, %.1f usual gaps", delays[delays.size() / 2], gaps[gaps.size() / 2]);
  std::printf("\n");
  CHECK(100 * false_told / shaft_years <= 3);
  CHECK(found >= 0.6 * real);
}
