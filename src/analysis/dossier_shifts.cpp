#include "analysis/change_point.hpp"
#include "analysis/distributions.hpp"
#include "analysis/dossier_finder.hpp"

namespace shaftlog::dossier {

std::vector<Instant> Finder::checkpoints() const {
  constexpr std::size_t kMost = 8;
  std::vector<Instant> out;
  for (const auto& r : w_.log.work) {
    const bool mends = r.what.work == WorkKind::seal_replaced || r.what.work == WorkKind::metering_replaced ||
                       r.what.work == WorkKind::line_repaired || r.what.work == WorkKind::pump_repaired ||
                       r.what.work == WorkKind::controller_changed || r.what.work == WorkKind::lubricator_on ||
                       r.what.work == WorkKind::setting_corrected || r.what.work == WorkKind::bled;
    if (mends && w_.concerns(r.shaft, r.lubricator) && r.at > life_.from && r.at < life_.to) out.push_back(r.at);
  }
  if (out.size() > kMost) out.erase(out.begin(), out.end() - kMost);
  out.push_back(life_.to);
  return out;
}

/// What it takes at back-pressure, where that fell: the review's finding, by then or before work that may have ended
/// it.
void Finder::intake() {
  for (const Instant t : checkpoints()) {
    for (const Finding& f : w_.at(t).review.findings) {
      if (f.kind != FindingKind::less_grease_taken || !f.is_about(w_.shaft.id) || !f.began ||
          f.began->high < life_.from)
        continue;
      const bool is_told = std::any_of(d_.marks.begin(), d_.marks.end(), [&](const Mark& m) {
        return m.channel == kIntake && m.when.low <= f.began->high && f.began->low <= m.when.high;
      });
      if (is_told) continue;
      Mark m{kIntake, MarkRole::change, *f.began, Spread::even, f.summary, {}, 0, f.evidence, 0};
      for (const Figure& x : f.figures) {
        if (x.name == "factor") m.factor = x.estimate;
        if (x.name == "strength") m.strength = x.estimate.value;
      }
      m.text += fmt::format("; the evidence sufficed on {}", w_.day(f.first_seen));
      mark(std::move(m), "fell");
    }
  }
}

void Finder::washout() {
  bool found = false;
  for (const Instant t : checkpoints()) {
    const WashoutResult& r = w_.detail(t).washout;
    if (const WashoutShift* told = w_.rise(t, w_.shaft.id); told != nullptr && told->began.high >= life_.from) {
      const WashoutShift& shift = *told;
      const bool is_known = std::any_of(d_.marks.begin(), d_.marks.end(), [&](const Mark& m) {
        return m.channel == "washout" && m.when.low <= shift.began.high && shift.began.low <= m.when.high;
      });
      if (is_known) continue;
      Mark m{"washout", MarkRole::change, shift.began, Spread::normal, "", shift.factor, shift.strength, shift.evidence,
             0};
      m.text = r.high && told == &*r.high
                   ? fmt::format("the loss was {} times that of shafts of its group from the first records on",
                                 figure_text(shift.factor, ""))
               : r.wear && told == &*r.wear
                   ? fmt::format("the loss began to climb, {} % per 1000 running hours, {} times its usual one by then",
                                 figure_text(shift.slope_pct_per_1000h, ""), figure_text(shift.factor, ""))
                   : fmt::format("the loss stepped up {} times", figure_text(shift.factor, ""));
      m.text += fmt::format("; the evidence sufficed on {}", w_.day(shift.first_seen));
      found = true;
      mark(std::move(m), r.high && told == &*r.high ? "high from the start" : "rose");
    }
  }
  if (found) return;
  const WashoutResult& r = w_.detail(life_.to).washout;
  std::optional<Instant> measured;
  int bounds = 0;
  for (const IntervalAccount& a : life_.intervals) {
    if (a.record.is_nil()) continue;
    if (a.is_bound) {
      ++bounds;
    } else {
      measured = a.to;
      bounds = 0;
    }
  }
  if (std::any_of(d_.marks.begin(), d_.marks.end(), [](const Mark& m) { return m.channel == kIntake; })) {
    looked("washout", LookedAt::Result::unknown,
           "since it takes less grease the amounts do not tell what it loses; up to then no lasting rise");
    return;
  }
  if (r.step || r.wear || r.high) {
    looked("washout", LookedAt::Result::unknown,
           w_.feeding.empty()
               ? "a rise is computed, but another finding of the review explains it"
               : "by the doses called for the loss would have risen, but what did not arrive explains that: see the "
                 "delivery; a rise of the loss itself is not established");
    return;
  }
  if (!measured || !r.washout_cm3_per_h) {
    looked("washout", LookedAt::Result::unknown, "no greasing of this bearing measured the loss");
    return;
  }
  std::string text =
      fmt::format("no lasting change of the loss while it could be measured, up to {}", w_.day(*measured));
  if (life_.baseline_cm3_per_h) text += fmt::format("; usual loss {}", figure_text(*life_.baseline_cm3_per_h, "cm3/h"));
  if (!r.steps.empty())
    text += fmt::format("; probability of a rise by the end {:.2f}", r.steps.back().p_step + r.steps.back().p_wear);
  if (bounds > 0)
    text += fmt::format(
        "; the {} after it only bound{} the loss from below, so a rise in that time can be neither shown "
        "nor excluded",
        count_text(bounds, "greasing", "greasings"), bounds == 1 ? "s" : "");
  looked("washout", bounds > 0 ? LookedAt::Result::unknown : LookedAt::Result::unchanged, std::move(text));
}

void Finder::add_shift(std::string channel, const RatioShift& s, std::string text) {
  if (s.began.high < life_.from) return;
  const bool is_told = std::any_of(d_.marks.begin(), d_.marks.end(), [&](const Mark& m) {
    return m.channel == channel && m.when.low <= s.began.high && s.began.low <= m.when.high;
  });
  if (is_told) return;
  Mark m{std::move(channel), MarkRole::change, s.began, Spread::normal, std::move(text), s.ratio,
         s.strength,         s.evidence,       0};
  m.text += fmt::format("; the evidence sufficed on {}", w_.day(s.first_seen));
  mark(std::move(m), "changed");
}

void Finder::delivery() {
  if (w_.feeding.empty()) {
    looked("automatic delivery", LookedAt::Result::unchanged, "greased by hand only: no lubricator feeds this shaft");
    return;
  }
  for (const LubricatorId id : w_.feeding) {
    const Lubricator* l = w_.find_lubricator(id);
    if (l == nullptr) continue;
    const std::string left = l->code + " delivery ratio", cycles = l->code + " cycle ratio";
    const std::size_t before = d_.marks.size();
    for (const Instant t : checkpoints()) {
      const LubricatorDetail* r = w_.lubricator(t, id);
      if (r == nullptr) continue;
      const DeliveryResult& x = r->delivery;
      if (x.cycles_low)
        add_shift(cycles, *x.cycles_low,
                  x.is_counter_wrong
                      ? fmt::format("the counter of {} shows only {} of the cycles that the hours run called for; the "
                                    "reservoir empties as they call for",
                                    l->code, figure_text(x.cycles_low->ratio, ""))
                      : fmt::format("{} made only {} of the cycles that the hours run called for, {} cm3 not delivered",
                                    l->code, figure_text(x.cycles_low->ratio, ""),
                                    figure_text(x.cycles_low->amount_cm3.value)));
      if (x.cycles_high)
        add_shift(cycles, *x.cycles_high,
                  fmt::format("{} made {} times the cycles that the hours run called for", l->code,
                              figure_text(x.cycles_high->ratio, "")));
      if (x.low) {
        std::string text =
            fmt::format("only {} of the grease that the doses called for left the reservoir of {}, {} cm3 missing",
                        figure_text(x.low->ratio, ""), l->code, figure_text(x.low->amount_cm3.value));
        const auto& blames = w_.at(t).digest.blame;
        if (const auto b = blames.find(id); b != blames.end() && b->second.shaft.is_set())
          text += fmt::format("; laid to the device or line of {} by the manual greasings",
                              b->second.shaft == w_.shaft.id ? "this shaft" : "another shaft");
        add_shift(left, *x.low, std::move(text));
      }
      if (x.high)
        add_shift(left, *x.high,
                  fmt::format("{} times the grease that the doses account for left the reservoir of {}",
                              figure_text(x.high->ratio, ""), l->code));
    }
    if (d_.marks.size() > before) continue;
    const LubricatorDetail* r = w_.lubricator(life_.to, id);
    if (r == nullptr || !r->delivery.delivery_ratio)
      looked(left, LookedAt::Result::unknown, "the levels and refills do not say");
    else
      looked(left, LookedAt::Result::unchanged,
             fmt::format("{} of what the doses called for left the reservoir, no lasting departure from 1",
                         figure_text(*r->delivery.delivery_ratio, "")));
    if (r == nullptr || !r->delivery.cycle_ratio)
      looked(cycles, LookedAt::Result::unknown, "no cycle counter was read");
  }
}

void Finder::alarms() {
  const auto judge = [&](const std::string& channel, const std::optional<AlarmRateResult>& rate, std::size_t n) {
    if (!rate) {
      looked(channel, n == 0 ? LookedAt::Result::unchanged : LookedAt::Result::unknown,
             n == 0 ? "no alarm recorded" : "no running hours to count the alarms against");
      return;
    }
    if (rate->rise && rate->rise->began.high >= life_.from) {
      const AlarmShift& s = *rate->rise;
      Mark m{channel, MarkRole::change, s.began, Spread::normal, "", s.factor, s.strength, s.evidence, 0};
      m.text = fmt::format("alarms came {} times as often", figure_text(s.factor, ""));
      mark(std::move(m), "rose");
      return;
    }
    looked(channel, LookedAt::Result::unchanged,
           fmt::format("{} since the last work on it, {} per 1000 running hours, no lasting rise",
                       count_text(rate->episodes, "alarm", "alarms"), figure_text(rate->per_1000h, "")));
  };
  const ShaftDetail& s = w_.detail(life_.to);
  if (w_.feeding.empty() && s.alarms.empty()) {
    looked("alarms", LookedAt::Result::unchanged, "none recorded, and a shaft greased by hand has none to give");
    return;
  }
  if (!s.alarms.empty()) judge("alarms of the shaft", s.alarm_rate, s.alarms.size());
  for (const LubricatorId id : w_.feeding) {
    const LubricatorDetail* l = w_.lubricator(life_.to, id);
    const Lubricator* row = w_.find_lubricator(id);
    if (l != nullptr && row != nullptr) judge("alarms of " + row->code, l->alarm_rate, l->alarms.size());
  }
}

void Finder::use() {
  constexpr int kBucket_days = 28;
  constexpr double kWorthTelling = 1.3;
  const HoursCurve& curve = w_.detail(life_.to).hours;
  if (curve.is_empty()) {
    looked("running hours a day", LookedAt::Result::unknown, "no hour meter readings");
    return;
  }
  const Instant from = std::max(life_.from, curve.first()), to = std::min(life_.to, curve.last());
  std::vector<double> use;
  std::vector<Instant> starts;
  for (Instant t = from; t + std::chrono::days{kBucket_days} <= to; t += std::chrono::days{kBucket_days}) {
    starts.push_back(t);
    use.push_back(curve.run_h(t, t + std::chrono::days{kBucket_days}) / kBucket_days);
  }
  const bool varies = use.size() >= 8 &&
                      std::any_of(use.begin(), use.end(), [&](double u) { return std::abs(u - use.front()) > 1e-9; });
  if (!varies) {
    looked("running hours a day", LookedAt::Result::unknown, "too few readings to tell a change from the weather");
    return;
  }
  const LevelShift s = find_level_shift(use, 0.9);
  const auto n = static_cast<double>(use.size());
  const double p_f = f_tail(s.sup_f, 1, n - 2) * n;  // a break is searched for over all months
  const double ratio = s.mean_before > 0 ? s.mean_after / s.mean_before : 0;
  double sum = 0;
  for (const double u : use) sum += u;
  const bool is_told =
      p_f < 0.01 && (ratio > kWorthTelling || ratio < 1 / kWorthTelling) && s.at > 0 && s.at < use.size();
  if (!is_told) {
    looked("running hours a day", LookedAt::Result::unchanged,
           fmt::format("{} a day on average, no lasting change by a factor of {} or more", figure_text(sum / n),
                       figure_text(kWorthTelling)));
    return;
  }
  Mark m;
  m.channel = "running hours a day";
  m.role = MarkRole::change;
  m.spread = Spread::normal;
  const auto start = [&](std::size_t i) { return i < starts.size() ? starts[i] : to; };
  m.when = {start(s.at), start(std::min(s.low, s.at)), start(std::max(s.high, s.at))};
  m.factor = Estimate{ratio, ratio, ratio};
  m.text = fmt::format("{} running hours a day instead of {}, by months of four weeks", figure_text(s.mean_after),
                       figure_text(s.mean_before));
  mark(std::move(m), "changed");
}

// Several shafts that rose together have one cause and so one moment: their estimates are pooled by their precision,
// own and others'. Rises of other shafts alone are one mark, the earliest.
void Finder::other_shafts() {
  struct Rise {
    const Shaft* shaft;
    const WashoutShift* shift;
  };
  int others = 0;
  std::vector<Rise> rises;
  for (const Shaft& s : w_.log.shafts) {
    if (s.id == w_.shaft.id) continue;
    const WashoutResult& r = w_.detail(life_.to, s.id).washout;
    if (!r.washout_cm3_per_h) continue;
    ++others;
    if (const WashoutShift* told = w_.rise(life_.to, s.id); told != nullptr && !r.high) rises.push_back({&s, told});
  }
  if (rises.empty()) {
    looked("other shafts of the ship", others == 0 ? LookedAt::Result::unknown : LookedAt::Result::unchanged,
           others == 0 ? "none whose loss is known"
                       : fmt::format("{}: no lasting rise of loss", count_text(others, "other shaft", "other shafts")));
    return;
  }
  std::string told;
  for (const Rise& r : rises)
    told += fmt::format("{}{} rose {} times {}", told.empty() ? "" : "; ", r.shaft->code,
                        figure_text(r.shift->factor, ""), w_.on_days(r.shift->began));
  constexpr auto kTogether = std::chrono::days{45};
  const auto own = std::find_if(d_.marks.begin(), d_.marks.end(), [](const Mark& m) { return m.channel == "washout"; });
  if (own != d_.marks.end()) {
    std::vector<const When*> moments{&own->when};
    for (const Rise& r : rises)
      if (r.shift->began.low <= own->when.high + kTogether && own->when.low <= r.shift->began.high + kTogether)
        moments.push_back(&r.shift->began);
    if (moments.size() > 1 && (moments.size() - 1) * 2 >= static_cast<std::size_t>(others)) {
      double weight = 0, sum = 0;
      for (const When* m : moments) {
        const double sd = std::max(0.5, days_between(m->low, m->high) / 3.29);
        weight += 1 / (sd * sd);
        sum += days_between(own->when.estimate, m->estimate) / (sd * sd);
      }
      const auto at = [&](double z) {
        const double days = sum / weight + z * 1.645 / std::sqrt(weight);
        return own->when.estimate + std::chrono::seconds{static_cast<std::int64_t>(days * 86400)};
      };
      own->text += fmt::format(
          "; {} of {} other shafts of the ship rose with it, so the moment is estimated from all of them as "
          "one: by itself this shaft says {}",
          moments.size() - 1, others, w_.on_days(own->when));
      own->when = {at(0), at(-1), at(1)};
      looked("other shafts of the ship", LookedAt::Result::changed, told + "; look for a common cause before any seal");
      return;
    }
  }
  const auto first = std::min_element(rises.begin(), rises.end(), [](const Rise& a, const Rise& b) {
    return a.shift->began.estimate < b.shift->began.estimate;
  });
  Mark m{"other shafts",
         MarkRole::event,  // not of this shaft
         first->shift->began,    Spread::normal,         told, first->shift->factor,
         first->shift->strength, first->shift->evidence, 0};
  looked("other shafts of the ship", LookedAt::Result::changed, told);
  d_.marks.push_back(std::move(m));
}

// Where the review holds a change of grease for the one cause of the rises, the rise follows it: as a change of its own
// it would compete with what caused it.
void Finder::common_cause() {
  const Finding* f = w_.common_cause(life_.to, w_.shaft.id);
  if (f == nullptr || !f->began) return;
  const auto rise =
      std::find_if(d_.marks.rbegin(), d_.marks.rend(), [](const Mark& m) { return m.channel == "washout"; });
  constexpr auto kSameChange = std::chrono::days{30};
  const auto change = std::find_if(d_.marks.begin(), d_.marks.end(), [&](const Mark& m) {
    return (m.channel == "grease" || m.channel == "settings") && m.when.estimate >= f->began->estimate - kSameChange &&
           m.when.estimate <= f->began->estimate + kSameChange;
  });
  if (rise == d_.marks.rend() || change == d_.marks.end()) return;
  change->text += fmt::format("; {} lose more since, which the review lays to this one cause",
                              count_text(static_cast<double>(f->shafts.size()), "shaft", "shafts"));
  rise->role = MarkRole::consequence;
  rise->text +=
      fmt::format("; the review lays it to the change of grease first recorded on {}", w_.day(change->when.estimate));
  if (rise->when.low < change->when.estimate)
    rise->text += ": that its range begins earlier is the width of the range, or a pail opened before it was written";
}

}  // namespace shaftlog::dossier
