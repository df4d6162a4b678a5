#include "app/odd_values.hpp"

#include "analysis/contradictions.hpp"
#include "base/decimal.hpp"
#include "base/figure.hpp"
#include "domain/amount.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

namespace shaftlog {

namespace {

// Bounds of what is asked about, none of what is refused (common practice, no source).
constexpr double kPart = 1.0 / 3;        // of the room: less is a slip more often than a topping up
constexpr double kLeastRoom = 0.05;      // of the reservoir: in less room every part is small
constexpr double kNextToNothing = 0.01;  // of the reservoir, where the room is not known
constexpr double kOverReservoir = 1.05;  // beyond it the capacity contradicts, which is told by itself
constexpr double kNearFit = 1.25;        // of the room: what another unit must come to
constexpr double kLevelSd_pct = 2.0;     // of a reading, while the records do not tell
constexpr double kLevelZ = 3.5;
constexpr double kFarBelow_pct = 10;       // beside the interval itself
constexpr double kRunaway = 10;            // times the usual count per day
constexpr double kSampleFactor = 5;        // from one sample to the next
constexpr std::size_t kSamplesBefore = 3;  // one of them near is enough

std::string figure(double x) { return plain_figure(x, 4); }

class OddValues {
 public:
  OddValues(const VesselLog& before, const VesselDigest& d, const Entry& draft)
      : log_{before}, digest_{d}, draft_{draft}, at_{draft.head.at.utc}, zone_{zone_of(before)} {}

  std::vector<std::string> run(const std::optional<Estimate>& expected) {
    switch (draft_.kind) {
      case Kind::refill:
        refill(std::get<Refill>(draft_.detail), expected);
        break;
      case Kind::level:
        level(in_pct(std::get<LevelReading>(draft_.detail).level));
        break;
      case Kind::cycles:
        counter(std::get<Cycles>(draft_.detail));
        break;
      case Kind::inspection:
        samples(std::get<Inspection>(draft_.detail));
        break;
      default:
        break;
    }
    return std::move(out_);
  }

 private:
  [[nodiscard]] std::string day(Instant t) const { return format_day(t, zone_); }

  [[nodiscard]] const LubricatorSetting* setting() const {
    for (const Lubricator& l : log_.lubricators)
      if (l.id == draft_.lubricator) return setting_at(l.settings, at_);
    return nullptr;
  }

  // --- refills ---

  /// What the digits come to in another unit, or ten times as much or as little, where that would fit: the unit in
  /// which this ship wrote last before any other.
  [[nodiscard]] std::string what_would_fit(const Refill& r, const LubricatorSetting& set, double low,
                                           double high) const {
    const auto typed = parse_decimal(r.amount->typed);
    if (!typed || typed->value() <= 0) return "";
    const double digits = typed->value();
    Conversion with;
    with.reservoir = set.reservoir;
    const std::optional<GreaseId> grease = r.grease.is_set() ? std::optional{r.grease} : set.grease;
    for (const Grease& g : log_.greases)
      if (grease == g.id) with.density = g.density;
    std::optional<Unit> last;
    for (const Logged<Refill>& x : log_.refills)
      if (x.lubricator == draft_.lubricator && x.at < at_ && x.what.amount) last = x.what.amount->unit;
    std::string best;
    double best_rank = 1e300;
    const auto weigh = [&](double number, Unit unit, bool is_usual) {
      const auto nano = nano_cm3_per_unit(unit, with);
      if (!nano) return;
      const double cm3 = number * static_cast<double>(*nano) * 1e-9;
      if (cm3 < low / kNearFit || cm3 > high * kNearFit || cm3 > kOverReservoir * in_cm3(set.reservoir)) return;
      const double rank = std::abs(std::log(cm3 / std::max(1.0, (low + high) / 2))) + (is_usual ? 0 : 1);
      if (rank >= best_rank) return;
      best_rank = rank;
      best = fmt::format("{} {}", figure(number), unit == Unit::pct ? "%" : name_of(unit));
    };
    for (const Unit unit : {Unit::kg, Unit::l, Unit::g, Unit::cm3, Unit::lb, Unit::oz})
      if (unit != r.amount->unit) weigh(digits, unit, unit == last);
    for (const double factor : {10.0, 0.1, 100.0, 0.01}) weigh(digits * factor, r.amount->unit, r.amount->unit == last);
    return best.empty() ? "" : best + " would fit";
  }

  void refill(const Refill& r, const std::optional<Estimate>& room) {
    const LubricatorSetting* set = setting();
    if (set == nullptr || !r.amount || !r.amount->volume) return;
    const double full = in_cm3(set->reservoir), poured = in_cm3(*r.amount->volume);
    if (full <= 0 || poured <= 0) return;
    const double low = room ? room->low : full / 4, high = room ? room->high : full;
    const std::string fits = what_would_fit(r, *set, low, high), and_fits = fits.empty() ? "" : "; " + fits;
    if (poured > kOverReservoir * full) {  // that it cannot is told by itself
      if (!fits.empty()) out_.push_back(fits);
      return;
    }
    const bool is_cm3 = r.amount->unit == Unit::cm3 || r.amount->unit == Unit::ml;
    const std::string amount =
        is_cm3 ? figure(poured) + " cm3"
               : fmt::format("{} {} ({} cm3)", r.amount->typed,
                             r.amount->unit == Unit::pct ? "%" : name_of(r.amount->unit), figure(poured));
    if (!room) {
      if (poured < kNextToNothing * full)
        out_.push_back(fmt::format("{} is next to nothing in a reservoir of {} cm3{}: is the unit right?", amount,
                                   figure(full), and_fits));
      return;
    }
    const double slack = std::max(room->high - room->value, kLeastRoom * full);
    if (low > kLeastRoom * full && poured < kPart * low)
      out_.push_back(fmt::format("{} where {:.0f} to {:.0f} cm3 fit{}; to top up a part is all right", amount, low,
                                 high, and_fits));
    else if (poured > std::max(high + slack, kNearFit * high))
      out_.push_back(
          fmt::format("{} where there should be room for {:.0f} to {:.0f} cm3{}", amount, low, high, and_fits));
  }

  // --- levels ---

  void level(double pct) {
    const LubricatorSetting* set = setting();
    if (set == nullptr || in_cm3(set->reservoir) <= 0) return;
    std::optional<Estimate> expected;
    double sd_pct = kLevelSd_pct;
    if (const auto balance = digest_.delivery.find(draft_.lubricator); balance != digest_.delivery.end()) {
      expected = balance->second.level_pct;
      if (balance->second.level_sd_pct > 0) sd_pct = balance->second.level_sd_pct;
    }
    std::optional<Instant> read_at;
    double read_pct = 0;
    const auto mark = [&](Instant at, const std::optional<Level>& l, LubricatorId of) {
      if (of != draft_.lubricator || !l || at >= at_ || (read_at && at < *read_at)) return;
      read_at = at;
      read_pct = in_pct(*l);
    };
    for (const Logged<LevelReading>& l : log_.levels) mark(l.at, l.what.level, l.lubricator);
    for (const Logged<Refill>& r : log_.refills) mark(r.at, r.what.after, r.lubricator);
    if (read_at) {
      double poured_cm3 = 0;
      bool is_refilled = false, is_known = true;
      for (const Logged<Refill>& r : log_.refills) {
        // What is dated to a day may have been poured on either side of a reading of that day.
        const double open_h = r.precision == Precision::day || draft_.head.at.precision == Precision::day ? 24 : 0;
        const bool is_mark = r.at == *read_at && r.what.after;
        if (r.lubricator != draft_.lubricator || is_mark || hours_between(*read_at, r.at) < -open_h ||
            hours_between(r.at, at_) < -open_h)
          continue;
        is_refilled = true;
        if (r.what.amount && r.what.amount->volume)
          poured_cm3 += in_cm3(*r.what.amount->volume);
        else
          is_known = false;
      }
      const double most_pct = read_pct + 100 * poured_cm3 / in_cm3(set->reservoir);
      if (is_known && pct > most_pct + kLevelZ * std::sqrt(2.0) * sd_pct) {
        const std::string since =
            is_refilled ? fmt::format("{} cm3 poured since", figure(poured_cm3)) : "no refill is recorded since";
        const std::string due = expected ? fmt::format(", {} % to be expected", plain_figure(expected->value, 2)) : "";
        out_.push_back(fmt::format("{} % after {} % on {}, {}{}: is a refill missing in the log?", figure(pct),
                                   figure(read_pct), day(*read_at), since, due));
        return;
      }
    }
    if (expected && pct < expected->low - std::max(expected->value - expected->low, kFarBelow_pct))
      out_.push_back(fmt::format("{} % is far below the {} to {} % to be expected", figure(pct),
                                 plain_figure(expected->low, 2), plain_figure(expected->high, 2)));
  }

  // --- counters ---

  void counter(const Cycles& c) {
    if (c.is_new_counter) return;
    const Logged<Cycles>* first = nullptr;
    const Logged<Cycles>* last = nullptr;
    for (const Logged<Cycles>& x : log_.cycles) {
      if (x.lubricator != draft_.lubricator || x.at >= at_) continue;
      if (first == nullptr || x.what.is_new_counter || x.what.count < last->what.count) first = &x;
      last = &x;
    }
    if (last == nullptr) return;
    if (c.count < last->what.count) {
      out_.push_back(
          fmt::format("{} is less than {} on {}: was the counter reset or replaced? then mark it as new (counter new)",
                      c.count, last->what.count, day(last->at)));
      return;
    }
    constexpr double kLeast_d = 7;  // over less the usual pace is not known
    const double days = days_between(first->at, last->at);
    if (days < kLeast_d || last->what.count <= first->what.count) return;
    const double per_day = static_cast<double>(last->what.count - first->what.count) / days;
    const double usual = per_day * std::max(1.0, days_between(last->at, at_));
    const auto run = static_cast<double>(c.count - last->what.count);
    if (run > kRunaway * usual)
      out_.push_back(fmt::format("{} is {:.0f} more than on {}, where about {} were to be expected", c.count, run,
                                 day(last->at), plain_figure(usual, 2)));
  }

  // --- samples ---

  struct Sampled {
    std::string_view unit, of;
    double least;  ///< below it one sample may be any multiple of another
    double most;   ///< above it nothing that still turns was ever measured
  };

  template <class Get>
  void sample(const Sampled& s, double value, const Get& get) {
    std::vector<std::pair<Instant, double>> before;
    for (const Logged<Inspection>& x : log_.inspections)
      if (const auto v = get(x.what); v && x.shaft == draft_.shaft && x.at < at_) before.emplace_back(x.at, *v);
    if (before.size() > kSamplesBefore)
      before.erase(before.begin(), before.end() - static_cast<std::ptrdiff_t>(kSamplesBefore));
    const bool is_far = !before.empty() && std::none_of(before.begin(), before.end(), [&](const auto& b) {
      const double more = std::max({value, b.second, s.least}), less = std::max(std::min(value, b.second), s.least);
      return more < kSampleFactor * less;
    });
    // Work on the bearing or its seal may have changed it for the better.
    const bool is_mended = is_far && value < before.back().second &&
                           std::any_of(log_.work.begin(), log_.work.end(), [&](const Logged<Work>& w) {
                             return (w.shaft == draft_.shaft || !w.shaft.is_set()) && w.at > before.back().first;
                           });
    if (is_far && !is_mended)
      out_.push_back(fmt::format("{} {} {} is far from the last, {} {} on {}", figure(value), s.unit, s.of,
                                 figure(before.back().second), s.unit, day(before.back().first)));
    else if (value > s.most)
      out_.push_back(fmt::format("{} {} {} is hardly possible", figure(value), s.unit, s.of));
  }

  void samples(const Inspection& i) {
    const auto scaled = [](const std::optional<std::int64_t>& base, double per) {
      return base ? std::optional{static_cast<double>(*base) / per} : std::nullopt;
    };
    const auto water = [&](const Inspection& x) { return scaled(x.water_ppm, 1e4); };
    const auto iron = [&](const Inspection& x) { return scaled(x.iron_ppm_milli, 1e3); };
    const auto clearance = [&](const Inspection& x) { return scaled(x.clearance_um, 1e3); };
    if (const auto v = water(i)) sample({"%", "water", 0.3, 50}, *v, water);
    if (const auto v = iron(i)) sample({"ppm", "iron", 20, 50'000}, *v, iron);
    if (const auto v = clearance(i)) sample({"mm", "clearance", 0.1, 25}, *v, clearance);
  }

  const VesselLog& log_;
  const VesselDigest& digest_;
  const Entry& draft_;
  Instant at_;
  Zone zone_;
  std::vector<std::string> out_;
};

}  // namespace

std::vector<std::string> odd_values(const VesselLog& before, const VesselDigest& d, const Entry& draft,
                                    const std::optional<Estimate>& expected) {
  return OddValues{before, d, draft}.run(expected);
}

}  // namespace shaftlog
