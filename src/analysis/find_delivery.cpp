#include "analysis/review_context.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

namespace shaftlog {
namespace {

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
    report_set_going(c, lubricator, it->second, found);
  }
}

}  // namespace shaftlog
