#pragma once

#include <string>
#include <vector>

namespace shaftlog::demo {

/// Days since 2023-10-01, the first day of the demo; the last, 2026-09-30, is kLastDay.
using Day = int;
constexpr Day kLastDay = 1095;
constexpr Day kNever = 100000;
/// Day of the demo of a date of the calendar.
Day day_of(int year, unsigned month, unsigned day);

/// The truth about how a shaft's loss changes: from `from` on (until `until`) `factor` times the normal rate, growing
/// by `growth` natural-log units per 1000 running hours.
struct LossChange {
  Day from = kNever, until = kNever;
  double factor = 1.0, growth = 0.0;
};
/// Greasing that differs from the plan for a while: no oftener than every `every` days; kNever: not at all.
struct Neglect {
  Day from = kNever, until = kNever, every = kNever;
};
/// The hour meter was replaced on `day`; the new one begins at `first_h`.
struct MeterChange {
  Day day = kNever;
  double first_h = 0.0;
  bool marked = true;
};
struct Shaft {
  std::string code, position;
  double cavity_cm3 = 400.0;
  double loss_cm3_per_h = 0.25;
  double hours_share = 1.0;  ///< of the ship's hours
  double meter_h = 0.0;      ///< what the meter showed on the first day
  int rollover_h = 0;        ///< 0: none
  int interval_h = 0, interval_days = 0;
  int round = 0;                ///< shafts of one round are greased one after the other
  double dose_cm3 = 0.0;        ///< 0: manual only
  double fill_error_cm3 = 8.0;  ///< sd of the fill at which back-pressure shows
  std::vector<LossChange> changes;
  std::vector<Neglect> neglects;
  MeterChange meter_change;
  Day device_stuck_from = kNever;
};
/// An outage of a lubricator, or grease lost from its main line.
struct Lubricator {
  std::string code;  ///< empty: the ship has none
  double reservoir_cm3 = 5000.0;
  double start_pct = 80.0, refill_below_pct = 35.0, pail_kg = 2.5;
  int cycle_min = 15;
  bool has_counter = false;
  long long counter_start = 0;
  double true_ratio = 1.0;
  Day off_from = kNever, off_until = kNever;
  Day leak_from = kNever;
  double leak_share = 0.0;      ///< of what the doses take
  Day no_refill_from = kNever;  ///< nobody poured from then on,
  Day refill_on = kNever;       ///< but for this once
  int level_every_days = 14;
  double alarms_per_1000h = 0.4;
};
struct WorkDone {
  Day day = 0;
  std::string shaft, lubricator, work, remark;
};
struct AlarmRaised {
  Day day = 0;
  std::string shaft, alarm, remark;
  int minutes = -1;  ///< until cleared; -1: still standing
};
/// Samples of the purged grease of a shaft every quarter.
struct Sampling {
  std::string shaft;
  Day from = 0;
  double water_pct = 0.15, water_growth_per_quarter = 0.0;  ///< growth in natural-log units
  Day growth_from = kNever;
  double iron_ppm = 45.0;
};
struct Ship {
  std::string code, name, group, zone;
  std::string clock;  ///< written behind each time: "" (ship's local time), "Z", "+08:00"
  double hours_per_day = 8.0, season = 0.15;
  int peak_month = 1;
  double sailing = 0.9;  ///< share of the days
  int hours_every_days = 7;
  bool whole_hours = false;  ///< readings noted without the tenth
  std::string grease, new_grease;
  Day new_grease_from = kNever;
  std::string gun;
  double cm3_per_stroke = 1.3;
  Day gun_calibrated_again =
      kNever;  ///< and then found to give `cm3_per_stroke_then`, which it truly gives from that day
  double cm3_per_stroke_then = 0.0;
  std::string unit = "strokes";
  Day docked = kNever, undocked = kNever;
  Day silent_from = kNever;
  int sync_every_days = 0;  ///< 0: written down the same day or the next
  std::vector<std::string> crew;
  Lubricator lubricator;
  std::vector<Shaft> shafts;
  std::vector<WorkDone> works;
  std::vector<AlarmRaised> alarms;
  std::vector<Sampling> samples;
};

/// The invented fleet with its stories; README.md tells them.
std::vector<Ship> the_fleet();

}  // namespace shaftlog::demo
