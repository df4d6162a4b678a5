#include "simulation/records/ships.hpp"

#include <algorithm>

#include <fmt/format.h>

namespace shaftlog::simulation {
namespace {

using namespace std::chrono;

const Instant kStart = sys_days{year{2022} / 3 / 1};

struct Visit {
  Instant at{};
  double amount_cm3 = 0;
  Ended ended = Ended::pressure;
};

std::string digits_of(double x, int places) { return fmt::format("{:.{}f}", x, places); }

class Builder {
 public:
  Builder(std::uint64_t seed, int number, const Sea& sea) : c_{seed}, number_{number}, sea_{sea} {}

  SimShip build() {
    days_ = static_cast<int>(sea_.years * 365.25);
    out_.log.vessel = {VesselId{number_ + 1},          fmt::format("v{:03}", number_), "", std::nullopt, "UTC",
                       fmt::format("g{}", number_ % 4)};
    out_.log.people = {"", "first", "second", "third"};
    out_.log.origins = {"", "typed"};
    habits();
    pattern();
    const int manual = 2 + c_.below(2);
    for (int i = 0; i < manual; ++i) add_shaft(i, false);
    if (c_.is(0.4)) {
      add_lubricator();
      for (int i = 0; i < 2; ++i) add_shaft(manual + i, true);
    }
    for (const Shaft& s : out_.log.shafts) read_meter(s.id);
    grease();
    if (!out_.log.lubricators.empty()) pour();
    pairs();
    sort();
    return std::move(out_);
  }

 private:
  // What this crew does.
  void habits() {
    Grease g;
    g.id = GreaseId{1};
    g.code = "g";
    g.density = Density::from_base(900 + c_.below(60));
    out_.log.greases.push_back(g);
    const int guns = c_.is(0.3) ? 2 : 1;
    for (int i = 0; i < guns; ++i) {
      Gun gun;
      gun.id = GunId{i + 1};
      gun.code = fmt::format("gun{}", i + 1);
      gun.calibrations.push_back(
          {std::nullopt, Volume::from_base(1000 * (i == 0 ? 1 : 2) + 10 * c_.below(40) + (i == 0 ? 0 : 300))});
      out_.log.guns.push_back(gun);
    }
    const double u = c_.uniform();
    unit_ = u < 0.45 ? Unit::cm3 : u < 0.55 ? Unit::ml : u < 0.7 ? Unit::g : u < 0.75 ? Unit::kg : Unit::strokes;
    relative_sd_ = std::exp(std::log(0.05) + 0.4 * c_.normal());
    fill_sd_ = std::exp(std::log(10.0) + 0.35 * c_.normal());
    greasing_days_ = c_.uniform(18, 60);
    const double v = c_.uniform();
    reading_days_ = v < 0.2 ? 1 : v < 0.75 ? 7 : v < 0.9 ? 14 : 30;
    coarse_ = c_.is(0.3);
    by_day_ = c_.is(0.3);
    with_recorded_at_ = c_.is(0.5);
  }

  // Days at sea and hours under way; winter runs more; one docking, some ships a lay-up.
  void pattern() {
    bool at_sea = true;
    const double usual = c_.uniform(12, 19);
    const int dock = 200 + c_.below(std::max(1, days_ - 300));
    const int dock_days = 8 + c_.below(14);
    const bool lays_up = c_.is(0.15);
    const int lay = 150 + c_.below(std::max(1, days_ - 250)), lay_days = 30 + c_.below(60);
    const double to_port = 1 / c_.uniform(4, 14), to_sea = 1 / c_.uniform(1, 4);
    for (int d = 0; d < days_; ++d) {
      at_sea = at_sea ? !c_.is(to_port) : c_.is(to_sea);
      const double season = 1 + 0.2 * std::cos(2 * 3.14159265 * (d + 60) / 365.25);
      double h = at_sea ? std::clamp(usual * season + 3 * c_.normal(), 0.0, 24.0) : std::max(0.0, c_.uniform(-2, 3));
      const bool docked = d >= dock && d < dock + dock_days;
      if (docked || (lays_up && d >= lay && d < lay + lay_days)) h = 0;
      quiet_.push_back(lays_up && d >= lay && d < lay + lay_days);
      under_way_.push_back(h);
    }
    if (c_.is(0.7)) {
      Work w;
      w.work = WorkKind::docked;
      out_.log.work.push_back(logged<Work>(at(dock, 10), {}, w));
      w.work = WorkKind::undocked;
      out_.log.work.push_back(logged<Work>(at(dock + dock_days, 10), {}, w));
    }
  }

  void add_lubricator() {
    Lubricator l;
    l.id = LubricatorId{100 * (number_ + 1)};
    l.code = "lub1";
    l.settings.push_back({std::nullopt, cm3(5000 + 1000 * c_.below(6)), std::nullopt, GreaseId{1}});
    out_.log.lubricators.push_back(l);
  }

  void add_shaft(int i, bool is_fed) {
    static const std::array<const char*, 5> kNames{"fin_port", "fin_stbd", "rudder", "thr_port", "thr_stbd"};
    Shaft s;
    s.id = ShaftId{1000 * (number_ + 1) + i};
    s.code = is_fed ? kNames[static_cast<std::size_t>(3 + fed_++)] : kNames[static_cast<std::size_t>(i)];
    ShaftSetting set;
    capacity_[s.id] = 350 + 50.0 * c_.below(8);
    set.cavity = Volume::from_base(static_cast<std::int64_t>(1000 * capacity_[s.id]));
    set.interval_days = static_cast<int>(greasing_days_ * 1.3);
    set.grease = GreaseId{1};
    s.settings.push_back(set);
    out_.log.shafts.push_back(s);
    TrueHours h;
    h.day0 = kStart;
    const double share = i < 2 && !is_fed ? c_.uniform(0.6, 0.9) : 0.95;
    if (i == 1 && !is_fed) {
      h = out_.hours.begin()->second;  // fins run together, but for days
      for (double& r : h.run)
        if (c_.is(0.03)) r = 0;
    } else {
      for (double u : under_way_) {
        h.run.push_back(c_.is(share) ? u * c_.uniform(0.8, 1.0) : 0.0);
        h.start.push_back(c_.uniform() * (24 - h.run.back()));
      }
    }
    h.sum.assign(1, 0.0);
    for (double r : h.run) h.sum.push_back(h.sum.back() + r);
    out_.hours[s.id] = h;
    if (is_fed) {
      Feed f;
      f.lubricator = out_.log.lubricators.front().id;
      f.shaft = s.id;
      f.dose = Volume::from_base(250);
      f.cycle_s = 900;
      out_.log.feeds.push_back(f);
    }
    wash_[s.id] = std::exp(std::log(is_fed ? 0.5 : 0.22) + 0.35 * c_.normal());
    if (!is_fed && c_.is(sea_.fault_share)) {
      Fault f;
      f.shaft = s.id;
      f.from = at(static_cast<int>(days_ * c_.uniform(0.35, 0.8)), 0);
      f.is_wear = c_.is(0.5);
      f.factor = f.is_wear ? c_.uniform(0.15, 0.4) : c_.uniform(1.5, 3.0);  // wear: ln per 1000 h
      out_.faults.push_back(f);
    }
  }

  void read_meter(ShaftId shaft) {
    const TrueHours& h = out_.hours[shaft];
    double offset = 1000 + c_.below(12000);
    const int change = c_.is(0.08 * sea_.slip_rate) ? 100 + c_.below(std::max(1, days_ - 200)) : -1;
    bool is_changed = false;
    for (double d = c_.uniform(0, 3); d < days_ - 1;) {
      const int day = static_cast<int>(d);
      const double hour = 6 + 12 * c_.uniform();
      const Instant when = at(day, hour);
      d += reading_days_ == 1 ? (c_.is(0.05) ? 3 : 1) : reading_days_ * std::exp(0.2 * c_.normal());
      if (quiet_[static_cast<std::size_t>(day)] || c_.is(0.03)) continue;
      Slip slip;
      if (change >= 0 && day >= change && !is_changed) {
        is_changed = true;
        offset = -h.at(when) + c_.uniform(0, 20);
        slip.kind = SlipKind::unmarked_meter;
      }
      const double shown = h.at(when) + offset;
      Logged<Hours> r = logged<Hours>(when, shaft, {});
      if (by_day_) {
        r.precision = Precision::day;
        r.at = at(day, 12);
      }
      const double noted = coarse_ ? std::round(shown) : std::round(shown * 10) / 10;
      r.what.reading = HoursReading::from_base(std::llround(std::max(0.0, noted) * 3600));
      slip.record = r.id;
      slip.at = r.at;
      if (slip.kind == SlipKind::unmarked_meter) {
        slip.is_observable = day < days_ - 4 * reading_days_ - 3;
        out_.slips.push_back(slip);
      } else if (c_.is(0.005 * sea_.slip_rate * std::min(1.0, reading_days_ / 7.0))) {
        slip_hours(r, slip, shaft);
      }
      out_.log.hours.push_back(r);
    }
  }

  void slip_hours(Logged<Hours>& r, Slip slip, ShaftId shaft) {
    const std::int64_t base = r.what.reading.base();
    std::string digits = std::to_string(base / 3600);
    const double u = c_.uniform();
    if (u < 0.4) {
      slip.kind = SlipKind::hours_swap;
      const auto i = static_cast<std::size_t>(c_.below(static_cast<int>(digits.size()) - 1));
      if (digits[i] == digits[i + 1] || (i == 0 && digits[1] == '0')) return;
      std::swap(digits[i], digits[i + 1]);
    } else if (u < 0.65) {
      slip.kind = SlipKind::hours_lost;
      const auto i = static_cast<std::size_t>(1 + c_.below(static_cast<int>(digits.size()) - 1));
      if (c_.is(0.7)) {
        digits.erase(i, 1);
      } else {
        digits.insert(i, 1, digits[i]);
      }
    } else if (u < 0.85) {
      slip.kind = SlipKind::hours_year;
      const bool back = c_.is(0.7);
      r.at = r.at + days{back ? -365 : 365};
    } else {
      slip.kind = SlipKind::hours_date;
      const auto other = day_month(r.at);
      if (!other) return;
      r.at = *other;
    }
    r.what.reading = HoursReading::from_base(std::stoll(digits) * 3600 + base % 3600);
    // Seen by nobody when it stays possible: within what time allows against the readings about it.
    const TrueHours& h = out_.hours[shaft];
    const double error = static_cast<double>(r.what.reading.base() - base) / 3600.0;
    if (slip.kind == SlipKind::hours_swap || slip.kind == SlipKind::hours_lost) {
      const double before = h.at(slip.at) - h.at(slip.at - seconds{std::llround(reading_days_ * 86400)});
      const double after = h.at(slip.at + seconds{std::llround(reading_days_ * 86400)}) - h.at(slip.at);
      const double slack = by_day_ ? 26 : 3;
      slip.is_observable = error < -before - slack || error > after + slack;
    } else {
      slip.is_observable = r.at >= kStart && r.at <= end_of(sea_) && std::abs(days_between(slip.at, r.at)) > 20;
    }
    out_.slips.push_back(slip);
  }

  static std::optional<Instant> day_month(Instant t) {
    const auto day = floor<days>(t);
    const year_month_day ymd{day};
    const auto d = static_cast<unsigned>(ymd.day()), m = static_cast<unsigned>(ymd.month());
    if (d > 12 || d == m) return std::nullopt;
    return sys_days{ymd.year() / month{d} / std::chrono::day{m}} + (t - day);
  }

  double washout(ShaftId shaft, Instant a, Instant b, double slow) const {
    const TrueHours& h = out_.hours.at(shaft);
    double w = wash_.at(shaft) * std::exp(0.09 * slow);
    double lost = w * (h.at(b) - h.at(a));
    for (const Fault& f : out_.faults) {
      if (f.shaft != shaft || b <= f.from) continue;
      const Instant from = std::max(a, f.from);
      const double run = h.at(b) - h.at(from);
      const double since = h.at(from) - h.at(f.from);
      const double more = f.is_wear ? std::exp(f.factor * (since + run / 2) / 1000) - 1 : f.factor - 1;
      lost += w * run * more;
    }
    return lost;
  }

  void grease() {
    struct State {
      double missing = 0, slow = 0;
      Instant last = kStart;
    };
    std::map<ShaftId, State> states;
    for (double d = c_.uniform(2, 15); d < days_ - 1; d += greasing_days_ * std::exp(0.25 * c_.normal())) {
      const int day = static_cast<int>(d);
      if (quiet_[static_cast<std::size_t>(day)]) continue;
      const auto who = static_cast<std::uint32_t>(1 + (c_.is(0.75) ? (day / 150) % 2 : c_.below(3)));
      const GunId gun = out_.log.guns[static_cast<std::size_t>(c_.is(0.7) ? 0 : out_.log.guns.size() - 1)].id;
      double hour = 7 + 8 * c_.uniform();
      for (const Shaft& s : out_.log.shafts) {
        const bool is_fed = s.code.substr(0, 3) == "thr";
        if (c_.is(is_fed ? 0.5 : 0.04)) continue;
        State& x = states[s.id];
        hour += c_.uniform(0.2, 0.8);
        const Instant when = at(day, hour);
        const double step = days_between(x.last, when);
        const double keep = std::exp(-step / 60);
        x.slow = keep * x.slow + std::sqrt(1 - keep * keep) * c_.normal();
        double lost = washout(s.id, x.last, when, x.slow) * std::exp(0.1 * c_.normal());
        if (is_fed) lost -= (out_.hours[s.id].at(when) - out_.hours[s.id].at(x.last)) * 1.0;
        x.missing = std::clamp(x.missing + lost, 0.0, capacity_[s.id]);
        x.last = when;
        Logged<Greasing> g = logged<Greasing>(when, s.id, {});
        g.by = who;
        g.what.gun = gun;
        const double u = c_.uniform();
        double taken = 0;
        if (u < 0.01) {
          g.what.ended = Ended::not_done;
          out_.log.greasings.push_back(g);
          continue;
        }
        const double left = fill_sd_ * std::abs(c_.normal());  // full is never the same
        if (u < 0.05) {
          g.what.ended = Ended::stopped;
          taken = x.missing * c_.uniform(0.3, 0.9);
        } else if (u < 0.065) {
          taken = x.missing * c_.uniform(0.5, 0.8);  // back-pressure too early: air, a stiff line
        } else {
          taken = std::max(0.0, x.missing - left);
        }
        x.missing -= taken;
        const double measured = std::max(0.0, taken * (1 + relative_sd_ * c_.normal()));
        if (by_day_) {
          g.precision = Precision::day;
          g.at = at(day, 12);
        }
        const Unit unit = c_.is(0.93) ? unit_ : (unit_ == Unit::strokes ? Unit::cm3 : Unit::g);
        write(g, measured, unit);
        slip_greasing(g, measured, unit);
        out_.log.greasings.push_back(g);
      }
    }
  }

  [[nodiscard]] double cm3_per(Unit u, GunId gun) const {
    const double density = in_g_cm3(out_.log.greases.front().density);
    switch (u) {
      case Unit::g:
        return 1 / density;
      case Unit::kg:
        return 1000 / density;
      case Unit::oz:
        return 28.349523125 / density;
      case Unit::lb:
        return 453.59237 / density;
      case Unit::l:
        return 1000;
      case Unit::strokes:
        return in_cm3(out_.log.guns[static_cast<std::size_t>(gun.value - 1)].calibrations[0].per_stroke);
      default:
        return 1;
    }
  }

  void set_amount(Logged<Greasing>& g, const std::string& typed, Unit unit) const {
    Conversion with;
    with.density = out_.log.greases.front().density;
    with.per_stroke = out_.log.guns[static_cast<std::size_t>(g.what.gun.value - 1)].calibrations[0].per_stroke;
    g.what.amount = make_amount(*parse_decimal(typed), unit, with);
  }

  void write(Logged<Greasing>& g, double measured, Unit unit) {
    const double n = measured / cm3_per(unit, g.what.gun);
    const double to = unit == Unit::kg ? 0.005 : unit == Unit::strokes ? 1 : measured > 50 && coarse_ ? 5 : 1;
    set_amount(g, digits_of(std::round(n / to) * to, unit == Unit::kg ? 3 : 0), unit);
  }

  void slip_greasing(Logged<Greasing>& g, double measured, Unit unit) {
    if (!c_.is(0.03 * sea_.slip_rate) || !g.what.amount || measured < 8) return;
    const double before = in_cm3(*g.what.amount->volume);
    const std::string typed = g.what.amount->typed;
    Slip s;
    s.record = g.id;
    s.at = g.at;
    const double u = c_.uniform();
    if (u < 0.25) {
      s.kind = SlipKind::factor_10;
      const double n = std::stod(typed) * (c_.is(0.6) ? 10 : 0.1);
      set_amount(g, digits_of(n, unit == Unit::kg ? 4 : n < 10 ? 1 : 0), unit);
    } else if (u < 0.5) {
      s.kind = SlipKind::unit;  // the number of one unit with the word of another
      static const std::array<Unit, 6> kUnits{Unit::cm3, Unit::g, Unit::strokes, Unit::kg, Unit::oz, Unit::l};
      set_amount(g, typed, kUnits[static_cast<std::size_t>(c_.below(6))]);
    } else if (u < 0.58) {
      if (unit != Unit::strokes || out_.log.guns.size() < 2) return;
      s.kind = SlipKind::gun;
      g.what.gun = GunId{g.what.gun.value == 1 ? 2 : 1};
      set_amount(g, typed, unit);
    } else if (u < 0.78) {
      s.kind = SlipKind::digits;
      std::string other = typed;
      const double v = c_.uniform();
      if (other.size() < 2 || other.find('.') != std::string::npos) return;
      if (v < 0.5) {
        std::swap(other[0], other[1]);
      } else if (v < 0.75) {
        other.erase(static_cast<std::size_t>(c_.below(static_cast<int>(other.size()))), 1);
      } else {
        other.insert(0, 1, other[0]);
      }
      if (other == typed) return;
      set_amount(g, other, unit);
    } else if (u < 0.88) {
      s.kind = SlipKind::wrong_year;
      g.at = g.at + days{c_.is(0.7) ? -365 : 365};
    } else {
      s.kind = SlipKind::day_month;
      const auto other = day_month(g.at);
      if (!other) return;
      g.at = *other;
    }
    if (s.kind == SlipKind::wrong_year || s.kind == SlipKind::day_month) {
      s.is_observable = g.at > kStart + days{60} && g.at < end_of(sea_) - days{60} &&
                        std::abs(days_between(s.at, g.at)) > greasing_days_ && g.what.ended == Ended::pressure;
    } else {
      const double factor = std::max(in_cm3(*g.what.amount->volume), 0.5) / std::max(before, 0.5);
      s.is_observable = (factor > 1.6 || factor < 1 / 1.6) && g.what.ended == Ended::pressure &&
                        std::abs(in_cm3(*g.what.amount->volume) - before) > 4 * fill_sd_;
    }
    out_.slips.push_back(s);
  }

  void pour() {
    const Lubricator& l = out_.log.lubricators.front();
    const double full = in_cm3(l.settings.front().reservoir);
    double level = 0.9 * full;
    int poured = 0;
    for (int d = 1; d < days_ - 1; ++d) {
      for (const Feed& f : out_.log.feeds) level -= out_.hours[f.shaft].run[static_cast<std::size_t>(d)];
      level = std::max(level, 0.0);
      const auto show = [&](double x) {
        return Level::from_base(std::clamp(std::llround(100 * (x / full * 100 + 1.2 * c_.normal())), 0LL, 10000LL));
      };
      if (d % 7 == 3 && !quiet_[static_cast<std::size_t>(d)]) {
        Logged<LevelReading> r = logged<LevelReading>(at(d, 9), {}, {show(level)});
        r.lubricator = l.id;
        out_.log.levels.push_back(r);
      }
      if (level > (0.25 + 0.15 * std::sin(poured)) * full) continue;
      Logged<Refill> r = logged<Refill>(at(d, 14), {}, {});
      r.lubricator = l.id;
      r.what.before = show(level);
      const double in = 0.95 * full - level;
      level = 0.95 * full;
      ++poured;
      Conversion with;
      with.density = out_.log.greases.front().density;
      const double kg = in * in_g_cm3(*with.density) / 1000 * (1 + 0.02 * c_.normal());
      r.what.amount = make_amount(*parse_decimal(digits_of(kg, 1)), Unit::kg, with);
      r.what.after = show(level);
      out_.log.refills.push_back(r);
      if (c_.is(0.02 * sea_.slip_rate)) {  // the refill was written on the line of a shaft
        Logged<Greasing> g = logged<Greasing>(r.at, out_.log.shafts.back().id, {});
        g.what.gun = out_.log.guns.front().id;
        g.what.amount = r.what.amount;
        out_.log.refills.pop_back();
        out_.slips.push_back({SlipKind::refill_as_greasing, g.id, {}, g.at, true});
        out_.log.greasings.push_back(g);
      }
    }
  }

  // Duplicates, and two shafts exchanged.
  void pairs() {
    std::vector<Logged<Greasing>> more;
    for (std::size_t i = 0; i < out_.log.greasings.size(); ++i) {
      Logged<Greasing>& g = out_.log.greasings[i];
      if (is_slipped(g.id) || !g.what.amount || !g.what.amount->volume) continue;
      if (c_.is(0.006 * sea_.slip_rate) && in_cm3(*g.what.amount->volume) > 30) {
        Logged<Greasing> twin = g;
        twin.id = next_id();
        if (!by_day_) twin.at = g.at + minutes{c_.below(40)};
        twin.recorded_at = twin.at + hours{1 + c_.below(200)};
        twin.by = 1 + g.by % 3;
        more.push_back(twin);
        out_.slips.push_back({SlipKind::duplicate, twin.id, g.id, twin.at, true});
        continue;
      }
      if (!c_.is(0.006 * sea_.slip_rate)) continue;
      for (std::size_t j = i + 1; j < std::min(i + 4, out_.log.greasings.size()); ++j) {
        Logged<Greasing>& o = out_.log.greasings[j];
        if (o.shaft == g.shaft || std::abs(hours_between(g.at, o.at)) > 12 || is_slipped(o.id)) continue;
        if (!o.what.amount || !o.what.amount->volume) continue;
        const double a = in_cm3(*g.what.amount->volume), b = in_cm3(*o.what.amount->volume);
        std::swap(g.what.amount, o.what.amount);
        const bool plain = g.what.ended == Ended::pressure && o.what.ended == Ended::pressure;
        out_.slips.push_back({SlipKind::swapped_shafts, g.id, o.id, g.at,
                              plain && std::abs(std::log(std::max(a, 1.0) / std::max(b, 1.0))) > std::log(1.6) &&
                                  std::abs(a - b) > 4 * fill_sd_});
        break;
      }
    }
    out_.log.greasings.insert(out_.log.greasings.end(), more.begin(), more.end());
    for (std::size_t i = 0; i < out_.log.hours.size(); ++i) {
      if (!c_.is(0.0008 * sea_.slip_rate) || is_slipped(out_.log.hours[i].id)) continue;
      for (std::size_t j = i + 1; j < out_.log.hours.size(); ++j) {
        Logged<Hours>&g = out_.log.hours[i], &o = out_.log.hours[j];
        if (o.shaft == g.shaft || std::abs(hours_between(g.at, o.at)) > 12 || is_slipped(o.id)) continue;
        std::swap(g.what.reading, o.what.reading);
        out_.slips.push_back({SlipKind::hours_shafts, g.id, o.id, g.at,
                              std::abs(in_h(g.what.reading) - in_h(o.what.reading)) > 24 * reading_days_ + 30});
        break;
      }
    }
  }

  [[nodiscard]] bool is_slipped(const Uuid& id) const {
    return std::any_of(out_.slips.begin(), out_.slips.end(),
                       [&](const Slip& s) { return s.record == id || s.other == id; });
  }

  void sort() {
    const auto by = [](auto& list) {
      std::sort(list.begin(), list.end(),
                [](const auto& a, const auto& b) { return std::tie(a.at, a.id) < std::tie(b.at, b.id); });
      std::erase_if(list, [](const auto& r) { return r.at < kStart - days{800}; });
    };
    by(out_.log.hours);
    by(out_.log.levels);
    by(out_.log.refills);
    by(out_.log.greasings);
    by(out_.log.work);
    std::sort(out_.log.shafts.begin(), out_.log.shafts.end(),
              [](const auto& a, const auto& b) { return a.code < b.code; });
  }

  Uuid next_id() {
    ++count_;
    Uuid u;
    u.bytes[0] = static_cast<std::uint8_t>(number_ % 256);
    u.bytes[1] = static_cast<std::uint8_t>(number_ / 256);
    u.bytes[13] = static_cast<std::uint8_t>(count_ / 65536);
    u.bytes[14] = static_cast<std::uint8_t>(count_ / 256 % 256);
    u.bytes[15] = static_cast<std::uint8_t>(count_ % 256);
    return u;
  }

  template <class What>
  Logged<What> logged(Instant t, ShaftId shaft, What what) {
    Logged<What> r;
    r.id = next_id();
    r.at = t;
    // Half of the ships' logs carry no moment of recording: all of it was typed in or imported at the end.
    r.recorded_at = with_recorded_at_ ? t + minutes{10 + c_.below(600)} : end_of(sea_) + days{40};
    r.by = 1;
    r.origin = 1;
    r.shaft = shaft;
    r.what = std::move(what);
    return r;
  }

  static Instant at(int day, double hour) { return kStart + seconds{86400LL * day + std::llround(3600 * hour)}; }

  Chance c_;
  int number_;
  Sea sea_;
  SimShip out_;
  int days_ = 0, fed_ = 0, count_ = 0;
  Unit unit_ = Unit::cm3;
  double relative_sd_ = 0.05, fill_sd_ = 10, greasing_days_ = 30, reading_days_ = 7;
  bool coarse_ = false, by_day_ = false, with_recorded_at_ = true;
  std::vector<double> under_way_;
  std::vector<bool> quiet_;
  std::map<ShaftId, double> capacity_, wash_;
};

}  // namespace

Chance::Chance(std::uint64_t seed) : s_{seed} {
  s_ = bits() ^ (seed << 32);  // neighbouring seeds must not walk the same path
  s_ = bits();
}
std::uint64_t Chance::bits() {
  s_ += 0x9e3779b97f4a7c15ULL;
  std::uint64_t z = s_;
  z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9ULL;
  z = (z ^ (z >> 27)) * 0x94d049bb133111ebULL;
  return z ^ (z >> 31);
}
double Chance::uniform() { return (static_cast<double>(bits() >> 11) + 0.5) / 9007199254740992.0; }
double Chance::normal() {
  return std::sqrt(-2 * std::log(uniform())) * std::cos(2 * 3.14159265358979323846 * uniform());
}
int Chance::poisson(double mean) {
  int n = 0;
  for (double t = exponential(1); t < mean; t += exponential(1)) ++n;
  return n;
}

const char* name_of(SlipKind k) {
  static const std::array<const char*, kSlipKinds> kNames{"factor 10",
                                                          "unit",
                                                          "gun",
                                                          "digits of amount",
                                                          "shafts swapped",
                                                          "duplicate",
                                                          "refill as greasing",
                                                          "greasing year",
                                                          "greasing day/month",
                                                          "hours digits swapped",
                                                          "hours digit lost",
                                                          "hours year",
                                                          "hours day/month",
                                                          "hours of two shafts",
                                                          "unmarked meter"};
  return kNames[static_cast<std::size_t>(k)];
}

double TrueHours::at(Instant t) const {
  const double d = days_between(day0, t);
  if (d <= 0) return 0;
  const auto day = static_cast<std::size_t>(d);
  if (day >= run.size()) return sum.back();
  const double hour = 24 * (d - static_cast<double>(day));
  return sum[day] + std::clamp(hour - start[day], 0.0, run[day]);
}

Instant end_of(const Sea& sea) { return kStart + seconds{std::llround(sea.years * 365.25) * 86400}; }

SimShip sail(std::uint64_t seed, int number, const Sea& sea) { return Builder{seed, number, sea}.build(); }

}  // namespace shaftlog::simulation
