#include "analysis/review_context.hpp"
#include "base/text.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

namespace shaftlog {
namespace {

constexpr double kRepair_h = 72;        // run without a dose for a repair: no matter
constexpr double kLong_h = 500;         ///< off so long is told although the shafts are greased by hand; a judgement
constexpr double kStands = 0.05;        // a ratio below this is none
constexpr double kStandingStill = 0.3;  // a ratio below this is a system that does not serve its shafts

bool is_pressure_alarm(AlarmKind a) {
  return a == AlarmKind::no_pressure || a == AlarmKind::high_pressure || a == AlarmKind::cycle_fault;
}

struct Around {
  int pressure = 0, supply = 0;  // episodes since it began
  std::vector<Uuid> records;
  bool standing = false;
};

Around alarms_since(const ReviewContext& c, LubricatorId lubricator, Instant since) {
  Around out;
  for (const AlarmEpisode& e : c.episodes) {
    if (e.lubricator != lubricator || e.raised < since) continue;
    (is_pressure_alarm(e.alarm) ? out.pressure : out.supply) += 1;
    if (!e.cleared) out.standing = true;
    if (out.records.size() < 5 && !e.records.empty()) out.records.push_back(e.records.front());
  }
  return out;
}

std::vector<std::string> symptoms_of(const ReviewContext& c, LubricatorId lubricator, const When& began,
                                     const Around& alarms) {
  std::vector<std::string> out;
  out.emplace_back(alarms.pressure > 0 ? "alarms_no_pressure" : "alarms_none");
  if (alarms.supply > 0) out.emplace_back("alarms_supply");
  const auto margin = std::chrono::days{3};
  for (const Logged<Refill>& r : c.log.refills) {
    if (r.lubricator == lubricator && r.at >= began.low - margin && r.at <= began.high)
      out.emplace_back("after_refill");
  }
  for (const Logged<Work>& w : c.log.work) {
    if (w.at < began.low - margin || w.at > began.high + margin) continue;
    if (w.lubricator.is_set() && w.lubricator != lubricator) continue;
    if (w.what.work == WorkKind::docked || w.what.work == WorkKind::undocked) out.emplace_back("after_docking");
    if (w.what.work == WorkKind::setting_corrected || w.what.work == WorkKind::controller_changed ||
        w.what.work == WorkKind::metering_replaced) {
      out.emplace_back("after_setting_change");
    }
  }
  std::sort(out.begin(), out.end());
  out.erase(std::unique(out.begin(), out.end()), out.end());
  return out;
}

// The lowest fill among the shafts that depend on the lubricator.
Urgency urgency_of_missing(const ReviewContext& c, LubricatorId lubricator, ShaftId blamed, double ratio) {
  double worst = 0;
  bool known = false;
  for (const ShaftId shaft : c.digest.schedule->shafts_fed(lubricator, c.as_of)) {
    if (blamed.is_set() && shaft != blamed) continue;
    const std::optional<FillThen> known_fill = c.fill_known(shaft);
    if (!known_fill) continue;
    known = true;
    worst = std::max({worst, known_fill->fill.p_below_now, known_fill->fill.p_below_before_due});
  }
  if (ratio < kStandingStill) return Urgency::act;
  if (known && worst > 0.3) return Urgency::act;
  return Urgency::plan;
}

bool was_greased_since(const ReviewContext& c, LubricatorId lubricator, Instant since) {
  const std::vector<ShaftId> fed = c.digest.schedule->shafts_fed(lubricator, c.as_of);
  return std::any_of(c.log.greasings.begin(), c.log.greasings.end(), [&](const Logged<Greasing>& g) {
    return g.at > since && g.at <= c.as_of && g.what.ended != Ended::not_done &&
           std::find(fed.begin(), fed.end(), g.shaft) != fed.end();
  });
}

// Levels that fall while the counter stands, as long as they do not prove it wrong yet.
std::string level_doubt(const ReviewContext& c, const Lubricator& lubricator, const RatioShift& cycles) {
  const UseByHours use = use_by_hours(c.log, lubricator, *c.digest.schedule, cycles.began.estimate, c.as_of);
  const bool is_much = use.used_cm3 > 2 * use.sd_cm3 &&
                       use.used_cm3 > (1 + cycles.ratio.value) / 2 * use.called_for_cm3 && use.called_for_cm3 > 0;
  if (!is_much) return "";
  return fmt::format(
      "; but by the levels {} cm3 left the reservoir, where the running hours call for {}: the counter "
      "may be at fault",
      figure_text(use.used_cm3), figure_text(use.called_for_cm3));
}

void report_missed(const ReviewContext& c, const Lubricator& lubricator, const DeliveryResult& r,
                   std::vector<Finding>& found) {
  const bool cycles_tell = r.cycles_low.has_value();
  if (!cycles_tell && !r.low) return;
  const RatioShift& s = cycles_tell ? *r.cycles_low : *r.low;
  const auto blame_it = c.digest.blame.find(lubricator.id);
  const DeliveryBlame blame = !cycles_tell && blame_it != c.digest.blame.end() ? blame_it->second : DeliveryBlame{};
  // Named by the lubricator and the how-manieth time: neither a device that is blamed later nor records that move the
  // moment of seeing make another matter of it.
  Finding f = start_finding(c, FindingKind::missed_cycles, {}, lubricator.id,
                            fmt::format("{} {}", cycles_tell ? "cycles" : "delivery", s.number));
  f.shaft = blame.shaft;
  f.first_seen = s.first_seen;
  f.began = s.began;
  f.evidence = s.evidence;
  f.evidence.insert(f.evidence.end(), blame.evidence.begin(), blame.evidence.end());
  const Around alarms = alarms_since(c, lubricator.id, s.began.low);
  f.evidence.insert(f.evidence.end(), alarms.records.begin(), alarms.records.end());
  add_figure(f, cycles_tell ? "cycle_ratio" : "delivery_ratio", s.ratio, "1");
  if (cycles_tell && r.delivery_ratio) add_figure(f, "delivery_ratio", *r.delivery_ratio, "1");
  if (!cycles_tell && r.cycle_ratio) add_figure(f, "cycle_ratio", *r.cycle_ratio, "1");
  const bool counter_is_wrong = cycles_tell && r.is_counter_wrong;
  if (!counter_is_wrong) {
    add_figure(f, "missing", s.amount_cm3, "cm3");
    const double per_cm3 = s.amount_cm3.value > 0 ? s.equivalent_cycles / s.amount_cm3.value : 0;
    add_figure(f, "missing_cycles",
               Estimate{s.equivalent_cycles, per_cm3 * s.amount_cm3.low, per_cm3 * s.amount_cm3.high}, "full cycles");
  }
  add_strength(f, s.strength);
  std::vector<std::string> symptoms = symptoms_of(c, lubricator.id, s.began, alarms);
  const std::size_t fed = c.digest.schedule->shafts_fed(lubricator.id, c.as_of).size();
  if (counter_is_wrong) {
    symptoms.emplace_back("counter_wrong");
    const std::string shows =
        s.ratio.value < kStands
            ? "stands"
            : fmt::format("shows only {} of the cycles that the running hours call for", figure_text(s.ratio, ""));
    f.summary = fmt::format(
        "the counter {} since {}, but the reservoir empties as the running hours call for: the counter misses cycles, "
        "or its readings are wrong; the doses are taken to go on",
        shows, c.days(s.began));
  } else if (cycles_tell) {
    symptoms.emplace_back("counter_stopped");
    f.summary = s.ratio.value < kStands
                    ? fmt::format(
                          "the automatic system has not cycled since {}: 0 of about {} full cycles that the "
                          "running hours call for, {} cm3 not delivered",
                          c.days(s.began), figure_text(s.equivalent_cycles), figure_text(s.amount_cm3.value))
                    : fmt::format(
                          "the automatic system makes only {} of the cycles that the running hours call for, "
                          "since {}; {} cm3 not delivered",
                          figure_text(s.ratio, ""), c.days(s.began), figure_text(s.amount_cm3.value));
    f.summary += level_doubt(c, lubricator, s);
  } else if (blame.shaft.is_set()) {
    symptoms.emplace_back("one_shaft");
    symptoms.emplace_back("share_of_one_shaft");
    const std::string device = blame.device_ratio < 0.15
                                   ? std::string{"does not deliver"}
                                   : fmt::format("delivers only about {} of its dose", figure_text(blame.device_ratio));
    f.summary = fmt::format(
        "{} of the grease that the doses and cycles call for left the reservoir since {}, the share of one shaft of "
        "{}; {}: its metering device or feed line {}",
        figure_text(s.ratio, ""), c.days(s.began), fed,
        blame.evidence.empty() ? "by share and hours that is shaft " + c.shaft(blame.shaft).code
                               : "only shaft " + c.shaft(blame.shaft).code + " takes more at its manual greasings",
        device);
  } else if (blame.fits_one_share && fed > 1) {
    symptoms.emplace_back("share_of_one_shaft");
    f.summary = fmt::format(
        "{} of the grease that the doses and cycles call for left the reservoir since {}, as if one of the {} shafts "
        "were not served; {}",
        figure_text(s.ratio, ""), c.days(s.began), fed,
        was_greased_since(c, lubricator.id, s.began.estimate) ? "by the manual greasings so far it may be any of them"
                                                              : "which one is unknown without manual greasings");
  } else {
    symptoms.emplace_back("all_shafts");
    f.summary = fmt::format(
        "only {} of the grease that the doses and {} call for left the reservoir since {}: {} cm3 "
        "missing",
        figure_text(s.ratio, ""), r.cycle_ratio ? "counted cycles" : "running hours", c.days(s.began),
        figure_text(s.amount_cm3.value));
  }
  if (alarms.pressure + alarms.supply > 0) {
    f.summary += fmt::format("; {} alarm{} since", alarms.pressure + alarms.supply,
                             alarms.pressure + alarms.supply == 1 ? "" : "s");
  } else if (fed > 1 && (blame.shaft.is_set() || blame.fits_one_share)) {
    f.summary += "; no alarm, and none was to be expected of a single device";
  }
  f.urgency = counter_is_wrong ? Urgency::watch : urgency_of_missing(c, lubricator.id, blame.shaft, s.ratio.value);
  explain(f, symptoms, {}, counter_is_wrong ? 1 : 3);
  found.push_back(std::move(f));
}

void report_leak(const ReviewContext& c, const Lubricator& lubricator, const DeliveryResult& r,
                 std::vector<Finding>& found) {
  if (!r.high) return;
  const RatioShift& s = *r.high;
  Finding f = start_finding(c, FindingKind::line_leak, {}, lubricator.id, fmt::format("delivery {}", s.number));
  f.first_seen = s.first_seen;
  f.began = s.began;
  f.evidence = s.evidence;
  const Around alarms = alarms_since(c, lubricator.id, s.began.low);
  f.evidence.insert(f.evidence.end(), alarms.records.begin(), alarms.records.end());
  add_figure(f, "delivery_ratio", s.ratio, "1");
  if (r.cycle_ratio) add_figure(f, "cycle_ratio", *r.cycle_ratio, "1");
  add_figure(f, "excess", s.amount_cm3, "cm3");
  if (const LubricatorSetting* set = setting_at(lubricator.settings, c.as_of); set != nullptr) {
    for (const Grease& g : c.log.greases) {
      if (g.id == set->grease && g.density.base() > 0) {
        const double k = in_g_cm3(g.density) / 1000;
        add_figure(f, "excess_mass", Estimate{s.amount_cm3.value * k, s.amount_cm3.low * k, s.amount_cm3.high * k},
                   "kg");
      }
    }
  }
  add_strength(f, s.strength);
  f.summary = fmt::format(
      "{} times the grease that the metering devices can have delivered left the reservoir since {}: "
      "{} cm3 more than the doses account for",
      figure_text(s.ratio, ""), c.days(s.began), figure_text(s.amount_cm3, ""));
  if (alarms.pressure > 0) {
    f.summary += fmt::format("; {} pressure alarm{} since", alarms.pressure, alarms.pressure == 1 ? "" : "s");
  }
  f.urgency = Urgency::act;
  explain(f, symptoms_of(c, lubricator.id, s.began, alarms), {});
  found.push_back(std::move(f));
}

/// A shaft that depends on a lubricator which is off.
struct Left {
  ShaftId shaft;
  double run_h = 0;                // since it was set off
  double bare_h = 0;               // since it was set off or greased by hand, whichever is later
  std::optional<Instant> greased;  // by hand, since it was set off
  Urgency urgency = Urgency::plan;
};

std::optional<Instant> greased_since(const ReviewContext& c, ShaftId shaft, Instant since) {
  std::optional<Instant> last;
  for (const Logged<Greasing>& g : c.log.greasings)
    if (g.shaft == shaft && g.at > since && g.at <= c.as_of && g.what.ended != Ended::not_done) last = g.at;
  return last;
}

bool is_fed_otherwise(const ReviewContext& c, LubricatorId off, ShaftId shaft) {
  return std::any_of(c.log.lubricators.begin(), c.log.lubricators.end(), [&](const Lubricator& l) {
    if (l.id == off) return false;
    const std::vector<ShaftId> fed = c.digest.schedule->shafts_fed(l.id, c.as_of);
    const std::vector<OffSpan> spans = off_spans(c.log, l.id, c.as_of);
    return std::find(fed.begin(), fed.end(), shaft) != fed.end() && (spans.empty() || !spans.back().is_open);
  });
}

// What never was in use before it was recorded off is no matter of forgetting.
bool was_used(const ReviewContext& c, LubricatorId lubricator, Instant off) {
  const auto before = [&](const auto& list) {
    return std::any_of(list.begin(), list.end(),
                       [&](const auto& r) { return r.lubricator == lubricator && r.at < off; });
  };
  return before(c.log.cycles) || before(c.log.levels) || before(c.log.refills);
}

// What a shaft has gone without since its lubricator was set off; empty: nothing worth telling, as long as it stood,
// ran only for a short repair, or is greased by hand as its interval asks, keeps its grease by that, and not for long.
std::optional<Left> left_by(const ReviewContext& c, const Lubricator& lubricator, ShaftId shaft, Instant off) {
  constexpr double kLikely = 0.5;
  const HoursCurve* curve = c.curve(shaft);
  if (curve == nullptr || is_fed_otherwise(c, lubricator.id, shaft)) return std::nullopt;
  Left left;
  left.shaft = shaft;
  left.greased = greased_since(c, shaft, off);
  const Instant read = std::min(curve->last(), c.as_of);  // of hours that nobody has read it is not known
  if (read <= off) return std::nullopt;
  left.run_h = curve->run_h(off, read);
  const Instant from = left.greased.value_or(off);
  left.bare_h = read > from ? curve->run_h(from, read) : 0;
  const std::optional<FillThen> known = c.fill_known(shaft);
  const auto next = c.greasings.find(shaft);
  const bool is_greased_in_time =
      left.greased && next != c.greasings.end() && next->second.due_at && !next->second.is_overdue;
  const ShaftSetting* setting = setting_at(c.shaft(shaft).settings, c.as_of);
  bool is_low = false, stays = is_greased_in_time;
  if (known) {
    is_low = known->fill.p_below_now > kLikely;
    stays = stays && known->fill.p_below_before_due <= kLikely;
  } else if (setting != nullptr && setting->cavity) {
    // With no loss known, what was called for stands for it: doses are set to cover it.
    const double reserve = reserve_pct(c.shaft(shaft), c.as_of) / 100;
    is_low =
        c.digest.schedule->called_for_cm3(lubricator.id, shaft, from, read) > (1 - reserve) * in_cm3(*setting->cavity);
  } else {
    is_low = left.bare_h > kLong_h;
  }
  const bool is_kept = stays && !is_low;
  if (left.run_h < kRepair_h || (!is_kept && left.bare_h < kRepair_h)) return std::nullopt;
  if (is_kept && (left.run_h < kLong_h || !was_used(c, lubricator.id, off))) return std::nullopt;
  left.urgency = is_low ? Urgency::act : is_kept ? Urgency::watch : Urgency::plan;
  return left;
}

std::string left_text(const ReviewContext& c, const std::vector<Left>& left) {
  std::vector<std::pair<std::string, std::vector<std::string>>> alike;  // what is told, of which shafts
  for (const Left& l : left) {
    const std::string text =
        l.urgency == Urgency::watch
            ? fmt::format("run {} h since without a dose, greased by hand in time", figure_text(l.run_h))
        : l.greased ? fmt::format("run {} h since without a dose, {} h of them since the last greasing by hand on {}",
                                  figure_text(l.run_h), figure_text(l.bare_h), c.day(*l.greased))
                    : fmt::format("run {} h since without a dose and without greasing by hand", figure_text(l.run_h));
    const auto it = std::find_if(alike.begin(), alike.end(), [&](const auto& x) { return x.first == text; });
    auto& shafts = it != alike.end() ? it->second : alike.emplace_back(text, std::vector<std::string>{}).second;
    shafts.push_back(c.shaft(l.shaft).code);
  }
  std::string out;
  for (const auto& [text, shafts] : alike)
    out +=
        fmt::format("{}{} {} {}", out.empty() ? "" : "; ", listed(shafts), shafts.size() == 1 ? "has" : "have", text);
  return out;
}

// Whoever wrote that it was set off knew; that the bearings get nothing since may have been forgotten.
void report_off(const ReviewContext& c, const Lubricator& lubricator, const DeliveryResult& r,
                std::vector<Finding>& found) {
  const std::vector<OffSpan> spans = off_spans(c.log, lubricator.id, c.as_of);
  if (spans.empty() || !spans.back().is_open || r.set_going) return;
  const OffSpan& off = spans.back();
  std::vector<Left> left;
  for (const ShaftId shaft : c.digest.schedule->shafts_fed(lubricator.id, c.as_of))
    if (const std::optional<Left> l = left_by(c, lubricator, shaft, off.from)) left.push_back(*l);
  if (left.empty()) return;
  const Left worst = *std::min_element(left.begin(), left.end(), [](const Left& a, const Left& b) {
    return a.urgency != b.urgency ? a.urgency < b.urgency : a.bare_h > b.bare_h;
  });
  const bool is_kept = worst.urgency == Urgency::watch;
  if (!is_kept) std::erase_if(left, [](const Left& l) { return l.urgency == Urgency::watch; });
  const std::string told = fmt::format("recorded off since {}; {}: {}", c.day(off.from), left_text(c, left),
                                       is_kept            ? "is it to stay off?"
                                       : left.size() == 1 ? "this bearing gets no grease"
                                                          : "these bearings get no grease");
  const auto before = std::find_if(found.begin(), found.end(), [&](const Finding& f) {
    return f.kind == FindingKind::missed_cycles && f.lubricator == lubricator.id && !f.shaft.is_set();
  });
  if (before != found.end() && !r.is_counter_wrong) {  // it had failed before: one matter
    before->summary += "; the lubricator is " + told;
    before->evidence.push_back(off.record);
    before->urgency = std::min(before->urgency, worst.urgency);
    return;
  }
  Finding f = start_finding(c, FindingKind::missed_cycles, {}, lubricator.id, "off " + format_uuid(off.record));
  const HoursCurve& curve = *c.curve(worst.shaft);
  const double told_h = is_kept ? kLong_h : worst.run_h - worst.bare_h + kRepair_h;
  f.first_seen = std::clamp(curve.time_of(curve.hours_at(off.from) + told_h).value_or(c.as_of), off.from, c.as_of);
  f.began = When{off.from, off.from, off.from};
  f.evidence.push_back(off.record);
  add_figure(f, "run_h", worst.run_h, "h");
  add_figure(f, "bare_h", worst.bare_h, "h");
  add_strength(f, 5);
  f.summary = "the lubricator is " + told;
  f.urgency = worst.urgency;
  explain(f, {"recorded_off"}, {}, 1);
  found.push_back(std::move(f));
}

void report_set_going(const ReviewContext& c, const Lubricator& lubricator, const DeliveryResult& r,
                      std::vector<Finding>& found) {
  if (!r.set_going) return;
  const SetGoing& going = *r.set_going;
  Finding f =
      start_finding(c, FindingKind::records_missing, {}, lubricator.id, "set going " + format_uuid(going.record));
  f.first_seen = going.by;
  f.began = When{going.off, going.off, going.off};
  f.evidence.push_back(going.record);
  add_strength(f, 5);
  f.summary = fmt::format(
      "recorded off on {}, but {} as if it were on: the record of its being set going is missing; it is taken to run "
      "since {} at the latest",
      c.day(going.off),
      going.by_counter && going.by_level ? "its counter goes on and its reservoir empties"
      : going.by_counter                 ? "its counter goes on"
                                         : "its reservoir empties",
      c.day(going.by));
  f.urgency = Urgency::note;
  explain(f, {"set_going_unrecorded"}, {});
  found.push_back(std::move(f));
}

}  // namespace

void find_delivery(const ReviewContext& c, std::vector<Finding>& found) {
  for (const Lubricator& lubricator : c.log.lubricators) {
    const auto it = c.digest.delivery.find(lubricator.id);
    if (it == c.digest.delivery.end()) continue;
    report_missed(c, lubricator, it->second, found);
    report_leak(c, lubricator, it->second, found);
    report_off(c, lubricator, it->second, found);
    report_set_going(c, lubricator, it->second, found);
  }
}

}  // namespace shaftlog
