#include "analysis/dossier_parts.hpp"

#include <algorithm>
#include <cmath>
#include <map>
#include <tuple>

#include <fmt/format.h>

namespace shaftlog {
namespace dossier {
namespace {

std::string hours_text(const StarvedHours& s) {
  if (s.most < 1) return "none";
  return fmt::format("about {:.0f} (least {:.0f}, most {:.0f})", s.best, s.least, s.most);
}

std::string sure_text(double p) {
  if (p > 0.995) return "as good as certain";
  return fmt::format("probability {:.2f}", p);
}

std::string between(Work& w, const Mark& m) {
  if (w.day(m.when.low) == w.day(m.when.high)) return "on " + w.day(m.when.estimate);
  return fmt::format("between {} and {}{}", w.day(m.when.low), w.day(m.when.high),
                     m.spread == Spread::normal ? " (5 to 95 %)" : "");
}

/// What the meter shows, and apart from it what is assumed since it was last read.
std::string running_text(Work& w, const BearingLife& life) {
  if (!life.run_h) return "an unknown number of running hours";
  std::string out;
  if (life.last_reading || life.assumed_h < 0.5) {
    out = fmt::format("{:.0f} running hours by the meter", *life.run_h - life.assumed_h);
    if (life.last_reading && life.assumed_h >= 0.5)
      out += fmt::format(", last read on {}; {:.0f} more are assumed since, at its recent use",
                         w.day(*life.last_reading), life.assumed_h);
  } else {
    out = fmt::format("the meter was not read; {:.0f} running hours are assumed", life.assumed_h);
  }
  const double last_assumed = std::min(life.assumed_h, life.after_last_h);
  out += fmt::format(". {:.0f} lie between its greasings", life.judged_h - life.after_last_h);
  if (life.after_last_h >= 0.5) {
    out += fmt::format(", {:.0f} after the last of them", life.after_last_h);
    if (last_assumed >= 0.5)
      out += fmt::format(" ({:.0f} by the meter, {:.0f} assumed)", life.after_last_h - last_assumed, last_assumed);
  }
  return out;
}

std::string name_of_life(Work& w, const Dossier& d, std::size_t i) {
  const BearingLife& l = d.lives[i];
  if (l.is_first && l.is_standing && l.from == l.to) return "no record of it";
  std::string begin = l.is_first
                          ? fmt::format("in place at the first record of {}, older by an unknown time", w.day(l.from))
                          : "put in on " + w.day(l.from);
  return fmt::format("{}, {}", begin, l.is_standing ? "still in place" : "taken out on " + w.day(l.to));
}

}  // namespace

void add_answer(Work& w, Dossier& d) {
  std::vector<std::string>& out = d.answer;
  const BearingLife& life = d.lives[d.focus];
  out.push_back(fmt::format("The bearing in question: {}; {}.", name_of_life(w, d, d.focus), running_text(w, life)));

  const Mark* first = nullptr;
  for (const Mark& m : d.marks)
    if (m.role == MarkRole::change && (first == nullptr || m.p_first > first->p_first)) first = &m;
  constexpr double kSure = 0.9, kWorthNaming = 0.05;
  const bool is_sure = first != nullptr && first->p_first >= kSure;
  if (is_sure) {
    out.push_back(fmt::format("What changed first: {}, {}: {} (first of the changes found: {}).", first->channel,
                              between(w, *first), first->text, sure_text(first->p_first)));
  } else if (first != nullptr) {
    std::string names;
    for (const Mark& m : d.marks)
      if (m.role == MarkRole::change && m.p_first >= kWorthNaming)
        names += fmt::format("{}{} ({:.2f})", names.empty() ? "" : ", ", m.channel, m.p_first);
    out.push_back(fmt::format("What changed first is not sure, the ranges overlap: probability of {}.", names));
    out.push_back(fmt::format("Likeliest: {}, {}: {}.", first->channel, between(w, *first), first->text));
  } else {
    out.push_back("What changed first: no lasting change was found in anything that was looked at.");
  }
  for (const Mark& m : d.marks) {
    // What the review lays to the first change belongs beside it.
    const bool is_laid = m.role == MarkRole::consequence && m.channel == "washout";
    if (m.role == MarkRole::event || &m == first) continue;
    std::string order;
    if (first != nullptr && !is_laid) {
      const double p = p_before(*first, m);
      order = p >= 0.5 ? fmt::format(" (after the {} change: {})", is_sure ? "first" : "likeliest first", sure_text(p))
                       : fmt::format(" (before the likeliest first change: {})", sure_text(1 - p));
    }
    out.push_back(fmt::format("Then: {}, {}: {}{}.", m.channel, between(w, m), m.text, order));
  }

  if (life.ended_with) {
    const Entry* e = w.entry(*life.ended_with);
    if (e != nullptr && !e->head.remark.empty())
      out.push_back(fmt::format("What was written when it was taken out: \"{}\"{}.", e->head.remark,
                                e->head.by.empty() ? "" : fmt::format(" ({})", e->head.by)));
  }

  if (life.starved_h) {
    double least = 0, usual = 0;
    for (const IntervalAccount& a : life.intervals) {
      least += a.least_h;
      usual += a.usual_h;
    }
    std::string text = fmt::format(
        "Running hours below the reserve of {} % of {} cm3: {} of {:.0f}{}.", pct_text(life.reserve_pct),
        life.cavity_cm3 ? figure_text(*life.cavity_cm3) : "?", hours_text(*life.starved_h), life.judged_h,
        life.assumed_h >= 0.5 ? fmt::format(", the {:.0f} assumed since the last reading included", life.assumed_h)
                              : "");
    if (least > 0 || usual > 0)
      text += fmt::format(
          " By hand, the loss even over each interval: {:.0f} at the lowest loss that the amounts allow, {:.0f} at the "
          "shaft's usual loss.",
          least, usual);
    out.push_back(std::move(text));
  } else {
    const bool takes_less =
        std::any_of(d.marks.begin(), d.marks.end(), [](const Mark& m) { return m.channel == kIntake; });
    out.push_back(fmt::format("Running hours below the reserve: cannot be told, {}.",
                              !life.cavity_cm3 ? "the capacity of the cavity is not known"
                              : !life.run_h    ? "no running hours are known"
                              : takes_less     ? "it is not known whether the grease reached the bearing"
                                               : "no greasing tells the loss"));
  }
  if (!life.seals.empty()) {
    const std::optional<Estimate> before = w.detail(life.seals.back()).washout.washout_cm3_per_h;
    if (before && life.washout_cm3_per_h)
      out.push_back(fmt::format("The seal was replaced on {}: the loss was {} by then, and is {} {}.",
                                w.day(life.seals.back()), figure_text(*before, "cm3/h"),
                                figure_text(*life.washout_cm3_per_h, "cm3/h"),
                                life.is_standing ? "at the end of the view" : "at the end of its life"));
  }
  std::string unknown;
  for (const LookedAt& l : d.looked_at)
    if (l.result == LookedAt::Result::unknown) unknown += (unknown.empty() ? "" : ", ") + l.channel;
  if (!unknown.empty()) out.push_back(fmt::format("Cannot be told from the records: {}. See below for why.", unknown));
  for (std::size_t i = 0; i < d.lives.size(); ++i) {
    if (i == d.focus) continue;
    const BearingLife& l = d.lives[i];
    out.push_back(fmt::format("The other bearing ({}): running hours below the reserve {}.", name_of_life(w, d, i),
                              l.starved_h ? hours_text(*l.starved_h) : "cannot be told"));
  }
}

void add_caveats(Work& w, Dossier& d) {
  std::vector<std::string>& out = d.caveats;
  const BearingLife& life = d.lives[d.focus];
  out.emplace_back(
      "Below the reserve is not dry, and dry is not damage: what the metal did is for the examination of the parts. "
      "The hours below the reserve are an exposure, not a cause.");
  out.emplace_back(
      "Nothing here says who or what is to blame. First in time is not the cause; a change that is not in the records "
      "cannot be in the order.");
  out.emplace_back(
      "The records are taken as true unless others contradict them. What was done and not written, or written and not "
      "done, cannot be seen; greasings that were done and not recorded would make the hours below the reserve fewer.");
  if (life.starved_h)
    out.push_back(fmt::format(
        "Assumed for the fill: the cavity holds {} cm3 and the reserve is {} % as registered{}; a greasing that ended "
        "with "
        "back-pressure left it full within the repeatability of \"full\" ({} cm3, 1 sd); loss and delivery are even "
        "over the "
        "hours between two greasings. Back-pressure from a blocked path looks the same as a full cavity.",
        life.cavity_cm3 ? figure_text(*life.cavity_cm3) : "?", pct_text(life.reserve_pct),
        [&] {
          const ShaftSetting* s = setting_at(w.shaft.settings, life.to);
          return s == nullptr || !s->reserve ? " (no reserve is registered: 20 % is the program's usual value)" : "";
        }(),
        figure_text(w.detail(life.to).prior.fill_sd_cm3)));
  if (life.starved_h && life.starved_h->most > 0)
    out.emplace_back(
        "Least: the 5 % point, with the loss at the low end of what the records allow in all intervals together. Best: "
        "the "
        "median. Most: the 95 % point, with the loss at the high end. An emptied cavity bounds the loss from below "
        "only, so "
        "the high end is the one more open to argument. With no assumption on how the loss was spread within an "
        "interval "
        "the least that can be proved is 0: all of it could have gone on the last day.");
  if (!life.seals.empty())
    out.push_back(
        fmt::format("The seal was replaced {} within the life of this bearing. The hours of each stretch are added "
                    "limit by limit: the "
                    "range is then wider than 90 %.",
                    life.seals.size() == 1 ? "once" : fmt::format("{} times", life.seals.size())));
  if (life.run_h && *life.run_h > life.judged_h + 1)
    out.push_back(
        fmt::format("{:.0f} of the bearing's {:.0f} running hours lie before its first greasing or across its "
                    "replacement: its fill is "
                    "not known then, and they are in no figure.",
                    *life.run_h - life.judged_h, *life.run_h));
  if (life.is_first)
    out.emplace_back("The records begin while the bearing was in place: what it ran through before is not known.");
  if (life.censored > 0)
    out.push_back(
        fmt::format("{} of the {} intervals between its greasing records measured the loss; the others only bound it.",
                    life.exact, life.exact + life.censored));
  double usual = 0;
  for (const IntervalAccount& a : life.intervals) usual += a.is_bound ? a.usual_h : 0;
  if (usual > 1 && life.starved_h)
    out.emplace_back(
        "The computed middle lies above the sum by hand at the usual loss: an interval that emptied the cavity rules "
        "out the "
        "low side of what its loss may have been, and so moves its middle up. Both are shown; neither is a bound.");
  double packed = 0, largest = 0;
  for (const auto& g : w.log.greasings) {
    if (g.shaft != w.shaft.id || !g.what.amount || !g.what.amount->volume) continue;
    const double y = in_cm3(*g.what.amount->volume);
    if (g.what.ended == Ended::packed) packed = y;
    largest = std::max(largest, y);
  }
  if (life.cavity_cm3)
    out.push_back(fmt::format("The capacity of {} cm3 is the register's; {}. The drawing or a measurement decides.",
                              figure_text(*life.cavity_cm3),
                              packed > 0
                                  ? fmt::format("a packing after work on the cavity took {} cm3", figure_text(packed))
                                  : fmt::format("the largest amount that went in was {} cm3", figure_text(largest))));
  const auto put_right = std::count_if(w.in.put_right.begin(), w.in.put_right.end(),
                                       [&](const PutRight& r) { return r.at <= w.in.as_of; });
  out.push_back(fmt::format(
      "The register (capacity, reserve, intervals, doses, guns) is used as it stands, at every day looked at; {}.",
      put_right == 0
          ? "none of its rows that bear on this shaft was put right later"
          : fmt::format("{} of its rows that bear on this shaft {} put right later: see the timeline for what {} said",
                        put_right, put_right == 1 ? "was" : "were", put_right == 1 ? "it" : "they")));
  int typed = 0, files = 0;
  for (const Entry& e : w.in.entries)
    if (w.concerns(e.shaft, e.lubricator)) ++(e.head.source == "typed" ? typed : files);
  out.push_back(
      fmt::format("When a record was written, and by whom, is what the file says: {} of the {} records behind this "
                  "were brought in from "
                  "files, which state it themselves; {} were typed into the program.",
                  files, files + typed, typed));
  const WashoutPrior& prior = w.detail(life.to).prior;
  const bool is_drawn = w.in.usual_ships < w.in.ships;
  const std::string learnt_from =
      is_drawn ? fmt::format(" of {} ships, drawn by lot from the {} of the file", w.in.usual_ships, w.in.ships)
               : std::string{" of the file"};
  if (prior.shafts > 0)
    out.push_back(fmt::format(
        "What is usual was learnt from {} shafts{} (loss {} cm3/h in the middle, spread {} of "
        "its logarithm). Without "
        "those ships' records the figures differ a little{}.",
        prior.shafts, learnt_from, figure_text(std::exp(prior.mean_log_w)), figure_text(prior.sd_log_w),
        life.sensitivities.empty() ? "" : ": \"the same total were one assumption another\" shows by how much"));
  else
    out.emplace_back(
        "Too few shafts are in the file to learn from: the program's own starting values stand for sister shafts.");
  if (!w.feeding.empty())
    out.emplace_back(
        "What the automatic system delivered is what left the reservoir by its balance, shared by the settings. What "
        "arrived "
        "at this bearing was not measured; a dual-line system gives no alarm for one device.");
  const Lateness& l = d.lateness;
  if (l.after_the_end > 0)
    out.push_back(fmt::format("{} of the records about the time before {} were written after it.", l.after_the_end,
                              w.day(life.to)));
  if (!d.suspects.empty())
    out.push_back(fmt::format(
        "{} of the records contradict others; they are kept, weighed lightly or left out of sums, and listed below.",
        d.suspects.size()));
  // Records that all carry one moment of writing were brought in together: when they were written aboard is lost.
  std::map<Instant, int> moments;
  int total = 0;
  for (const auto& g : w.log.greasings) {
    if (g.shaft != w.shaft.id) continue;
    ++total;
    ++moments[g.recorded_at];
  }
  for (const auto& [t, n] : moments)
    if (n >= 5 && n * 2 > total)
      out.push_back(fmt::format(
          "{} of {} greasings carry the same moment of writing, {}: they were brought in together, and when they were "
          "written aboard is not known. The statements on what was known when do not hold for them.",
          n, total, format_utc(t)));
  int round = 0, told = 0;
  std::map<std::string, int> same;
  for (const auto& g : w.log.greasings) {
    if (g.shaft != w.shaft.id || !g.what.amount || g.at > life.to || g.at < life.from) continue;
    ++told;
    ++same[fmt::format("{} {}", g.what.amount->typed, name_of(g.what.amount->unit))];
  }
  std::string which;
  for (const auto& [text, n] : same)
    if (n >= 3 && n > round) {
      round = n;
      which = text;
    }
  if (round >= 3)
    out.push_back(
        fmt::format("{} of {} amounts are the same number, {}: a set charge or a habit. Such a number tells that so "
                    "much went in, not what "
                    "was lacking.",
                    round, told, which));
  std::string shared;
  for (const Mark& a : d.marks)
    for (const Mark& b : d.marks) {
      if (&a >= &b || a.role == MarkRole::event || b.role == MarkRole::event) continue;
      const bool shares = std::any_of(a.records.begin(), a.records.end(), [&](const Uuid& id) {
        return std::find(b.records.begin(), b.records.end(), id) != b.records.end();
      });
      if (shares) shared += fmt::format("{}{} and {}", shared.empty() ? "" : "; ", a.channel, b.channel);
    }
  if (!shared.empty())
    out.push_back(
        fmt::format("Some of the changes rest partly on the same records ({}): which came first is then less sure than "
                    "two independent "
                    "ranges would make it.",
                    shared));
}

}  // namespace dossier

bool is_told_known(const Dossier& d) { return d.lateness.after_the_end * 20 <= d.lateness.before_the_end; }

std::string untold_text(const Dossier& d, const Zone& zone) {
  return fmt::format(
      "What the program would have said at the time cannot be told: {} of {} records were written into the file after "
      "{}.",
      d.lateness.after_the_end, d.lateness.before_the_end, format_day(d.lives[d.focus].to, zone));
}

void answer_told(Dossier& d, const VesselLog& log) {
  if (!d.told_step_days) return;
  const BearingLife& life = d.lives[d.focus];
  const Zone zone{log.vessel.time_zone};
  const Told* first = nullptr;
  const Told* act = nullptr;
  for (const Told& t : d.told) {
    if (t.first < life.from || t.first > life.to) continue;
    // What is wrong with the bearing before what is wrong with the log, of which the gap that lasted longest.
    const auto rank = [](const Told& x) {
      const bool is_log = x.kind == FindingKind::records_missing;
      return std::tuple{is_log, is_log ? (x.first - x.last).count() : 0, x.first};
    };
    if (first == nullptr || rank(t) < rank(*first)) first = &t;
    if (t.first_act && (act == nullptr || *t.first_act < *act->first_act)) act = &t;
  }
  const auto spoken = [](FindingKind k) {
    std::string s{name_of(k)};
    std::replace(s.begin(), s.end(), '_', ' ');
    return s;
  };
  if (!is_told_known(d)) {
    d.told.clear();
    d.told_step_days.reset();
    d.answer.push_back(untold_text(d, zone));
    return;
  }
  if (first == nullptr) {
    d.answer.push_back("With what was recorded at the time the program would have said nothing about this shaft.");
    return;
  }
  std::string text = fmt::format("With what was recorded by then the program would have first spoken on {}: {}",
                                 format_day(first->first, zone), spoken(first->kind));
  if (act != nullptr)
    text += fmt::format("; the first day with \"act\" was {} ({}), {:.0f} days before {}",
                        format_day(*act->first_act, zone), spoken(act->kind), days_between(*act->first_act, life.to),
                        life.is_standing ? "the end of the view" : "the bearing was taken out");
  d.answer.push_back(text + ".");
}

}  // namespace shaftlog
