#include "analysis/dossier_parts.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

namespace shaftlog::dossier {
namespace {

/// What a word of the cause table asks, so that a reader can answer it.
std::string_view question(std::string_view word) {
  static constexpr std::pair<std::string_view, std::string_view> kQuestions[]{
      {"after_contact", "whether fin, rudder or thruster struck something at that time"},
      {"step", "whether the loss jumped at once"},
      {"slow_rise", "whether the loss or the measurement climbed slowly"},
      {"one_shaft", "whether this shaft alone is concerned"},
      {"all_shafts", "whether the other shafts changed at the same time"},
      {"no_back_pressure", "whether a full charge went in with no back-pressure"},
      {"high_from_start", "whether the loss was high from the first records on"},
      {"after_grease_change", "whether another grease was used"},
      {"gun_changed", "whether another gun was used"},
      {"person_changed", "whether another person greased"},
      {"water_seen", "whether water came out at the seal or was found in a sample"},
      {"counter_stopped", "whether the cycle counter stood or ran too slowly"},
      {"share_of_one_shaft", "whether what is missing is the share of one shaft"},
      {"alarms_none", "whether no alarm came"},
      {"alarms_no_pressure", "whether pressure or change-over alarms came"},
      {"alarms_supply", "whether low level, empty or power alarms came"},
      {"alarms_high_pressure", "whether high pressure alarms came"},
      {"one_line", "whether one line of the two was named in the alarms"},
      {"after_refill", "whether it began with a refill"},
      {"after_docking", "whether it began with a docking"},
      {"after_setting_change", "whether it began with a change of setting, controller or device"},
      {"cold", "whether the grease was cold and stiff (temperatures are not recorded)"},
      {"overdue", "whether the manual greasing was overdue"},
      {"emptied", "whether a greasing took all that the cavity can hold"},
      {"line_leak", "whether more left the reservoir than the doses account for"},
      {"over_limit", "whether a sample passed its limit"}};
  for (const auto& [w, q] : kQuestions)
    if (w == word) return q;
  return word;
}

class Judge {
 public:
  Judge(Work& w, const Dossier& d, const When& began)
      : w_{w}, d_{d}, life_{d.lives[d.focus]}, began_{began}, state_{w.at(life_.to)}, own_{w.detail(life_.to)} {}

  Symptom seen(const std::string& word) const {
    Symptom s{word, Seen::unknown, std::string{question(word)}};
    if (word == "after_contact") return by_work(s, {WorkKind::contact}, 14, 3, "contact");
    if (word == "after_docking") return by_work(s, {WorkKind::docked, WorkKind::undocked}, 3, 3, "docking");
    if (word == "after_setting_change")
      return by_work(s, {WorkKind::setting_corrected, WorkKind::controller_changed, WorkKind::metering_replaced}, 3, 3,
                     "change of setting, controller or device");
    if (word == "step" || word == "slow_rise" || word == "high_from_start") return by_washout(s);
    if (word == "one_shaft" || word == "all_shafts") return by_others(s);
    if (word == "gun_changed") return by_channel(s, "gun");
    if (word == "person_changed") return by_channel(s, "person who greases");
    if (word == "after_grease_change") return by_channel(s, "grease");
    if (word == "no_back_pressure" || word == "emptied") return by_greasings(s);
    if (word == "overdue") return by_plan(s);
    if (word == "water_seen") return by_channel(s, "water and wear", "water");
    if (word == "counter_stopped" || word == "share_of_one_shaft" || word == "line_leak") return by_delivery(s);
    if (word.starts_with("alarms_")) return by_alarms(s);
    if (word == "after_refill") return by_refill(s);
    return s;
  }

 private:
  static Symptom told(Symptom s, bool is_there, std::string why) {
    s.seen = is_there ? Seen::present : Seen::absent;
    s.why = std::move(why);
    return s;
  }

  Symptom by_work(Symptom s, std::initializer_list<WorkKind> kinds, int before, int after,
                  std::string_view what) const {
    for (const auto& r : w_.log.work) {
      if (std::find(kinds.begin(), kinds.end(), r.what.work) == kinds.end() || !w_.concerns(r.shaft, r.lubricator))
        continue;
      if (r.at >= began_.low - std::chrono::days{before} && r.at <= began_.high + std::chrono::days{after} &&
          r.at < life_.to)
        return told(std::move(s), true, fmt::format("{} recorded on {}", what, w_.day(r.at)));
    }
    return told(std::move(s), false, fmt::format("no {} recorded about that time", what));
  }
  Symptom by_washout(Symptom s) const {
    const WashoutResult& r = own_.washout;
    if (s.word == "high_from_start")
      return !r.washout_cm3_per_h ? s
                                  : told(std::move(s), r.high.has_value(),
                                         r.high ? "far above its group" : "not clearly above its group");
    if (r.step || r.wear) {
      const bool is_step = r.step.has_value();
      const bool is_there = (s.word == "step") == is_step;
      return told(std::move(s), is_there, is_step ? "it stepped up" : "it climbs");
    }
    s.why = "no rise of the loss is established";
    return s;
  }
  Symptom by_others(Symptom s) const {
    int others = 0, rising = 0;
    for (const Shaft& x : w_.log.shafts) {
      if (x.id == w_.shaft.id) continue;
      const WashoutResult& r = w_.detail(life_.to, x.id).washout;
      if (!r.washout_cm3_per_h) continue;
      ++others;
      rising += w_.rise(life_.to, x.id) != nullptr && !r.high ? 1 : 0;
    }
    if (others == 0) {
      s.why = "no other shaft whose loss is known";
      return s;
    }
    const bool common = rising * 2 >= others && rising > 0;
    const bool is_there = (s.word == "all_shafts") == common;
    return told(std::move(s), is_there, fmt::format("{} of {} other shafts lose more than before", rising, others));
  }
  Symptom by_channel(Symptom s, std::string_view channel, std::string_view marked = {}) const {
    for (const Mark& m : d_.marks)
      if (m.channel == (marked.empty() ? channel : marked))
        return told(std::move(s), true, fmt::format("{}: {}", m.channel, w_.on_days(m.when)));
    for (const LookedAt& l : d_.looked_at)
      if (l.channel == channel) {
        if (l.result == LookedAt::Result::unknown) {
          s.why = l.text;
          return s;
        }
        return told(std::move(s), false, l.text);
      }
    return s;
  }
  Symptom by_greasings(Symptom s) const {
    if (!life_.cavity_cm3) {
      s.why = "the capacity of the cavity is not known";
      return s;
    }
    const std::vector<Occasion> done = greasings(occasions(w_.log, w_.shaft.id, life_.from, life_.to));
    int n = 0, told_amounts = 0;
    for (const Occasion& o : done) {
      const bool is_suspect = std::any_of(d_.suspects.begin(), d_.suspects.end(), [&](const Suspect& x) {
        return std::find(o.records.begin(), o.records.end(), x.record) != o.records.end();
      });
      if (!o.is_amount_known || is_suspect) continue;
      ++told_amounts;
      const bool all_it_holds = o.taken_cm3 >= 0.95 * *life_.cavity_cm3;
      n += all_it_holds && (s.word == "emptied" || o.ended == Ended::limit) ? 1 : 0;
    }
    if (told_amounts == 0) {
      s.why = done.empty() ? "no greasing of this bearing" : "no amount that can be trusted";
      return s;
    }
    return told(std::move(s), n > 0,
                fmt::format("{} of {} greasings{}", n, told_amounts,
                            told_amounts < static_cast<int>(done.size()) ? " with an amount that can be trusted" : ""));
  }
  Symptom by_plan(Symptom s) const {
    const ShaftSetting* set = setting_at(w_.shaft.settings, life_.to);
    if (set == nullptr || (!set->interval && !set->interval_days)) {
      s.why = "no greasing interval is registered";
      return s;
    }
    const Instant t = life_.first_below ? life_.first_below->estimate : life_.to;
    for (const IntervalAccount& a : life_.intervals) {
      if (t < a.from || t > a.to) continue;
      std::optional<Instant> due;
      if (set->interval_days) due = a.from + std::chrono::days{*set->interval_days};
      if (set->interval && !own_.hours.is_empty()) {
        const auto by_h = own_.hours.time_of(own_.hours.hours_at(a.from) + in_h(*set->interval));
        if (by_h && (!due || *by_h < *due)) due = by_h;
      }
      if (!due) return s;
      return told(std::move(s), t > *due,
                  fmt::format("due by {} by the register, {} on {}", w_.day(*due),
                              life_.first_below ? "below the reserve" : "end of the view", w_.day(t)));
    }
    return s;
  }
  Symptom by_delivery(Symptom s) const {
    bool known = false;
    for (const LubricatorId id : w_.feeding) {
      const LubricatorDetail* l = w_.lubricator(life_.to, id);
      if (l == nullptr) continue;
      const DeliveryResult& r = l->delivery;
      if (s.word == "counter_stopped" && r.cycle_ratio) {
        known = true;
        if (r.cycles_low) return told(std::move(s), true, "the counter shows fewer cycles than the hours call for");
      }
      if (s.word == "line_leak" && r.delivery_ratio) {
        known = true;
        if (r.high) return told(std::move(s), true, "more left the reservoir than the doses account for");
      }
      if (s.word == "share_of_one_shaft" && r.delivery_ratio) {
        known = true;
        const auto b = state_.digest.blame.find(id);
        if (r.low && b != state_.digest.blame.end() && b->second.fits_one_share)
          return told(std::move(s), true, "what is missing fits the share of one shaft");
      }
    }
    if (known) return told(std::move(s), false, "looked for in the balance of the reservoir, not there");
    s.why = w_.feeding.empty() ? "no lubricator feeds this shaft" : "levels or counter do not say";
    return s;
  }
  Symptom by_alarms(Symptom s) const {
    if (w_.feeding.empty()) {
      s.why = "no lubricator feeds this shaft";
      return s;
    }
    int pressure = 0, supply = 0, high = 0;
    for (const AlarmEpisode& e : merge_alarms(w_.log.alarms, life_.to)) {
      if (!w_.concerns(e.shaft, e.lubricator) || e.raised < began_.low || e.raised > life_.to) continue;
      switch (e.alarm) {
        case AlarmKind::no_pressure:
        case AlarmKind::cycle_fault:
          ++pressure;
          break;
        case AlarmKind::high_pressure:
          ++high;
          break;
        case AlarmKind::low_level:
        case AlarmKind::empty:
        case AlarmKind::power_fault:
        case AlarmKind::other:
          ++supply;
      }
    }
    const bool is_there = s.word == "alarms_none"            ? pressure + supply + high == 0
                          : s.word == "alarms_supply"        ? supply > 0
                          : s.word == "alarms_high_pressure" ? high > 0
                                                             : pressure > 0;
    return told(std::move(s), is_there,
                fmt::format("since it began: {} of pressure or change-over, {} of high pressure, "
                            "{} others",
                            pressure, high, supply));
  }
  Symptom by_refill(Symptom s) const {
    if (w_.feeding.empty()) {
      s.why = "no lubricator feeds this shaft";
      return s;
    }
    for (const auto& r : w_.log.refills)
      if (w_.feeds(r.lubricator) && r.at >= began_.low - std::chrono::days{3} && r.at <= began_.high)
        return told(std::move(s), true, fmt::format("refilled on {}", w_.day(r.at)));
    return told(std::move(s), false, "no refill about that time");
  }

  Work& w_;
  const Dossier& d_;
  const BearingLife& life_;
  When began_;
  const StateAt& state_;
  const ShaftDetail& own_;
};

bool has(const std::vector<std::string>& list, const std::string& word) {
  return std::find(list.begin(), list.end(), word) != list.end();
}

CauseMatrix matrix_of(Work& w, const Dossier& d, FindingKind kind, const When& began, std::string about) {
  CauseMatrix m;
  m.kind = kind;
  m.about = std::move(about);
  const Judge judge{w, d, began};
  for (const CauseRow& row : cause_table()) {
    if (row.kind != kind) continue;
    for (const Sign& s : row.signs) {
      const bool is_told =
          std::any_of(m.symptoms.begin(), m.symptoms.end(), [&](const Symptom& x) { return x.word == s.symptom; });
      if (!is_told) m.symptoms.push_back(judge.seen(s.symptom));
    }
  }
  const auto seen = [&](const std::string& word) {
    for (const Symptom& s : m.symptoms)
      if (s.word == word) return s.seen;
    return Seen::unknown;
  };
  std::vector<const CauseRow*> rows;
  for (const CauseRow& row : cause_table()) {
    if (row.kind != kind) continue;
    CompetingCause c;
    c.text = row.text;
    c.score = row.base;
    for (const Sign& s : row.signs) {
      const Seen x = seen(s.symptom);
      if (x == Seen::present) c.score += s.weight;
      if (x == Seen::absent) c.score -= s.weight;
      (x == Seen::present ? c.present : x == Seen::absent ? c.absent : c.unknown).push_back(s.symptom);
      c.lacks_required |= s.is_required && x != Seen::present;
    }
    c.checks = row.checks;
    for (const std::string& key : row.caution_keys) {
      const std::string text{caution_text(key)};
      if (!has(m.cautions, text)) m.cautions.push_back(text);
    }
    m.causes.push_back(std::move(c));
    rows.push_back(&row);
  }
  std::vector<std::size_t> order(m.causes.size());
  for (std::size_t i = 0; i < order.size(); ++i) order[i] = i;
  std::stable_sort(order.begin(), order.end(), [&](std::size_t a, std::size_t b) {
    if (m.causes[a].lacks_required != m.causes[b].lacks_required) return m.causes[b].lacks_required;
    return m.causes[a].score > m.causes[b].score;
  });
  std::vector<CompetingCause> sorted;
  std::vector<const CauseRow*> leading;
  for (const std::size_t i : order) {
    if (leading.size() < 3 && !m.causes[i].lacks_required) leading.push_back(rows[i]);
    sorted.push_back(std::move(m.causes[i]));
  }
  m.causes = std::move(sorted);
  // Of what is not known: what would move the leading causes furthest apart.
  std::vector<std::pair<double, std::string>> telling;
  for (const Symptom& s : m.symptoms) {
    if (s.seen != Seen::unknown || leading.size() < 2) continue;
    double low = 1e9, high = -1e9;
    for (const CauseRow* row : leading) {
      double weight = 0;
      for (const Sign& x : row->signs)
        if (x.symptom == s.word) weight = x.weight;
      low = std::min(low, weight);
      high = std::max(high, weight);
    }
    if (high - low > 0.25) telling.emplace_back(low - high, std::string{question(s.word)});
  }
  std::stable_sort(telling.begin(), telling.end(), [](const auto& a, const auto& b) { return a.first < b.first; });
  for (const auto& [minus, text] : telling)
    if (m.deciding.size() < 3) m.deciding.push_back(text);
  for (const CauseRow* row : leading)
    for (const std::string& check : row->checks)
      if (m.deciding.size() < 6 && !has(m.deciding, check)) {
        m.deciding.push_back(check);
        break;
      }
  return m;
}

// Would the interval of the register have kept the cavity above its reserve at the loss that was measured?
void reason_on_interval(Work& w, const BearingLife& life, CauseMatrix& m) {
  const ShaftSetting* set = setting_at(w.shaft.settings, life.to);
  const ShaftDetail& own = w.detail(life.to);
  if (set == nullptr || !life.cavity_cm3 || !life.baseline_cm3_per_h || !life.first_below || own.hours.is_empty())
    return;
  double worst_dose = 0;
  for (const IntervalAccount& a : life.intervals)
    if (a.run_h > 0 && a.from <= life.first_below->estimate && a.to >= life.first_below->estimate)
      worst_dose = a.delivered_cm3 / a.run_h;
  double plan_h = 0;
  if (set->interval) plan_h = in_h(*set->interval);
  if (set->interval_days) {
    const double days = days_between(life.from, life.to);
    const double by_days = life.run_h && days > 0 ? *life.run_h / days * *set->interval_days : 0;
    if (by_days > 0 && (plan_h <= 0 || by_days < plan_h)) plan_h = by_days;
  }
  if (plan_h <= 0) return;
  const auto fill = [&](double loss) {
    return std::clamp(100 * (1 - (loss - worst_dose) * plan_h / *life.cavity_cm3), 0.0, 100.0);
  };
  const Estimate& loss = *life.baseline_cm3_per_h;
  const Estimate then{fill(loss.value), fill(loss.high), fill(loss.low)};
  m.reasoning.push_back(fmt::format(
      "at the usual loss of {} and the interval of the register (about {:.0f} running hours) the cavity would have "
      "stood at "
      "{:.0f} % ({:.0f} to {:.0f}) when the next greasing fell due, {}",
      figure_text(loss, "cm3/h"), plan_h, then.value, then.low, then.high,
      then.low > life.reserve_pct
          ? "above the reserve: the longer waits are enough to explain it with no rise of the loss"
      : then.high < life.reserve_pct ? "below the reserve: the interval itself was too long for this loss"
                                     : "near the reserve: neither the waits nor the loss explain it alone"));
}

void reason_on_path(const BearingLife& life, CauseMatrix& m) {
  int full_charges = 0;
  for (const IntervalAccount& a : life.intervals)
    full_charges += a.ended == Ended::limit && a.taken_cm3 && *a.taken_cm3 > 0 ? 1 : 0;
  if (full_charges > 0)
    m.reasoning.push_back(
        fmt::format("a charge went in without back-pressure {}: the path was open as far as the cavity's inlet or a "
                    "break in the line, "
                    "which speaks against a block. Whether the grease reached and stayed at the bearing no amount can "
                    "show: look where it "
                    "lay when the cavity was opened",
                    full_charges == 1 ? "once" : fmt::format("{} times", full_charges)));
}

}  // namespace

void add_causes(Work& w, Dossier& d) {
  const BearingLife& life = d.lives[d.focus];
  std::vector<FindingKind> done;
  const auto add = [&](FindingKind kind, const When& began, std::string about) {
    if (std::find(done.begin(), done.end(), kind) != done.end()) return;
    done.push_back(kind);
    CauseMatrix m = matrix_of(w, d, kind, began, std::move(about));
    if (kind == FindingKind::starved) {
      reason_on_interval(w, life, m);
      reason_on_path(life, m);
    }
    d.causes.push_back(std::move(m));
  };
  for (const Finding& f : w.at(life.to).review.findings) {
    const bool is_technical = f.kind == FindingKind::abnormal_washout || f.kind == FindingKind::seal_wear ||
                              f.kind == FindingKind::less_grease_taken || f.kind == FindingKind::missed_cycles ||
                              f.kind == FindingKind::line_leak || f.kind == FindingKind::starved ||
                              f.kind == FindingKind::alarm_rate || f.kind == FindingKind::water_ingress ||
                              f.kind == FindingKind::wear_sign || &f == w.common_cause(life.to, w.shaft.id);
    const bool is_ours = f.is_about(w.shaft.id) || (!f.shaft.is_set() && w.feeds(f.lubricator));
    if (is_technical && is_ours)
      add(f.kind, f.began.value_or(When{f.first_seen, f.first_seen, f.first_seen}), f.summary);
  }
  if (life.starved_h && life.starved_h->best > 1 && life.first_below)
    add(FindingKind::starved, *life.first_below,
        fmt::format("the cavity ran below its reserve of {} % from {} on", pct_text(life.reserve_pct),
                    w.days(*life.first_below)));
}

}  // namespace shaftlog::dossier
