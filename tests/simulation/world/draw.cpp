#include "domain/amount.hpp"
#include "ship.hpp"

#include <algorithm>
#include <array>

#include <fmt/format.h>

namespace shaftlog::world {
namespace {

constexpr std::int64_t kFirstDay_s = 1546300800;  // 2019-01-01T00:00:00Z

Level level_of(double pct) { return Level::from_base(std::llround(pct * 100)); }

void draw_calendar(Ship& ship, Dice& dice) {
  for (double d = dice.between(150, 900); d < ship.days; d += dice.between(350, 1000)) {
    ship.dockings.push_back({static_cast<int>(d), static_cast<int>(d) + dice.whole(8, 40)});
  }
  const double years = ship.days / 365.25;
  for (int i = dice.poisson(years * dice.between(0, 1.5)); i > 0; --i) {
    const int from = dice.whole(0, ship.days);
    ship.idle.push_back({from, from + static_cast<int>(dice.log_between(5, 70))});
  }
  if (dice.chance(0.10)) {
    const int from = dice.whole(ship.days / 4, ship.days);
    ship.silences.push_back({from, from + static_cast<int>(dice.log_between(40, 150))});
  }
  for (int i = dice.poisson(0.15 * years); i > 0; --i) {
    const int from = dice.whole(60, ship.days);
    ship.neglects.push_back({from, from + dice.whole(60, 200)});
  }
  if (dice.chance(0.12)) {
    ship.grease_change_on = dice.whole(ship.days / 4, 3 * ship.days / 4);
    ship.grease_factor = dice.chance(0.5) ? 1.0 : dice.chance(0.7) ? dice.between(1.25, 2.0) : dice.between(0.6, 0.85);
  }
}

void draw_crew(Ship& ship, Dice& dice) {
  const double forgets = dice.between(0, 0.05), late = dice.between(0.01, 0.12), stops = dice.between(0, 0.05);
  const bool days_only = dice.chance(0.15);
  const double rough = dice.between(0.5, 1.6);
  for (int i = dice.whole(2, 5); i > 0; --i) {
    Person p;
    p.fill_bias_cm3 = dice.between(0, 8) * dice.normal();
    p.forgets = forgets * dice.between(0.3, 2);
    p.late = late * dice.between(0.2, 2.5);
    p.day_only = days_only ? dice.between(0.2, 1) : 0.0;
    p.stops = stops * dice.between(0.3, 2);
    constexpr std::array<int, 6> kRounding{1, 1, 2, 5, 10, 10};
    p.round_to = kRounding[static_cast<std::size_t>(std::min(5.0, rough * dice.between(0, 4)))];
    ship.people.push_back(p);
    ship.log.people.push_back(fmt::format("hand {}", ship.people.size()));
  }
  ship.watch_days = dice.whole(25, 120);
}

/// Shafts of one group share a mean that depends on the group alone.
struct Group {
  double mean_log_w = 0, sd = 0.3;
};
Group group_of(std::uint64_t seed, int number) {
  Dice dice = Dice::of(seed ^ 0x6a09e667f3bcc908U, static_cast<std::uint64_t>(number));
  return {std::clamp(std::log(0.30) + 0.55 * dice.normal(), std::log(0.09), std::log(0.9)), dice.between(0.15, 0.5)};
}

double rounded_to(double x, double step) { return std::round(x / step) * step; }

}  // namespace

Instant day_start(const Ship& ship, int day) {
  return from_unix(kFirstDay_s) + std::chrono::days{ship.first_day + day};
}

Uuid make_id(VesselId vessel, Instant at, std::uint32_t counter) {
  Uuid id;
  const auto ms = static_cast<std::uint64_t>(in_unix_s(at)) * 1000;
  for (std::size_t i = 0; i < 6; ++i) id.bytes[i] = static_cast<std::uint8_t>(ms >> (8 * (5 - i)));
  id.bytes[6] = 0x70;
  id.bytes[8] = 0x80;
  for (std::size_t i = 0; i < 3; ++i) id.bytes[9 + i] = static_cast<std::uint8_t>(vessel.value >> (8 * (2 - i)));
  for (std::size_t i = 0; i < 4; ++i) id.bytes[12 + i] = static_cast<std::uint8_t>(counter >> (8 * (3 - i)));
  return id;
}

Ship draw_ship(const WorldPlan& plan, int index, Dice& dice) {
  Ship ship;
  constexpr double kTrades[] = {2, 2.5, 2, 1.5, 1, 1.5, 1.5};
  ship.trade = static_cast<Trade>(dice.pick(kTrades));
  const int all_days = static_cast<int>(plan.years * 365.25);
  if (dice.chance(0.12)) ship.first_day = dice.whole(0, all_days / 3);
  ship.days = all_days - ship.first_day;
  ship.slips_per_year = plan.slips_per_year * dice.gamma_of_mean_1(1.0);

  VesselLog& log = ship.log;
  const std::int64_t base = (index + 1) * 10;
  const int group_number = index / 6;  // sisters; the last of each six sails alone
  Vessel& v = log.vessel;
  v.id = VesselId{index + 1};
  v.code = fmt::format("v{:04}", index + 1);
  v.name = fmt::format("Ship {}", index + 1);
  if (index % 6 != 5) v.group = fmt::format("class{:03}", group_number);
  constexpr std::array<int, 7> kClocks{0, 1, -3, 8, 2, -5, 10};
  ship.clock_offset_h = kClocks[static_cast<std::size_t>(dice.whole(0, 6))];
  v.time_zone = ship.clock_offset_h == 0 ? "UTC" : fmt::format("Etc/GMT{:+}", -ship.clock_offset_h);
  log.greases = {{GreaseId{1}, "alpha_2", Thickener::lithium_complex, "2", Density::from_base(920), false},
                 {GreaseId{2}, "beta_2", Thickener::calcium_sulfonate, "2", Density::from_base(940), true}};

  draw_calendar(ship, dice);
  draw_crew(ship, dice);
  ship.ship_hours = make_hours(ship.trade, ship.days, ship.dockings, ship.idle, dice.between(0, 365), dice);
  double sum = 0;
  for (const double h : ship.ship_hours) sum += h;
  const double per_day = std::max(1.0, sum / ship.days);
  ship.anchor_share = ship.trade == Trade::yacht ? dice.between(0.2, 0.7) : 0.0;
  ship.season = dice.chance(0.6) ? dice.between(0, 0.25) : 0.0;
  ship.season_at = dice.uniform();
  ship.slow_days = dice.between(40, 200);
  ship.hours_every_days = std::array<int, 5>{1, 7, 7, 14, 30}[static_cast<std::size_t>(dice.whole(0, 4))];
  if (ship.hours_every_days == 1) ship.hours_every_days = dice.whole(2, 5);
  ship.whole_hours = dice.chance(0.5);
  ship.misses_reading = dice.between(0, 0.15);
  if (dice.chance(0.2)) ship.sync_every_days = dice.whole(5, 30);
  ship.late_greasing = dice.between(0.1, 0.8);
  ship.writes_docking = dice.chance(0.85);
  ship.writes_alarms = dice.chance(0.85);

  constexpr double kUnits[] = {45, 30, 15, 10};
  ship.greasing_unit = std::array<Unit, 4>{Unit::strokes, Unit::cm3, Unit::g, Unit::kg}[dice.pick(kUnits)];
  ship.registered_stroke_cm3 = rounded_to(dice.between(0.86, 2.7), 0.01);
  const bool by_strokes = ship.greasing_unit == Unit::strokes;
  ship.gun_bias = by_strokes ? 1 + std::clamp(0.08 * dice.normal(), -0.15, 0.15) : 1.0;
  ship.count_sd = by_strokes ? dice.between(0.02, 0.07) : dice.between(0.008, 0.04);
  if (by_strokes && dice.chance(0.05)) {
    ship.gun_changed_on = dice.whole(ship.days / 3, ship.days - 60);
    ship.other_gun = dice.chance(0.5) ? dice.between(1.4, 2.2) : dice.between(0.45, 0.7);
  }
  if (by_strokes && ship.gun_changed_on < 0 && dice.chance(0.15)) {
    ship.second_gun_on = dice.whole(60, ship.days - 60);
    ship.second_bias = 1 + std::clamp(0.08 * dice.normal(), -0.15, 0.15);
    ship.second_stroke_cm3 = rounded_to(dice.between(0.86, 2.7), 0.01);
  }
  Gun gun{GunId{base + 1}, v.id, "gun1", {}};
  gun.calibrations.push_back({std::nullopt, Volume::from_base(std::llround(ship.registered_stroke_cm3 * 1000))});
  log.guns.push_back(gun);
  if (ship.second_gun_on >= 0) {
    gun = Gun{GunId{base + 2}, v.id, "gun2", {}};
    gun.calibrations.push_back({std::nullopt, Volume::from_base(std::llround(ship.second_stroke_cm3 * 1000))});
    log.guns.push_back(gun);
  }
  if (dice.chance(0.3)) ship.limit_share = dice.between(0.7, 1.1);

  const Group group = group_of(plan.seed, index % 6 != 5 ? group_number : 100000 + index);
  const bool has_lubricator = dice.chance(0.55);
  constexpr double kShafts[] = {1, 4.5, 1, 3.5};
  const int shafts = 1 + static_cast<int>(dice.pick(kShafts));
  const int fed = !has_lubricator ? 0 : dice.chance(0.75) ? shafts : dice.whole(1, shafts);
  const bool fed_are_greased = dice.chance(0.7);
  const bool rounds = dice.chance(0.7);
  const double same_hours = dice.chance(0.6) ? dice.between(0.0, 0.03) : dice.between(0.03, 0.3);
  LubricatorPlan lub;
  lub.has_counter = has_lubricator && dice.chance(0.4);
  lub.cycle_min = std::array<double, 5>{10, 12, 15, 15, 20}[static_cast<std::size_t>(dice.whole(0, 4))];

  constexpr std::array<const char*, 4> kNames{"fin_port", "fin_stbd", "fin_aft_port", "fin_aft_stbd"};
  const bool is_rudder = ship.trade == Trade::workboat || shafts == 1;
  const double fill_sd = dice.between(8, 40), scatter = dice.between(0.04, 0.2);
  double dose_use = 0;
  if (has_lubricator && dice.chance(0.12)) ship.dose_changed_on = dice.whole(100, ship.days - 100);
  const double dose_factor = dice.chance(0.6) ? dice.between(1.15, 1.6) : dice.between(0.7, 0.9);
  for (int i = 0; i < shafts; ++i) {
    ShaftPlan s;
    s.id = ShaftId{base + i + 1};
    s.washout = std::clamp(std::exp(group.mean_log_w + group.sd * dice.normal()), 0.05, 1.5);
    s.idle_cm3_per_day = dice.chance(0.5) ? 0.0 : s.washout * dice.between(0, 0.4);
    s.hours_share = 1 - same_hours * dice.uniform();
    s.hours_noise = std::min(0.05, same_hours);
    s.fill_sd = fill_sd * dice.between(0.8, 1.2);
    s.scatter_sd = scatter * dice.between(0.8, 1.2);
    s.slow_sd = dice.between(0, 0.12);
    // Cavity and interval go with the loss: whoever planned them knew the shaft a little.
    const double interval_h = rounded_to(std::clamp(dice.log_between(80, 900), 80.0, 60 * per_day), 25);
    const double share = dice.between(0.2, 0.65);
    s.cavity_cm3 = rounded_to(std::clamp(s.washout * interval_h / share, 150.0, 1000.0), 10);
    s.interval_h = std::max(50.0, std::min(interval_h, rounded_to(0.8 * s.cavity_cm3 / s.washout, 25)));
    s.interval_days = std::max(7, static_cast<int>(s.interval_h / per_day * dice.between(1.2, 2.0)));
    if (dice.chance(0.5)) s.interval_days = 0;
    s.fill_sd = std::min(s.fill_sd, 0.12 * s.cavity_cm3);
    if (i < fed) {
      const double rate = s.washout * (fed_are_greased ? dice.between(0.5, 1.15) : dice.between(1.05, 1.7));
      s.dose_cm3 = std::max(0.005, rounded_to(rate * lub.cycle_min / 60, 0.005));
      s.later_dose_cm3 = std::max(0.005, rounded_to(dose_factor * s.dose_cm3, 0.005));
      s.device_ratio = 1 + 0.03 * dice.normal();
      s.is_greased = fed_are_greased;
      s.interval_h = rounded_to(s.interval_h * dice.between(1.2, 2.5), 25);
      if (s.interval_days > 0) s.interval_days = static_cast<int>(s.interval_days * dice.between(1.2, 2.5));
      dose_use += s.dose_cm3 * 60 / lub.cycle_min * per_day * s.hours_share;
      if (lub.has_counter) {  // one switch runs them all
        s.hours_share = 1 - 0.02 * dice.uniform();
        s.hours_noise = 0.002;
      }
    }
    s.round = rounds ? 0 : i;
    s.meter_h = dice.between(0, 9000);
    if (dice.chance(0.12)) s.rollover_h = 10000;
    if (dice.chance(0.06)) {
      s.meter_changed_on = dice.whole(60, ship.days - 60);
      s.meter_change_is_marked = dice.chance(0.6);
    }
    if (dice.chance(0.04)) {
      s.meter_dead_from = dice.whole(ship.days / 4, ship.days - 30);
      s.meter_dead_until = s.meter_dead_from + dice.whole(50, 150);
    }
    if (!ship.dockings.empty() && dice.chance(0.15)) {
      s.seal_work_on =
          ship.dockings[static_cast<std::size_t>(dice.whole(0, static_cast<int>(ship.dockings.size()) - 1))].from + 3;
    }
    Shaft shaft{s.id, v.id, is_rudder ? fmt::format("shaft_{}", i + 1) : kNames[static_cast<std::size_t>(i)], {}};
    ShaftSetting set;
    set.cavity = Volume::from_base(std::llround(s.cavity_cm3 * 1000));
    if (s.is_greased) {
      set.interval = RunTime::from_base(std::llround(s.interval_h * 3600));
      if (s.interval_days > 0) set.interval_days = s.interval_days;
    }
    if (dice.chance(0.3)) set.reserve = level_of(100 * (s.reserve_share = dice.whole(3, 6) * 0.05));
    if (s.rollover_h > 0) set.meter_rollover = HoursReading::from_base(std::llround(s.rollover_h * 3600));
    set.grease = GreaseId{1};
    shaft.settings.push_back(set);
    if (ship.grease_change_on >= 0) {
      set.from = Stamp{day_start(ship, ship.grease_change_on), std::chrono::minutes{0}, Precision::minute};
      set.grease = GreaseId{2};
      shaft.settings.push_back(set);
    }
    log.shafts.push_back(shaft);
    ship.shafts.push_back(s);
  }
  if (has_lubricator) {
    lub.id = LubricatorId{base + 1};
    lub.reservoir_cm3 = rounded_to(std::clamp(dose_use * dice.log_between(25, 120) / 0.55, 2000.0, 40000.0), 500);
    lub.level_sd_pct = dice.log_between(0.7, 5);
    lub.level_round_pct = lub.level_sd_pct > 2 ? 5.0 : 1.0;
    lub.poured_sd = dice.between(0.008, 0.04);
    lub.level_every_days = std::array<int, 5>{0, 7, 14, 30, 30}[static_cast<std::size_t>(dice.whole(0, 4))];
    lub.cycles_every_days = std::array<int, 3>{7, 7, 14}[static_cast<std::size_t>(dice.whole(0, 2))];
    const int style = dice.whole(0, 3);
    lub.tells_amount = style != 0;
    lub.tells_before = lub.tells_after = style < 2;
    if (style == 2) lub.tells_before = true;
    lub.to_full_mark = style == 3 || dice.chance(0.2);
    lub.refill_unit =
        std::array<Unit, 4>{Unit::kg, Unit::kg, Unit::l, Unit::cm3}[static_cast<std::size_t>(dice.whole(0, 3))];
    lub.refill_below = dice.between(0.2, 0.5);
    lub.refill_to = dice.between(0.8, 0.95);
    lub.alarms_per_1000h = dice.log_between(0.4, 4);
    lub.alarm_shape = dice.log_between(0.7, 6);
    lub.burst_share = dice.between(0.02, 0.3);
    if (lub.has_counter && dice.chance(0.15)) lub.counter_reset_on = dice.whole(60, ship.days);
    if (dice.chance(0.25)) {
      lub.off_from = dice.whole(60, ship.days);
      lub.off_until = lub.off_from + dice.whole(4, 30);
    }
    Lubricator l{lub.id, v.id, "lub1", {}};
    LubricatorSetting set{std::nullopt, Volume::from_base(std::llround(lub.reservoir_cm3 * 1000)), std::nullopt,
                          GreaseId{1}};
    l.settings.push_back(set);
    if (ship.grease_change_on >= 0) {
      set.from = Stamp{day_start(ship, ship.grease_change_on), std::chrono::minutes{0}, Precision::minute};
      set.grease = GreaseId{2};
      l.settings.push_back(set);
    }
    log.lubricators.push_back(l);
    ship.lubricators.push_back(lub);
    for (int i = 0; i < fed; ++i) {
      const ShaftPlan& s = ship.shafts[static_cast<std::size_t>(i)];
      log.feeds.push_back({lub.id, s.id, std::nullopt, Volume::from_base(std::llround(s.dose_cm3 * 1000)),
                           std::llround(lub.cycle_min * 60)});
      if (ship.dose_changed_on >= 0) {
        log.feeds.push_back(
            {lub.id, s.id, Stamp{day_start(ship, ship.dose_changed_on), std::chrono::minutes{0}, Precision::minute},
             Volume::from_base(std::llround(s.later_dose_cm3 * 1000)), std::llround(lub.cycle_min * 60)});
      }
    }
  }
  // The order in which a database gives them: by code.
  std::sort(log.shafts.begin(), log.shafts.end(), [](const Shaft& a, const Shaft& b) { return a.code < b.code; });
  std::stable_sort(log.feeds.begin(), log.feeds.end(), [&](const Feed& a, const Feed& b) { return a.shaft < b.shaft; });
  log.origins.emplace_back("typed");
  log.origins.emplace_back("tablet");
  return ship;
}

double draw_size(FaultKind kind, Dice& dice) {
  switch (kind) {
    case FaultKind::step:
      return dice.log_between(1.5, 4);
    case FaultKind::wear:
      return dice.log_between(1500, 6000);
    case FaultKind::not_cycling:
      return dice.chance(0.4) ? 0.0 : dice.between(0.0, 0.8);
    case FaultKind::low_delivery:
      return dice.chance(0.25) ? 0.0 : dice.between(0.0, 0.8);
    case FaultKind::stuck_device:
      return dice.chance(0.6) ? 0.0 : dice.between(0.0, 0.6);
    case FaultKind::line_leak:
      return dice.log_between(1.15, 2.5);
    case FaultKind::alarm_rate:
      return dice.log_between(3, 8);
    case FaultKind::blocked_path:
      return dice.log_between(0.03, 0.5);
    case FaultKind::left_off:
      return 0;
  }
  return 1;
}

void draw_faults(Ship& ship, const WorldPlan& plan, Dice& dice) {
  if (!dice.chance(plan.fault_share)) return;
  const int n = dice.chance(0.12) ? 2 : 1;
  std::vector<ShaftId> struck;
  for (int k = 0; k < n; ++k) {
    const bool has_lubricator = !ship.lubricators.empty();
    std::vector<const ShaftPlan*> greased, fed;
    for (const ShaftPlan& s : ship.shafts) {
      if (std::find(struck.begin(), struck.end(), s.id) != struck.end()) continue;
      if (s.is_greased) greased.push_back(&s);
      if (s.dose_cm3 > 0) fed.push_back(&s);
    }
    const double of_shaft = greased.empty() || (k > 0 && ship.shafts.size() < 2) ? 0 : 1;
    const double of_lub = has_lubricator && fed.size() > 0 ? 1 : 0;
    const double weights[] = {2.0 * of_shaft,
                              2.0 * of_shaft,
                              2.5 * of_lub,
                              3.0 * of_lub,
                              fed.size() > 1 ? 4.0 * of_lub : 0,
                              3.0 * of_lub,
                              ship.writes_alarms ? 2.5 * of_lub : 0};
    double sum = 0;
    for (const double w : weights) sum += w;
    if (sum <= 0) return;
    Fault f;
    f.kind = static_cast<FaultKind>(dice.pick(weights));
    const double onset = dice.between(0.2, 0.75) * ship.days;
    f.onset = day_start(ship, 0) + std::chrono::seconds{std::llround(onset * 86400)};
    f.size = draw_size(f.kind, dice);
    constexpr double kShortest[] = {120, 300, 40, 90, 120, 90, 120}, kLongest[] = {900, 1500, 500, 800, 900, 700, 900};
    const std::size_t of_kind = static_cast<std::size_t>(f.kind);
    const double lasts = dice.log_between(kShortest[of_kind], kLongest[of_kind]);
    if (onset + lasts < ship.days - 20)
      f.end = day_start(ship, static_cast<int>(onset + lasts)) + std::chrono::hours{10};
    const auto any_of = [&](const std::vector<const ShaftPlan*>& from) {
      return from[static_cast<std::size_t>(dice.whole(0, static_cast<int>(from.size()) - 1))]->id;
    };
    if (is_of_shaft(f.kind)) {
      f.shaft = any_of(greased);
      struck.push_back(f.shaft);
    } else {
      f.lubricator = ship.lubricators.front().id;
      if (f.kind == FaultKind::stuck_device) f.shaft = any_of(fed);
      // Two faults of one lubricator are not told apart by their records.
      const bool taken =
          std::any_of(ship.faults.begin(), ship.faults.end(), [](const Fault& x) { return !is_of_shaft(x.kind); });
      if (taken) continue;
    }
    ship.faults.push_back(f);
  }
}

void draw_rare_faults(Ship& ship, const WorldPlan& plan, Dice& dice) {
  constexpr double kShare = 0.4;  // of the ships without another fault
  if (plan.fault_share <= 0 || !dice.chance(kShare)) return;
  std::vector<ShaftId> greased;
  for (const ShaftPlan& s : ship.shafts)
    if (s.is_greased && s.dose_cm3 <= 0) greased.push_back(s.id);  // else the doses go in all the same
  const double weights[] = {greased.empty() ? 0.0 : 1.0, ship.lubricators.empty() ? 0.0 : 1.0};
  if (weights[0] + weights[1] <= 0) return;
  Fault f;
  f.kind = dice.pick(weights) == 0 ? FaultKind::blocked_path : FaultKind::left_off;
  const double onset = dice.between(0.2, 0.75) * ship.days;
  f.onset = day_start(ship, static_cast<int>(onset)) + std::chrono::hours{9};
  f.size = draw_size(f.kind, dice);
  const double lasts = f.kind == FaultKind::blocked_path ? dice.log_between(150, 900) : dice.log_between(60, 500);
  if (onset + lasts < ship.days - 20) f.end = day_start(ship, static_cast<int>(onset + lasts)) + std::chrono::hours{10};
  if (f.kind == FaultKind::blocked_path) {
    f.shaft = greased[static_cast<std::size_t>(dice.whole(0, static_cast<int>(greased.size()) - 1))];
  } else {
    LubricatorPlan& l = ship.lubricators.front();
    f.lubricator = l.id;
    l.off_from = l.off_until = -1;  // no other standstill, which would have set it going
  }
  ship.faults.push_back(f);
}

}  // namespace shaftlog::world
