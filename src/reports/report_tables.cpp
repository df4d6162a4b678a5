// The tables of the printed reports: ships, shafts, lubricators, grease, planned work, the auditor's extract.
#include "reports/report_parts.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <map>
#include <set>

#include <fmt/format.h>

namespace shaftlog {
namespace {

TableCell cell(std::string text) { return {std::move(text), {}}; }

std::string expected(const NextGreasing& n) {
  if (!n.expected_cm3) return "-";
  return fmt::format("{} ({} to {})", std::lround(n.expected_cm3->value), std::lround(n.expected_cm3->low),
                     std::lround(n.expected_cm3->high));
}

std::string sea_safe_word(const Grease* g) {
  if (g == nullptr || !g->sea_safe) return "not known";
  return *g->sea_safe ? "yes" : "no";
}

}  // namespace

std::optional<Instant> last_record(const VesselReview& v) {
  std::optional<Instant> last;
  const auto take = [&](const std::optional<Instant>& t) {
    if (t && (!last || *t > *last)) last = t;
  };
  for (const ShaftState& s : v.shafts) {
    take(s.last_hours);
    take(s.last_greasing);
  }
  for (const LubricatorState& l : v.lubricators) take(l.last_level);
  return last;
}

std::string_view quiet_word(const VesselReview& v) {
  const auto judged = std::count_if(v.shafts.begin(), v.shafts.end(), [](const ShaftState& s) { return s.is_judged; });
  if (judged == 0) return "not known";
  return judged == static_cast<std::ptrdiff_t>(v.shafts.size()) ? "in order" : "in part known";
}

std::string unjudged_text(std::span<const VesselReview> vessels, const Names& names) {
  constexpr std::size_t kMostNamed = 6;
  std::vector<std::string> named;
  std::size_t count = 0;
  for (const VesselReview& v : vessels) {
    for (const ShaftState& s : v.shafts) {
      if (s.is_judged) continue;
      if (++count <= kMostNamed) named.push_back(fmt::format("{} {}", names.vessel(v.vessel), names.shaft(s.shaft)));
    }
  }
  if (count == 0) return {};
  return fmt::format(
      "Nothing can be said of {} that lack{} running hours, or greasings and a lubricator's readings: {}{}.",
      count == 1 ? std::string{"a shaft"} : fmt::format("{} shafts", count), count == 1 ? "s" : "",
      fmt::join(named, ", "), count > kMostNamed ? fmt::format(" and {} more", count - kMostNamed) : std::string{});
}

std::optional<Urgency> urgency_of(const VesselReview& v, ShaftId shaft) {
  std::optional<Urgency> out;
  for (const Finding& f : v.findings) {
    if (f.shaft == shaft && (!out || f.urgency < *out)) out = f.urgency;
  }
  return out;
}

bool is_fed_by(const Register& reg, ShaftId shaft, LubricatorId lubricator, Instant t) {
  bool is_fed = false;
  for (const Feed& f : reg.feeds)  // of one pair in the order of time
    if (f.shaft == shaft && f.lubricator == lubricator && (!f.from || f.from->utc <= t)) is_fed = f.dose != Volume{};
  return is_fed;
}

std::string late_text(int late, int in_doubt) {
  return in_doubt == 0 ? std::to_string(late) : fmt::format("{}, {} by a record in doubt", late, in_doubt);
}

AuditSums audit_sums(const VesselLog& log, const VesselReview& v, Instant from, Instant as_of) {
  AuditSums sums;
  for (const GreasingTally& g : tally_greasings(log, v, from, as_of)) {
    sums.planned += g.is_planned ? 1 : 0;
    sums.done += g.done;
    sums.late += g.late;
    sums.in_doubt += g.in_doubt;
    sums.not_done += g.not_done;
  }
  for (const ShaftState& s : v.shafts) sums.overdue += s.next_greasing.is_overdue ? 1 : 0;
  for (const Logged<Inspection>& x : log.inspections) sums.inspections += x.at > from && x.at <= as_of ? 1 : 0;
  return sums;
}

std::string corrective_action(const Finding& f, const VesselLog& log, const ReportInput& in, const Zone& zone) {
  std::string action;
  for (const Logged<Work>& w : log.work) {
    if (w.at < f.first_seen || w.at > in.view.as_of) continue;
    const bool is_of_it = (f.shaft.is_set() && w.shaft == f.shaft) ||
                          (f.lubricator.is_set() && w.lubricator == f.lubricator) ||
                          (!f.shaft.is_set() && !f.lubricator.is_set());
    if (!is_of_it) continue;
    action += (action.empty() ? "" : "; ") + format_day(w.at, zone) + " " + spoken(name_of(w.what.work));
  }
  const auto state = in.view.states.find(f.id);
  if (state != in.view.states.end() && state->second.status != FindingStatus::open) {
    action += (action.empty() ? "" : "; ") + state_text(state->second);
  }
  return action;
}

void add_ships(Report& report, const ReportInput& in) {
  const Names names{in.view.reg};
  report.blocks.emplace_back(Heading{2, "State of every ship", "ships"});
  ReportTable t;
  t.columns = {{"ship", false}, {"name", false}, {"state", false}, {"act", true},           {"plan", true},
               {"watch", true}, {"note", true},  {"shafts", true}, {"last reading", false}, {"most pressing", false}};
  for (const VesselReview& v : in.view.vessels) {
    std::array<std::size_t, 4> counts{};
    const std::vector<const Finding*> open = open_ones(in, v.findings);
    for (const Finding* f : open) ++counts[static_cast<std::size_t>(f->urgency)];
    const Vessel* vessel = names.find(v.vessel);
    const auto last = last_record(v);
    TableRow row;
    row.cells = {cell(std::string{names.vessel(v.vessel)}), cell(vessel != nullptr ? vessel->name : ""),
                 open.empty() ? cell(std::string{quiet_word(v)})
                              : TableCell{urgency_word(open.front()->urgency), open.front()->urgency}};
    for (const std::size_t n : counts) row.cells.push_back(cell(n == 0 ? "." : std::to_string(n)));
    row.cells.push_back(cell(std::to_string(v.shafts.size())));
    row.cells.push_back(cell(last ? format_day(*last, names.zone(v.vessel)) : "none"));
    row.cells.push_back(cell(open.empty()
                                 ? ""
                                 : fmt::format("{}: {}", names.subject(open.front()->shaft, open.front()->lubricator),
                                               spoken(name_of(open.front()->kind)))));
    t.rows.push_back(std::move(row));
  }
  report.blocks.emplace_back(std::move(t));
}

void add_silent_ships(Report& report, const ReportInput& in) {
  const Names names{in.view.reg};
  report.blocks.emplace_back(Heading{2, "Who is not recording", "silent"});
  ReportTable t;
  t.columns = {{"ship", false}, {"subject", false}, {"since", false}, {"days", true}, {"what is missing", false}};
  t.when_empty = "Every ship records as it is used to.";
  for (const VesselReview& v : in.view.vessels) {
    bool is_told = false;
    const auto last = last_record(v);
    const auto days = [&](const std::optional<Instant>& since) {
      return since ? format_figure(std::floor(days_between(*since, in.view.as_of)), 4) : std::string{"-"};
    };
    for (const Finding& f : v.findings) {
      if (f.kind != FindingKind::records_missing) continue;
      std::optional<Instant> since;
      if (f.began) since = f.began->estimate;
      t.rows.push_back({{{std::string{names.vessel(v.vessel)}, f.urgency},
                         cell(names.subject(f.shaft, f.lubricator)),
                         cell(since ? format_day(*since, names.zone(v.vessel)) : "-"),
                         cell(days(since)),
                         cell(typeset(f.summary))}});
      is_told = true;
    }
    if (!is_told && (!last || days_between(*last, in.view.as_of) > 30)) {
      t.rows.push_back(
          {{cell(std::string{names.vessel(v.vessel)}), cell("the vessel"),
            cell(last ? format_day(*last, names.zone(v.vessel)) : "-"), cell(days(last)),
            cell(last ? "no reading since; not longer than its usual gaps" : "nothing was ever recorded")}});
    }
  }
  report.blocks.emplace_back(std::move(t));
}

void add_shaft_states(Report& report, const ReportInput& in) {
  const Names names{in.view.reg};
  const bool is_fleet = in.view.vessels.size() != 1;
  report.blocks.emplace_back(Heading{2, "Shafts", "shafts"});
  ReportTable t;
  if (is_fleet) t.columns.push_back({"ship", false});
  for (ReportTable::Column c : std::vector<ReportTable::Column>{{"shaft", false},
                                                                {"meter h", true},
                                                                {typeset("washout cm3/h"), false},
                                                                {"trend % a 1000 h", false},
                                                                {"fill %", false},
                                                                {"starved h", false},
                                                                {"next greasing", false},
                                                                {typeset("takes then cm3"), false}}) {
    t.columns.push_back(std::move(c));
  }
  for (const VesselReview& v : in.view.vessels) {
    for (const ShaftState& s : v.shafts) {
      TableRow row;
      const auto urgency = urgency_of(v, s.shaft);
      if (is_fleet) row.cells.push_back(cell(std::string{names.vessel(v.vessel)}));
      row.cells.push_back({std::string{names.shaft(s.shaft)}, urgency});
      row.cells.push_back(cell(s.running_h ? format_figure(*s.running_h, 5) : "-"));
      row.cells.push_back(cell(format_estimate(s.washout_cm3_per_h, 2)));
      row.cells.push_back(cell(typeset(format_estimate(s.trend_pct_per_1000h, 2))));
      row.cells.push_back(cell(format_estimate(s.cavity_fill_pct, 2)));
      std::optional<Estimate> starved;
      if (s.starved_h) starved = Estimate{s.starved_h->best, s.starved_h->least, s.starved_h->most};
      row.cells.push_back(cell(format_estimate(starved, 2)));
      row.cells.push_back(cell(format_due(s.next_greasing, names.zone(v.vessel))));
      row.cells.push_back(cell(expected(s.next_greasing)));
      t.rows.push_back(std::move(row));
    }
  }
  t.when_empty = "No shaft is registered.";
  report.blocks.emplace_back(std::move(t));
}

void add_lubricator_states(Report& report, const ReportInput& in) {
  const Names names{in.view.reg};
  const bool is_fleet = in.view.vessels.size() != 1;
  ReportTable t;
  if (is_fleet) t.columns.push_back({"ship", false});
  for (ReportTable::Column c : std::vector<ReportTable::Column>{{"lubricator", false},
                                                                {"from reservoir / called for", false},
                                                                {"cycles counted / called for", false},
                                                                {"level %", false},
                                                                {"low mark reached", false},
                                                                {"alarms a 1000 h", false}}) {
    t.columns.push_back(std::move(c));
  }
  for (const VesselReview& v : in.view.vessels) {
    for (const LubricatorState& l : v.lubricators) {
      const NextRefill& n = l.next_refill;
      std::string refill = n.p50 ? format_day(*n.p50, names.zone(v.vessel)) : "-";
      if (n.p50 && n.p10 && n.p90) {
        refill += fmt::format(" ({} to {})", format_day(*n.p10, names.zone(v.vessel)),
                              format_day(*n.p90, names.zone(v.vessel)));
      }
      std::optional<Urgency> urgency;
      for (const Finding& f : v.findings) {
        if (f.lubricator == l.lubricator && (!urgency || f.urgency < *urgency)) urgency = f.urgency;
      }
      TableRow row;
      if (is_fleet) row.cells.push_back(cell(std::string{names.vessel(v.vessel)}));
      row.cells.push_back({std::string{names.lubricator(l.lubricator)}, urgency});
      row.cells.push_back(cell(format_estimate(l.delivery_ratio, 3)));
      row.cells.push_back(cell(format_estimate(l.cycle_ratio, 3)));
      row.cells.push_back(cell(format_estimate(l.level_pct, 2)));
      row.cells.push_back(cell(refill));
      row.cells.push_back(cell(format_estimate(l.alarms_per_1000h, 2)));
      t.rows.push_back(std::move(row));
    }
  }
  if (t.rows.empty()) return;
  report.blocks.emplace_back(Heading{2, "Lubricators", "lubricators"});
  report.blocks.emplace_back(std::move(t));
}

void add_grease(Report& report, const ReportInput& in) {
  const Names names{in.view.reg};
  const Instant from = year_before(in.view.as_of);
  report.blocks.emplace_back(Heading{2, "Grease used, and past the seals, in the 12 months", "grease"});
  ReportTable t;
  t.columns = {{"ship", false},
               {"grease", false},
               {"for oil-to-sea", false},
               {typeset("poured cm3"), true},
               {typeset("by hand cm3"), true},
               {"used kg", true},
               {typeset("by doses cm3"), true},
               {typeset("past the seals cm3 (90 %)"), false},
               {"past the seals kg", true}};
  t.when_empty = "No refill and no greasing is recorded in the 12 months.";
  /// Over all ships, by grade.
  struct Grade {
    const Grease* grease = nullptr;
    std::set<std::string> ships;
    double used_kg = 0, lost_kg = 0;
  };
  std::map<std::string, Grade> grades;
  int unmeasured = 0, unknown_fill = 0;
  double beyond = 0, used_kg = 0, lost_kg = 0, lost_kg_unsafe = 0;
  for (std::size_t i = 0; i < in.view.vessels.size(); ++i) {
    const VesselReview& v = in.view.vessels[i];
    for (const GreaseUse& u : grease_used(in.logs[i], v, from, in.view.as_of)) {
      const auto& greases = in.logs[i].greases;
      const auto g = std::find_if(greases.begin(), greases.end(), [&](const Grease& x) { return x.id == u.grease; });
      const Grease* grease = g != greases.end() ? &*g : nullptr;
      const double kg_per_cm3 = grease != nullptr ? in_g_cm3(grease->density) / 1000 : 0;
      const double used = u.poured_cm3 + u.by_hand_cm3;
      t.rows.push_back(
          {{cell(std::string{names.vessel(v.vessel)}), cell(grease != nullptr ? grease->code : "not known"),
            cell(sea_safe_word(grease)), cell(format_figure(u.poured_cm3, 3)), cell(format_figure(u.by_hand_cm3, 3)),
            cell(grease != nullptr ? fmt::format("{:.2f}", used * kg_per_cm3) : "-"),
            cell(format_figure(u.by_doses_cm3, 3)), cell(format_estimate(u.past_seals_cm3, 3)),
            cell(grease != nullptr ? fmt::format("{:.2f}", u.past_seals_cm3.value * kg_per_cm3) : "-")}});
      if (grease != nullptr) {
        Grade& grade = grades[grease->code];
        grade.grease = grease;
        grade.ships.insert(in.logs[i].vessel.code);
        grade.used_kg += used * kg_per_cm3;
        grade.lost_kg += u.past_seals_cm3.value * kg_per_cm3;
      }
      unmeasured += u.unmeasured;
      unknown_fill += u.unknown_fill;
      beyond += u.beyond_doses_cm3;
      used_kg += used * kg_per_cm3;
      lost_kg += u.past_seals_cm3.value * kg_per_cm3;
      if (grease != nullptr && !grease->sea_safe.value_or(false)) lost_kg_unsafe += u.past_seals_cm3.value * kg_per_cm3;
    }
  }
  const bool is_any = !t.rows.empty();
  report.blocks.emplace_back(std::move(t));
  if (!is_any) return;
  ReportTable by_grade;
  by_grade.caption = "By grade";
  by_grade.columns = {
      {"grease", false},         {"thickener", false}, {"NLGI", false},   {typeset("density g/cm3"), true},
      {"for oil-to-sea", false}, {"ships", true},      {"used kg", true}, {"past the seals kg", true}};
  for (const auto& [code, g] : grades) {
    by_grade.rows.push_back(
        {{cell(code), cell(spoken(name_of(g.grease->thickener))), cell(g.grease->nlgi.empty() ? "-" : g.grease->nlgi),
          cell(format_figure(in_g_cm3(g.grease->density), 3)), cell(sea_safe_word(g.grease)),
          cell(std::to_string(g.ships.size())), cell(fmt::format("{:.2f}", g.used_kg)),
          cell(fmt::format("{:.2f}", g.lost_kg))}});
  }
  if (!by_grade.rows.empty()) report.blocks.emplace_back(std::move(by_grade));
  std::string text = fmt::format(
      "From {} to {}. Used: {:.1f} kg; past the seals, to sea or into the ship: {:.1f} kg, of which {:.1f} kg of "
      "greases "
      "not registered as environmentally acceptable at an oil-to-sea interface. Past the seals is what went into the "
      "cavities less what they hold more than a year ago.",
      format_day(from), format_day(in.view.as_of), used_kg, lost_kg, lost_kg_unsafe);
  if (beyond > 0.5) {
    text += fmt::format(" Besides, {} cm3 left reservoirs beyond what the doses account for: see the line leaks.",
                        format_figure(beyond, 3));
  }
  if (unmeasured > 0)
    text += fmt::format(" {} refills or greasings have no amount and are not in the sums.", unmeasured);
  if (unknown_fill > 0) {
    text +=
        fmt::format(" Of {} shafts the fill is not known at both ends of the year: taken as unchanged.", unknown_fill);
  }
  report.blocks.emplace_back(Paragraph{typeset(text), true});
}

void add_planned_work(Report& report, const ReportInput& in) {
  const Names names{in.view.reg};
  const Instant from = year_before(in.view.as_of);
  report.blocks.emplace_back(Heading{2, "Manual greasings: planned, done, overdue", "planned"});
  ReportTable t;
  t.columns = {{"ship", false},    {"shaft", false}, {"interval", false},
               {"done", true},     {"late", true},   {"longest / agreed", true},
               {"not done", true}, {"last", false},  {"next due", false}};
  for (std::size_t i = 0; i < in.view.vessels.size(); ++i) {
    const VesselReview& v = in.view.vessels[i];
    const auto tallies = tally_greasings(in.logs[i], v, from, in.view.as_of);
    for (std::size_t k = 0; k < tallies.size(); ++k) {
      const GreasingTally& g = tallies[k];
      const ShaftSetting* s = setting_at(in.logs[i].shafts[k].settings, in.view.as_of);
      std::string interval;
      if (s != nullptr && s->interval) interval = format_figure(in_h(*s->interval), 5) + " h";
      if (s != nullptr && s->interval_days) {
        interval += (interval.empty() ? "" : " or ") + std::to_string(*s->interval_days) + " days";
      }
      const auto& last = v.shafts[k].last_greasing;
      const bool is_overdue = v.shafts[k].next_greasing.is_overdue;
      t.rows.push_back(
          {{cell(std::string{names.vessel(v.vessel)}), cell(in.logs[i].shafts[k].code),
            cell(interval.empty() ? "none agreed" : interval), cell(std::to_string(g.done)),
            cell(g.worst_interval_share ? late_text(g.late, g.in_doubt) : "-"),
            cell(g.worst_interval_share ? fmt::format("{:.2f}", *g.worst_interval_share) : "-"),
            cell(std::to_string(g.not_done)), cell(last ? format_day(*last, names.zone(v.vessel)) : "never"),
            TableCell{format_due(v.shafts[k].next_greasing, names.zone(v.vessel)),
                      is_overdue ? std::optional{Urgency::plan} : std::nullopt}}});
    }
  }
  t.when_empty = "No shaft is registered.";
  report.blocks.emplace_back(std::move(t));
  report.blocks.emplace_back(Paragraph{
      fmt::format(
          "From {} to {}. Late: more than {:.0f} % beyond the agreed interval. Not done: recorded as such, with no "
          "access or no grease; not recorded is another thing, and told under who is not recording.",
          format_day(from), format_day(in.view.as_of), 100 * (kLateBeyond - 1)),
      true});
}

void add_audit_extract(Report& report, const ReportInput& in) {
  const Names names{in.view.reg};
  const Instant from = year_before(in.view.as_of);
  report.blocks.emplace_back(Heading{2, "Extract for an auditor: ISM Code, element 10", "audit"});
  report.blocks.emplace_back(Paragraph{
      "The greasing of these shafts as part of the maintenance of the ship: what was planned and done, "
      "non-conformities "
      "with their possible cause where it is known, and the corrective action that the log holds (10.2.1 to 10.2.4). "
      "Clause numbers after MSC.273(85). The records behind each line are in the log, with who wrote them and when.",
      true, true});

  ReportTable sums;
  sums.caption = "Inspections and greasings at the agreed intervals (10.2.1)";
  sums.columns = {{"ship", false},     {"shafts", true},   {"with an interval", true}, {"done", true},
                  {"done late", true}, {"not done", true}, {"overdue now", true},      {"inspections", true}};
  ReportTable faults;
  faults.caption = "Non-conformities (10.2.2) and corrective action (10.2.3)";
  faults.columns = {{"ship, subject", false},
                    {"non-conformity", false},
                    {"seen", false},
                    {"possible cause", false},
                    {"corrective action recorded since", false}};
  faults.when_empty = "No non-conformity stands.";
  for (std::size_t i = 0; i < in.view.vessels.size(); ++i) {
    const VesselReview& v = in.view.vessels[i];
    const VesselLog& log = in.logs[i];
    const Zone& zone = names.zone(v.vessel);
    const AuditSums x = audit_sums(log, v, from, in.view.as_of);
    TableRow row{{cell(std::string{names.vessel(v.vessel)}), cell(std::to_string(v.shafts.size()))}};
    for (const int n : {x.planned, x.done}) row.cells.push_back(cell(std::to_string(n)));
    row.cells.push_back(cell(late_text(x.late, x.in_doubt)));
    for (const int n : {x.not_done, x.overdue, x.inspections}) row.cells.push_back(cell(std::to_string(n)));
    sums.rows.push_back(std::move(row));

    for (const Finding& f : v.findings) {
      if (f.urgency != Urgency::act && f.urgency != Urgency::plan) continue;
      const std::string action = corrective_action(f, log, in, zone);
      faults.rows.push_back(
          {{cell(fmt::format("{}, {}", names.vessel(f.vessel), names.subject(f.shaft, f.lubricator))),
            {fmt::format("{} ({})", spoken(name_of(f.kind)), format_uuid(f.id).substr(0, 8)), f.urgency},
            cell(format_day(f.first_seen, zone)),
            cell(f.likely_causes.empty() ? "not known" : f.likely_causes.front()),
            cell(action.empty() ? "none recorded" : action)}});
    }
  }
  report.blocks.emplace_back(std::move(sums));
  report.blocks.emplace_back(std::move(faults));
}

}  // namespace shaftlog
