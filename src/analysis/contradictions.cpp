#include "analysis/contradictions.hpp"

#include "base/error.hpp"
#include "base/figure.hpp"

#include <algorithm>
#include <cmath>
#include <map>
#include <numeric>
#include <set>
#include <string>
#include <tuple>

#include <fmt/format.h>

namespace shaftlog {
namespace {

constexpr double kMinutes_h = 0.75;  // "within minutes": tablets' clocks and memory differ by so much
constexpr double kSame = 0.02;       // amounts this near are the same, written in two units
// Standard deviation of one level reading: of a scale, and in steps of it where it is read by eye (common practice, no
// source: 5 to 10 % of full at two standard deviations).
constexpr double kLevelSd_pct = 2.0, kEyeSdPerStep = 0.6;
constexpr double kMeasureSd = 0.03;    // of an amount poured
constexpr double kLevelZ = 3.5;        // standard deviations beyond which levels and amount contradict
constexpr double kFillSlack_cm3 = 25;  // repeatability of "full"

std::optional<double> amount_cm3(const std::optional<Amount>& a) {
  if (!a || !a->volume) return std::nullopt;
  return in_cm3(*a->volume);
}

bool is_same(double a, double b) { return std::abs(a - b) <= kSame * std::max(std::abs(a), std::abs(b)); }

template <class What>
bool is_other_hand(const Logged<What>& a, const Logged<What>& b) {
  return a.by != b.by || a.origin != b.origin;
}

template <class What>
double hours_recorded_apart(const Logged<What>& a, const Logged<What>& b) {
  return std::abs(hours_between(a.recorded_at, b.recorded_at));
}

class Finder {
 public:
  Finder(const VesselLog& log, Instant as_of) : log_{log}, as_of_{as_of}, zone_{zone_of(log)} {}

  std::vector<Suspect> run() {
    duplicate_greasings();
    duplicate_refills();
    duplicate_alarms();
    future_dates();
    amounts_beyond();
    refill_levels();
    levels_around_refills();
    cleared_before_raised();
    wrong_years();
    std::sort(out_.begin(), out_.end(), [](const Suspect& a, const Suspect& b) {
      return std::tie(a.at, a.record, a.kind) < std::tie(b.at, b.record, b.kind);
    });
    return std::move(out_);
  }

 private:
  [[nodiscard]] std::string time(Instant t, Precision p) const { return format_local(stamp_at(t, zone_, p)); }

  void add(SuspectKind kind, Uuid record, std::vector<Uuid> against, Instant at, Instant seen_at, double strength,
           std::string says) {
    out_.push_back({kind, record, std::move(against), at, seen_at, std::move(says), std::min(strength, 40.0)});
  }

  template <class What>
  [[nodiscard]] bool is_same_day(const Logged<What>& a, const Logged<What>& b) const {
    return format_day(a.at, zone_) == format_day(b.at, zone_);
  }

  // The one recorded later is the duplicate.
  template <class What>
  void add_duplicate(const Logged<What>& a, const Logged<What>& b, std::string_view what, double strength) {
    const bool a_first = std::tie(a.recorded_at, a.at, a.id) < std::tie(b.recorded_at, b.at, b.id);
    const Logged<What>& first = a_first ? a : b;
    const Logged<What>& later = a_first ? b : a;
    if (!is_taken_.insert(later.id).second) return;
    std::string who;
    if (a.by != b.by && a.by != 0 && b.by != 0) who = ", by two persons";
    add(SuspectKind::duplicate, later.id, {first.id}, later.at, std::max(a.at, b.at), strength,
        fmt::format("{} is recorded twice, at {} and at {}{}: suspected duplicate, counted once", what,
                    time(first.at, first.precision), time(later.at, later.precision), who));
  }

  void duplicate_greasings() {
    const auto& all = log_.greasings;
    for (std::size_t i = 0; i < all.size(); ++i) {
      const auto y = amount_cm3(all[i].what.amount);
      if (all[i].at > as_of_ || !y || *y <= 0 || is_taken_.contains(all[i].id)) continue;
      for (std::size_t j = i + 1; j < all.size() && hours_between(all[i].at, all[j].at) <= 24; ++j) {
        const auto& a = all[i];
        const auto& b = all[j];
        const auto z = amount_cm3(b.what.amount);
        if (b.at > as_of_ || a.shaft != b.shaft || !z || !is_same(*y, *z)) continue;
        if (a.what.ended == Ended::not_done || b.what.ended == Ended::not_done) continue;
        // A cavity that was left full cannot take the same amount again at once; one broken off can.
        const bool cannot_repeat =
            (a.what.ended == Ended::pressure || a.what.ended == Ended::packed) && *y > kFillSlack_cm3;
        const bool is_day = a.precision == Precision::day || b.precision == Precision::day;
        const bool near = hours_between(a.at, b.at) <= kMinutes_h;
        double strength = 0;
        if (near && !is_day) {
          if (is_other_hand(a, b)) strength += 3;
          if (hours_recorded_apart(a, b) > 1) strength += 1;
          if (cannot_repeat) strength += 3;
        } else if (is_same_day(a, b) && is_other_hand(a, b) && (cannot_repeat || is_day)) {
          strength = 2.5 + (is_day ? 0.5 : 0.0);
        } else if (is_day && is_same_day(a, b) && cannot_repeat) {
          strength = 2.5;
        }
        if (strength >= 2.5) add_duplicate(a, b, fmt::format("a greasing with {} cm3", plain_figure(*y, 4)), strength);
      }
    }
  }

  void duplicate_refills() {
    const auto& all = log_.refills;
    for (std::size_t i = 0; i < all.size(); ++i) {
      if (all[i].at > as_of_ || is_taken_.contains(all[i].id)) continue;
      for (std::size_t j = i + 1; j < all.size() && hours_between(all[i].at, all[j].at) <= 24; ++j) {
        const auto& a = all[i];
        const auto& b = all[j];
        if (b.at > as_of_ || a.lubricator != b.lubricator) continue;
        const auto y = amount_cm3(a.what.amount), z = amount_cm3(b.what.amount);
        if (y.has_value() != z.has_value() || (y && !is_same(*y, *z))) continue;
        const bool both_levels = a.what.before && a.what.after && b.what.before && b.what.after;
        if (!y && !both_levels) continue;
        const bool same_levels = a.what.before == b.what.before && a.what.after == b.what.after;
        if (!same_levels && (a.what.before || a.what.after) && (b.what.before || b.what.after)) {
          continue;  // the second pail was poured onto the first: levels differ
        }
        // The same levels twice mean one pouring: the level would have risen in between.
        double strength = 0;
        if (both_levels && same_levels && in_pct(*a.what.after) - in_pct(*a.what.before) > 4) strength += 4;
        const bool is_day = a.precision == Precision::day || b.precision == Precision::day;
        const bool near = hours_between(a.at, b.at) <= kMinutes_h && !is_day;
        // Pails are of equal size: one person pouring two in a row is ordinary, unless two do not fit.
        if (const auto full = reservoir_cm3(a.lubricator, a.at); full && y && 2 * *y > kOverReservoir * *full)
          strength += 3;
        if (near && is_other_hand(a, b)) strength += hours_recorded_apart(a, b) > 1 ? 3.5 : 2.0;
        if (!near && is_same_day(a, b) && is_other_hand(a, b)) strength += is_day ? 2.0 : 1.0;
        if (near || is_same_day(a, b)) {
          if (strength >= 2.5) {
            add_duplicate(
                a, b,
                y ? fmt::format("a refill of {} cm3", plain_figure(*y, 4)) : std::string{"a refill to the same levels"},
                strength);
          }
        }
      }
    }
  }

  void duplicate_alarms() {
    const auto& all = log_.alarms;
    for (std::size_t i = 0; i < all.size(); ++i) {
      for (std::size_t j = i + 1; j < all.size() && all[j].at == all[i].at && all[i].at <= as_of_; ++j) {
        const auto& a = all[i];
        const auto& b = all[j];
        if (a.lubricator != b.lubricator || a.shaft != b.shaft || a.what.alarm != b.what.alarm) continue;
        const bool same_end = a.what.cleared.has_value() == b.what.cleared.has_value() &&
                              (!a.what.cleared || a.what.cleared->utc == b.what.cleared->utc);
        if (same_end && is_other_hand(a, b)) {
          add_duplicate(a, b, fmt::format("the alarm {}", name_of(a.what.alarm)), 4);
        }
      }
    }
  }

  void future_dates() {
    std::set<Uuid> told;
    const auto tell = [&](Uuid id, Instant at, Instant recorded_at) {
      if (!told.insert(id).second) return;
      const double days = days_between(recorded_at, at);
      add(SuspectKind::future_date, id, {}, at, recorded_at, 3 + std::min(days, 30.0) / 5,
          fmt::format("dated {}, {:.0f} days after it was recorded on {}", format_day(at, zone_), days,
                      format_day(recorded_at, zone_)));
    };
    for (const FutureRecord& r : log_.future) {
      // A record for later today may be the clock; nothing is said within a day.
      if (days_between(r.recorded_at, r.at) > 1) tell(r.id, r.at, r.recorded_at);
    }
    each([&](const auto& r) {
      if (days_between(r.recorded_at, r.at) > 1) tell(r.id, r.at, r.recorded_at);
    });
  }

  void amounts_beyond() {
    for (const auto& g : log_.greasings) {
      const auto y = amount_cm3(g.what.amount);
      const auto cavity = cavity_cm3(g.shaft, g.at);
      if (g.at > as_of_ || !y || !cavity || *cavity <= 0 || *y <= kOverCavity * *cavity) continue;
      // Old grease was pushed out on purpose: then more than a filling goes in.
      const bool is_purge = std::any_of(log_.work.begin(), log_.work.end(), [&](const Logged<Work>& w) {
        return w.shaft == g.shaft && w.what.work == WorkKind::purged && std::abs(hours_between(w.at, g.at)) <= 36;
      });
      if (is_purge) continue;
      add(SuspectKind::amount_beyond_capacity, g.id, {}, g.at, g.at, 2 + 4 * std::log(*y / *cavity),
          fmt::format("{} cm3 into a cavity of {} cm3: more than it can hold; ask for unit, shaft and how it ended",
                      plain_figure(*y, 4), plain_figure(*cavity, 4)));
    }
    for (const auto& r : log_.refills) {
      const auto y = amount_cm3(r.what.amount);
      const auto full = reservoir_cm3(r.lubricator, r.at);
      if (r.at > as_of_ || !y || !full || *full <= 0 || *y <= kOverReservoir * *full) continue;
      add(SuspectKind::amount_beyond_capacity, r.id, {}, r.at, r.at, 2 + 4 * std::log(*y / *full),
          fmt::format("{} cm3 poured into a reservoir of {} cm3: more than it can hold", plain_figure(*y, 4),
                      plain_figure(*full, 4)));
    }
  }

  /// All levels of a lubricator in whole fives or tens were read by eye.
  [[nodiscard]] double level_sd_pct(LubricatorId id) const {
    std::int64_t step = 0;
    int n = 0;
    const auto look = [&](const std::optional<Level>& level) {
      if (!level) return;
      step = std::gcd(step, level->base());
      ++n;
    };
    for (const auto& r : log_.levels) {
      if (r.lubricator == id) look(r.what.level);
    }
    for (const auto& r : log_.refills) {
      if (r.lubricator != id) continue;
      look(r.what.before);
      look(r.what.after);
    }
    const double step_pct = static_cast<double>(std::min<std::int64_t>(step, 1000)) / 100;
    return n >= 4 && step_pct >= 5 ? std::hypot(kLevelSd_pct, kEyeSdPerStep * step_pct) : kLevelSd_pct;
  }

  void refill_levels() {
    std::map<LubricatorId, double> level_sds;
    for (const Lubricator& l : log_.lubricators) level_sds[l.id] = level_sd_pct(l.id);
    for (const auto& r : log_.refills) {
      if (r.at > as_of_) continue;
      const auto full = reservoir_cm3(r.lubricator, r.at);
      const auto y = amount_cm3(r.what.amount);
      const double level_sd = level_sds[r.lubricator];
      const auto say = [&](double z, std::string text) {
        add(SuspectKind::level_contradiction, r.id, {}, r.at, r.at, 0.5 * z * z - 4, std::move(text));
      };
      if (r.what.before && r.what.after) {
        const double rise = in_pct(*r.what.after) - in_pct(*r.what.before);
        const double sd_pct = std::sqrt(2.0) * level_sd;
        if (rise < -kLevelZ * sd_pct / 2 && (!y || *y > 0)) {
          say(kLevelZ - rise / sd_pct,
              fmt::format("the level is {} % before and {} % after the refill: it fell; exchanged?",
                          plain_figure(in_pct(*r.what.before), 4), plain_figure(in_pct(*r.what.after), 4)));
          continue;
        }
        if (!y || !full || *full <= 0 || *y > kOverReservoir * *full) continue;
        const double by_level = rise / 100 * *full;
        const double z = std::abs(by_level - *y) / std::hypot(sd_pct / 100 * *full, kMeasureSd * *y);
        if (z > kLevelZ) {
          say(z, fmt::format("{} cm3 poured, but the level rose from {} to {} %, which is {} cm3", plain_figure(*y, 4),
                             plain_figure(in_pct(*r.what.before), 4), plain_figure(in_pct(*r.what.after), 4),
                             plain_figure(by_level, 4)));
        }
      } else if (r.what.before && y && full && *full > 0 && *y <= kOverReservoir * *full) {
        const double room = (1 - in_pct(*r.what.before) / 100) * *full;
        const double z = (*y - room) / std::hypot(level_sd / 100 * *full, kMeasureSd * *y);
        if (z > kLevelZ) {
          say(z, fmt::format("{} cm3 poured into a reservoir that stood at {} % and had room for {} cm3",
                             plain_figure(*y, 4), plain_figure(in_pct(*r.what.before), 4), plain_figure(room, 4)));
        }
      }
    }
  }

  // Consumption only lowers a level: what it rose by over a refill, and no other, was poured at least.
  void levels_around_refills() {
    struct Mark {
      Instant at{};
      double pct = 0;
      bool is_day = false;
      Uuid id;
    };
    constexpr double kFarLess = 1.0 / 3;  // a slip of the unit or of a digit; less than that has other reasons
    for (const Lubricator& l : log_.lubricators) {
      std::vector<Mark> marks;
      for (const auto& r : log_.levels)
        if (r.lubricator == l.id && r.at <= as_of_)
          marks.push_back({r.at, in_pct(r.what.level), r.precision == Precision::day, r.id});
      std::vector<const Logged<Refill>*> refills;
      for (const auto& r : log_.refills)
        if (r.lubricator == l.id && r.at <= as_of_) refills.push_back(&r);
      const double level_sd = level_sd_pct(l.id);
      for (const Logged<Refill>* r : refills) {
        const auto y = amount_cm3(r->what.amount);
        const auto full = reservoir_cm3(l.id, r->at);
        if (!y || !full || *full <= 0 || r->what.before || is_taken_.contains(r->id)) continue;
        // What is dated to a day may belong on either side of a reading of that day.
        const auto apart_h = [&](bool is_day) { return is_day || r->precision == Precision::day ? 24.0 : 0.0; };
        const auto here = std::partition_point(marks.begin(), marks.end(), [&](const Mark& m) { return m.at < r->at; });
        const auto next = std::partition_point(here, marks.end(), [&](const Mark& m) { return m.at <= r->at; });
        const Mark* before = here == marks.begin() ? nullptr : &*std::prev(here);
        const Mark* after = next == marks.end() ? nullptr : &*next;
        if (before == nullptr || hours_between(before->at, r->at) < apart_h(before->is_day)) continue;
        Mark to;
        if (r->what.after)
          to = {r->at, in_pct(*r->what.after), false, r->id};
        else if (after != nullptr && hours_between(r->at, after->at) >= apart_h(after->is_day))
          to = *after;
        else
          continue;
        const bool is_only = std::none_of(refills.begin(), refills.end(), [&](const Logged<Refill>* x) {
          return x != r && hours_between(before->at, x->at) > -24 && hours_between(x->at, to.at) > -24;
        });
        const double rise = (to.pct - before->pct) / 100 * *full;
        const double z = (rise - *y) / std::hypot(std::sqrt(2.0) * level_sd / 100 * *full, kMeasureSd * *y);
        if (!is_only || *y >= kFarLess * rise || z <= kLevelZ) continue;
        add(SuspectKind::level_contradiction, r->id,
            to.id == r->id ? std::vector<Uuid>{before->id} : std::vector<Uuid>{before->id, to.id}, r->at, to.at,
            0.5 * z * z - 4,
            fmt::format("{} cm3 poured, but the level rose from {} % on {} to {} % on {}, which is {} cm3 at least",
                        plain_figure(*y, 4), plain_figure(before->pct, 4), format_day(before->at, zone_),
                        plain_figure(to.pct, 4), format_day(to.at, zone_), plain_figure(rise, 4)));
      }
    }
  }

  void cleared_before_raised() {
    for (const auto& a : log_.alarms) {
      if (a.at > as_of_ || !a.what.cleared) continue;
      const double slack_h =
          a.precision == Precision::day || a.what.cleared->precision == Precision::day ? 24.0 : 2.0 / 60;
      const double early_h = hours_between(a.what.cleared->utc, a.at);
      if (early_h <= slack_h) continue;
      add(SuspectKind::cleared_before_raised, a.id, {}, a.at, a.at, 6,
          fmt::format("the alarm {} was cleared at {}, {} h before it was raised at {}", name_of(a.what.alarm),
                      time(a.what.cleared->utc, a.what.cleared->precision), plain_figure(early_h, 4),
                      time(a.at, a.precision)));
    }
  }

  // A record dated about a year before it was recorded on a ship that records promptly.
  void wrong_years() {
    struct Row {
      Instant recorded_at{}, at{};
      Uuid id;
    };
    std::vector<Row> rows;
    each([&](const auto& r) { rows.push_back({r.recorded_at, r.at, r.id}); });
    if (rows.size() < 12) return;
    std::sort(rows.begin(), rows.end(), [](const Row& a, const Row& b) {
      return std::tie(a.recorded_at, a.at, a.id) < std::tie(b.recorded_at, b.at, b.id);
    });
    constexpr std::size_t kReach = 6;
    for (std::size_t i = 0; i < rows.size(); ++i) {
      const double delay = days_between(rows[i].at, rows[i].recorded_at);
      const double years = std::round(delay / 365.25);
      if (years < 1 || years > 2 || std::abs(delay - 365.25 * years) > 14) continue;
      int prompt = 0, seen = 0;
      std::vector<Uuid> against;
      const std::size_t from = i < kReach ? 0 : i - kReach;
      for (std::size_t j = from; j < std::min(rows.size(), i + kReach + 1); ++j) {
        if (j == i) continue;
        ++seen;
        if (days_between(rows[j].at, rows[j].recorded_at) < 30) {
          ++prompt;
          if (against.size() < 2) against.push_back(rows[j].id);
        }
      }
      if (prompt * 5 < seen * 4) continue;
      add(SuspectKind::date_slip, rows[i].id, against, rows[i].at, rows[i].recorded_at, 3,
          fmt::format("dated {} and recorded on {}, {:.0f} days later, while the records around it were written within "
                      "days: the year is probably wrong",
                      format_day(rows[i].at, zone_), format_day(rows[i].recorded_at, zone_), delay));
    }
  }

  template <class Do>
  void each(Do&& action) const {
    const auto all = [&](const auto& records) {
      for (const auto& r : records) {
        if (r.at <= as_of_) action(r);
      }
    };
    all(log_.hours);
    all(log_.cycles);
    all(log_.levels);
    all(log_.refills);
    all(log_.greasings);
    all(log_.alarms);
    all(log_.work);
    all(log_.inspections);
  }

  [[nodiscard]] std::optional<double> cavity_cm3(ShaftId id, Instant t) const {
    for (const Shaft& s : log_.shafts) {
      if (s.id != id) continue;
      const ShaftSetting* set = setting_at(s.settings, t);
      if (set != nullptr && set->cavity) return in_cm3(*set->cavity);
    }
    return std::nullopt;
  }
  [[nodiscard]] std::optional<double> reservoir_cm3(LubricatorId id, Instant t) const {
    for (const Lubricator& l : log_.lubricators) {
      if (l.id != id) continue;
      if (const LubricatorSetting* set = setting_at(l.settings, t)) return in_cm3(set->reservoir);
    }
    return std::nullopt;
  }

  const VesselLog& log_;
  Instant as_of_;
  Zone zone_;
  std::set<Uuid> is_taken_;  // duplicates told already
  std::vector<Suspect> out_;
};

}  // namespace

Zone zone_of(const VesselLog& log) {
  try {
    return log.vessel.time_zone.empty() ? Zone::utc() : Zone{log.vessel.time_zone};
  } catch (const Error&) {
    return Zone::utc();
  }
}

std::vector<Suspect> find_contradictions(const VesselLog& log, Instant as_of) { return Finder{log, as_of}.run(); }

std::vector<Uuid> uncounted(const std::vector<Suspect>& suspects) {
  std::vector<Uuid> out;
  for (const Suspect& s : suspects) {
    if (s.kind == SuspectKind::duplicate || s.kind == SuspectKind::future_date) out.push_back(s.record);
  }
  std::sort(out.begin(), out.end());
  out.erase(std::unique(out.begin(), out.end()), out.end());
  return out;
}

}  // namespace shaftlog
