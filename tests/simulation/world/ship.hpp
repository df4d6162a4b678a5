#pragma once

#include "dice.hpp"
#include "world.hpp"

#include <string>
#include <vector>

// Inside the simulator: what a vessel is like, drawn before it sails.

namespace shaftlog::world {

enum class Trade : std::uint8_t { ferry, short_sea, cruise, patrol, research, yacht, workboat };

struct Person {
  double fill_bias_cm3 = 0;  ///< pumps on or stops early at back-pressure
  double forgets = 0;        ///< share of records never written
  double late = 0;           ///< share written days later
  double day_only = 0;       ///< share with the day alone
  double stops = 0;          ///< share of greasings broken off
  int round_to = 1;          ///< amounts, in units as written
};

struct ShaftPlan {
  ShaftId id;
  double washout = 0.3;  // [cm3/h]
  double idle_cm3_per_day = 0;
  double hours_share = 1, hours_noise = 0;
  double cavity_cm3 = 400, reserve_share = 0.2;
  double interval_h = 0;
  int interval_days = 0;
  double dose_cm3 = 0;
  double device_ratio = 1;  ///< true dose over setting
  bool is_greased = true;   ///< by hand as a routine
  int round = 0;            ///< shafts of one round are greased together
  double fill_sd = 15, scatter_sd = 0.1, slow_sd = 0.05;
  double meter_h = 0, rollover_h = 0;
  int meter_changed_on = -1;
  bool meter_change_is_marked = true;
  int meter_dead_from = -1, meter_dead_until = -1;  ///< not read then
  double later_dose_cm3 = 0;                        ///< from Ship::dose_changed_on
  int seal_work_on = -1;                            ///< healthy work at a docking
};

struct LubricatorPlan {
  LubricatorId id;
  bool has_counter = false;
  double cycle_min = 15;
  double reservoir_cm3 = 5000;
  double level_sd_pct = 1.5, level_round_pct = 1, poured_sd = 0.02;
  int level_every_days = 0;  ///< 0: not read
  int cycles_every_days = 7;
  bool tells_amount = true, tells_before = true, tells_after = true;
  Unit refill_unit = Unit::kg;
  bool to_full_mark = false;
  double refill_below = 0.35, refill_to = 0.92;
  double alarms_per_1000h = 0.5, alarm_shape = 2, burst_share = 0.1;
  int counter_reset_on = -1;
  int off_from = -1, off_until = -1;  ///< recorded standstill
};

struct Ship {
  Trade trade{};
  int first_day = 0, days = 0;
  VesselLog log;  ///< the register part
  std::vector<ShaftPlan> shafts;
  std::vector<LubricatorPlan> lubricators;
  std::vector<Person> people;
  int watch_days = 60;  ///< a person's time aboard
  Unit greasing_unit = Unit::cm3;
  double gun_bias = 1;     ///< true stroke over registered
  double count_sd = 0.03;  ///< of ln(amount)
  double registered_stroke_cm3 = 1.2;
  int gun_changed_on = -1;
  double other_gun = 1;    ///< true stroke of the other gun over the registered one
  int second_gun_on = -1;  ///< registered, with its own bias
  double second_bias = 1, second_stroke_cm3 = 1.2;
  int dose_changed_on = -1;
  double limit_share = 0;  ///< agreed limit over the cavity; 0: none
  int hours_every_days = 7;
  bool whole_hours = false;
  double misses_reading = 0.05;
  int sync_every_days = 0;
  double late_greasing = 0.3;  ///< chance a day that a greasing that is due is not done yet
  int clock_offset_h = 0;
  double anchor_share = 0;  ///< of the running hours, with less loss
  double season = 0;        ///< of ln(rate)
  double season_at = 0;
  double slow_days = 120;
  bool writes_docking = true, writes_alarms = true;
  struct Spell {
    int from = 0, to = 0;
  };
  std::vector<Spell> dockings, idle, silences, neglects;
  std::vector<double> ship_hours;  ///< a day
  int grease_change_on = -1;
  double grease_factor = 1;
  std::vector<Fault> faults;
  double slips_per_year = 0;
};

/// Hours that the ship's gear runs on each day.
std::vector<double> make_hours(Trade trade, int days, const std::vector<Ship::Spell>& dockings,
                               const std::vector<Ship::Spell>& idle, double peak_day, Dice& dice);
Ship draw_ship(const WorldPlan& plan, int index, Dice& dice);
void draw_faults(Ship& ship, const WorldPlan& plan, Dice& dice);
/// Those whose share was settled after the others', for a ship that has none.
void draw_rare_faults(Ship& ship, const WorldPlan& plan, Dice& dice);
/// Lives the days; fills the records and the truth.
MadeVessel sail(Ship ship, Dice& dice);
/// Slips of the pen into what was rightly written; sorts the lists anew.
void make_slips(MadeVessel& vessel, const Ship& ship, Dice& dice);

Instant day_start(const Ship& ship, int day);
void sort_records(VesselLog& log);
/// An id that sorts with the time, unique in the fleet.
Uuid make_id(VesselId vessel, Instant at, std::uint32_t counter);

}  // namespace shaftlog::world
