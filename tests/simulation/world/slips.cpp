#include "domain/amount.hpp"
#include "ship.hpp"

#include <algorithm>
#include <string>

namespace shaftlog::world {
namespace {

template <class What>
void sort_list(std::vector<Logged<What>>& list) {
  std::sort(list.begin(), list.end(),
            [](const auto& a, const auto& b) { return a.at != b.at ? a.at < b.at : a.id < b.id; });
}

bool holds(const Truth& truth, const Uuid& id) {
  for (const Slip& s : truth.slips) {
    if (std::find(s.records.begin(), s.records.end(), id) != s.records.end()) return true;
  }
  return false;
}

template <class What>
Logged<What>* any_of(std::vector<Logged<What>>& list, const Truth& truth, Dice& dice) {
  if (list.size() < 8) return nullptr;
  Logged<What>& r = list[4 + static_cast<std::size_t>(dice.uniform() * static_cast<double>(list.size() - 5))];
  return holds(truth, r.id) ? nullptr : &r;
}

bool is_measured(const Logged<Greasing>& g) {
  return g.what.amount && g.what.amount->volume && g.what.amount->volume->base() > 15000 &&
         (g.what.ended == Ended::pressure || g.what.ended == Ended::limit);
}

void write_amount(Amount& a, std::int64_t digits, int scale, Unit unit, std::optional<std::int64_t> nano) {
  a = make_amount(Decimal{digits, scale}, unit, nano);
}

class Pen {
 public:
  Pen(MadeVessel& made, const Ship& ship, Dice& dice) : log_{made.log}, truth_{made.truth}, ship_{ship}, dice_{dice} {}

  void slip() {
    constexpr double kWeights[] = {3, 2.5, 1.2, 2, 1, 1.5, 2};
    switch (static_cast<SlipKind>(dice_.pick(kWeights))) {
      case SlipKind::factor_ten:
        factor_ten();
        break;
      case SlipKind::unit:
        unit();
        break;
      case SlipKind::swapped_shafts:
        swapped();
        break;
      case SlipKind::hour_digits:
        hour_digits();
        break;
      case SlipKind::wrong_year:
        wrong_date(SlipKind::wrong_year);
        break;
      case SlipKind::wrong_date:
        wrong_date(SlipKind::wrong_date);
        break;
      case SlipKind::duplicate:
        duplicate();
        break;
      case SlipKind::unmarked_meter:
      case SlipKind::gun_changed:
        break;
    }
  }

 private:
  void note(SlipKind kind, std::vector<Uuid> records, Instant at, ShaftId shaft, LubricatorId lubricator,
            double factor) {
    truth_.slips.push_back({kind, std::move(records), at, at, shaft, lubricator, factor});
  }

  void factor_ten() {
    Logged<Greasing>* g = any_of(log_.greasings, truth_, dice_);
    if (g == nullptr || !is_measured(*g)) return;
    Amount& a = *g->what.amount;
    const auto typed = parse_decimal(a.typed);
    if (!typed) return;
    if (dice_.chance(0.6)) {
      write_amount(a, typed->mantissa * 10, typed->scale, a.unit, a.nano_cm3_per_unit);
      note(SlipKind::factor_ten, {g->id}, g->at, g->shaft, {}, 10);
    } else {
      write_amount(a, typed->mantissa, typed->scale + 1, a.unit, a.nano_cm3_per_unit);
      note(SlipKind::factor_ten, {g->id}, g->at, g->shaft, {}, 0.1);
    }
  }

  void unit() {
    Logged<Greasing>* g = any_of(log_.greasings, truth_, dice_);
    if (g == nullptr || !is_measured(*g)) return;
    Amount& a = *g->what.amount;
    const auto typed = parse_decimal(a.typed);
    if (!typed) return;
    Conversion with;
    with.density = log_.greases.front().density;
    with.per_stroke = log_.guns.front().calibrations.front().per_stroke;
    const Unit to = a.unit == Unit::strokes ? (dice_.chance(0.5) ? Unit::cm3 : Unit::g)
                    : a.unit == Unit::kg    ? Unit::lb
                    : dice_.chance(0.6)     ? Unit::strokes
                                            : Unit::oz;
    const double was = in_cm3(*a.volume);
    const Amount slipped = make_amount(*typed, to, with);
    if (!slipped.volume) return;
    a = slipped;
    if (to == Unit::strokes) g->what.gun = log_.guns.front().id;
    note(SlipKind::unit, {g->id}, g->at, g->shaft, {}, in_cm3(*a.volume) / was);
  }

  void swapped() {
    if (log_.greasings.size() < 10) return;
    const std::size_t from =
        4 + static_cast<std::size_t>(dice_.uniform() * static_cast<double>(log_.greasings.size() - 6));
    for (std::size_t i = from; i < std::min(from + 8, log_.greasings.size() - 1); ++i) {
      Logged<Greasing>&a = log_.greasings[i], &b = log_.greasings[i + 1];
      if (a.shaft == b.shaft || b.at - a.at > std::chrono::hours{12} || !is_measured(a) || !is_measured(b)) continue;
      if (holds(truth_, a.id) || holds(truth_, b.id)) continue;
      const double x = in_cm3(*a.what.amount->volume), y = in_cm3(*b.what.amount->volume);
      std::swap(a.what.amount, b.what.amount);
      note(SlipKind::swapped_shafts, {a.id, b.id}, a.at, a.shaft, {}, std::max(x, y) / std::min(x, y));
      return;
    }
  }

  void hour_digits() {
    Logged<Hours>* h = any_of(log_.hours, truth_, dice_);
    if (h == nullptr || h->what.is_new_meter) return;
    const std::int64_t tenths = h->what.reading.base() / 360;
    std::string digits = std::to_string(tenths / 10);
    if (digits.size() < 3) return;
    const std::size_t at = static_cast<std::size_t>(dice_.whole(0, static_cast<int>(digits.size()) - 2));
    if (digits[at] == digits[at + 1]) return;
    std::swap(digits[at], digits[at + 1]);
    h->what.reading = HoursReading::from_base((std::stoll(digits) * 10 + tenths % 10) * 360);
    note(SlipKind::hour_digits, {h->id}, h->at, h->shaft, {}, 1);
  }

  void wrong_date(SlipKind kind) {
    const auto shift = [&](auto* r) {
      if (r == nullptr) return;
      std::chrono::days by{kind == SlipKind::wrong_year ? (dice_.chance(0.7) ? -365 : 365) : 0};
      if (by.count() == 0)
        by = std::chrono::days{dice_.chance(0.5) ? dice_.whole(9, 11) * (dice_.chance(0.5) ? 1 : -1)
                                                 : dice_.whole(25, 31) * (dice_.chance(0.5) ? 1 : -1)};
      if (r->at + by < truth_.first - std::chrono::days{400}) return;
      r->at += by;
      note(kind, {r->id}, r->at, r->shaft, r->lubricator, 1);
    };
    constexpr double kWhich[] = {3, 3, 1};
    switch (dice_.pick(kWhich)) {
      case 0:
        shift(any_of(log_.hours, truth_, dice_));
        break;
      case 1:
        shift(any_of(log_.greasings, truth_, dice_));
        break;
      default:
        shift(any_of(log_.refills, truth_, dice_));
        break;
    }
  }

  void duplicate() {
    const auto again = [&](auto& list) {
      auto* r = any_of(list, truth_, dice_);
      if (r == nullptr) return;
      auto copy = *r;
      copy.id.bytes[12] = 0xD0;  // no record of the voyage has so many before it
      copy.origin = 2;
      if (dice_.chance(0.5) && copy.precision != Precision::day) copy.at += std::chrono::minutes{dice_.whole(1, 40)};
      copy.recorded_at = std::max(copy.recorded_at, copy.at) + std::chrono::hours{dice_.whole(1, 200)};
      note(SlipKind::duplicate, {copy.id, r->id}, copy.at, copy.shaft, copy.lubricator, 1);
      list.push_back(copy);
    };
    constexpr double kWhich[] = {3, 2};
    if (dice_.pick(kWhich) == 0) {
      again(log_.greasings);
    } else {
      again(log_.refills);
    }
  }

  VesselLog& log_;
  Truth& truth_;
  const Ship& ship_;
  Dice& dice_;
};

// Slips that the voyage made already: which records they touch is known once all is written.
void name_lasting_slips(MadeVessel& made, const Ship& ship) {
  for (Slip& s : made.truth.slips) {
    if (s.kind != SlipKind::unmarked_meter) continue;
    for (const Logged<Hours>& h : made.log.hours) {
      if (h.shaft == s.shaft && h.at >= s.at) {
        s.records.push_back(h.id);
        s.at = h.at;
        break;
      }
    }
  }
  if (ship.gun_changed_on >= 0) {
    Slip s{SlipKind::gun_changed,         {}, day_start(ship, ship.gun_changed_on), kLatest, {}, {},
           ship.gun_bias / ship.other_gun};
    for (const Logged<Greasing>& g : made.log.greasings) {
      if (g.at >= s.at && g.what.gun.is_set()) s.records.push_back(g.id);
    }
    if (!s.records.empty()) made.truth.slips.push_back(s);
  }
}

}  // namespace

void sort_records(VesselLog& log) {
  sort_list(log.hours);
  sort_list(log.cycles);
  sort_list(log.levels);
  sort_list(log.refills);
  sort_list(log.greasings);
  sort_list(log.alarms);
  sort_list(log.work);
  sort_list(log.inspections);
}

void make_slips(MadeVessel& vessel, const Ship& ship, Dice& dice) {
  sort_records(vessel.log);
  name_lasting_slips(vessel, ship);
  Pen pen{vessel, ship, dice};
  for (int n = dice.poisson(ship.slips_per_year * ship.days / 365.25); n > 0; --n) pen.slip();
  sort_records(vessel.log);
}

}  // namespace shaftlog::world
