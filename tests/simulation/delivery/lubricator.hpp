#pragma once

#include "analysis/review.hpp"

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <optional>
#include <random>
#include <vector>

namespace shaftlog::simulated {

/// What is true of one invented lubricator, and what its crew writes down.
struct Case {
  int days = 730;
  double ratio = 1;         ///< of all doses after the change
  double device_ratio = 1;  ///< of the stuck device alone
  double cycle_ratio = 1;   ///< cycles made / called for after the change
  int stuck = -1;           ///< shaft whose device is stuck after the change; -1: none
  double change_day = 1e9;
  double back_day = 1e9;  ///< mended
  bool counter = false;
  bool unequal = false;  ///< doses differ between shafts
  bool different_hours = false;
  bool greasings = false;
  bool season = false;
  bool docking = false;  ///< about three weeks a year; hours are not read then
  bool writes_docking = true;
  int hours_every = 7;        ///< days between readings
  double round_pct = 1;       ///< levels are noted to this
  bool only_refills = false;  ///< levels are noted at refills only
  bool no_levels = false;     ///< refills to the full mark, amounts alone
  bool habit = false;         ///< another person reads 4 % higher from the middle on
  bool top_up = false;        ///< one refill is not written down
  bool air = false;           ///< one refill leaves air: the level falls by 6 % of full in the week after
  bool slips = false;         ///< one level is off by 10 to 25 % of full
  bool resets = false;        ///< the counter starts again twice, once noted
};

struct Lubricated {
  VesselLog log;
  Instant end{};
  double full = 0, level_sd_pct = 0, dose_error = 1;
  std::vector<double> shares;    ///< of the whole dose, by running hours after the change
  std::vector<Instant> records;  ///< of a level or a refill
  double true_ratio = 1;         ///< at the end
  int stuck = -1;
  std::vector<double> content;  ///< by day [cm3]
  std::vector<double> called;   ///< doses that the hours call for, cumulated by day [cm3]
};

inline const Instant kStart = from_unix(1640995200);  // 2022-01-01T00:00:00Z
constexpr LubricatorId kPump{1};

class Dice {
 public:
  explicit Dice(std::uint32_t seed) : random_{seed} {}
  std::uint32_t any() { return static_cast<std::uint32_t>(random_()); }
  double uniform(double a, double b) { return a + (b - a) * (static_cast<double>(random_()) / 4294967296.0); }
  double normal() {  // Box-Muller: the same on every library
    const double u = uniform(1e-12, 1), v = uniform(0, 1);
    return std::sqrt(-2 * std::log(u)) * std::cos(6.283185307179586 * v);
  }

 private:
  std::mt19937 random_;
};

template <class What>
void record_when_it_happened(std::vector<Logged<What>>& records) {
  for (Logged<What>& r : records) r.recorded_at = r.at;
}

/// One lubricator: reservoir 2 to 30 dm3, refills every 3 to 10 weeks, levels before and after, half of them with
/// weekly levels; hours, counter and greasings as the case says.
inline Lubricated simulate(std::uint32_t seed, const Case& c) {
  Dice dice{seed};
  Lubricated s;
  s.end = kStart + std::chrono::days{c.days};
  s.stuck = c.stuck;
  const int shafts = c.stuck >= 0 ? 4 : (dice.any() % 2 ? 2 : 4);
  const double use = dice.uniform(6, 18), weeks = dice.uniform(3, 10);
  std::vector<double> dose(static_cast<std::size_t>(shafts), 0.25), pace(static_cast<std::size_t>(shafts), 1.0);
  for (double& d : dose)
    if (c.unequal) d = 0.1 * std::round(dice.uniform(1, 6));
  for (double& p : pace)
    if (c.different_hours) p = dice.uniform(0.4, 1.0);
  double per_day = 0;
  for (std::size_t k = 0; k < dose.size(); ++k) per_day += 4 * dose[k] * pace[k] * use;
  s.full = std::clamp(per_day * weeks * 7 / dice.uniform(0.5, 0.8), 2000.0, 30000.0);
  s.level_sd_pct = dice.uniform(0.6, 2.0);
  const bool weekly = dice.any() % 2 != 0 && !c.only_refills && !c.no_levels;
  s.dose_error = 1 + 0.025 * dice.normal();
  const double poured_sd = dice.uniform(0.008, 0.035);

  VesselLog& log = s.log;
  log.vessel.id = VesselId{1};
  log.vessel.code = "ship";
  log.vessel.time_zone = "UTC";
  Lubricator l;
  l.id = kPump;
  l.code = "lub1";
  l.settings.push_back({std::nullopt, Volume::from_base(static_cast<std::int64_t>(s.full * 1000)), std::nullopt, {}});
  log.lubricators.push_back(l);
  for (int k = 1; k <= shafts; ++k) {
    Shaft f;
    f.id = ShaftId{k};
    f.code = "s" + std::to_string(k);
    ShaftSetting set;
    set.cavity = Volume::from_base(600000);
    f.settings.push_back(set);
    log.shafts.push_back(f);
    log.feeds.push_back(
        {kPump, ShaftId{k}, std::nullopt,
         Volume::from_base(static_cast<std::int64_t>(dose[static_cast<std::size_t>(k - 1)] * 1000 + 0.5)), 900});
  }

  const auto days = static_cast<std::size_t>(c.days);
  std::vector<bool> docked(days + 1, false);
  if (c.docking)
    for (int year = 0; 365 * year < c.days; ++year) {
      const int from = 365 * year + static_cast<int>(dice.uniform(40, 300)),
                until = from + static_cast<int>(dice.uniform(14, 30));
      for (int d = from; d < until && d <= c.days; ++d) docked[static_cast<std::size_t>(d)] = true;
      if (!c.writes_docking || until > c.days) continue;
      for (const auto& [day, kind] : {std::pair{from, WorkKind::docked}, std::pair{until, WorkKind::undocked}}) {
        Logged<Work> w;
        w.at = kStart + std::chrono::days{day};
        w.what.work = kind;
        log.work.push_back(w);
      }
    }
  // Running hours by day, one row a shaft: a common pattern, and a little of its own where hours differ.
  std::vector<std::vector<double>> run(static_cast<std::size_t>(shafts), std::vector<double>(days + 1, 0.0));
  double slow = 0;
  std::vector<double> own(static_cast<std::size_t>(shafts), 0.0);
  for (std::size_t d = 1; d <= days; ++d) {
    slow = 0.9 * slow + 1.2 * dice.normal();
    const double season = c.season ? 1 + 0.5 * std::sin(6.283185307179586 * static_cast<double>(d) / 365.25) : 1.0;
    const double day = std::clamp((use + slow + 3 * dice.normal()) * season, 0.0, 24.0);
    for (std::size_t k = 0; k < run.size(); ++k) {
      own[k] = 0.95 * own[k] + (c.different_hours ? 0.08 * dice.normal() : 0.0);
      const double h = c.different_hours ? std::clamp(day * pace[k] * std::exp(own[k]), 0.0, 24.0) : day;
      run[k][d] = run[k][d - 1] + (docked[d] ? 0.0 : h);
    }
  }
  std::uint32_t serial = 0;
  const auto id = [&serial] {
    Uuid u;
    ++serial;
    u.bytes[0] = static_cast<std::uint8_t>(serial >> 16);
    u.bytes[1] = static_cast<std::uint8_t>(serial >> 8);
    u.bytes[2] = static_cast<std::uint8_t>(serial);
    return u;
  };
  const auto at_day = [](int d) { return kStart + std::chrono::days{d}; };
  std::int64_t counter = 1000;
  double made = 0;  // cycles, with their fraction
  const int reset_a = static_cast<int>(dice.uniform(100, 300)), reset_b = static_cast<int>(dice.uniform(350, 600));
  const int slip_day = static_cast<int>(dice.uniform(100, 650));
  bool has_slipped = false;
  const auto read = [&](double v, int d) {
    double pct = 100 * v / s.full + s.level_sd_pct * dice.normal();
    if (c.habit && d > c.days / 2) pct += 4;
    if (c.slips && !has_slipped && d >= slip_day) {
      pct += (dice.any() % 2 ? 1 : -1) * dice.uniform(10, 25);
      has_slipped = true;
    }
    pct = c.round_pct * std::round(pct / c.round_pct);
    return Level::from_base(static_cast<std::int64_t>(100 * std::clamp(pct, 0.0, 100.0) + 0.5));
  };
  const double mark = 0.92 * s.full;
  double v = mark, air = 0;
  const double first_refill = dice.uniform(0.5, 1) * weeks * 7;
  double next_refill = first_refill;
  int next_hours = 0, refills = 0;
  bool noted_reset = false;
  std::vector<double> fed_after(static_cast<std::size_t>(shafts), 0.0);
  for (int d = 0; d <= c.days; ++d) {
    const auto i = static_cast<std::size_t>(d);
    const bool is_changed = d > c.change_day && d <= c.back_day;
    double given = 0, called = 0, most = 0;
    if (d > 0)
      for (std::size_t k = 0; k < run.size(); ++k) {
        const double h = run[k][i] - run[k][i - 1];
        most = std::max(most, h);
        const double part = is_changed && static_cast<int>(k) == c.stuck ? c.device_ratio : 1.0;
        given += 4 * dose[k] * h * part;
        called += 4 * dose[k] * h;
        if (d > c.change_day) fed_after[k] += 4 * dose[k] * h;
      }
    const double cycling = is_changed ? c.cycle_ratio : 1.0;
    made += 4 * most * cycling;
    v = std::max(0.0, v - given * s.dose_error * cycling * (is_changed ? c.ratio : 1.0));
    if (air > 0) {
      const double part = std::min(air, 0.06 * s.full / 7);
      v = std::max(0.0, v - part);
      air -= part;
    }
    if (c.resets && c.counter && (d == reset_a || d == reset_b)) counter = 0, made = 0, noted_reset = d == reset_b;
    if (d >= next_hours && !docked[i]) {
      next_hours = d + c.hours_every;
      for (int k = 1; k <= shafts; ++k) {
        Logged<Hours> h;
        h.id = id();
        h.at = at_day(d);
        h.shaft = ShaftId{k};
        h.what.reading = HoursReading::from_base(
            static_cast<std::int64_t>(std::round(10 * (5000 + run[static_cast<std::size_t>(k - 1)][i])) * 360));
        log.hours.push_back(h);
      }
      if (c.counter) {
        Logged<Cycles> n;
        n.id = id();
        n.at = at_day(d);
        n.lubricator = kPump;
        n.what = {counter + static_cast<std::int64_t>(made), noted_reset};
        noted_reset = false;
        log.cycles.push_back(n);
      }
    }
    if (d > 0 && !docked[i] && (d >= next_refill || v < 0.12 * s.full)) {
      Logged<Refill> f;
      f.id = id();
      f.at = at_day(d);
      f.lubricator = kPump;
      ++refills;
      const double poured = std::max(0.0, mark - v);
      const bool is_written = !(c.top_up && refills == 6);
      const Level before = read(v, d);
      v += poured;
      if (c.air && refills == 5) v += 0.06 * s.full, air = 0.06 * s.full;
      const Level after = read(v, d);
      if (!c.no_levels) f.what.before = before, f.what.after = after;
      Amount a;
      a.volume = Volume::from_base(static_cast<std::int64_t>(1000 * poured * (1 + poured_sd * dice.normal())));
      f.what.amount = a;
      if (is_written) {
        log.refills.push_back(f);
        s.records.push_back(f.at);
      }
      next_refill = d + weeks * 7 * dice.uniform(0.8, 1.2);
    } else if (weekly && d % 7 == 0 && d > 0 && !docked[i]) {
      Logged<LevelReading> f;
      f.id = id();
      f.at = at_day(d);
      f.lubricator = kPump;
      f.what.level = read(v, d);
      log.levels.push_back(f);
      s.records.push_back(f.at);
    }
    s.content.push_back(v);
    s.called.push_back((s.called.empty() ? 0.0 : s.called.back()) + called);
  }
  double all = 0, lost = 0;
  for (std::size_t k = 0; k < fed_after.size(); ++k) {
    all += fed_after[k];
    if (static_cast<int>(k) == c.stuck) lost = (1 - c.device_ratio) * fed_after[k];
  }
  for (const double f : fed_after) s.shares.push_back(all > 0 ? f / all : 0.0);
  s.true_ratio =
      s.dose_error * (c.change_day < c.days && c.back_day > c.days ? c.ratio * (all > 0 ? 1 - lost / all : 1.0) : 1.0);
  if (!c.counter && c.change_day < c.days && c.back_day > c.days) s.true_ratio *= c.cycle_ratio;

  if (c.greasings) {  // every 6 weeks by hand: a shaft that is served takes nearly nothing
    for (std::size_t k = 0; k < run.size(); ++k) {
      const double w = 4 * dose[k] * dice.uniform(0.45, 0.9);  // cm3 per running hour that the bearing loses
      double missing = 0, fill_was = 0;
      const int every = static_cast<int>(dice.uniform(35, 70));
      for (int d = 1; d <= c.days; ++d) {
        const auto i = static_cast<std::size_t>(d);
        const bool is_changed = d > c.change_day && d <= c.back_day;
        const double part =
            is_changed ? c.ratio * c.cycle_ratio * (static_cast<int>(k) == c.stuck ? c.device_ratio : 1.0) : 1.0;
        const double h = run[k][i] - run[k][i - 1];
        missing =
            std::clamp(missing + (w * (1 + 0.06 * dice.normal()) - 4 * dose[k] * part * s.dose_error) * h, 0.0, 600.0);
        if (d % every != 0 || docked[i]) continue;
        const double fill = 8 * dice.normal();
        const double taken = std::max(0.0, (missing + fill - fill_was) * (1 + 0.03 * dice.normal()) + 8);
        fill_was = fill;
        Logged<Greasing> g;
        g.id = id();
        g.at = at_day(d) + std::chrono::hours{6};
        g.shaft = ShaftId{static_cast<std::int64_t>(k) + 1};
        Amount a;
        a.volume = Volume::from_base(static_cast<std::int64_t>(1000 * 5 * std::round(taken / 5)));
        g.what.amount = a;
        g.what.ended = Ended::pressure;
        log.greasings.push_back(g);
        missing = 0;
      }
    }
    std::stable_sort(log.greasings.begin(), log.greasings.end(),
                     [](const auto& a, const auto& b) { return a.at != b.at ? a.at < b.at : a.id < b.id; });
  }
  record_when_it_happened(log.hours);
  record_when_it_happened(log.cycles);
  record_when_it_happened(log.levels);
  record_when_it_happened(log.refills);
  record_when_it_happened(log.greasings);
  record_when_it_happened(log.work);
  return s;
}

inline double median(std::vector<double> x) {
  if (x.empty()) return 0;
  std::sort(x.begin(), x.end());
  return x[x.size() / 2];
}

}  // namespace shaftlog::simulated
