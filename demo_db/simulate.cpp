#include "simulate.hpp"

#include "random.hpp"

#include <algorithm>
#include <chrono>

#include <fmt/format.h>

namespace shaftlog::demo {
namespace {

constexpr double kDensity_g_cm3 = 0.92;
constexpr Minute kDayMinutes = 1440;

/// Share of the year's mean use in each month, seen from the busiest month.
double season_factor(Day day, int peak_month, double strength) {
  constexpr double kWave[12] = {1.0, 0.87, 0.5, 0.0, -0.5, -0.87, -1.0, -0.87, -0.5, 0.0, 0.5, 0.87};
  using namespace std::chrono;
  const year_month_day date{sys_days{2023y / October / 1} + days{day}};
  const int month = static_cast<int>(static_cast<unsigned>(date.month()));
  return 1.0 + strength * kWave[static_cast<std::size_t>((month - peak_month + 12) % 12)];
}

/// Nearest whole number, halves away from zero.
std::int64_t rounded(double x) { return static_cast<std::int64_t>(x < 0 ? x - 0.5 : x + 0.5); }

/// Tenths as people write them: 1234 is "123.4", 1230 "123.0".
std::string tenths(double value) {
  const std::int64_t n = rounded(value * 10.0);
  return fmt::format("{}.{}", n / 10, n % 10);
}

struct ShaftState {
  double total_h = 0.0;      ///< run since the first day
  double missing_cm3 = 0.0;  ///< below 0: packed fuller than usual
  double meter_offset_h = 0.0;
  double greased_at_h = 0.0;
  Day greased_on = -20;
  double target_h = 0.0, target_days = 0.0;
  double duty = 1.0;
  Day rest_on = kNever;  ///< a greasing that was broken off is finished then
  double change_started_h = -1.0;
  double today_h = 0.0, today_loss = 0.0, today_dose = 0.0;
};

class Voyage {
 public:
  Voyage(const Ship& ship, std::uint64_t seed) : ship_{ship}, random_{seed}, shafts_(ship.shafts.size()) {
    for (std::size_t i = 0; i < shafts_.size(); ++i) {
      shafts_[i].meter_offset_h = ship.shafts[i].meter_h;
      shafts_[i].missing_cm3 = 20.0 + 40.0 * random_.uniform();
      if (ship.shafts[i].dose_cm3 > 0) shafts_[i].missing_cm3 = 0;
      plan_next(i);
    }
    level_cm3_ = ship.lubricator.reservoir_cm3 * ship.lubricator.start_pct / 100.0;
  }

  std::vector<Row> run() {
    for (Day day = 0; day <= kLastDay; ++day) live(day);
    rows_.erase(std::remove_if(rows_.begin(), rows_.end(),
                               [&](const Row& r) { return r.at >= ship_.silent_from * kDayMinutes; }),
                rows_.end());
    std::stable_sort(rows_.begin(), rows_.end(), [](const Row& a, const Row& b) { return a.at < b.at; });
    return std::move(rows_);
  }

 private:
  [[nodiscard]] bool is_docked(Day day) const { return day >= ship_.docked && day < ship_.undocked; }
  [[nodiscard]] bool has_lubricator() const { return !ship_.lubricator.code.empty(); }
  [[nodiscard]] bool is_lubricator_on(Day day) const {
    return day < ship_.lubricator.off_from || day >= ship_.lubricator.off_until;
  }

  std::string watch(Day day) const { return ship_.crew[static_cast<std::size_t>(day / 70) % ship_.crew.size()]; }

  Note note(Minute at, std::string by, std::string remark = "") {
    Minute recorded = at + random_.whole(2, 40);
    if (random_.chance(0.12)) recorded += random_.whole(300, 1500);
    if (ship_.sync_every_days > 0) {
      const Minute span = ship_.sync_every_days * kDayMinutes;
      recorded = (at / span + 1) * span + 17 * 60 + random_.whole(0, 50);
    }
    // All is told by the end of the last day, when the fleet is looked at.
    recorded = std::max(at, std::min(recorded, (kLastDay + 1) * kDayMinutes - 60));
    return {"", format_minute(recorded, ship_.clock), std::move(by), std::move(remark), "", "", ""};
  }
  void write(const char* file, Minute at, std::vector<std::string> cells, Note n) {
    rows_.push_back({file, ship_.code, at, std::move(cells), std::move(n)});
  }

  double loss_rate(std::size_t i, Day day) {
    const Shaft& s = ship_.shafts[i];
    double rate = s.loss_cm3_per_h * shafts_[i].duty * common_duty_;
    for (const LossChange& c : s.changes) {
      if (day < c.from || day >= c.until) continue;
      if (shafts_[i].change_started_h < 0) shafts_[i].change_started_h = shafts_[i].total_h;
      rate *= c.factor * exp_of(c.growth * (shafts_[i].total_h - shafts_[i].change_started_h) / 1000.0);
    }
    return rate;
  }

  void plan_next(std::size_t i) {
    shafts_[i].target_h = ship_.shafts[i].interval_h * (0.80 + 0.14 * random_.uniform());
    shafts_[i].target_days = ship_.shafts[i].interval_days * (0.82 + 0.12 * random_.uniform());
  }

  bool is_due(std::size_t i, Day day) const {
    const Shaft& s = ship_.shafts[i];
    for (const Neglect& n : s.neglects)
      if (day >= n.from && day < n.until) return day - shafts_[i].greased_on >= n.every;
    return (s.interval_h > 0 && shafts_[i].total_h - shafts_[i].greased_at_h >= shafts_[i].target_h) ||
           (s.interval_days > 0 && day - shafts_[i].greased_on >= shafts_[i].target_days);
  }

  /// Lets a share of the day pass in the cavity. Grease given beyond a full cavity leaves past the seal.
  void pass(std::size_t i, double share) {
    ShaftState& s = shafts_[i];
    const double change = (s.today_loss - s.today_dose) * share;
    if (change < 0 && s.missing_cm3 + change < 0)
      s.missing_cm3 = std::min(s.missing_cm3, 0.0);
    else
      s.missing_cm3 = std::min(s.missing_cm3 + change, ship_.shafts[i].cavity_cm3);
  }

  [[nodiscard]] double hours_at(std::size_t i, Day day, Minute at) const {
    return shafts_[i].total_h + shafts_[i].today_h * static_cast<double>(at - day * kDayMinutes) / kDayMinutes;
  }

  void live(Day day) {
    if (day % 7 == 0) {
      common_duty_ = exp_of(0.06 * random_.normal());
      for (ShaftState& s : shafts_) s.duty = exp_of(0.06 * random_.normal());
    }
    double ship_h = 0.0;
    if (!is_docked(day) && random_.chance(ship_.sailing))
      ship_h = ship_.hours_per_day / ship_.sailing * season_factor(day, ship_.peak_month, ship_.season) *
               (0.75 + 0.5 * random_.uniform());
    double reservoir_use = 0.0;
    for (std::size_t i = 0; i < shafts_.size(); ++i) {
      const Shaft& s = ship_.shafts[i];
      ShaftState& state = shafts_[i];
      state.today_h = std::min(ship_h * s.hours_share, 22.5);
      if (s.dose_cm3 <= 0 && state.today_h > 0) state.today_h *= 0.98 + 0.04 * random_.uniform();
      state.today_loss = loss_rate(i, day) * state.today_h;
      state.today_dose = 0.0;
      if (s.dose_cm3 > 0 && is_lubricator_on(day) && day < s.device_stuck_from)
        state.today_dose = s.dose_cm3 * 60.0 / ship_.lubricator.cycle_min * state.today_h * ship_.lubricator.true_ratio;
      reservoir_use += state.today_dose;
    }
    if (day >= ship_.lubricator.leak_from) reservoir_use *= 1.0 + ship_.lubricator.leak_share;

    write_works(day);
    read_meters(day);
    if (has_lubricator()) tend_lubricator(day, ship_h, reservoir_use);
    grease_shafts(day);
    take_samples(day);
    for (ShaftState& s : shafts_) s.total_h += s.today_h;
  }

  void write_works(Day day) {
    for (const WorkDone& w : ship_.works)
      if (w.day == day) {
        const Minute at = day * kDayMinutes + 9 * 60 + random_.whole(0, 300);
        write("work", at, {w.shaft, w.lubricator, "{}", w.work}, note(at, "C/E", w.remark));
      }
    for (const AlarmRaised& a : ship_.alarms)
      if (a.day == day) {
        const Minute at = day * kDayMinutes + random_.whole(60, 1200);
        write("alarms", at,
              {ship_.lubricator.code, a.shaft, "{}", a.minutes < 0 ? "" : format_minute(at + a.minutes, ship_.clock),
               a.alarm},
              note(at + std::max(a.minutes, 0), watch(day), a.remark));
      }
    if (has_lubricator() && is_lubricator_on(day) &&
        random_.chance(ship_.lubricator.alarms_per_1000h * shafts_[0].today_h / 1000.0)) {
      const Minute at = day * kDayMinutes + random_.whole(300, 1100);
      const int minutes = random_.whole(8, 90);
      write("alarms", at, {ship_.lubricator.code, "", "{}", format_minute(at + minutes, ship_.clock), "no_pressure"},
            note(at + minutes, watch(day), random_.chance(0.5) ? "cold start, cleared by itself" : ""));
    }
  }

  void read_meters(Day day) {
    for (std::size_t i = 0; i < shafts_.size(); ++i) {
      const Shaft& s = ship_.shafts[i];
      if (s.meter_change.day == day) {
        const Minute at = day * kDayMinutes + 11 * 60 + 20;
        const double now_h = hours_at(i, day, at);
        const std::string old = tenths(shafts_[i].meter_offset_h + now_h);
        shafts_[i].meter_offset_h = s.meter_change.first_h - now_h;
        if (s.meter_change.marked)
          write("hours", at, {s.code, "{}", tenths(s.meter_change.first_h), "new", old},
                note(at, "2/E", "meter renewed, digits stuck"));
      }
      if (day % ship_.hours_every_days != 0) continue;
      const Minute at = day * kDayMinutes + 7 * 60 + 35 + 3 * static_cast<int>(i) + random_.whole(0, 25);
      double shown = shafts_[i].meter_offset_h + hours_at(i, day, at);
      while (s.rollover_h > 0 && shown >= s.rollover_h) shown -= s.rollover_h;
      const std::string text = ship_.whole_hours ? fmt::format("{}", static_cast<std::int64_t>(shown)) : tenths(shown);
      write("hours", at, {s.code, "{}", text, "", ""}, note(at, watch(day)));
    }
  }

  /// Reading of the level [%] with an error of 1 % of full (sd).
  int read_level(double share_of_day, double use) {
    const double pct = 100.0 * (level_cm3_ - use * share_of_day) / ship_.lubricator.reservoir_cm3 + random_.normal();
    return static_cast<int>(std::clamp<std::int64_t>(rounded(pct), 0, 100));
  }

  void tend_lubricator(Day day, double ship_h, double use) {
    const Lubricator& lub = ship_.lubricator;
    const Minute morning = day * kDayMinutes + 8 * 60 + random_.whole(10, 40);
    const double morning_share = static_cast<double>(morning - day * kDayMinutes) / kDayMinutes;
    const double cycles_today =
        is_lubricator_on(day) ? std::min(ship_h, 22.5) * 60.0 / lub.cycle_min * lub.true_ratio : 0.0;
    if (lub.has_counter && day % 7 == 0)
      write("cycles", morning,
            {lub.code, "{}",
             fmt::format("{}", lub.counter_start + static_cast<std::int64_t>(cycles_ + cycles_today * morning_share)),
             ""},
            note(morning, watch(day)));
    if (day % lub.level_every_days == 3) {
      // Drawn one after the other: within one call, compilers differ in which comes first.
      Note told = note(morning + 3, watch(day));
      const int level = read_level(morning_share, use);
      write("levels", morning + 3, {lub.code, "{}", fmt::format("{}", level)}, std::move(told));
    }
    cycles_ += cycles_today;
    const double share = 14.0 / 24.0;
    const double full = lub.reservoir_cm3;
    const bool is_wanted = day < lub.no_refill_from && level_cm3_ < full * lub.refill_below_pct / 100.0;
    if (!is_docked(day) && (is_wanted || day == lub.refill_on)) {
      const Minute at = day * kDayMinutes + 14 * 60 + random_.whole(0, 45);
      const int before = read_level(share, use);
      const double pail_cm3 = lub.pail_kg * 1000.0 / kDensity_g_cm3;
      double kg = 0.0;
      while (level_cm3_ - use * share + kg * 1000.0 / kDensity_g_cm3 + pail_cm3 / 2 < full * 0.97)
        kg += lub.pail_kg / 2;
      level_cm3_ += kg * (1.0 + 0.02 * random_.normal()) * 1000.0 / kDensity_g_cm3;
      const int after = read_level(share, use);
      write("refills", at,
            {lub.code, "{}", tenths(kg), "kg", fmt::format("{}", before), fmt::format("{}", after), "",
             fmt::format("B{:04}", 2310 + day / 90)},
            note(at, watch(day)));
    }
    level_cm3_ = std::max(level_cm3_ - use, 0.0);
  }

  void grease_shafts(Day day) {
    std::vector<bool> is_round_due(8, false);
    if (!is_docked(day))
      for (std::size_t i = 0; i < shafts_.size(); ++i)
        if (is_due(i, day)) is_round_due[static_cast<std::size_t>(ship_.shafts[i].round)] = true;
    const int start = 9 * 60 + random_.whole(0, 300);
    for (std::size_t i = 0; i < shafts_.size(); ++i) {
      const int minute = start + static_cast<int>(i) * random_.whole(13, 19);
      const double share = static_cast<double>(minute) / kDayMinutes;
      pass(i, share);
      bool is_packed = false;
      for (const WorkDone& w : ship_.works)
        if (w.day == day - 1 && w.shaft == ship_.shafts[i].code &&
            (w.work == "seal_replaced" || w.work == "bearing_replaced"))
          is_packed = true;
      if (is_packed)
        grease(i, day, day * kDayMinutes + minute, /*is_packed=*/true);
      else if (is_round_due[static_cast<std::size_t>(ship_.shafts[i].round)] || shafts_[i].rest_on == day)
        grease(i, day, day * kDayMinutes + minute, /*is_packed=*/false);
      pass(i, 1.0 - share);
    }
  }

  void grease(std::size_t i, Day day, Minute at, bool is_packed) {
    const Shaft& s = ship_.shafts[i];
    ShaftState& state = shafts_[i];
    const double left = s.fill_error_cm3 * random_.normal();
    double amount = std::max(state.missing_cm3 - left, 0.0);
    if (is_packed) amount = s.cavity_cm3 + left;
    const bool is_empty = !is_packed && state.missing_cm3 > 0.97 * s.cavity_cm3;
    if (is_empty) amount = s.cavity_cm3;
    const bool is_broken_off = !is_packed && !is_empty && s.dose_cm3 <= 0 && amount > 40 && random_.chance(0.012);
    if (is_broken_off) amount *= 0.4 + 0.3 * random_.uniform();
    std::string text, unit = ship_.unit;
    const bool is_by_gun = unit == "strokes" && !is_empty;
    const double measured = amount * (1.0 + 0.03 * random_.normal());
    if (is_by_gun) {
      text = fmt::format("{}", rounded(measured / (day < ship_.gun_calibrated_again ? ship_.cm3_per_stroke
                                                                                    : ship_.cm3_per_stroke_then)));
    } else if (unit == "g") {
      text = fmt::format("{}", 5 * rounded(measured * kDensity_g_cm3 / 5.0));
    } else {
      unit = "cm3";
      text = fmt::format("{}", 5 * rounded((is_empty ? amount : measured) / 5.0));
    }
    std::string purge = random_.chance(0.35) ? "clean" : (random_.chance(0.3) ? "none" : "");
    for (const Sampling& sample : ship_.samples)
      if (sample.shaft == s.code && day > sample.growth_from + 250 && random_.chance(0.5)) purge = "water";
    std::string remark;
    if (is_empty) remark = "one full charge, no pressure, stopped there";
    if (is_packed) remark = "packed after the work";
    if (!is_empty && !is_packed && random_.chance(0.03)) {
      constexpr const char* kRemarks[] = {"fin housed and pinned for the job", "slow to take, cold grease",
                                          "new man shown how", "done before arrival"};
      remark = kRemarks[random_.whole(0, 3)];
    }
    if (is_broken_off) {
      remark = "cartridge empty, rest tomorrow";
      purge = "";
    }
    const char* ended = is_packed ? "packed" : is_empty ? "limit" : is_broken_off ? "stopped" : "pressure";
    write("greasings", at,
          {s.code, "{}", text, unit, is_by_gun ? ship_.gun : "", ended, purge,
           day >= ship_.new_grease_from ? ship_.new_grease : ""},
          note(at, watch(day), remark));
    state.missing_cm3 = is_empty ? std::max(left, 0.0) : is_broken_off ? state.missing_cm3 - amount : left;
    state.greased_at_h = hours_at(i, day, at);
    state.greased_on = day;
    plan_next(i);
    state.rest_on = is_broken_off ? day + 1 : kNever;
  }

  void take_samples(Day day) {
    for (const Sampling& s : ship_.samples) {
      if (day < s.from || (day - s.from) % 91 != 0) continue;
      const double quarters = day > s.growth_from ? (day - s.growth_from) / 91.0 : 0.0;
      const double water = s.water_pct * exp_of(s.water_growth_per_quarter * quarters + 0.12 * random_.normal());
      const double iron = s.iron_ppm * exp_of(0.10 * random_.normal());
      const Minute at = day * kDayMinutes + 13 * 60 + random_.whole(0, 90);
      const std::int64_t hundredths = rounded(water * 100.0);
      write("inspections", at,
            {s.shaft, "{}", fmt::format("{}.{:02}", hundredths / 100, hundredths % 100),
             fmt::format("{}", rounded(iron)), ""},
            note(at, "2/E"));
    }
  }

  const Ship& ship_;
  Random random_;
  std::vector<ShaftState> shafts_;
  std::vector<Row> rows_;
  double level_cm3_ = 0.0, cycles_ = 0.0, common_duty_ = 1.0;
};

constexpr std::size_t kGreasingAmount = 2;
constexpr std::size_t kMeterReading = 2;

/// The first row of `file` about `shaft` on or after `day`.
std::vector<Row>::iterator find_row(std::vector<Row>& rows, const char* file, const char* shaft, Day day) {
  return std::find_if(rows.begin(), rows.end(), [&](const Row& r) {
    return r.file == file && r.cells.front() == shaft && r.at >= day * kDayMinutes;
  });
}

}  // namespace

std::string format_minute(Minute at, const std::string& clock) {
  using namespace std::chrono;
  const auto day = floor<days>(minutes{at});
  const year_month_day date{sys_days{2023y / October / 1} + day};
  const Minute rest = at - minutes{day}.count();
  return fmt::format("{:04}-{:02}-{:02}T{:02}:{:02}{}", static_cast<int>(date.year()),
                     static_cast<unsigned>(date.month()), static_cast<unsigned>(date.day()), rest / 60, rest % 60,
                     clock);
}

std::vector<Row> simulate(const Ship& ship, std::uint64_t seed) { return Voyage{ship, seed}.run(); }

void make_slips(std::vector<Row>& rows) {
  // One nought too many.
  auto ten = find_row(rows, "greasings", "fin_port", day_of(2024, 5, 10));
  ten->cells[kGreasingAmount] += "0";

  // The two fins exchanged: done one after the other, written the wrong way round.
  auto port = find_row(rows, "greasings", "fin_port", day_of(2024, 11, 20));
  auto stbd = find_row(rows, "greasings", "fin_stbd", day_of(2024, 11, 20));
  std::swap(port->cells[kGreasingAmount], stbd->cells[kGreasingAmount]);

  // January: the old year written once more.
  auto january = find_row(rows, "greasings", "fin_stbd", day_of(2026, 1, 4));
  january->at -= 365 * kDayMinutes;

  // Hundreds and tens of an hour meter exchanged, on the first day that makes them differ by three or more.
  auto meter = find_row(rows, "hours", "fin_port", day_of(2025, 8, 20));
  const auto differ = [](const std::string& h) { return h.size() == 6 && (h[1] > h[2] + 2 || h[2] > h[1] + 2); };
  while (meter->file != "hours" || meter->cells.front() != "fin_port" || !differ(meter->cells[kMeterReading])) ++meter;
  std::swap(meter->cells[kMeterReading][1], meter->cells[kMeterReading][2]);

  // The same greasing again from a second tablet, kept in universal time, told 20 minutes later, sent nine days later.
  Row again = *find_row(rows, "greasings", "fin_port", day_of(2025, 10, 10));
  again.note.by = "Hal";
  again.note.remark = "tablet B";
  again.cells[1] = format_minute(again.at + 20 + 3 * 60, "Z");  // Halifax keeps UTC-3 in summer
  again.note.recorded_at = format_minute(again.at + 9 * kDayMinutes, "Z");
  rows.push_back(again);

  // A slip seen and corrected: the original stays, a newer record replaces it.
  auto slip = find_row(rows, "greasings", "fin_stbd", day_of(2025, 3, 10));
  slip->note.id = "0195a3c4-1d20-7a10-8c01-5d0000000001";
  Row corrected = *slip;
  slip->cells[kGreasingAmount] += "0";
  corrected.note.id = "0195a3c9-6e40-7a10-8c01-5d0000000002";
  corrected.note.replaces = slip->note.id;
  corrected.note.reason = "one nought too many";
  corrected.note.recorded_at = format_minute(corrected.at + 2 * kDayMinutes + 95, "");
  rows.push_back(corrected);

  // A record taken back: written under this ship by mistake.
  Row stray = *find_row(rows, "greasings", "fin_port", day_of(2025, 6, 1));
  stray.at += 6 * kDayMinutes;
  stray.note.id = "01974b10-9a00-7b20-9d02-5d0000000003";
  stray.note.recorded_at = format_minute(stray.at + 14, "");
  stray.note.remark = "";
  rows.push_back(stray);
  Row withdrawal = stray;
  withdrawal.note.id = "01974b7e-0c00-7b20-9d02-5d0000000004";
  withdrawal.note.withdraws = stray.note.id;
  withdrawal.note.reason = "not done: written on the wrong day's sheet";
  withdrawal.note.recorded_at = format_minute(stray.at + 310, "");
  rows.push_back(withdrawal);
  std::stable_sort(rows.begin(), rows.end(), [](const Row& a, const Row& b) { return a.at < b.at; });
}

}  // namespace shaftlog::demo
