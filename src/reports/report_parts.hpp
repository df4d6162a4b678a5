#pragma once

#include "analysis/period.hpp"
#include "reports/report_content.hpp"

#include <string>
#include <vector>

namespace shaftlog {

// The parts that the reports of fleet, vessel and shaft share. Inside reports only.

/// Title, as-of, identity and footer.
Report start_report(const ReportInput& in, std::string title);

/// The findings that ask to act or to plan in full, the others as a table.
void add_findings(Report& report, const ReportInput& in, const std::vector<Finding>& findings);

/// What is lost by waiting, from the figures of the state; one sentence, or empty when the records tell nothing.
std::string at_stake(const Finding& f, const ReportInput& in);

/// Natural-log odds in words: "practically certain (strength 8.2)".
std::string how_sure(const Finding& f);

void add_ships(Report& report, const ReportInput& in);
void add_silent_ships(Report& report, const ReportInput& in);
void add_shaft_states(Report& report, const ReportInput& in);
void add_lubricator_states(Report& report, const ReportInput& in);
/// Grease used and past the seals in the 12 months to as_of, by ship and grade.
void add_grease(Report& report, const ReportInput& in);
/// Planned, done, late, overdue in the 12 months to as_of.
void add_planned_work(Report& report, const ReportInput& in);
/// In the terms of the ISM Code, element 10: non-conformities with possible cause and corrective action.
void add_audit_extract(Report& report, const ReportInput& in);
void add_notes(Report& report);

/// Somebody closed it; that it is still found is told apart.
bool is_closed(const ReportInput& in, const Finding& f);
/// The findings that are not closed, in their order.
std::vector<const Finding*> open_ones(const ReportInput& in, const std::vector<Finding>& findings);
/// The newest reading, greasing or level that anything of the ship is known by; empty: nothing was recorded.
std::optional<Instant> last_record(const VesselReview& v);
/// What is said of a ship of which nothing is found: "in order", or that it is not known, or of some shafts not.
std::string_view quiet_word(const VesselReview& v);
/// Of which shafts the records are too few to find anything; empty: of none.
std::string unjudged_text(std::span<const VesselReview> vessels, const Names& names);
/// The most urgent finding of a shaft; empty when there is none.
std::optional<Urgency> urgency_of(const VesselReview& v, ShaftId shaft);
/// Whether the lubricator gives the shaft a dose at that time, by the register.
bool is_fed_by(const Register& reg, ShaftId shaft, LubricatorId lubricator, Instant t);
/// The findings that concern a shaft: its own, those of what feeds it, and those of the whole ship.
std::vector<Finding> findings_of_shaft(const VesselReview& v, const ShaftDetail& detail);
/// What an auditor counts of one ship (ISM Code 10.2.1).
struct AuditSums {
  int planned = 0, done = 0, late = 0, in_doubt = 0, not_done = 0, overdue = 0, inspections = 0;
};
/// How many were late, and how many of them by a record that others contradict.
std::string late_text(int late, int in_doubt);
AuditSums audit_sums(const VesselLog& log, const VesselReview& v, Instant from, Instant as_of);
/// Work on the subject of a finding since it was seen, and what was said of the finding; empty: nothing is recorded.
std::string corrective_action(const Finding& f, const VesselLog& log, const ReportInput& in, const Zone& zone);

/// Begin of the year that the reports look back on.
Instant year_before(Instant as_of);

}  // namespace shaftlog
