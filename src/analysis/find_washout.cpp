#include "analysis/review_context.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

namespace shaftlog {
namespace {

constexpr double kEmptied = 0.95;        // share of the cavity from which a greasing counts as "took all it can hold"
constexpr double kOverfull = 1.15;       // beyond this it cannot have been stored
constexpr double kSureEnough = 0.8;      // P(fill below the reserve) at which a cavity is called starved
constexpr double kSurelyNearStop = 0.3;  // upper end of a near-stop that is acted upon
constexpr double kLikely = 0.5;          // ... at which it is told that it probably is
constexpr double kForetold = 0.9;  // ... that it will be before the next greasing: on the way there much can change
constexpr double kMayBe = 0.3;     // ... now, from which on it does not wait for a port
constexpr auto kRecent = std::chrono::days{180};

const WashoutShift* rise_of(const WashoutResult& w) {
  if (w.wear) return &*w.wear;
  if (w.step) return &*w.step;
  return w.high ? &*w.high : nullptr;
}

double log_odds_of(double p) {
  const double held = std::clamp(p, 1e-6, 1 - 1e-6);
  return std::log(held / (1 - held));
}

bool overlap(const When& a, const When& b) {
  constexpr auto kSlack = std::chrono::days{14};
  return a.low <= b.high + kSlack && b.low <= a.high + kSlack;
}

const Logged<Work>* contact_near(const ReviewContext& c, ShaftId shaft, const When& w) {
  for (const Logged<Work>& r : c.log.work) {
    if (r.what.work != WorkKind::contact || (r.shaft.is_set() && r.shaft != shaft)) continue;
    if (r.at >= w.low - std::chrono::days{14} && r.at <= w.high + std::chrono::days{3}) return &r;
  }
  return nullptr;
}

/// Another shaft that changed the other way.
struct Opposite {
  ShaftId shaft;
  Estimate factor;       ///< of what it took or lost
  bool is_like = false;  ///< at the same time, by as much
};

// Explanations that are not a worn seal, tried before it is blamed.
struct Rivals {
  int others_rising = 0, others = 0;
  std::vector<Opposite> others_falling;
  bool person_changed = false, gun_changed = false;
  const Logged<Work>* contact = nullptr;
  bool water_seen = false;
  std::optional<double> meter;  ///< hours beside the other shafts' since the rise, over those before; where that fell
};

bool undoes(const Estimate& fall, const Estimate& rise) {
  return fall.low * rise.low <= 1 && fall.high * rise.high >= 1;
}

/// The shafts that take less since a moment, by what they took before and since.
std::vector<Opposite> falling_at(const ReviewContext& c, ShaftId shaft, const WashoutShift& shift) {
  constexpr double kFell = 0.85;  // surely below that share
  std::vector<Opposite> out;
  for (const auto& [other, history] : c.digest.histories) {
    if (other == shaft) continue;
    const auto fall = c.falls.find(other);
    const auto ratio = intake_ratio(history, c.priors.at(other), shift.began.estimate);
    if (fall != c.falls.end())
      out.push_back({other, fall->second.factor,
                     overlap(fall->second.began, shift.began) && undoes(fall->second.factor, shift.factor)});
    else if (ratio && ratio->high < kFell)
      out.push_back({other, *ratio, undoes(*ratio, shift.factor)});
  }
  return out;
}

/// Another gun, another person, water in the purge since a moment.
void look_at_greasings(const ReviewContext& c, ShaftId shaft, const When& began, Rivals& out) {
  std::set<std::uint32_t> by_before, by_after;
  std::set<GunId> gun_before, gun_after;
  for (const GreasingInterval& i : c.digest.histories.at(shaft).intervals) {
    (i.at < began.estimate ? by_before : by_after).insert(i.by);
    (i.at < began.estimate ? gun_before : gun_after).insert(i.gun);
    if (i.at >= began.low && i.purge == Purge::water) out.water_seen = true;
  }
  const auto disjoint = [](const auto& a, const auto& b) {
    return !a.empty() && !b.empty() && std::none_of(b.begin(), b.end(), [&](const auto& x) { return a.contains(x); });
  };
  out.person_changed = disjoint(by_before, by_after);
  out.gun_changed = disjoint(gun_before, gun_after);
}

/// Hours of the shaft, and of the ship's other shafts, between two moments; as read.
std::pair<double, double> hours_beside(const ReviewContext& c, ShaftId shaft, Instant a, Instant b) {
  std::pair<double, double> out;
  for (const Shaft& s : c.log.shafts)
    if (const HoursCurve* curve = c.curve(s.id); curve != nullptr && curve->first() <= a && curve->last() >= b)
      (s.id == shaft ? out.first : out.second) += curve->run_h(a, b);
  return out;
}

/// A meter that runs slow makes the same loss fall on fewer hours: it fell behind the other shafts' by what the loss
/// rose.
std::optional<double> meter_that_fell(const ReviewContext& c, ShaftId shaft, const WashoutShift& shift) {
  constexpr double kFellBehind = 0.75, kLike = 1.33, kFewest_h = 50;
  const HoursCurve* own = c.curve(shaft);
  if (own == nullptr) return std::nullopt;
  const Instant from = std::max(own->first(), shift.began.low - std::chrono::days{365});
  const auto [before, others_before] = hours_beside(c, shaft, from, shift.began.low);
  const auto [after, others_after] = hours_beside(c, shaft, shift.began.high, std::min(own->last(), c.as_of));
  if (before < kFewest_h || others_before < kFewest_h || others_after < kFewest_h) return std::nullopt;
  const double fell = after / others_after / (before / others_before);
  const double undone = fell * shift.factor.value;
  return fell < kFellBehind && undone < kLike && undone > 1 / kLike ? std::optional{fell} : std::nullopt;
}

Rivals rivals_of(const ReviewContext& c, ShaftId shaft, const WashoutShift& shift) {
  Rivals out;
  for (const auto& [other, result] : c.washouts) {
    if (other == shaft || result.exact + result.censored < 3) continue;
    ++out.others;
    if (const WashoutShift* r = rise_of(result); r != nullptr && overlap(r->began, shift.began)) ++out.others_rising;
  }
  out.others_falling = falling_at(c, shaft, shift);
  out.contact = contact_near(c, shaft, shift.began);
  out.meter = meter_that_fell(c, shaft, shift);
  look_at_greasings(c, shaft, shift.began, out);
  return out;
}

/// Says who pumped and with what since, and tells the symptoms.
void say_who(const Rivals& rivals, Finding& f, std::vector<std::string>& present) {
  if (rivals.gun_changed) {
    f.summary += "; another gun has been used since";
    present.emplace_back("gun_changed");
  }
  if (rivals.person_changed) {
    f.summary += "; another person has been greasing since";
    present.emplace_back("person_changed");
  }
}

/// What shafts did that changed the other way.
void say_opposites(const ReviewContext& c, const std::vector<Opposite>& all, Finding& f,
                   std::vector<std::string>& present) {
  bool is_like = false;
  for (const Opposite& o : all) {
    const std::string factor = figure_text(o.factor, "");
    f.summary += o.factor.value < 1 ? fmt::format("; {} fell to {} of what it took", c.shaft(o.shaft).code, factor)
                                    : fmt::format("; {} rose {} times", c.shaft(o.shaft).code, factor);
    if (o.is_like) f.summary += " at the same time: are the two exchanged in the records, or their lines?";
    is_like |= o.is_like;
  }
  if (is_like) present.emplace_back("exchanged");
}

/// A rise as it is told, over the baseline it is told against.
struct Told {
  const WashoutShift& shift;
  bool is_wear = false, is_high = false;
  std::optional<Estimate> baseline;
  const WashoutRise* on_top = nullptr;  ///< set for one on top of another
  std::size_t place = 0;                ///< 0: over the first baseline
};

std::string hours_to_empty(const ReviewContext& c, ShaftId shaft, const WashoutResult& w,
                           const std::optional<Estimate>& baseline) {
  const auto& cavity = c.digest.histories.at(shaft).cavity_cm3;
  if (!cavity || !w.washout_cm3_per_h || w.washout_cm3_per_h->value <= 0 || c.digest.histories.at(shaft).is_automatic) {
    return "";
  }
  std::string out = fmt::format("; a full cavity is empty after about {} running hours",
                                figure_text(*cavity / w.washout_cm3_per_h->value));
  if (baseline && baseline->value > 0) out += fmt::format(" instead of {}", figure_text(*cavity / baseline->value));
  return out;
}

void add_fill(const ReviewContext& c, ShaftId shaft, Finding& f) {
  const auto fill = c.fills.find(shaft);
  if (fill == c.fills.end()) return;
  if (fill->second.fill_pct) add_figure(f, "cavity_fill", *fill->second.fill_pct, "%");
  if (fill->second.hours_to_reserve) add_figure(f, "hours_to_reserve", *fill->second.hours_to_reserve, "h");
  if (fill->second.starved_h && fill->second.starved_h->most > 0) {
    const StarvedHours& s = *fill->second.starved_h;
    add_figure(f, "starved_h", Estimate{s.best, s.least, s.most}, "h");
  }
}

Urgency urgency_of_rise(const ReviewContext& c, ShaftId shaft, const WashoutShift& shift, bool is_wear) {
  const std::optional<FillThen> known = c.fill_known(shaft);
  if (known && std::max(known->fill.p_below_now, known->fill.p_below_before_due) > kMayBe) return Urgency::act;
  return is_wear || shift.factor.value >= 1.5 ? Urgency::plan : Urgency::watch;
}

// The greasing that the baseline of a moment begins with: it stays while the moment of finding is estimated anew.
std::string baseline_anchor(const ShaftHistory& h, Instant at = kLatest) {
  std::string out = "first";
  for (std::size_t i = 0; i + 1 < h.intervals.size(); ++i) {
    if (h.intervals[i].starts_baseline && h.intervals[i].at < at) out = format_uuid(h.intervals[i].id);
  }
  return out;
}

// A lubricator that fails its shafts, found already, where this shaft and at least half of the others seem to lose
// more: while the dose covered the loss nobody saw it, and what was delivered since is not known well enough to blame
// seals.
bool is_left_by_its_lubricator(const ReviewContext& c, ShaftId shaft, const Rivals& rivals,
                               const std::vector<Finding>& found) {
  if (rivals.others_rising == 0 || rivals.others_rising * 2 < rivals.others) return false;
  const std::vector<LubricatorId> feeding = c.digest.schedule->lubricators_of(shaft);
  return std::any_of(found.begin(), found.end(), [&](const Finding& f) {
    return f.kind == FindingKind::missed_cycles &&
           std::find(feeding.begin(), feeding.end(), f.lubricator) != feeding.end();
  });
}

void report_rise(const ReviewContext& c, ShaftId shaft, const WashoutResult& w, const Told& told,
                 std::vector<Finding>& found) {
  const WashoutShift& shift = told.shift;
  const Rivals rivals = rivals_of(c, shaft, shift);
  if (is_left_by_its_lubricator(c, shaft, rivals, found)) return;
  const bool is_wear = told.is_wear;
  std::string anchor = baseline_anchor(c.digest.histories.at(shaft));
  if (told.place > 0) anchor += fmt::format("+{}", told.place);
  Finding f = start_finding(c, is_wear ? FindingKind::seal_wear : FindingKind::abnormal_washout, shaft, {}, anchor);
  f.first_seen = shift.first_seen;
  f.began = shift.began;
  f.evidence = shift.evidence;
  if (w.washout_cm3_per_h) add_figure(f, "washout", *w.washout_cm3_per_h, "cm3/h");
  if (told.baseline) add_figure(f, "baseline", *told.baseline, "cm3/h");
  add_figure(f, "factor", shift.factor, "1");
  if (is_wear) add_figure(f, "slope", shift.slope_pct_per_1000h, "%/1000 h");
  add_fill(c, shaft, f);
  add_strength(f, shift.strength);

  std::vector<std::string> present, absent;
  const bool common = rivals.others_rising > 0 && rivals.others_rising * 2 >= rivals.others;
  const std::string now = w.washout_cm3_per_h ? figure_text(*w.washout_cm3_per_h, "cm3/h") : "unknown";
  if (is_wear) {
    f.summary = fmt::format(
        "the washout climbs with the running hours, {} % per 1000 h since {}; now {}, {} times the "
        "baseline",
        figure_text(shift.slope_pct_per_1000h.value), c.days(shift.began), now, figure_text(shift.factor.value));
    present.emplace_back("slow_rise");
  } else if (!told.is_high) {
    f.summary = fmt::format("the washout stepped up {} times {}; now {}", figure_text(shift.factor, ""),
                            c.on_days(shift.began), now);
    present.emplace_back("step");
  } else {
    f.summary = fmt::format("the washout is {} times what shafts of its group lose, from the first records on; {}",
                            figure_text(shift.factor, ""), now);
    present.emplace_back("high_from_start");
  }
  if (told.on_top != nullptr) {
    f.summary += fmt::format("; this comes on top of the rise told from {} on", c.day(told.on_top->over));
  }
  f.summary += hours_to_empty(c, shaft, w, told.baseline);
  if (rivals.contact != nullptr) {
    f.summary += fmt::format("; a contact was recorded on {}", c.day(rivals.contact->at));
    f.evidence.push_back(rivals.contact->id);
    present.emplace_back("after_contact");
  } else {
    absent.emplace_back("after_contact");
  }
  if (common) {
    f.summary += fmt::format("; {} other shaft{} of the ship rose at the same time: look for a common cause first",
                             rivals.others_rising, rivals.others_rising == 1 ? "" : "s");
    present.emplace_back("all_shafts");
  } else {
    present.emplace_back("one_shaft");
    if (rivals.others > 0 && rivals.others_rising == 0 && rivals.others_falling.empty())
      f.summary += "; the ship's other shafts stay as they were";
  }
  if (rivals.meter && !told.is_high) {
    f.summary += fmt::format(
        "; beside the other shafts' its hour meter shows {} of what it showed before: if it runs slow, the bearing "
        "loses what it lost",
        figure_text(*rivals.meter));
    present.emplace_back("meter_slow");
  }
  if (rivals.water_seen) present.emplace_back("water_seen");
  say_who(rivals, f, present);
  say_opposites(c, rivals.others_falling, f, present);
  f.urgency = urgency_of_rise(c, shaft, shift, is_wear);
  if (common && f.urgency == Urgency::plan) f.urgency = Urgency::watch;
  explain(f, present, absent);
  found.push_back(std::move(f));
}

/// The work by which a new baseline began in an interval.
const Logged<Work>* renewal_in(const ReviewContext& c, ShaftId shaft, Instant from, Instant to) {
  const auto it = std::find_if(c.log.work.begin(), c.log.work.end(), [&](const Logged<Work>& w) {
    return w.shaft == shaft && renews_baseline(w.what.work) && w.at > from && w.at <= to;
  });
  return it == c.log.work.end() ? nullptr : &*it;
}

// The work that should have ended a rise did not: the matter goes on under its name.
void report_not_back(const ReviewContext& c, ShaftId shaft, const WashoutResult& w, std::vector<Finding>& found) {
  const WashoutNotBack& n = *w.not_back;
  Finding f = start_finding(c, FindingKind::abnormal_washout, shaft, {},
                            baseline_anchor(c.digest.histories.at(shaft), n.shift.first_seen));
  f.first_seen = n.shift.first_seen;
  f.began = n.shift.began;
  f.evidence = n.shift.evidence;
  const Logged<Work>* const work = renewal_in(c, shaft, n.from, n.at);
  if (work != nullptr) f.evidence.push_back(work->id);
  if (w.washout_cm3_per_h) add_figure(f, "washout", *w.washout_cm3_per_h, "cm3/h");
  add_figure(f, "baseline", n.baseline_cm3_per_h, "cm3/h");
  add_figure(f, "factor", n.shift.factor, "1");
  add_fill(c, shaft, f);
  add_strength(f, n.shift.strength);
  f.summary =
      fmt::format("the washout did not come back after the {} of {}: {} times what it was before it rose {}",
                  work == nullptr                                 ? "work"
                  : work->what.work == WorkKind::bearing_replaced ? "new bearing"
                                                                  : "new seal",
                  c.day(work == nullptr ? n.at : work->at), figure_text(n.shift.factor, ""), c.days(n.shift.began));
  if (w.washout_cm3_per_h) f.summary += "; now " + figure_text(*w.washout_cm3_per_h, "cm3/h");
  f.summary += hours_to_empty(c, shaft, w, n.baseline_cm3_per_h);
  std::vector<std::string> present{"not_back_after_work", "one_shaft"};
  Rivals rivals;
  look_at_greasings(c, shaft, n.shift.began, rivals);
  if (rivals.water_seen) present.emplace_back("water_seen");
  say_who(rivals, f, present);
  f.urgency = urgency_of_rise(c, shaft, n.shift, n.is_wear);
  explain(f, present, {});
  found.push_back(std::move(f));
}

std::string grease_text(const IntakeFall& fall) {
  const double hours = fall.now_run_h / std::max(fall.usual_run_h, 1e-9);
  return fmt::format(
      "{} cm3 a greasing instead of {}, in {} running hours{}", figure_text(fall.now_cm3), figure_text(fall.usual_cm3),
      figure_text(fall.now_run_h),
      hours > 0.8 && hours < 1.25 ? " as before" : fmt::format(" instead of {}", figure_text(fall.usual_run_h)));
}

constexpr std::string_view kNotKnown = "; how full the cavity is, is known only if the grease reaches the bearing";

void add_fall(Finding& f, const IntakeFall& fall) {
  f.first_seen = fall.first_seen;
  f.began = fall.began;
  f.evidence = fall.evidence;
  add_figure(f, "factor", fall.factor, "1");
  add_figure(f, "taken", fall.now_cm3, "cm3");
  add_figure(f, "usual", fall.usual_cm3, "cm3");
  add_strength(f, fall.strength);
}

void report_fall(const ReviewContext& c, ShaftId shaft, const IntakeFall& fall, std::vector<Finding>& found) {
  Finding f =
      start_finding(c, FindingKind::less_grease_taken, shaft, {}, baseline_anchor(c.digest.histories.at(shaft)));
  add_fall(f, fall);
  f.summary = fmt::format("takes at back-pressure {} of the grease it took, since {}: {}", figure_text(fall.factor, ""),
                          c.days(fall.began), grease_text(fall));
  std::vector<std::string> present{"one_shaft"};
  const bool is_stopped = fall.factor.value < kNearStop && fall.factor.high < kSurelyNearStop;
  if (is_stopped) present.emplace_back("near_stop");
  std::vector<Opposite> rising;
  for (const auto& [other, result] : c.washouts) {
    const WashoutShift* const rise = rise_of(result);
    if (other != shaft && rise != nullptr && overlap(rise->began, fall.began) && undoes(fall.factor, rise->factor))
      rising.push_back({other, rise->factor, true});
  }
  Rivals rivals;
  look_at_greasings(c, shaft, fall.began, rivals);
  say_who(rivals, f, present);
  f.summary += kNotKnown;
  say_opposites(c, rising, f, present);
  f.urgency = is_stopped ? Urgency::act : Urgency::plan;
  explain(f, present, {});
  found.push_back(std::move(f));
}

/// Whether what a shaft takes is measured, so that it would have shown a fall.
bool is_intake_measured(const ReviewContext& c, ShaftId shaft, const When& began) {
  return c.falls.contains(shaft) ||
         intake_ratio(c.digest.histories.at(shaft), c.priors.at(shaft), began.estimate).has_value();
}

// All shafts at once share a gun, a unit or a hand, not a path.
void report_falls(const ReviewContext& c, std::vector<Finding>& found) {
  if (c.falls.empty()) return;
  const auto surest = std::max_element(c.falls.begin(), c.falls.end(), [](const auto& a, const auto& b) {
    return a.second.strength < b.second.strength;
  });
  const IntakeFall& fall = surest->second;
  const bool is_common =
      c.falls.size() > 1 && std::all_of(c.log.shafts.begin(), c.log.shafts.end(), [&](const Shaft& s) {
        if (!c.digest.histories.contains(s.id) || !is_intake_measured(c, s.id, fall.began)) return true;
        const auto own = c.falls.find(s.id);
        return own != c.falls.end() && overlap(own->second.began, fall.began);
      });
  if (!is_common) {
    for (const auto& [shaft, own] : c.falls) report_fall(c, shaft, own, found);
    return;
  }
  Finding f = start_finding(c, FindingKind::less_grease_taken, {}, {}, "all");
  add_fall(f, fall);
  std::string each;
  for (const auto& [shaft, own] : c.falls) {
    f.shafts.push_back(shaft);
    f.first_seen = std::min(f.first_seen, own.first_seen);
    each += fmt::format("{}{} {}", each.empty() ? "" : ", ", c.shaft(shaft).code, figure_text(own.factor.value));
    if (shaft != surest->first && f.evidence.size() < 12) f.evidence.push_back(own.evidence.front());
  }
  f.summary = fmt::format(
      "all shafts take at back-pressure a fraction of the grease they took, since {} ({}): look at the unit and the "
      "gun "
      "first; {} {}",
      c.days(fall.began), each, c.shaft(surest->first).code, grease_text(fall));
  std::vector<std::string> present{"all_shafts"};
  Rivals rivals;
  look_at_greasings(c, surest->first, fall.began, rivals);
  say_who(rivals, f, present);
  f.summary += kNotKnown;
  f.urgency = Urgency::plan;
  explain(f, present, {"one_shaft"});
  found.push_back(std::move(f));
}

// More went in than the cavity can hold, with no back-pressure: it went somewhere else.
void report_overfull(const ReviewContext& c, ShaftId shaft, const ShaftHistory& h, std::vector<Finding>& found) {
  if (!h.cavity_cm3 || h.intervals.empty()) return;
  const GreasingInterval& last = h.intervals.back();
  if (last.ended != Ended::limit || !last.taken_cm3 || *last.taken_cm3 <= kOverfull * *h.cavity_cm3) return;
  if (has_finding(found, FindingKind::abnormal_washout, shaft, {})) return;
  Finding f = start_finding(c, FindingKind::abnormal_washout, shaft, {}, format_uuid(last.id));
  f.first_seen = last.at;
  f.began = When{last.at, last.from, last.at};
  f.evidence = {last.id};
  add_figure(f, "taken", *last.taken_cm3, "cm3");
  add_figure(f, "cavity", *h.cavity_cm3, "cm3");
  add_strength(f, 10 * (*last.taken_cm3 / *h.cavity_cm3 - 1));
  f.summary = fmt::format(
      "took {} cm3 with no back-pressure, more than the cavity of {} cm3 can hold: grease is passing "
      "the seal or a line; stop pumping and look for a discharge",
      figure_text(*last.taken_cm3), figure_text(*h.cavity_cm3));
  f.urgency = Urgency::act;
  explain(f, {"no_back_pressure", "one_shaft"}, {});
  found.push_back(std::move(f));
}

struct Below {
  Instant from{}, to{};
  bool is_open = false;  // it lasts at the last point
  bool emptied = false;  // the greasing that ended it took all the cavity can hold
  Uuid closed_by;
};

// The last stretch in which the median fill stood below the reserve.
std::optional<Below> last_below(const FillResult& fill, const ShaftHistory& h, double reserve_pct) {
  std::optional<Below> out;
  bool in = false;
  for (const FillPoint& p : fill.points) {
    const bool below = p.fill_pct.value < reserve_pct;
    if (below && !in) out = Below{p.at, p.at, false, false, {}};
    if (below && out) out->to = p.at;
    in = below;
  }
  if (!out) return out;
  out->is_open = in;
  for (const GreasingInterval& i : h.intervals) {
    if (i.at < out->from) continue;
    out->closed_by = i.id;
    out->emptied = i.taken_cm3 && h.cavity_cm3 && *i.taken_cm3 >= kEmptied * *h.cavity_cm3;
    break;
  }
  return out;
}

std::string overdue_text(const NextGreasing& n) {
  if (n.overdue_h && n.overdue_days) {
    return fmt::format("{} running hours and {} days", figure_text(*n.overdue_h), figure_text(*n.overdue_days));
  }
  if (n.overdue_h) return fmt::format("{} running hours", figure_text(*n.overdue_h));
  if (n.overdue_days) return fmt::format("{} days", figure_text(*n.overdue_days));
  return "an unknown time";
}

/// How the cavity stands towards its reserve.
enum class Standing : std::uint8_t {
  below,       ///< it is below
  likely,      ///< it is probably below by now
  before_due,  ///< it will probably be below before the next greasing
  was          ///< it was, until it was greased
};

/// \param below the last stretch below the reserve, if there was any
std::optional<Standing> standing_of(const FillResult& fill, const std::optional<Below>& below, const NextGreasing& next,
                                    Instant as_of) {
  const bool has_starved = fill.starved_h && fill.starved_h->best > 10 && fill.starved_h->least > 0;
  if (below && below->is_open) {
    if (fill.p_below_now > kSureEnough) return Standing::below;
    // Else what is overdue is told, and how full the cavity may be with it.
    if (fill.p_below_now > kLikely && (has_starved || !next.is_overdue)) return Standing::likely;
  }
  if (!next.is_overdue && next.due_at && fill.hours_to_reserve && fill.p_below_before_due > kForetold)
    return Standing::before_due;
  const bool was = below && !below->is_open && below->to > as_of - kRecent && has_starved;
  return was ? std::optional{Standing::was} : std::nullopt;
}

/// \param then the day as of which the fill was last known; empty: today
std::string said_of(const ReviewContext& c, const Shaft& shaft, Standing standing, std::optional<Instant> then) {
  const std::string reserve = figure_text(reserve_pct(shaft, c.as_of));
  const std::string on = then ? " on " + c.day(*then) : "";
  switch (standing) {
    case Standing::below:
      return fmt::format("{} below its reserve of {} %{}", then ? "was" : "is", reserve, on);
    case Standing::likely:
      return fmt::format("{} probably below its reserve of {} %{}", then ? "was" : "is", reserve, on);
    case Standing::before_due:
      return fmt::format("will probably be below its reserve of {} % before the next greasing, due {}", reserve,
                         c.day(*c.greasings.at(shaft.id).due_at));
    case Standing::was:
      break;
  }
  return fmt::format("was below its reserve of {} %", reserve);
}

/// What is to be known of a fill that is told long after the last record behind it.
std::string silence_text(const ReviewContext& c, ShaftId shaft, const FillThen& known) {
  constexpr auto kLate = std::chrono::days{30};
  if (known.at < c.as_of) return "; no level, refill or count has told since what it got";
  const HoursCurve* curve = c.curve(shaft);
  if (curve == nullptr || curve->last() >= c.as_of - kLate) return "";
  return fmt::format("; no hours were read since {}: it is taken to have run as before", c.day(curve->last()));
}

/// \param known the fill as it is, or as it was last known
void report_starved(const ReviewContext& c, const Shaft& shaft, const FillThen& known,
                    const std::optional<Below>& below, Standing standing, std::vector<Finding>& found,
                    std::vector<ToldWithin>& within) {
  const FillResult& fill = known.fill;
  const ShaftHistory& h = c.digest.histories.at(shaft.id);
  const NextGreasing& next = c.greasings.at(shaft.id);
  const StarvedHours hours = fill.starved_h.value_or(StarvedHours{});
  const bool is_now = standing == Standing::below || standing == Standing::likely;
  const bool is_today = known.at >= c.as_of;
  const std::string silence = is_now ? silence_text(c, shaft.id, known) : "";
  // Of hours since the fill was last known nobody knows how many were below the reserve.
  const std::string how_long = is_today ? fmt::format("about {} running hours", figure_text(hours.best))
                                        : fmt::format("at least {} running hours", figure_text(hours.least));
  const std::string range =
      is_today ? fmt::format("{} to {}", figure_text(hours.least), figure_text(hours.most)) : std::string{};
  Finding* const other = finding_that_explains(c, found, shaft.id, {});
  if (other != nullptr) {
    other->summary += fmt::format("; the cavity{} {}", other->shaft.is_set() ? "" : " of " + shaft.code,
                                  said_of(c, shaft, standing, is_today ? std::nullopt : std::optional{known.at}));
    if (hours.most >= 1) other->summary += fmt::format(" ({} so far{})", how_long, range.empty() ? "" : ", " + range);
    other->summary += silence;
    if (!is_now) return;
    other->urgency = Urgency::act;
  }
  // A shaft that falls below its reserve time and again is one matter.
  Finding f = start_finding(c, FindingKind::starved, shaft.id, {}, baseline_anchor(h));
  add_fill(c, shaft.id, f);
  if (standing == Standing::before_due) {
    // What the last greasing showed of the loss tells it.
    f.first_seen = h.intervals.empty() ? c.as_of : h.intervals.back().at;
    add_figure(f, "p_before_due", fill.p_below_before_due, "1");
    add_strength(f, log_odds_of(fill.p_below_before_due));
    f.summary = "the cavity " + said_of(c, shaft, standing, std::nullopt);
    const HoursCurve* curve = c.curve(shaft.id);  // hours_to_reserve is known where this is foretold
    const double use = curve == nullptr ? 0 : curve->use_h_per_day();
    if (const auto day = meets_reserve_at(fill.hours_to_reserve->value, use, c.as_of))
      f.summary += fmt::format(": it meets it about {} at the present use; grease it before then", c.day(*day));
  } else {
    // When the level fell is computed; the record that showed it is the greasing that closed the interval.
    f.first_seen = is_now ? std::min(c.as_of, below->from) : below->to;
    for (const GreasingInterval& i : h.intervals) {
      if (i.id == below->closed_by && !is_now) f.first_seen = i.at;
    }
    f.began = When{below->from, below->from, std::max(below->from, below->to)};
    if (!below->closed_by.is_nil()) f.evidence.push_back(below->closed_by);
    // What is over is told once the 5 % limit of its hours is above 0: 19 to 1 at the least.
    add_strength(f, is_now ? log_odds_of(fill.p_below_now) : std::log(19.0));
    const std::string reserve = figure_text(reserve_pct(shaft, c.as_of));
    if (is_now) {
      f.summary = fmt::format("the cavity {} estimated at {} %{}, {}below its reserve of {} %, since {}{}",
                              is_today ? "is" : "was", fill.fill_pct ? figure_text(*fill.fill_pct, "") : "unknown",
                              is_today ? "" : " on " + c.day(known.at), standing == Standing::likely ? "probably " : "",
                              reserve, c.day(below->from), silence);
    } else {
      f.summary = fmt::format("the cavity ran below its reserve of {} % before the greasing of {}", reserve,
                              c.day(f.first_seen));
    }
  }
  if (next.last && (f.evidence.empty() || f.evidence.front() != *next.last)) f.evidence.push_back(*next.last);
  f.urgency = fill.p_below_now > kMayBe && standing != Standing::was ? Urgency::act : Urgency::plan;
  if (next.is_overdue) f.summary += fmt::format("; greasing is overdue by {}", overdue_text(next));
  if (hours.most >= 1)
    f.summary += fmt::format("; {} below the reserve in all{}", how_long, range.empty() ? "" : " (" + range + ")");
  std::vector<std::string> symptoms{"one_shaft"};
  if (standing != Standing::before_due && below->emptied) {
    f.summary += "; the greasing took all the cavity can hold, so the loss is a lower bound only";
    symptoms.emplace_back("emptied");
  }
  if (next.is_overdue) symptoms.emplace_back("overdue");
  explain(f, symptoms, {});
  if (other != nullptr)
    within.push_back({other->id, std::move(f)});
  else
    found.push_back(std::move(f));
}

void report_overdue(const ReviewContext& c, const Shaft& shaft, std::vector<Finding>& found) {
  const NextGreasing& next = c.greasings.at(shaft.id);
  if (!next.is_overdue || has_finding(found, FindingKind::starved, shaft.id, {})) return;
  Finding f = start_finding(c, FindingKind::greasing_overdue, shaft.id, {},
                            next.last ? format_uuid(*next.last) : std::string{"never"});
  f.first_seen = next.due_at.value_or(c.as_of);
  if (next.due_at) f.began = When{*next.due_at, *next.due_at, *next.due_at};
  if (next.last) f.evidence.push_back(*next.last);
  if (next.overdue_h) add_figure(f, "overdue_h", *next.overdue_h, "h");
  if (next.overdue_days) add_figure(f, "overdue_days", *next.overdue_days, "d");
  if (next.expected_cm3) add_figure(f, "expected", *next.expected_cm3, "cm3");
  add_fill(c, shaft.id, f);
  const auto fill = c.fills.find(shaft.id);
  const double p = fill == c.fills.end() ? 0 : fill->second.p_below_now;
  add_strength(f, 5);
  f.summary = fmt::format("manual greasing is overdue by {}", overdue_text(next));
  if (fill != c.fills.end() && fill->second.fill_pct) {
    f.summary += fmt::format("; the cavity is estimated at {} %", figure_text(*fill->second.fill_pct, ""));
  } else {
    f.summary += "; the fill of the cavity is unknown";
  }
  if (next.expected_cm3) f.summary += fmt::format("; expect it to take {}", figure_text(*next.expected_cm3, "cm3"));
  f.urgency = p > kMayBe                                                   ? Urgency::act
              : fill != c.fills.end() && fill->second.fill_pct && p < 0.02 ? Urgency::watch
                                                                           : Urgency::plan;
  explain(f, {"overdue"}, {});
  found.push_back(std::move(f));
}

}  // namespace

void find_washout(const ReviewContext& c, std::vector<Finding>& found, const std::set<ShaftId>& explained) {
  for (const Shaft& shaft : c.log.shafts) {
    const auto w = c.washouts.find(shaft.id);
    if (w == c.washouts.end()) continue;
    const bool is_blamed = has_finding(found, FindingKind::missed_cycles, shaft.id, {}) ||
                           std::any_of(found.begin(), found.end(), [&](const Finding& f) {
                             return f.kind == FindingKind::missed_cycles && f.shaft == shaft.id;
                           });
    if (rise_of(w->second) != nullptr && !explained.contains(shaft.id) && !is_blamed) {
      const WashoutResult& r = w->second;
      report_rise(c, shaft.id, r,
                  {*rise_of(r), r.wear.has_value(), !r.wear && !r.step, r.baseline_cm3_per_h, nullptr, 0}, found);
      for (std::size_t k = 0; k < r.further.size(); ++k) {
        const WashoutRise& more = r.further[k];
        report_rise(c, shaft.id, r, {more.shift, more.is_wear, false, more.baseline_cm3_per_h, &more, k + 1}, found);
      }
    }
    if (w->second.not_back && !explained.contains(shaft.id) && !is_blamed)
      report_not_back(c, shaft.id, w->second, found);
    report_overfull(c, shaft.id, c.digest.histories.at(shaft.id), found);
  }
  report_falls(c, found);
}

void find_starved_and_overdue(const ReviewContext& c, std::vector<Finding>& found, std::vector<ToldWithin>& within) {
  for (const Shaft& shaft : c.log.shafts) {
    if (const std::optional<FillThen> known = c.fill_known(shaft.id)) {
      const auto below = last_below(known->fill, c.digest.histories.at(shaft.id), reserve_pct(shaft, c.as_of));
      if (const auto standing = standing_of(known->fill, below, c.greasings.at(shaft.id), c.as_of); standing)
        report_starved(c, shaft, *known, below, *standing, found, within);
    }
    if (c.greasings.contains(shaft.id)) report_overdue(c, shaft, found);
  }
}

}  // namespace shaftlog
