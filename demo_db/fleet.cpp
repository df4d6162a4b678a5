#include "fleet.hpp"

#include <chrono>

namespace shaftlog::demo {
namespace {

Shaft manual(const char* code, const char* position, double cavity, double loss, int interval_h, int interval_days) {
  Shaft s;
  s.code = code;
  s.position = position;
  s.cavity_cm3 = cavity;
  s.loss_cm3_per_h = loss;
  s.interval_h = interval_h;
  s.interval_days = interval_days;
  return s;
}

/// On a lubricator with 0.25 cm3 a cycle; hand greasing is the check that the cavity is full.
Shaft automatic(const char* code, const char* position, double loss, int interval_days) {
  Shaft s = manual(code, position, 600.0, loss, 0, interval_days);
  s.dose_cm3 = 0.25;
  s.fill_error_cm3 = 3.0;
  return s;
}

Ship ship(const char* code, const char* name, const char* group, const char* zone) {
  Ship s;
  s.code = code;
  s.name = name;
  s.group = group;
  s.zone = zone;
  s.grease = "li_cx_2";
  s.gun = "gun1";
  s.crew = {"2/E", "oiler", "3/E"};
  return s;
}

void dock(Ship& s, Day from, Day until) {
  s.docked = from;
  s.undocked = until;
  s.works.push_back({from, "", "", "docked", ""});
  s.works.push_back({until, "", "", "undocked", ""});
}

Ship aldermoor() {
  Ship s = ship("aldermoor", "Aldermoor", "alder", "Europe/Oslo");
  s.hours_per_day = 9.5;
  s.crew = {"2/E", "Runa", "oiler", "2/E"};
  s.gun_calibrated_again = day_of(2025, 2, 24);
  s.cm3_per_stroke_then = 1.22;
  s.shafts = {manual("fin_port", "stabiliser fin, port", 400, 0.25, 300, 60),
              manual("fin_stbd", "stabiliser fin, starboard", 400, 0.26, 300, 60),
              manual("rudder_stock", "rudder stock, lower bearing", 500, 0.16, 500, 60)};
  s.shafts[0].meter_h = 4120.4;
  s.shafts[1].meter_h = 4098.7;
  s.shafts[2].meter_h = 2310.0;
  s.shafts[2].hours_share = 1.45;
  s.shafts[2].round = 1;
  dock(s, day_of(2025, 2, 10), day_of(2025, 2, 24));
  s.samples = {{"fin_port", 60, 0.15, 0, kNever, 42}, {"fin_stbd", 60, 0.14, 0, kNever, 47}};
  return s;
}

Ship aldervane() {
  Ship s = ship("aldervane", "Aldervane", "alder", "Europe/Oslo");
  s.hours_per_day = 9.0;
  s.unit = "cm3";
  s.crew = {"3/E", "2/E", "Ivo"};
  s.shafts = {manual("fin_port", "stabiliser fin, port", 400, 0.26, 300, 60),
              manual("fin_stbd", "stabiliser fin, starboard", 400, 0.25, 300, 60),
              manual("rudder_stock", "rudder stock, lower bearing", 500, 0.17, 500, 60)};
  s.shafts[0].meter_h = 3890.2;
  s.shafts[1].meter_h = 3884.9;
  s.shafts[1].changes = {{day_of(2025, 4, 1), kNever, 1.0, 0.20}};
  s.shafts[2].hours_share = 1.5;
  s.shafts[2].meter_h = 6204.3;
  s.shafts[2].rollover_h = 10000;
  s.shafts[2].round = 1;
  dock(s, day_of(2024, 10, 7), day_of(2024, 10, 21));
  return s;
}

Ship quillhaven() {
  Ship s = ship("quillhaven", "Quillhaven", "quill", "America/Halifax");
  s.hours_per_day = 8.0;
  s.season = 0.25;
  s.crew = {"2/E", "Odile", "2/E", "Marek"};
  s.shafts = {manual("fin_port", "stabiliser fin, port", 400, 0.24, 300, 60),
              manual("fin_stbd", "stabiliser fin, starboard", 400, 0.25, 300, 60),
              manual("thruster", "bow thruster, azimuth bearing", 350, 0.30, 250, 75)};
  s.shafts[0].meter_h = 1204.0;
  s.shafts[0].changes = {{day_of(2026, 5, 18), kNever, 2.45, 0.0}};
  s.shafts[1].meter_h = 1199.6;
  s.shafts[1].meter_change = {day_of(2025, 9, 12), 0.0, true};
  s.shafts[2].meter_h = 802.5;
  s.shafts[2].hours_share = 0.5;
  s.shafts[2].round = 1;
  s.shafts[2].meter_change = {day_of(2025, 1, 22), 12.0, false};
  s.works = {{day_of(2026, 5, 18), "fin_port", "", "contact", "struck drifting timber, fin out"}};
  dock(s, day_of(2025, 3, 3), day_of(2025, 3, 18));
  return s;
}

Ship quillmark() {
  Ship s = ship("quillmark", "Quillmark", "quill", "America/Halifax");
  s.hours_per_day = 7.5;
  s.season = 0.25;
  s.hours_every_days = 1;
  s.unit = "cm3";
  s.crew = {"Sanna", "3/E", "oiler"};
  s.shafts = {manual("fin_port", "stabiliser fin, port", 400, 0.22, 300, 60),
              manual("fin_stbd", "stabiliser fin, starboard", 400, 0.50, 300, 60)};
  s.shafts[0].meter_h = 961.0;
  s.shafts[1].meter_h = 955.8;
  dock(s, day_of(2024, 4, 8), day_of(2024, 4, 20));
  return s;
}

std::vector<Shaft> four_fins(double a, double b, double c, double d, int interval_days) {
  return {automatic("fin_fwd_port", "stabiliser fin, forward port", a, interval_days),
          automatic("fin_fwd_stbd", "stabiliser fin, forward starboard", b, interval_days),
          automatic("fin_aft_port", "stabiliser fin, aft port", c, interval_days),
          automatic("fin_aft_stbd", "stabiliser fin, aft starboard", d, interval_days)};
}

Ship tarnwick() {
  Ship s = ship("tarnwick", "Tarnwick", "tarn", "Europe/Lisbon");
  s.hours_per_day = 10.0;
  s.peak_month = 7;
  s.season = 0.2;
  s.crew = {"2/E", "2/E", "Bastian"};
  s.lubricator.code = "lub1";
  s.lubricator.has_counter = true;
  s.lubricator.counter_start = 40210;
  s.lubricator.true_ratio = 1.0;
  s.shafts = four_fins(0.58, 0.61, 0.60, 0.57, 35);
  s.shafts[2].device_stuck_from = day_of(2026, 2, 10);
  for (Shaft& f : s.shafts) f.meter_h = 5210.0;
  s.shafts[1].meter_h = 5188.5;
  s.shafts[3].meter_h = 4975.3;
  dock(s, day_of(2025, 1, 13), day_of(2025, 1, 27));
  return s;
}

Ship tarndale() {
  Ship s = ship("tarndale", "Tarndale", "tarn", "Europe/Lisbon");
  s.hours_per_day = 9.5;
  s.peak_month = 7;
  s.season = 0.2;
  s.hours_every_days = 14;
  s.whole_hours = true;
  s.crew = {"3/E", "Lioba", "2/E"};
  s.lubricator.code = "lub1";
  s.lubricator.has_counter = true;
  s.lubricator.counter_start = 18877;
  s.lubricator.true_ratio = 0.99;
  s.shafts = four_fins(0.60, 0.57, 0.61, 0.59, 35);
  s.lubricator.off_from = day_of(2026, 4, 20);
  for (Shaft& f : s.shafts) f.meter_h = 3302.0;
  dock(s, day_of(2026, 4, 20), day_of(2026, 5, 5));
  return s;
}

Ship vespergale() {
  Ship s = ship("vespergale", "Vespergale", "", "Asia/Singapore");
  s.clock = "+08:00";
  s.hours_per_day = 8.5;
  s.crew = {"2/E", "Danu", "2/E", "oiler"};
  s.lubricator.code = "lub1";
  s.lubricator.has_counter = true;
  s.lubricator.counter_start = 7120;
  s.lubricator.leak_from = day_of(2026, 5, 28);
  s.lubricator.leak_share = 0.52;
  s.shafts = four_fins(0.55, 0.60, 0.58, 0.62, 60);
  for (Shaft& f : s.shafts) f.meter_h = 1450.0;
  dock(s, day_of(2024, 8, 5), day_of(2024, 8, 16));
  for (Day d : {6, 13, 19, 27, 34, 38, 47, 52, 60, 66, 71, 79, 88, 93, 101, 108, 113, 120})
    s.alarms.push_back({s.lubricator.leak_from + d, "", "no_pressure", d % 3 == 0 ? "line 2" : "", 25 + 7 * (d % 9)});
  return s;
}

Ship ostermere() {
  Ship s = ship("ostermere", "Ostermere", "", "Pacific/Auckland");
  s.clock = "Z";
  s.hours_per_day = 8.0;
  s.peak_month = 7;
  s.sync_every_days = 21;
  s.silent_from = day_of(2026, 5, 14);
  s.crew = {"2/E", "Tarek", "2/E"};
  s.lubricator.code = "lub1";
  s.lubricator.reservoir_cm3 = 3000.0;
  s.lubricator.pail_kg = 1.0;
  s.shafts = {automatic("fin_port", "stabiliser fin, port", 0.55, 60),
              automatic("fin_stbd", "stabiliser fin, starboard", 0.57, 60),
              manual("rudder_stock", "rudder stock, lower bearing", 500, 0.15, 500, 75)};
  s.shafts[0].meter_h = 7001.2;
  s.shafts[1].meter_h = 6940.0;
  s.shafts[2].hours_share = 1.5;
  s.shafts[2].round = 1;
  s.shafts[2].meter_h = 11890.0;
  dock(s, day_of(2025, 6, 9), day_of(2025, 6, 20));
  return s;
}

Ship kestrelholm() {
  Ship s = ship("kestrelholm", "Kestrelholm", "", "Europe/Berlin");
  s.hours_per_day = 9.0;
  s.unit = "g";
  s.new_grease = "ca_sulf_2";
  s.new_grease_from = day_of(2026, 2, 16);
  s.crew = {"Jorid", "2/E", "2/E"};
  s.shafts = {manual("fin_fwd_port", "stabiliser fin, forward port", 400, 0.25, 300, 60),
              manual("fin_fwd_stbd", "stabiliser fin, forward starboard", 400, 0.27, 300, 60),
              manual("fin_aft_port", "stabiliser fin, aft port", 400, 0.24, 300, 60),
              manual("fin_aft_stbd", "stabiliser fin, aft starboard", 400, 0.26, 300, 60)};
  double factor = 1.90;
  for (Shaft& f : s.shafts) {
    f.meter_h = 2600.0;
    f.changes = {{s.new_grease_from, kNever, factor, 0.0}};
    factor += 0.04;
  }
  dock(s, day_of(2024, 11, 4), day_of(2024, 11, 18));
  return s;
}

Ship marlfirth() {
  Ship s = ship("marlfirth", "Marlfirth", "", "Europe/Athens");
  s.hours_per_day = 8.5;
  s.sync_every_days = 30;
  s.hours_every_days = 14;
  s.unit = "cm3";
  s.crew = {"2/E", "Yorgis", "3/E"};
  s.shafts = {manual("fin_port", "stabiliser fin, port", 400, 0.25, 300, 60),
              manual("fin_stbd", "stabiliser fin, starboard", 400, 0.24, 300, 60),
              manual("rudder_stock", "rudder stock, lower bearing", 500, 0.16, 500, 60)};
  const Day repaired = day_of(2025, 5, 14);
  s.shafts[0].changes = {{day_of(2024, 3, 1), repaired, 1.0, 0.28}};
  s.shafts[0].meter_h = 8100.0;
  s.shafts[1].meter_h = 8077.0;
  s.shafts[2].meter_h = 12030.0;
  s.shafts[2].hours_share = 1.4;
  s.shafts[2].round = 1;
  s.works = {{repaired, "fin_port", "", "seal_replaced", "lip worn through on the after side"}};
  dock(s, day_of(2025, 5, 8), day_of(2025, 5, 19));
  s.samples = {{"rudder_stock", 45, 0.18, 0.42, day_of(2025, 6, 1), 50}, {"fin_port", 45, 0.15, 0, kNever, 44}};
  return s;
}

Ship fenhollow() {
  Ship s = ship("fenhollow", "Fenhollow", "", "America/Vancouver");
  s.hours_per_day = 7.0;
  s.season = 0.1;
  s.hours_every_days = 14;
  s.crew = {"2/E", "oiler", "Renske"};
  s.gun = "gun2";
  s.cm3_per_stroke = 2.6;
  s.shafts = {manual("fin_port", "stabiliser fin, port", 400, 0.25, 300, 60),
              manual("fin_stbd", "stabiliser fin, starboard", 400, 0.24, 300, 60),
              manual("rudder_stock", "rudder stock, lower bearing", 400, 0.29, 400, 45)};
  s.shafts[0].meter_h = 5520.0;
  s.shafts[1].meter_h = 5503.0;
  s.shafts[2].meter_h = 9890.0;
  s.shafts[2].hours_share = 1.7;
  s.shafts[2].round = 1;
  const Day docked = day_of(2026, 4, 13);
  s.shafts[2].neglects = {{day_of(2025, 2, 1), docked, 135}};
  s.works = {
      {docked + 5, "rudder_stock", "", "bearing_replaced", "bush scored and dry, grease found only at the inlet"}};
  dock(s, docked, docked + 14);
  return s;
}

Ship brackensound() {
  Ship s = ship("brackensound", "Brackensound", "", "Europe/London");
  s.hours_per_day = 8.0;
  s.crew = {"2/E", "Maeva", "2/E", "3/E"};
  s.lubricator.code = "lub1";
  s.lubricator.reservoir_cm3 = 4000.0;
  s.lubricator.pail_kg = 2.0;
  s.lubricator.level_every_days = 7;
  s.lubricator.start_pct = 60.0;
  s.lubricator.no_refill_from = day_of(2026, 1, 20);
  s.lubricator.refill_on = day_of(2026, 3, 8);
  s.shafts = {automatic("fin_port", "stabiliser fin, port", 0.60, 60),
              automatic("fin_stbd", "stabiliser fin, starboard", 0.58, 60),
              manual("thruster", "stern thruster, azimuth bearing", 350, 0.26, 300, 60)};
  s.shafts[0].meter_h = 2222.0;
  s.shafts[1].meter_h = 2219.4;
  s.shafts[2].meter_h = 640.0;
  s.shafts[2].hours_share = 0.45;
  s.shafts[2].round = 1;
  s.shafts[2].neglects = {{day_of(2026, 6, 10), kNever, kNever}};
  s.alarms = {{day_of(2026, 8, 24), "", "cycle_fault", "change-over not confirmed, pump runs and lines change", -1}};
  dock(s, day_of(2025, 4, 7), day_of(2025, 4, 22));
  return s;
}

}  // namespace

Day day_of(int year, unsigned month, unsigned day) {
  using namespace std::chrono;
  constexpr sys_days first = 2023y / October / 1;
  return static_cast<Day>(
      (sys_days{year_month_day{std::chrono::year{year}, std::chrono::month{month}, std::chrono::day{day}}} - first)
          .count());
}

std::vector<Ship> the_fleet() {
  return {aldermoor(),  aldervane(),   quillhaven(), quillmark(), tarnwick(),  tarndale(),
          vespergale(), kestrelholm(), marlfirth(),  fenhollow(), ostermere(), brackensound()};
}

}  // namespace shaftlog::demo
