#include "voyage.hpp"

#include <algorithm>

namespace shaftlog::world {

Voyage::Voyage(Ship ship, Dice& dice) : ship_{std::move(ship)}, dice_{dice}, log_{std::move(ship_.log)} {
  truth_.first = day_start(ship_, 0);
  truth_.last = day_start(ship_, ship_.days);
  truth_.faults = ship_.faults;
  if (ship_.grease_change_on >= 0) {
    truth_.grease_changed = day_start(ship_, ship_.grease_change_on);
    truth_.grease_factor = ship_.grease_factor;
  }
  if (ship_.second_gun_on >= 0) truth_.second_gun = day_start(ship_, ship_.second_gun_on);
  for (const ShaftPlan& p : ship_.shafts) {
    if (p.meter_dead_from < 0) continue;
    truth_.silences.push_back(
        {day_start(ship_, p.meter_dead_from), day_start(ship_, std::min(p.meter_dead_until, ship_.days)), p.id});
  }
  for (const Ship::Spell& s : ship_.silences) {
    truth_.silences.push_back({day_start(ship_, s.from), day_start(ship_, std::min(s.to, ship_.days)), {}});
  }
  for (const ShaftPlan& p : ship_.shafts) {
    ShaftState s;
    s.offset_h = p.meter_h;
    s.missing_cm3 = p.fill_sd * dice_.normal();
    if (p.dose_cm3 > 0) s.missing_cm3 = std::min(0.5 * p.cavity_cm3, std::abs(s.missing_cm3));
    s.base = p.washout;
    s.scatter = std::exp(p.scatter_sd * dice_.normal());
    s.own_slow = dice_.normal();
    shafts_.push_back(s);
    ShaftTruth t;
    t.shaft = p.id;
    t.is_fed = p.dose_cm3 > 0;
    t.is_greased = p.is_greased;
    t.cavity_cm3 = p.cavity_cm3;
    t.reserve_share = p.reserve_share;
    t.start_missing_cm3 = s.missing_cm3;
    t.fill_sd_cm3 = p.fill_sd;
    t.scatter_sd = p.scatter_sd;
    t.idle_cm3_per_day = p.idle_cm3_per_day;
    t.slow_sd = std::sqrt(p.slow_sd * p.slow_sd + kCommonSlow * kCommonSlow + ship_.season * ship_.season / 2);
    t.reading_sd = ship_.count_sd;
    t.bias = 1 / ship_.gun_bias;
    t.later_bias = 1 / ship_.second_bias;
    truth_.shafts.push_back(std::move(t));
    plan_greasing(truth_.shafts.size() - 1, 0);
  }
  for (const LubricatorPlan& p : ship_.lubricators) {
    LubricatorState l;
    l.level_cm3 = p.reservoir_cm3 * dice_.between(0.4, 0.95);
    l.counter = dice_.whole(0, 400000);
    lubricators_.push_back(l);
    LubricatorTruth t;
    t.lubricator = p.id;
    t.has_counter = p.has_counter;
    t.reservoir_cm3 = p.reservoir_cm3;
    t.level_sd_pct = p.level_sd_pct;
    t.level_round_pct = p.level_round_pct;
    t.poured_sd = p.poured_sd;
    t.alarms_per_1000h = p.alarms_per_1000h;
    t.alarm_shape = p.alarm_shape;
    truth_.lubricators.push_back(std::move(t));
  }
}

MadeVessel Voyage::run() {
  for (day_ = 0; day_ < ship_.days; ++day_) {
    keep_truth();
    live();
  }
  keep_truth();
  return {std::move(log_), std::move(truth_)};
}

Instant Voyage::moment(int minute) const { return day_start(ship_, day_) + std::chrono::minutes{minute}; }

bool Voyage::in(const std::vector<Ship::Spell>& spells) const {
  return std::any_of(spells.begin(), spells.end(), [&](const auto& s) { return day_ >= s.from && day_ < s.to; });
}

const Fault* Voyage::fault_of(FaultKind kind, ShaftId shaft, Instant t) const {
  for (const Fault& f : ship_.faults) {
    if (f.kind == kind && t >= f.onset && t < f.end && (!shaft.is_set() || f.shaft == shaft)) return &f;
  }
  return nullptr;
}

void Voyage::keep_truth() {
  for (std::size_t i = 0; i < shafts_.size(); ++i) {
    const ShaftState& s = shafts_[i];
    ShaftTruth& t = truth_.shafts[i];
    t.hours.push_back(s.hours);
    t.rate.push_back(usual_rate(i) * fault_factor(i, moment(0)));
    t.usual.push_back(usual_rate(i));
    t.missing.push_back(s.missing_cm3);
    t.starved_h.push_back(s.starved_h);
    t.demand.push_back(s.demand);
    t.lost.push_back(s.lost);
    t.pushed_out.push_back(s.pushed_out);
    t.removed.push_back(s.removed);
    t.delivered.push_back(s.delivered);
    t.greased.push_back(s.greased);
  }
  for (std::size_t i = 0; i < lubricators_.size(); ++i) {
    const LubricatorState& l = lubricators_[i];
    LubricatorTruth& t = truth_.lubricators[i];
    t.scheduled.push_back(l.scheduled);
    t.due.push_back(l.due);
    t.left.push_back(l.left);
    t.called.push_back(l.called);
    t.cycles.push_back(l.cycles);
    t.level.push_back(l.level_cm3);
  }
}

double Voyage::usual_rate(std::size_t i) const {
  const bool changed = ship_.grease_change_on >= 0 && day_ >= ship_.grease_change_on;
  return shafts_[i].base * (changed ? ship_.grease_factor : 1.0);
}

double Voyage::fault_factor(std::size_t i, Instant t) {
  const ShaftId id = ship_.shafts[i].id;
  double factor = 1;
  if (const Fault* f = fault_of(FaultKind::step, id, t)) factor *= f->size;
  if (const Fault* f = fault_of(FaultKind::wear, id, t)) {
    ShaftState& s = shafts_[i];
    if (!s.wear_from_h) s.wear_from_h = s.hours;
    factor *= std::min(8.0, std::exp2((s.hours - *s.wear_from_h) / f->size));
  }
  return factor;
}

// The sea, the season, the angle of the fins: what moves the loss without a fault.
double Voyage::nuisance(std::size_t i) const {
  const double year = std::sin(2 * std::numbers::pi * ((ship_.first_day + day_) / 365.25 + ship_.season_at));
  return std::exp(ship_.season * year + kCommonSlow * common_slow_ + ship_.shafts[i].slow_sd * shafts_[i].own_slow) *
         shafts_[i].scatter * anchor_;
}

// Lets the stretch from `from` to `to` (shares of the day) pass.
void Voyage::pass(double from, double to) {
  const double part = to - from;
  if (part <= 0) return;
  const Instant t = moment(static_cast<int>(720 * (from + to)));
  for (std::size_t k = 0; k < lubricators_.size(); ++k) run_lubricator(k, part, t);
  for (std::size_t i = 0; i < shafts_.size(); ++i) {
    ShaftState& s = shafts_[i];
    const ShaftPlan& p = ship_.shafts[i];
    const double run = s.today_h * part;
    const double loss =
        usual_rate(i) * fault_factor(i, t) * nuisance(i) * run + p.idle_cm3_per_day * std::max(0.0, part - run / 24);
    const double was_below = s.missing_cm3 > (1 - p.reserve_share) * p.cavity_cm3 ? 1.0 : 0.0;
    s.demand += loss;
    const double least = std::min(s.missing_cm3, 0.0);
    const double lost = std::min(loss, p.cavity_cm3 - s.missing_cm3 + s.given);
    s.missing_cm3 += lost - s.given;
    s.lost += lost;
    s.delivered += s.given;
    if (s.missing_cm3 < least) {
      s.pushed_out += least - s.missing_cm3;
      s.missing_cm3 = least;
    }
    s.given = 0;
    s.hours += run;
    s.starved_h += was_below * run;
  }
}

void Voyage::run_lubricator(std::size_t k, double part, Instant t) {
  LubricatorState& l = lubricators_[k];
  const LubricatorPlan& p = ship_.lubricators[k];
  const bool is_off = (day_ >= p.off_from && day_ < p.off_until) || fault_of(FaultKind::left_off, {}, t) != nullptr;
  const Fault* stops = fault_of(FaultKind::not_cycling, {}, t);
  const Fault* low = fault_of(FaultKind::low_delivery, {}, t);
  const Fault* leak = fault_of(FaultKind::line_leak, {}, t);
  const double cycling = is_off ? 0.0 : stops != nullptr ? stops->size : 1.0;
  double busiest = 0, sum = 0;
  for (std::size_t i = 0; i < shafts_.size(); ++i) {
    const ShaftPlan& s = ship_.shafts[i];
    if (s.dose_cm3 <= 0) continue;
    const double cycles = shafts_[i].today_h * part * 60 / p.cycle_min;
    busiest = std::max(busiest, cycles);
    const bool later = ship_.dose_changed_on >= 0 && day_ >= ship_.dose_changed_on;
    const double scheduled = cycles * (later ? s.later_dose_cm3 : s.dose_cm3);
    l.scheduled += scheduled;
    if (!is_off) l.due += scheduled;
    double given = scheduled * cycling * s.device_ratio;
    if (low != nullptr) given *= low->size;
    if (const Fault* f = fault_of(FaultKind::stuck_device, s.id, t)) given *= f->size;
    shafts_[i].given = given;
    sum += given;
  }
  double leaves = sum * (leak != nullptr ? leak->size : 1.0);
  if (leaves > l.level_cm3) {
    const double there_is = leaves > 0 ? l.level_cm3 / leaves : 0;
    for (ShaftState& s : shafts_) s.given *= there_is;
    leaves = l.level_cm3;
  }
  l.level_cm3 -= leaves;
  l.left += leaves;
  l.called += busiest;
  l.cycles += busiest * cycling;
}

void Voyage::live() {
  if (day_ % 7 == 0) {
    const double keep = std::exp(-7 / ship_.slow_days);
    common_slow_ = keep * common_slow_ + std::sqrt(1 - keep * keep) * dice_.normal();
    for (ShaftState& s : shafts_) s.own_slow = keep * s.own_slow + std::sqrt(1 - keep * keep) * dice_.normal();
    if (ship_.anchor_share > 0) {
      const double anchored = std::clamp(ship_.anchor_share + 0.25 * dice_.normal(), 0.0, 1.0);
      anchor_ = (1 - 0.5 * anchored) / (1 - 0.5 * ship_.anchor_share);
    }
    for (LubricatorState& l : lubricators_) l.alarm_luck = -1;
  }
  if (day_ % 30 == 0) {  // shafts that nobody greases scatter by the month
    for (std::size_t i = 0; i < shafts_.size(); ++i) {
      if (!ship_.shafts[i].is_greased) shafts_[i].scatter = std::exp(ship_.shafts[i].scatter_sd * dice_.normal());
    }
  }
  const double ship_h = ship_.ship_hours[static_cast<std::size_t>(day_)];
  for (std::size_t i = 0; i < shafts_.size(); ++i) {
    const ShaftPlan& p = ship_.shafts[i];
    const double noise = 1 + p.hours_noise * dice_.normal();
    shafts_[i].today_h = std::clamp(ship_h * p.hours_share * noise, 0.0, 23.5);
  }
  events_.clear();
  plan_day();
  std::stable_sort(events_.begin(), events_.end(), [](const Event& a, const Event& b) { return a.minute < b.minute; });
  double at = 0;
  for (std::size_t i = 0; i < events_.size(); ++i) {
    const Event e = events_[i];
    const double share = std::min(1.0, e.minute / 1440.0);
    pass(at, share);
    at = std::max(at, share);
    happen(e);
  }
  pass(at, 1);
}

MadeVessel sail(Ship ship, Dice& dice) {
  Ship copy = ship;
  MadeVessel made = Voyage{std::move(ship), dice}.run();
  make_slips(made, copy, dice);
  return made;
}

}  // namespace shaftlog::world
