#include "voyage.hpp"

#include <algorithm>

namespace shaftlog::world {
namespace {

constexpr double kDensity_g_cm3[] = {0.92, 0.94};

}  // namespace

std::size_t Voyage::hand() const { return static_cast<std::size_t>(day_ / ship_.watch_days) % ship_.people.size(); }

std::optional<Voyage::Written> Voyage::write(int minute, bool is_work) {
  const Person& p = person();
  if (in(ship_.silences)) return std::nullopt;
  if (!is_work && dice_.chance(p.forgets)) return std::nullopt;
  Written w;
  w.at = moment(minute);
  w.by = static_cast<std::uint32_t>(hand() + 1);
  if (dice_.chance(p.day_only)) {  // the day alone stands for noon of the ship's clock
    w.precision = Precision::day;
    const auto local = w.at + std::chrono::hours{ship_.clock_offset_h};
    const auto noon = std::chrono::floor<std::chrono::days>(local) + std::chrono::hours{12 - ship_.clock_offset_h};
    w.at = std::chrono::time_point_cast<std::chrono::seconds>(noon);
  }
  w.recorded_at = moment(minute) + std::chrono::minutes{dice_.whole(2, 200)};
  if (dice_.chance(p.late)) w.recorded_at += std::chrono::minutes{std::llround(1440 * dice_.exponential(6))};
  if (ship_.sync_every_days > 0) {
    const int next = (day_ / ship_.sync_every_days + 1) * ship_.sync_every_days;
    w.recorded_at = std::max(w.recorded_at, day_start(ship_, next) + std::chrono::hours{17});
  }
  w.recorded_at = std::max(w.recorded_at, w.at);
  w.id = make_id(log_.vessel.id, w.at, ++counter_);
  return w;
}

template <class What_>
void Voyage::put(std::vector<Logged<What_>>& list, const std::optional<Written>& w, ShaftId shaft,
                 LubricatorId lubricator, What_ what) {
  if (!w) return;
  Logged<What_> r;
  r.id = w->id;
  r.at = w->at;
  r.recorded_at = w->recorded_at;
  r.precision = w->precision;
  r.by = w->by;
  r.origin = 1;
  r.shaft = shaft;
  r.lubricator = lubricator;
  r.what = std::move(what);
  list.push_back(std::move(r));
}

void Voyage::note_work(WorkKind work, ShaftId shaft, LubricatorId lubricator, int minute, bool always) {
  put(log_.work, write(minute, always), shaft, lubricator, Work{work});
}

void Voyage::plan_greasing(std::size_t shaft, int day) {
  ShaftState& s = shafts_[shaft];
  s.greased_at_h = s.hours;
  s.greased_on = day;
  s.target_h = ship_.shafts[shaft].interval_h * dice_.between(0.75, 1.1);
  s.target_days = ship_.shafts[shaft].interval_days * dice_.between(0.8, 1.1);
}

void Voyage::plan_greasings() {
  if (in(ship_.dockings)) return;
  std::vector<bool> round(8, false);
  const double longer = in(ship_.neglects) ? 2.2 : 1.0;
  for (std::size_t i = 0; i < shafts_.size(); ++i) {
    const ShaftPlan& p = ship_.shafts[i];
    const ShaftState& s = shafts_[i];
    if (!p.is_greased) continue;
    const bool by_hours = s.hours - s.greased_at_h >= longer * s.target_h;
    const bool by_days = p.interval_days > 0 && day_ - s.greased_on >= longer * s.target_days;
    if ((by_hours || by_days) && !dice_.chance(ship_.late_greasing)) round[static_cast<std::size_t>(p.round)] = true;
  }
  int minute = dice_.whole(500, 1000);
  for (std::size_t i = 0; i < shafts_.size(); ++i) {
    if (!ship_.shafts[i].is_greased || !round[static_cast<std::size_t>(ship_.shafts[i].round)]) continue;
    events_.push_back({minute, What::greasing, i});
    minute += dice_.whole(10, 45);
  }
}

void Voyage::plan_day() {
  for (const Ship::Spell& d : ship_.dockings) {
    if (d.from == day_) events_.push_back({480, What::docked, 0});
    if (d.to == day_) events_.push_back({480, What::undocked, 0});
  }
  if (day_ % ship_.hours_every_days == 0) {
    const int minute = dice_.whole(360, 600);
    for (std::size_t i = 0; i < shafts_.size(); ++i) {
      const ShaftPlan& p = ship_.shafts[i];
      const bool is_dead = day_ >= p.meter_dead_from && day_ < p.meter_dead_until;
      if (!dice_.chance(ship_.misses_reading) && !is_dead) {
        events_.push_back({minute + 2 * static_cast<int>(i), What::hours, i});
      }
    }
  }
  for (std::size_t i = 0; i < shafts_.size(); ++i) {
    const ShaftPlan& p = ship_.shafts[i];
    if (p.meter_changed_on == day_) events_.push_back({700, What::meter_new, i});
    if (p.seal_work_on == day_) events_.push_back({600, What::seal_work, i});
    if (shafts_[i].pack_tomorrow) events_.push_back({610, What::pack, i});
  }
  const auto minute_of = [&](Instant t) { return static_cast<int>((t - moment(0)).count() / 60); };
  const auto is_today = [&](Instant t) { return t >= moment(0) && t < moment(1440); };
  for (const Fault& f : ship_.faults) {
    const std::size_t at = static_cast<std::size_t>(&f - ship_.faults.data());
    if (is_today(f.end)) events_.push_back({minute_of(f.end), What::repair, at});
    if (f.kind == FaultKind::left_off && is_today(f.onset)) events_.push_back({minute_of(f.onset), What::off, 0});
  }
  for (std::size_t k = 0; k < lubricators_.size(); ++k) {
    const LubricatorPlan& p = ship_.lubricators[k];
    LubricatorState& l = lubricators_[k];
    const int morning = dice_.whole(420, 560);
    if (p.counter_reset_on == day_) {
      l.counter = -static_cast<std::int64_t>(l.cycles);
      put(log_.cycles, write(morning - 30, true), {}, p.id, Cycles{0, true});
    }
    if (p.off_from == day_) events_.push_back({0, What::off, k});
    if (p.off_until == day_) events_.push_back({0, What::on, k});
    if (p.has_counter && day_ % p.cycles_every_days == 0 && !dice_.chance(ship_.misses_reading)) {
      events_.push_back({morning, What::cycles, k});
    }
    if (p.level_every_days > 0 && day_ % p.level_every_days == 3 && !dice_.chance(ship_.misses_reading)) {
      events_.push_back({morning + 3, What::level, k});
    }
    raise_alarms(k);
    // Somebody looks at the reservoir every few days.
    const double share = l.level_cm3 / p.reservoir_cm3 + 0.01 * p.level_sd_pct * dice_.normal();
    const bool sees = day_ % 3 == 0 && share < p.refill_below;
    if (l.refill_on < 0 && (sees || l.is_low)) l.refill_on = day_ + dice_.whole(0, sees ? 4 : 2);
    if (l.refill_on >= 0 && day_ >= l.refill_on && !in(ship_.dockings)) {
      events_.push_back({dice_.whole(600, 1000), What::refill, k});
    }
  }
  plan_greasings();
}

void Voyage::happen(const Event& e) {
  switch (e.what) {
    case What::hours:
      read_hours(e.subject, e.minute);
      break;
    case What::meter_new: {
      ShaftState& s = shafts_[e.subject];
      const ShaftPlan& p = ship_.shafts[e.subject];
      const double old = s.offset_h + s.hours, shows = dice_.chance(0.7) ? 0.0 : dice_.between(0, 500);
      s.offset_h = shows - s.hours;
      if (p.meter_change_is_marked) {
        Hours h;
        h.reading = HoursReading::from_base(std::llround(shows * 10) * 360);
        h.is_new_meter = true;
        if (dice_.chance(0.7)) h.old_meter = HoursReading::from_base(std::llround(old * 10) * 360);
        put(log_.hours, write(e.minute, true), p.id, {}, h);
      } else {
        truth_.slips.push_back({SlipKind::unmarked_meter, {}, moment(e.minute), kLatest, p.id, {}, 1});
      }
      break;
    }
    case What::cycles: {
      const LubricatorState& l = lubricators_[e.subject];
      put(log_.cycles, write(e.minute), {}, ship_.lubricators[e.subject].id,
          Cycles{l.counter + static_cast<std::int64_t>(l.cycles), false});
      break;
    }
    case What::level:
      put(log_.levels, write(e.minute), {}, ship_.lubricators[e.subject].id, LevelReading{read_level(e.subject)});
      break;
    case What::refill:
      refill(e.subject, e.minute);
      break;
    case What::greasing:
      grease(e.subject, e.minute, false);
      break;
    case What::pack:
      shafts_[e.subject].pack_tomorrow = false;
      grease(e.subject, e.minute, true);
      break;
    case What::docked:
      if (ship_.writes_docking) note_work(WorkKind::docked, {}, {}, e.minute);
      break;
    case What::undocked:
      if (ship_.writes_docking) note_work(WorkKind::undocked, {}, {}, e.minute);
      break;
    case What::seal_work: {
      ShaftState& s = shafts_[e.subject];
      s.removed += ship_.shafts[e.subject].cavity_cm3 - s.missing_cm3;
      s.missing_cm3 = ship_.shafts[e.subject].cavity_cm3;
      s.base = ship_.shafts[e.subject].washout * std::exp(0.15 * dice_.normal());
      s.pack_tomorrow = true;
      note_work(dice_.chance(0.8) ? WorkKind::seal_replaced : WorkKind::bearing_replaced, ship_.shafts[e.subject].id,
                {}, e.minute);
      break;
    }
    case What::repair: {
      const Fault& f = ship_.faults[e.subject];
      for (std::size_t i = 0; i < shafts_.size() && is_of_loss(f.kind); ++i) {
        if (ship_.shafts[i].id == f.shaft) happen({e.minute, What::seal_work, i});
      }
      if (f.kind == FaultKind::not_cycling) note_work(WorkKind::controller_changed, {}, f.lubricator, e.minute);
      if (f.kind == FaultKind::low_delivery) note_work(WorkKind::pump_repaired, {}, f.lubricator, e.minute);
      if (f.kind == FaultKind::stuck_device) note_work(WorkKind::metering_replaced, {}, f.lubricator, e.minute);
      if (f.kind == FaultKind::line_leak || f.kind == FaultKind::alarm_rate) {
        note_work(WorkKind::line_repaired, {}, f.lubricator, e.minute);
      }
      if (f.kind == FaultKind::blocked_path) note_work(WorkKind::purged, f.shaft, {}, e.minute);
      if (f.kind == FaultKind::left_off) note_work(WorkKind::lubricator_on, {}, f.lubricator, e.minute);
      break;
    }
    case What::off:
      note_work(WorkKind::lubricator_off, {}, ship_.lubricators[e.subject].id, e.minute);
      break;
    case What::on:
      note_work(WorkKind::lubricator_on, {}, ship_.lubricators[e.subject].id, e.minute);
      break;
  }
}

void Voyage::read_hours(std::size_t shaft, int minute) {
  const ShaftPlan& p = ship_.shafts[shaft];
  double shown = shafts_[shaft].offset_h + shafts_[shaft].hours;
  while (p.rollover_h > 0 && shown >= p.rollover_h) shown -= p.rollover_h;
  Hours h;
  h.reading = HoursReading::from_base(ship_.whole_hours ? static_cast<std::int64_t>(shown) * 3600
                                                        : static_cast<std::int64_t>(shown * 10) * 360);
  put(log_.hours, write(minute), p.id, {}, h);
}

Level Voyage::read_level(std::size_t k) {
  const LubricatorPlan& p = ship_.lubricators[k];
  const double pct = 100 * lubricators_[k].level_cm3 / p.reservoir_cm3 + p.level_sd_pct * dice_.normal();
  const double read = std::clamp(std::round(pct / p.level_round_pct) * p.level_round_pct, 0.0, 100.0);
  return Level::from_base(std::llround(read * 100));
}

/// `cm3` as somebody writes it: in whole steps of the unit.
Amount Voyage::amount_of(double cm3, Unit unit, double step, GreaseId grease, GunId gun) const {
  Conversion with;
  with.density = log_.greases[static_cast<std::size_t>(grease.value - 1)].density;
  const Gun& used = gun == log_.guns.back().id ? log_.guns.back() : log_.guns.front();
  with.per_stroke = used.calibrations.front().per_stroke;
  const double one = static_cast<double>(nano_cm3_per_unit(unit, with).value_or(1)) / 1e9;
  const double n = std::max(0.0, std::round(cm3 / one / step) * step);
  const int digits = step >= 1 ? 0 : step >= 0.1 ? 1 : step >= 0.01 ? 2 : 3;
  Decimal typed{std::llround(n * std::pow(10, digits)), digits};
  return make_amount(typed, unit, with);
}

void Voyage::refill(std::size_t k, int minute) {
  const LubricatorPlan& p = ship_.lubricators[k];
  LubricatorState& l = lubricators_[k];
  l.refill_on = -1;
  const Level before = read_level(k);
  const GreaseId grease{ship_.grease_change_on >= 0 && day_ >= ship_.grease_change_on ? 2 : 1};
  double poured = 0;
  if (p.to_full_mark) {
    poured = p.reservoir_cm3 * (1 - std::abs(0.015 * dice_.normal())) - l.level_cm3;
  } else {
    const double pail = p.reservoir_cm3 > 8000 ? 5000.0 : 1000.0;
    poured = std::floor((p.refill_to * p.reservoir_cm3 - l.level_cm3) / pail + 0.5) * pail;
    if (l.level_cm3 + poured > p.reservoir_cm3) poured = p.reservoir_cm3 - l.level_cm3;
  }
  if (poured < 0.03 * p.reservoir_cm3) return;
  l.level_cm3 += poured;
  const Level after = read_level(k);
  Refill r;
  const double told = poured * std::exp(p.poured_sd * dice_.normal());
  const double step = p.refill_unit == Unit::cm3 ? 50 : 0.1;
  if (p.tells_amount || !(p.tells_before && p.tells_after)) r.amount = amount_of(told, p.refill_unit, step, grease);
  if (p.tells_before) r.before = before;
  if (p.tells_after) r.after = after;
  put(log_.refills, write(minute), {}, p.id, r);
  const Instant cleared = moment(minute + 5);
  for (std::optional<std::size_t>* standing : {&l.low_alarm, &l.empty_alarm}) {
    if (*standing) log_.alarms[**standing].what.cleared = Stamp{cleared, std::chrono::minutes{0}, Precision::minute};
    standing->reset();
  }
  l.is_low = l.is_empty = false;
}

void Voyage::grease(std::size_t shaft, int minute, bool is_packed) {
  ShaftState& s = shafts_[shaft];
  const ShaftPlan& p = ship_.shafts[shaft];
  const Person& who = person();
  Greasing g;
  const GreaseId grease{ship_.grease_change_on >= 0 && day_ >= ship_.grease_change_on ? 2 : 1};
  if (!is_packed && dice_.chance(0.012)) {
    g.ended = Ended::not_done;
    put(log_.greasings, write(minute), p.id, {}, g);
    s.target_h += 20;
    return;
  }
  const double full =
      std::clamp(p.fill_sd * dice_.normal() + who.fill_bias_cm3, -0.2 * p.cavity_cm3, 0.3 * p.cavity_cm3);
  double wanted = std::max(0.0, s.missing_cm3 - full);
  if (const Fault* f = fault_of(FaultKind::blocked_path, p.id, moment(minute))) {
    // The gun meets the path, not the cavity: what goes in has nothing to do with what is missing.
    const double doses = ship_.lubricators.empty() ? 0.0 : p.dose_cm3 * 60 / ship_.lubricators.front().cycle_min;
    const double usual = std::max(0.1 * p.washout, p.washout - doses) * p.interval_h;
    wanted = std::min(wanted, f->size * usual * std::exp(0.2 * dice_.normal()));
  }
  double taken = wanted;
  g.ended = is_packed ? Ended::packed : Ended::pressure;
  const double limit = std::round(ship_.limit_share * p.cavity_cm3 / 10) * 10;
  if (!is_packed && dice_.chance(who.stops)) {
    g.ended = Ended::stopped;
    taken = wanted * dice_.between(0.3, 0.9);
  } else if (!is_packed && ship_.limit_share > 0 && wanted > limit) {
    g.ended = Ended::limit;
    taken = limit;
  }
  s.missing_cm3 -= taken;
  s.greased += taken;
  double told = taken * std::exp(ship_.count_sd * dice_.normal());
  if (ship_.greasing_unit == Unit::strokes) {
    const bool other = ship_.gun_changed_on >= 0 && day_ >= ship_.gun_changed_on;
    const bool second = ship_.second_gun_on >= 0 && day_ >= ship_.second_gun_on;
    told /= other ? ship_.other_gun : second ? ship_.second_bias : ship_.gun_bias;
    g.gun = second ? log_.guns.back().id : log_.guns.front().id;
  }
  const double step = ship_.greasing_unit == Unit::kg ? 0.01 * std::min(5, who.round_to) : who.round_to;
  g.amount = amount_of(told, ship_.greasing_unit, step, grease, g.gun);
  if (dice_.chance(0.008)) {  // counted, but nobody knows which gun
    g.gun = {};
    g.amount = make_amount(Decimal{static_cast<std::int64_t>(told / ship_.registered_stroke_cm3), 0}, Unit::strokes,
                           std::optional<std::int64_t>{});
  }
  if (dice_.chance(0.3)) g.purge = dice_.chance(0.8) ? Purge::clean : Purge::dark;
  put(log_.greasings, write(minute, is_packed), p.id, {}, g);
  s.scatter = std::exp(p.scatter_sd * dice_.normal());
  plan_greasing(shaft, day_);
}

void Voyage::watch_level(std::size_t k) {
  const LubricatorPlan& p = ship_.lubricators[k];
  LubricatorState& l = lubricators_[k];
  const auto raise = [&](AlarmKind kind, std::optional<std::size_t>& standing) {
    if (!ship_.writes_alarms) return;
    if (const auto w = write(60, true)) {
      put(log_.alarms, w, {}, p.id, Alarm{kind, std::nullopt});
      standing = log_.alarms.size() - 1;
    }
  };
  if (!l.is_low && l.level_cm3 < 0.1 * p.reservoir_cm3) {
    l.is_low = true;
    raise(AlarmKind::low_level, l.low_alarm);
  }
  if (!l.is_empty && l.level_cm3 < 1) {
    l.is_empty = true;
    raise(AlarmKind::empty, l.empty_alarm);
  }
}

void Voyage::raise_alarms(std::size_t k) {
  watch_level(k);
  const LubricatorPlan& p = ship_.lubricators[k];
  LubricatorState& l = lubricators_[k];
  if (l.alarm_luck < 0) l.alarm_luck = dice_.gamma_of_mean_1(p.alarm_shape);
  double busiest = 0;
  for (std::size_t i = 0; i < shafts_.size(); ++i) {
    if (ship_.shafts[i].dose_cm3 > 0) busiest = std::max(busiest, shafts_[i].today_h);
  }
  if (fault_of(FaultKind::left_off, {}, moment(720)) != nullptr) return;  // what is off raises none
  const Fault* f = fault_of(FaultKind::alarm_rate, {}, moment(720));
  int n = dice_.poisson(p.alarms_per_1000h / 1000 * busiest * l.alarm_luck * (f != nullptr ? f->size : 1.0));
  if (!ship_.writes_alarms) return;
  constexpr double kKinds[] = {5, 2.5, 1.5, 1};
  constexpr AlarmKind kKind[] = {AlarmKind::no_pressure, AlarmKind::cycle_fault, AlarmKind::high_pressure,
                                 AlarmKind::power_fault};
  for (; n > 0; --n) {
    const AlarmKind kind = kKind[dice_.pick(kKinds)];
    int minute = dice_.whole(0, 1000);
    int more = 1;
    if (dice_.chance(p.burst_share)) more += 1 + dice_.poisson(2);
    for (; more > 0; --more) {
      const int lasts = 3 + static_cast<int>(dice_.exponential(40));
      if (const auto w = write(minute)) {
        Alarm a{kind, Stamp{moment(minute + lasts), std::chrono::minutes{0}, Precision::minute}};
        a.cleared->utc = std::max(a.cleared->utc, w->at + std::chrono::minutes{1});
        put(log_.alarms, w, {}, p.id, a);
      }
      minute += lasts + 1 + static_cast<int>(dice_.exponential(90));
    }
  }
}

}  // namespace shaftlog::world
