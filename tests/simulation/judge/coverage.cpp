#include "simulation/world/dice.hpp"
#include "tables.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

namespace shaftlog::judge {

using world::Fault;
using world::FaultKind;
using world::LubricatorTruth;
using world::MadeVessel;
using world::ShaftTruth;
using world::Slip;
using world::SlipKind;
using world::Truth;

namespace {

/// How often intervals of one sort held the truth.
struct Held {
  int asked = 0, stated = 0, held = 0, below = 0, above = 0;  // truth below or above the interval
  double width = 0;
  void note(const std::optional<Estimate>& e, double truth, double scale) {
    ++asked;
    if (!e) return;
    ++stated;
    if (truth < e->low) {
      ++below;
    } else if (truth > e->high) {
      ++above;
    } else {
      ++held;
    }
    width += (e->high - e->low) / std::max(scale, 1e-9);
  }
};

class Cover {
 public:
  void note(const std::string& row, const std::optional<Estimate>& e, double truth, double scale) {
    if (rows_.find(row) == rows_.end()) order_.push_back(row);
    rows_[row].note(e, truth, scale);
  }
  /// Also among all of its kind, sound or not: who reads an interval does not know which it is.
  void note(const std::string& what, const std::string& sort, const std::string& how, const std::optional<Estimate>& e,
            double truth, double scale) {
    note(what + ", " + sort + how, e, truth, scale);
    note(what + " of all" + how, e, truth, scale);
  }
  [[nodiscard]] std::string text(std::string* csv) const {
    std::string out = fmt::format("{:<72}{:>7}{:>8}{:>8}{:>9}{:>9}{:>9}\n", "interval", "asked", "stated", "holds",
                                  "truth <", "truth >", "width");
    std::vector<std::string> rows = order_;
    std::sort(rows.begin(), rows.end());
    for (const std::string& row : rows) {
      const Held& h = rows_.at(row);
      const double n = std::max(1, h.stated);
      out += fmt::format("{:<72}{:>7}{:>8}{:>7.1f}%{:>8.1f}%{:>8.1f}%{:>9.2f}\n", row, h.asked, h.stated,
                         100 * h.held / n, 100 * h.below / n, 100 * h.above / n, h.width / n);
      put_csv(csv, "coverage", row, "stated", h.stated);
      put_csv(csv, "coverage", row, "holds_pct", 100 * h.held / n);
      put_csv(csv, "coverage", row, "truth_below_pct", 100 * h.below / n);
      put_csv(csv, "coverage", row, "truth_above_pct", 100 * h.above / n);
      put_csv(csv, "coverage", row, "mean_width", h.width / n);
    }
    return out;
  }

 private:
  std::map<std::string, Held> rows_;
  std::vector<std::string> order_;
};

const Fault* fault_now(const MadeVessel& v, Instant t, const std::function<bool(const Fault&)>& fits) {
  for (const Fault& f : v.truth.faults) {
    if (t >= f.onset && t < f.end && fits(f)) return &f;
  }
  return nullptr;
}

bool gun_was_changed(const MadeVessel& v, Instant t) {
  return std::any_of(v.truth.slips.begin(), v.truth.slips.end(),
                     [&](const Slip& s) { return s.kind == SlipKind::gun_changed && t >= s.at; });
}

double missing_if_left_alone(const MadeVessel& v, const ShaftTruth& s, Instant from, Instant to) {
  const Truth& t = v.truth;
  double x = t.at(s.missing, from);
  for (Instant a = from; a < to; a += std::chrono::days{1}) {  // a day at a time: it may run full or empty between
    const Instant b = std::min(a + std::chrono::days{1}, to);
    const double least = std::min(x, 0.0);
    x += t.at(s.demand, b) - t.at(s.demand, a) - (t.at(s.delivered, b) - t.at(s.delivered, a));
    x = std::clamp(x, least, s.cavity_cm3);
  }
  return x;
}

// Whether the shaft took grease since the last greasing in the log that nobody had written down by `at`.
bool has_unwritten_greasing(const MadeVessel& v, const ShaftTruth& s, Instant at) {
  constexpr double kNotable = 0.05;  // of the cavity
  Instant from = v.truth.first;
  for (const Logged<Greasing>& g : v.log.greasings) {
    if (g.shaft == s.shaft && g.at <= at && g.recorded_at <= at) from = std::max(from, g.at);
  }
  // The day of the greasing itself is left out.
  from = std::min<Instant>(at, std::chrono::ceil<std::chrono::days>(from) + std::chrono::days{1});
  return missing_if_left_alone(v, s, from, at) - v.truth.at(s.missing, at) > kNotable * s.cavity_cm3;
}

// Whether the shaft took grease on some day of the past of which the log has no greasing at all.
bool has_lost_greasing(const MadeVessel& v, const ShaftTruth& s, Instant from, Instant to) {
  constexpr double kNotable = 0.05;  // of the cavity
  const std::chrono::hours about{36};
  for (Instant a = from; a + std::chrono::days{1} <= to; a += std::chrono::days{1}) {
    const Instant b = a + std::chrono::days{1};
    if (missing_if_left_alone(v, s, a, b) - v.truth.at(s.missing, b) <= kNotable * s.cavity_cm3) continue;
    const bool is_written = std::any_of(v.log.greasings.begin(), v.log.greasings.end(), [&](const auto& g) {
      return g.shaft == s.shaft && g.at >= a - about && g.at <= b + about && g.recorded_at <= to;
    });
    if (!is_written) return true;
  }
  return false;
}

void note_shaft(Cover& cover, const MadeVessel& v, const ShaftState& state, Instant at, world::Dice& dice) {
  const Truth& t = v.truth;
  const ShaftTruth& s = t.of(state.shaft);
  const Fault* own = fault_now(v, at, [&](const Fault& f) { return is_of_shaft(f.kind) && f.shaft == s.shaft; });
  const Fault* doses = fault_now(v, at, [&](const Fault& f) {
    return s.is_fed && !is_of_shaft(f.kind) && f.kind != FaultKind::alarm_rate && f.kind != FaultKind::line_leak;
  });
  const std::string sort = own != nullptr     ? std::string{world::name_of(own->kind)}
                           : doses != nullptr ? std::string{"doses missing"}
                                              : std::string{"healthy"};
  const std::string how = std::string{s.is_fed ? ", automatic" : ", manual"} +
                          (s.is_greased && has_unwritten_greasing(v, s, at) ? ", one not in the log" : "");
  const bool other_gun = gun_was_changed(v, at);
  if (s.is_greased && !other_gun) {
    // What is lost at rest is told as part of the washout of the hours run (docs/methods/washout.md).
    const Instant since = std::max(t.first, at - std::chrono::days{180});
    const double run = t.at(s.hours, at) - t.at(s.hours, since);
    const double idle = s.idle_cm3_per_day * std::max(0.0, days_between(since, at) - run / 24);
    const double rate = t.at(s.rate, at) + (run > 0 ? idle / run : 0.0);
    cover.note("washout", sort, how, state.washout_cm3_per_h, rate, rate);
    if (v.truth.bias_of(s, at) != 1) {
      cover.note("washout, healthy, by strokes, gun's own scale",
                 own == nullptr && doses == nullptr ? state.washout_cm3_per_h : std::optional<Estimate>{},
                 rate * v.truth.bias_of(s, at), rate);
    }
  }
  if (state.next_greasing.due_at && s.is_greased && !other_gun) {
    const Instant due = std::max(*state.next_greasing.due_at, at);
    if (due <= t.last && due - at < std::chrono::days{400}) {
      const double x = missing_if_left_alone(v, s, at, due);
      const double amount = std::max(0.0, x - s.fill_sd_cm3 * dice.normal()) * v.truth.bias_of(s, due) *
                            std::exp(s.reading_sd * dice.normal());
      cover.note("amount of the next greasing", sort, how, state.next_greasing.expected_cm3, amount, s.cavity_cm3);
    }
  }
  const double fill = 100 * (1 - t.at(s.missing, at) / s.cavity_cm3);
  // A cavity packed beyond its usual fill is full.
  cover.note("cavity fill", sort, how, state.cavity_fill_pct, std::min(fill, 100.0), 100);
  if (state.starved_h) {
    Instant since = t.first;
    for (const Logged<Work>& w : v.log.work) {
      if (w.shaft == s.shaft && w.what.work == WorkKind::bearing_replaced && w.at <= at) since = w.at;
    }
    const double truth = t.at(s.starved_h, at) - t.at(s.starved_h, since);
    cover.note("starved hours" + how + (has_lost_greasing(v, s, since, at) ? ", one was never written" : ""),
               Estimate{state.starved_h->best, state.starved_h->least - 0.5, state.starved_h->most + 0.5}, truth,
               std::max(100.0, truth));
  }
  if (state.hours_to_reserve) {
    double x = t.at(s.missing, at), run = 0;
    const double limit = (1 - s.reserve_share) * s.cavity_cm3;
    bool meets = x > limit;
    for (Instant a = at; !meets && a < t.last; a += std::chrono::days{1}) {
      const Instant b = a + std::chrono::days{1};
      const double least = std::min(x, 0.0);
      x += t.at(s.demand, b) - t.at(s.demand, a) - (t.at(s.delivered, b) - t.at(s.delivered, a));
      x = std::clamp(x, least, s.cavity_cm3);
      meets = x > limit;
      if (!meets) run += t.at(s.hours, b) - t.at(s.hours, a);
    }
    if (meets) cover.note("hours to reserve" + how, state.hours_to_reserve, run, std::max(50.0, run));
  }
}

void note_lubricator(Cover& cover, const MadeVessel& v, const LubricatorState& state, Instant at) {
  const Truth& t = v.truth;
  const LubricatorTruth& l = t.of(state.lubricator);
  const Instant from = at - std::chrono::days{45};
  const auto change = [&](const std::vector<double>& x) { return t.at(x, at) - t.at(x, from); };
  const bool is_steady = std::none_of(t.faults.begin(), t.faults.end(), [&](const Fault& f) {
    return !is_of_shaft(f.kind) && ((f.onset > from && f.onset < at) || (f.end > from && f.end < at));
  });
  const Fault* f =
      fault_now(v, at, [](const Fault& x) { return !is_of_shaft(x.kind) && x.kind != FaultKind::alarm_rate; });
  const std::string sort = f == nullptr ? std::string{"healthy"} : std::string{world::name_of(f->kind)};
  if (is_steady && change(l.due) > 1 && change(l.called) > 10) {
    const double cycles = change(l.cycles) / change(l.called) * change(l.scheduled) / change(l.due);
    double ratio = change(l.left) / change(l.due);
    if (l.has_counter && cycles > 0.02) ratio /= cycles;
    if (!(l.has_counter && cycles <= 0.02)) cover.note("delivery ratio", sort, "", state.delivery_ratio, ratio, 1);
    if (l.has_counter) cover.note("cycle ratio", sort, "", state.cycle_ratio, cycles, 1);
  }
  cover.note("level of the reservoir", state.level_pct, 100 * t.at(l.level, at) / l.reservoir_cm3, 100);
  if (state.next_refill.p10 && state.next_refill.p90) {
    const double low = 0.1 * l.reservoir_cm3;
    double level = t.at(l.level, at);
    Instant meets = at;
    while (level > low && meets < t.last) {
      level -= t.at(l.left, meets + std::chrono::days{1}) - t.at(l.left, meets);
      meets += std::chrono::days{1};
    }
    if (level <= low) {
      const auto days = [&](Instant x) { return days_between(at, x); };
      // No record up to `at` can tell of a fault that comes, or is seen to, on the way.
      const bool is_changed = std::any_of(t.faults.begin(), t.faults.end(), [&](const Fault& x) {
        return x.lubricator == state.lubricator && x.kind != FaultKind::alarm_rate &&
               ((x.onset > at && x.onset < meets) || (x.end > at && x.end < meets));
      });
      cover.note(
          is_changed ? "next refill, p10 to p90 (80 %), a fault comes or goes before"
                     : "next refill, p10 to p90 (80 %)",
          Estimate{days(*state.next_refill.p50), days(*state.next_refill.p10) - 1, days(*state.next_refill.p90) + 1},
          days(meets), std::max(10.0, days(meets)));
    }
  }
}

}  // namespace

std::string table_of_coverage(const std::vector<MadeVessel>& fleet, const Replay& replay, std::string* csv) {
  Cover cover;
  for (std::size_t i = 0; i < fleet.size(); ++i) {
    world::Dice dice = world::Dice::of(0xc0ffee, i);
    for (const Snapshot& shot : replay.vessels[i].snapshots) {
      for (const ShaftState& s : shot.shafts) note_shaft(cover, fleet[i], s, shot.as_of, dice);
      for (const LubricatorState& l : shot.lubricators) note_lubricator(cover, fleet[i], l, shot.as_of);
    }
    for (std::size_t j = 0; j < fleet[i].truth.faults.size(); ++j) {
      const Met m = meet(fleet[i], replay.vessels[i], j);
      if (!m.is_found) continue;
      const auto began = [&](const std::optional<When>& w, const std::string& row) {
        if (!w) return cover.note(row, std::nullopt, 0, 1);
        const auto days = [&](Instant t) { return days_between(m.fault->onset, t); };
        // A day at either side: moments are told to the day.
        cover.note(row, Estimate{days(w->estimate), days(w->low) - 1, days(w->high) + 1}, 0, 100);
      };
      began(m.track->at_open.began,
            fmt::format("began, {}, when opened (width: 100 d)", world::name_of(m.fault->kind)));
      began(m.track->last.began, fmt::format("began, {}, last told (width: 100 d)", world::name_of(m.fault->kind)));
    }
  }
  return cover.text(csv);
}

namespace {

/// Slips of an amount that hardly change it are not looked for.
bool is_counted(const Slip& s) {
  const bool is_amount = s.kind == SlipKind::factor_ten || s.kind == SlipKind::unit ||
                         s.kind == SlipKind::swapped_shafts || s.kind == SlipKind::gun_changed;
  return !is_amount || std::abs(std::log(s.factor)) >= std::log(1.6);
}

/// The finding that names one of its records; null: none.
const Track* telling(const Slip& s, const VesselReplay& replay) {
  for (const Track& t : replay.tracks) {
    const bool is_of_it = std::any_of(t.at_open.evidence.begin(), t.at_open.evidence.end(), [&](const Uuid& id) {
      return std::find(s.records.begin(), s.records.end(), id) != s.records.end();
    });
    if (t.kind == FindingKind::record_suspect && is_of_it) return &t;
  }
  return nullptr;
}

}  // namespace

std::string list_of_untold_slips(const std::vector<MadeVessel>& fleet, const Replay& replay) {
  std::string out;
  for (std::size_t i = 0; i < fleet.size(); ++i) {
    for (const Slip& s : fleet[i].truth.slips) {
      if (!is_counted(s) || telling(s, replay.vessels[i]) != nullptr) continue;
      out += fmt::format("untold {} {} shaft {} lub {} {} times {:.3g}:", fleet[i].log.vessel.code,
                         world::name_of(s.kind), s.shaft.value, s.lubricator.value, format_day(s.at), s.factor);
      std::vector<const Logged<Greasing>*> of_shaft;  // the greasings about it, the wrong one in brackets
      std::size_t at = 0;
      for (const Logged<Greasing>& g : fleet[i].log.greasings) {
        if (g.shaft != s.shaft || !g.what.amount || !g.what.amount->volume) continue;
        if (std::find(s.records.begin(), s.records.end(), g.id) != s.records.end()) at = of_shaft.size();
        of_shaft.push_back(&g);
      }
      if (s.shaft.is_set()) {
        for (std::size_t k = at > 5 ? at - 5 : 0; k < std::min(of_shaft.size(), at + 5); ++k) {
          const Greasing& g = of_shaft[k]->what;
          const std::string said = fmt::format("{:.0f} {}", in_cm3(*g.amount->volume), name_of(g.ended));
          out += k == at ? " [" + said + "]" : " " + said;
        }
      }
      out += '\n';
    }
  }
  return out;
}

std::string table_of_slips(const std::vector<MadeVessel>& fleet, const Replay& replay, std::string* csv) {
  std::string out = fmt::format("{:<16}{:>7}{:>9}{:>9}{:>13}\n", "slip", "slips", "told", "recall", "days to tell");
  int true_alarms = 0, false_alarms = 0, first_right = 0;
  for (std::size_t k = 0; k < world::kSlipKinds; ++k) {
    int n = 0, told = 0;
    std::vector<double> delay;
    for (std::size_t i = 0; i < fleet.size(); ++i) {
      for (const Slip& s : fleet[i].truth.slips) {
        if (static_cast<std::size_t>(s.kind) != k || !is_counted(s)) continue;
        ++n;
        if (const Track* t = telling(s, replay.vessels[i])) {
          ++told;
          delay.push_back(days_between(s.at, t->told));
        }
      }
    }
    const std::string_view row = world::name_of(static_cast<SlipKind>(k));
    out += fmt::format("{:<16}{:>7}{:>9}{:>8.0f}%{:>13.1f}\n", row, n, told, 100.0 * told / std::max(1, n),
                       median_of(delay));
    put_csv(csv, "slips", row, "slips", n);
    put_csv(csv, "slips", row, "recall_pct", 100.0 * told / std::max(1, n));
    put_csv(csv, "slips", row, "median_days", median_of(delay));
  }
  // Findings by what they say: their first words tell the reason.
  std::map<std::string, std::pair<int, int>> reasons;
  const auto groups = group_rates(fleet);
  for (std::size_t i = 0; i < fleet.size(); ++i) {
    for (const Track& t : replay.vessels[i].tracks) {
      if (t.kind != FindingKind::record_suspect) continue;
      const bool right = judge_track(fleet[i], t, groups).verdict == Verdict::right;
      (right ? true_alarms : false_alarms)++;
      const std::string reason = t.at_open.likely_causes.empty() ? "?" : t.at_open.likely_causes.front();
      (right ? reasons[reason].first : reasons[reason].second)++;
      if (right && !t.at_open.evidence.empty()) {
        for (const Slip& s : fleet[i].truth.slips) {
          if (std::find(s.records.begin(), s.records.end(), t.at_open.evidence.front()) != s.records.end()) {
            ++first_right;
            break;
          }
        }
      }
    }
  }
  const double precision = 100.0 * true_alarms / std::max(1, true_alarms + false_alarms);
  out += fmt::format(
      "precision {:.0f} % of {} findings; the record named first is the wrong one in {:.0f} % of the right\n",
      precision, true_alarms + false_alarms, 100.0 * first_right / std::max(1, true_alarms));
  put_csv(csv, "slips", "all", "precision_pct", precision);
  out += "by what the finding gives as its likeliest cause (right, false):\n";
  for (const auto& [reason, n] : reasons) out += fmt::format("  {:>5}{:>6}  {}\n", n.first, n.second, reason);
  return out;
}

}  // namespace shaftlog::judge
