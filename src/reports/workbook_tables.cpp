// The sheets that the workbooks of fleet, vessel and shaft share.
#include "analysis/due.hpp"
#include "reports/workbook_parts.hpp"

#include <algorithm>
#include <array>
#include <map>
#include <set>

#include <fmt/format.h>

namespace shaftlog {
namespace {

std::string joined(const std::vector<std::string>& texts) {
  std::string out;
  for (const std::string& t : texts) out += (out.empty() ? "" : "; ") + t;
  return out;
}

std::string_view yes_no(bool is_so) { return is_so ? "yes" : "no"; }

std::string_view sea_safe(const Grease* g) {
  return g == nullptr || !g->sea_safe ? std::string_view{} : yes_no(*g->sea_safe);
}

std::optional<Estimate> as_estimate(const std::optional<StarvedHours>& h) {
  if (!h) return std::nullopt;
  return Estimate{h->best, h->least, h->most};
}

const Grease* grease_of(const VesselLog& log, GreaseId id) {
  const auto it = std::find_if(log.greases.begin(), log.greases.end(), [&](const Grease& g) { return g.id == id; });
  return it == log.greases.end() ? nullptr : &*it;
}

double kg_per_cm3(const Grease& g) { return in_g_cm3(g.density) / 1000; }

Sheet sheet_of(std::string name, std::string what, std::size_t keys) {
  Sheet s;
  s.name = std::move(name);
  s.what = std::move(what);
  s.keys = keys;
  return s;
}

}  // namespace

ColumnMaker& ColumnMaker::words(std::initializer_list<const char*> heads) {
  for (const char* h : heads) sheet_->columns.push_back({typeset(h), SheetColumn::Kind::text, 0});
  return *this;
}
ColumnMaker& ColumnMaker::number(const std::string& head, int decimals) {
  sheet_->columns.push_back({typeset(head), SheetColumn::Kind::number, decimals});
  return *this;
}
ColumnMaker& ColumnMaker::time(const std::string& head) {
  sheet_->columns.push_back({head + " (UTC)", SheetColumn::Kind::time, 0});
  return *this;
}
ColumnMaker& ColumnMaker::estimate(const std::string& what, const std::string& unit, int decimals) {
  number(what + " " + unit, decimals);
  number(what + " " + unit + ", 5 %", decimals);
  return number(what + " " + unit + ", 95 %", decimals);
}

CellMaker& CellMaker::word(std::string_view text) {
  if (text.empty())
    cells_.emplace_back();
  else
    cells_.emplace_back(std::string{text});
  return *this;
}
CellMaker& CellMaker::number(std::optional<double> value, int digits) {
  const auto told = value ? told_value(*value, digits) : std::nullopt;
  if (told)
    cells_.emplace_back(*told);
  else
    cells_.emplace_back();
  return *this;
}
CellMaker& CellMaker::time(std::optional<Instant> t) {
  if (t)
    cells_.emplace_back(*t);
  else
    cells_.emplace_back();
  return *this;
}
CellMaker& CellMaker::estimate(const std::optional<Estimate>& e) {
  if (!e) return number({}).number({}).number({});
  return number(e->value).number(e->low).number(e->high);
}

Sheet findings_sheet(const ReportInput& in, const std::vector<Finding>& findings) {
  const Names names{in.view.reg};
  Sheet s =
      sheet_of("Findings",
               "What asks for attention, the most pressing first, with checks and cautions; closed ones that still "
               "stand say so.",
               4);
  ColumnMaker{s}.words({"urgency", "ship", "shaft", "lubricator", "kind", "what"});
  ColumnMaker{s}.time("began").time("began, earliest").time("began, latest").time("evidence sufficed");
  ColumnMaker{s}.number("strength, natural-log odds", 1).words({"how sure", "likely causes", "at stake"});
  ColumnMaker{s}.words({"cautions before the checks", "checks", "status", "status by", "what was done"});
  ColumnMaker{s}.time("status since").words({"did the numbers come back", "id"});
  for (const Finding& f : findings) {
    std::optional<double> strength;
    for (const Figure& x : f.figures) {
      if (x.name == "strength") strength = x.estimate.value;
    }
    const auto found = in.view.states.find(f.id);
    const FindingState state = found == in.view.states.end() ? FindingState{} : found->second;
    const bool is_moved = state.status != FindingStatus::open || !state.by.empty() || !state.says.empty();
    const auto outcome = in.view.outcomes.find(f.id);
    CellMaker c;
    c.word(urgency_word(f.urgency)).word(names.vessel(f.vessel)).word(names.shaft(f.shaft));
    c.word(names.lubricator(f.lubricator)).word(spoken(name_of(f.kind))).word(typeset(f.summary));
    if (f.began)
      c.time(f.began->estimate).time(f.began->low).time(f.began->high);
    else
      c.time({}).time({}).time({});
    c.time(f.first_seen).number(strength).word(how_sure(f)).word(joined(f.likely_causes));
    c.word(typeset(at_stake(f, in))).word(joined(f.cautions)).word(joined(f.checks));
    c.word(spoken(name_of(state.status))).word(state.by).word(state.says);
    c.time(is_moved ? std::optional{state.since.utc} : std::nullopt);
    c.word(outcome == in.view.outcomes.end() ? "" : outcome->second.says).word(format_uuid(f.id));
    s.rows.push_back(c.row(f.urgency));
  }
  return s;
}

Sheet figures_sheet(const ReportInput& in, const std::vector<Finding>& findings) {
  const Names names{in.view.reg};
  Sheet s = sheet_of("Figures of findings", "Every figure that a finding rests on, with its unit, one a row.", 3);
  ColumnMaker{s}.words({"ship", "subject", "kind", "figure"}).number("value", 3).number("5 %", 3).number("95 %", 3);
  ColumnMaker{s}.words({"unit", "finding"});
  for (const Finding& f : findings) {
    for (const Figure& x : f.figures) {
      CellMaker c;
      c.word(names.vessel(f.vessel)).word(names.subject(f.shaft, f.lubricator)).word(spoken(name_of(f.kind)));
      c.word(spoken(x.name)).estimate(x.estimate).word(x.unit).word(format_uuid(f.id));
      s.rows.push_back(c.row());
    }
  }
  return s;
}

Sheet ships_sheet(const ReportInput& in) {
  const Names names{in.view.reg};
  Sheet s = sheet_of("Ships", "How many open findings of each urgency, and when the ship was last heard of.", 1);
  ColumnMaker{s}.words({"ship", "name", "IMO number", "group", "state"}).number("act").number("plan").number("watch");
  ColumnMaker{s}.number("note").number("shafts").number("lubricators").time("last reading").words({"most pressing"});
  for (std::size_t i = 0; i < in.view.vessels.size(); ++i) {
    const VesselReview& v = in.view.vessels[i];
    const Vessel& ship = in.logs[i].vessel;
    std::array<std::size_t, 4> counts{};
    const std::vector<const Finding*> open = open_ones(in, v.findings);
    for (const Finding* f : open) ++counts[static_cast<std::size_t>(f->urgency)];
    CellMaker c;
    c.word(ship.code).word(ship.name).word(ship.imo.value_or("")).word(ship.group.value_or(""));
    c.word(open.empty() ? std::string{quiet_word(v)} : urgency_word(open.front()->urgency));
    for (const std::size_t n : counts) c.count(n);
    c.count(v.shafts.size()).count(v.lubricators.size()).time(last_record(v));
    c.word(open.empty() ? ""
                        : fmt::format("{}: {}", names.subject(open.front()->shaft, open.front()->lubricator),
                                      spoken(name_of(open.front()->kind))));
    s.rows.push_back(c.row());
  }
  return s;
}

Sheet shafts_sheet(const ReportInput& in, ShaftId only) {
  const Names names{in.view.reg};
  Sheet s = sheet_of("Shafts", "Settings and state of each shaft: washout, fill, hours below the reserve.", 2);
  ColumnMaker{s}.words({"ship", "shaft", "most urgent finding", "position", "grease"});
  ColumnMaker{s}.number("cavity cm3").number("interval h").number("interval days").number("reserve %");
  ColumnMaker{s}.number("meter h", 1).number("use h/day", 1).time("last hours").time("last greasing");
  ColumnMaker{s}.estimate("washout", "cm3/h", 3).estimate("baseline", "cm3/h", 3);
  ColumnMaker{s}.estimate("trend", "% a 1000 h", 1).estimate("cavity fill", "%", 0);
  ColumnMaker{s}.estimate("starved", "h", 0).estimate("to the reserve", "running h", 0);
  ColumnMaker{s}.estimate("alarms", "a 1000 h", 2);
  ColumnMaker{s}.number("greasings that measured the loss").number("greasings that only bound it");
  for (std::size_t i = 0; i < in.view.vessels.size(); ++i) {
    const VesselReview& v = in.view.vessels[i];
    for (std::size_t k = 0; k < v.shafts.size(); ++k) {
      const ShaftState& x = v.shafts[k];
      if (only.is_set() && x.shaft != only) continue;
      const ShaftSetting* set = setting_at(in.logs[i].shafts[k].settings, in.view.as_of);
      const auto urgency = urgency_of(v, x.shaft);
      CellMaker c;
      c.word(in.logs[i].vessel.code).word(in.logs[i].shafts[k].code).word(urgency ? urgency_word(*urgency) : "");
      c.word(set == nullptr ? "" : set->position).word(set == nullptr ? "" : names.grease(set->grease));
      c.number(set != nullptr && set->cavity ? std::optional{in_cm3(*set->cavity)} : std::nullopt);
      c.number(set != nullptr && set->interval ? std::optional{in_h(*set->interval)} : std::nullopt);
      c.number(set != nullptr && set->interval_days ? std::optional<double>{*set->interval_days} : std::nullopt);
      c.number(set == nullptr ? std::nullopt : std::optional{v.shaft_details[k].reserve_pct});
      c.number(x.running_h, 7).number(x.use_h_per_day).time(x.last_hours).time(x.last_greasing);
      c.estimate(x.washout_cm3_per_h).estimate(x.baseline_cm3_per_h).estimate(x.trend_pct_per_1000h);
      c.estimate(x.cavity_fill_pct).estimate(as_estimate(x.starved_h)).estimate(x.hours_to_reserve);
      c.estimate(x.alarms_per_1000h).number(x.exact_intervals).number(x.censored_intervals);
      s.rows.push_back(c.row());
    }
  }
  return s;
}

Sheet lubricators_sheet(const ReportInput& in, const ShaftDetail* only) {
  const Names names{in.view.reg};
  Sheet s = sheet_of("Lubricators", "Settings and state of each reservoir: delivery, cycles, level, next refill.", 2);
  ColumnMaker{s}.words({"ship", "lubricator", "grease"}).number("reservoir cm3");
  ColumnMaker{s}.estimate("left the reservoir over called for", "(ratio)", 3);
  ColumnMaker{s}.estimate("cycles counted over called for", "(ratio)", 3).estimate("level", "%", 0);
  ColumnMaker{s}.time("last level").time("low mark reached").time("low mark, early").time("low mark, late");
  ColumnMaker{s}.estimate("refill takes then", "cm3", 0).estimate("alarms", "a 1000 h", 2);
  for (std::size_t i = 0; i < in.view.vessels.size(); ++i) {
    const VesselReview& v = in.view.vessels[i];
    for (std::size_t k = 0; k < v.lubricators.size(); ++k) {
      const LubricatorState& l = v.lubricators[k];
      if (only != nullptr &&
          std::find(only->lubricators.begin(), only->lubricators.end(), l.lubricator) == only->lubricators.end())
        continue;
      const LubricatorSetting* set = setting_at(in.logs[i].lubricators[k].settings, in.view.as_of);
      CellMaker c;
      c.word(in.logs[i].vessel.code).word(in.logs[i].lubricators[k].code);
      c.word(set == nullptr ? "" : names.grease(set->grease));
      c.number(set == nullptr ? std::nullopt : std::optional{in_cm3(set->reservoir)});
      c.estimate(l.delivery_ratio).estimate(l.cycle_ratio).estimate(l.level_pct).time(l.last_level);
      c.time(l.next_refill.p50).time(l.next_refill.p10).time(l.next_refill.p90);
      c.estimate(l.next_refill.amount_cm3).estimate(l.alarms_per_1000h);
      s.rows.push_back(c.row());
    }
  }
  return s;
}

Sheet greasings_sheet(const ReportInput& in, ShaftId only) {
  const Instant from = year_before(in.view.as_of);
  Sheet s = sheet_of("Planned and done",
                     fmt::format("Manual greasings of each shaft from {} to {}: done, late (over {:.0f} % beyond the "
                                 "agreed interval), not done, next due.",
                                 format_day(from), format_day(in.view.as_of), 100 * (kLateBeyond - 1)),
                     2);
  ColumnMaker{s}.words({"ship", "shaft"}).number("interval h").number("interval days").number("done").number("late");
  ColumnMaker{s}.number("longest interval over agreed", 2).number("not done").time("last").time("next due");
  ColumnMaker{s}.number("due in running h").words({"overdue"}).number("overdue h").number("overdue days", 1);
  ColumnMaker{s}.estimate("takes then", "cm3", 0);
  for (std::size_t i = 0; i < in.view.vessels.size(); ++i) {
    const VesselReview& v = in.view.vessels[i];
    const auto tallies = tally_greasings(in.logs[i], v, from, in.view.as_of);
    for (std::size_t k = 0; k < tallies.size(); ++k) {
      if (only.is_set() && tallies[k].shaft != only) continue;
      const GreasingTally& g = tallies[k];
      const ShaftSetting* set = setting_at(in.logs[i].shafts[k].settings, in.view.as_of);
      const NextGreasing& n = v.shafts[k].next_greasing;
      CellMaker c;
      c.word(in.logs[i].vessel.code).word(in.logs[i].shafts[k].code);
      c.number(set != nullptr && set->interval ? std::optional{in_h(*set->interval)} : std::nullopt);
      c.number(set != nullptr && set->interval_days ? std::optional<double>{*set->interval_days} : std::nullopt);
      c.number(g.done).number(g.worst_interval_share ? std::optional<double>{g.late} : std::nullopt);
      c.number(g.worst_interval_share).number(g.not_done).time(v.shafts[k].last_greasing).time(n.due_at);
      c.number(n.due_in_h).word(g.is_planned ? yes_no(n.is_overdue) : "").number(n.overdue_h).number(n.overdue_days);
      c.estimate(n.expected_cm3);
      s.rows.push_back(c.row());
    }
  }
  return s;
}

Sheet due_sheet(const ReportInput& in) {
  constexpr double kDays = 90;
  const Names names{in.view.reg};
  Sheet s = sheet_of("Due", fmt::format("Greasings and refills overdue, or due within {:.0f} days.", kDays), 3);
  ColumnMaker{s}.words({"ship", "do", "on", "overdue"}).time("due").time("due, early").time("due, late");
  ColumnMaker{s}.number("due in running h").number("overdue h").number("overdue days", 1);
  ColumnMaker{s}.estimate("takes", "cm3", 0).estimate("full now", "%", 0).time("last done or read");
  for (const DueItem& d : list_due(in.view.vessels, in.view.as_of, kDays)) {
    CellMaker c;
    c.word(names.vessel(d.vessel));
    c.word(d.is_to_set_going ? "set going" : d.shaft.is_set() ? "grease" : "refill");
    c.word(names.subject(d.shaft, d.lubricator)).word(yes_no(d.is_overdue)).time(d.due_at).time(d.early).time(d.late);
    c.number(d.due_in_h).number(d.overdue_h).number(d.overdue_days).estimate(d.expected_cm3).estimate(d.fill_pct);
    c.time(d.last);
    s.rows.push_back(c.row());
  }
  return s;
}

Sheet grease_sheet(const ReportInput& in) {
  const Instant from = year_before(in.view.as_of);
  Sheet s = sheet_of("Grease",
                     fmt::format("Grease used, and past the seals to sea or into the ship, from {} to {}, by ship and "
                                 "grade.",
                                 format_day(from), format_day(in.view.as_of)),
                     2);
  ColumnMaker{s}.words({"ship", "grease", "for oil-to-sea"}).number("poured cm3").number("by hand cm3");
  ColumnMaker{s}.number("used kg", 2).number("by doses cm3").estimate("past the seals", "cm3", 0);
  ColumnMaker{s}.number("past the seals kg", 2).number("left reservoirs beyond the doses cm3");
  ColumnMaker{s}.number("records with no amount").number("shafts whose fill is not known");
  for (std::size_t i = 0; i < in.view.vessels.size(); ++i) {
    for (const GreaseUse& u : grease_used(in.logs[i], in.view.vessels[i], from, in.view.as_of)) {
      const Grease* g = grease_of(in.logs[i], u.grease);
      const auto kg = [g](double cubic) { return g == nullptr ? std::nullopt : std::optional{cubic * kg_per_cm3(*g)}; };
      CellMaker c;
      c.word(in.logs[i].vessel.code).word(g == nullptr ? "" : g->code).word(sea_safe(g));
      c.number(u.poured_cm3).number(u.by_hand_cm3).number(kg(u.poured_cm3 + u.by_hand_cm3)).number(u.by_doses_cm3);
      c.estimate(u.past_seals_cm3).number(kg(u.past_seals_cm3.value)).number(u.beyond_doses_cm3);
      c.number(u.unmeasured).number(u.unknown_fill);
      s.rows.push_back(c.row());
    }
  }
  return s;
}

Sheet grades_sheet(const ReportInput& in) {
  const Instant from = year_before(in.view.as_of);
  Sheet s = sheet_of("Grease by grade", "The same over all ships of this workbook.", 1);
  ColumnMaker{s}.words({"grease", "thickener", "NLGI"}).number("density g/cm3", 2).words({"for oil-to-sea"});
  ColumnMaker{s}.number("ships").number("used kg", 2).number("past the seals kg", 2);
  struct Grade {
    const Grease* grease = nullptr;
    std::set<std::string> ships;
    double used_kg = 0, lost_kg = 0;
  };
  std::map<std::string, Grade> grades;
  for (std::size_t i = 0; i < in.view.vessels.size(); ++i) {
    for (const GreaseUse& u : grease_used(in.logs[i], in.view.vessels[i], from, in.view.as_of)) {
      const Grease* g = grease_of(in.logs[i], u.grease);
      if (g == nullptr) continue;
      Grade& grade = grades[g->code];
      grade.grease = g;
      grade.ships.insert(in.logs[i].vessel.code);
      grade.used_kg += (u.poured_cm3 + u.by_hand_cm3) * kg_per_cm3(*g);
      grade.lost_kg += u.past_seals_cm3.value * kg_per_cm3(*g);
    }
  }
  for (const auto& [code, g] : grades) {
    CellMaker c;
    c.word(code).word(g.grease->thickener == Thickener::unknown ? "" : spoken(name_of(g.grease->thickener)));
    c.word(g.grease->nlgi).number(in_g_cm3(g.grease->density)).word(sea_safe(g.grease)).count(g.ships.size());
    c.number(g.used_kg).number(g.lost_kg);
    s.rows.push_back(c.row());
  }
  return s;
}

Sheet audit_sheet(const ReportInput& in) {
  const Instant from = year_before(in.view.as_of);
  Sheet s = sheet_of("Audit, intervals",
                     fmt::format("For an auditor, ISM Code 10.2.1: greasings and inspections from {} to {}.",
                                 format_day(from), format_day(in.view.as_of)),
                     1);
  ColumnMaker{s}.words({"ship"}).number("shafts").number("with an interval").number("done").number("done late");
  ColumnMaker{s}.number("late by a record in doubt").number("not done").number("overdue now").number("inspections");
  for (std::size_t i = 0; i < in.view.vessels.size(); ++i) {
    const AuditSums x = audit_sums(in.logs[i], in.view.vessels[i], from, in.view.as_of);
    CellMaker c;
    c.word(in.logs[i].vessel.code).count(in.view.vessels[i].shafts.size());
    for (const int n : {x.planned, x.done, x.late, x.in_doubt, x.not_done, x.overdue, x.inspections}) c.number(n);
    s.rows.push_back(c.row());
  }
  return s;
}

Sheet nonconformities_sheet(const ReportInput& in) {
  const Names names{in.view.reg};
  Sheet s = sheet_of("Audit, non-conformities",
                     "For an auditor, ISM Code 10.2.2 and 10.2.3: findings that ask to act or to plan, possible cause, "
                     "corrective action in the log.",
                     2);
  ColumnMaker{s}.words({"ship", "subject", "non-conformity", "urgency"}).time("seen");
  ColumnMaker{s}.words({"possible cause", "corrective action recorded since", "finding"});
  for (std::size_t i = 0; i < in.view.vessels.size(); ++i) {
    for (const Finding& f : in.view.vessels[i].findings) {
      if (f.urgency > Urgency::plan) continue;
      CellMaker c;
      c.word(in.logs[i].vessel.code).word(names.subject(f.shaft, f.lubricator)).word(spoken(name_of(f.kind)));
      c.word(urgency_word(f.urgency)).time(f.first_seen).word(f.likely_causes.empty() ? "" : f.likely_causes.front());
      c.word(corrective_action(f, in.logs[i], in, names.zone(f.vessel))).word(format_uuid(f.id));
      s.rows.push_back(c.row());
    }
  }
  return s;
}

}  // namespace shaftlog
