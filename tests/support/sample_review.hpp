#pragma once

#include "analysis/review.hpp"
#include "domain/register.hpp"
#include "support/temp_db.hpp"

#include <string>
#include <vector>

namespace shaftlog::test {

/// Two invented ships with every urgency among their findings, made by hand: what reports show needs no analysis.
struct SampleReview {
  Register reg;
  Instant as_of = day(200).utc;
  std::vector<Finding> findings;
  std::vector<VesselReview> vessels;

  SampleReview() {
    reg.vessels.push_back({VesselId{1}, "T-01", "Testholm", std::nullopt, "Europe/Oslo", "test"});
    reg.vessels.push_back({VesselId{2}, "T-02", "Testwick", std::nullopt, "Pacific/Auckland", "test"});
    reg.shafts.push_back({ShaftId{1}, VesselId{1}, "fin_port", {}});
    reg.shafts.push_back({ShaftId{2}, VesselId{1}, "fin_stbd", {}});
    reg.shafts.push_back({ShaftId{3}, VesselId{2}, "rudder_stock", {}});
    reg.lubricators.push_back({LubricatorId{1}, VesselId{1}, "lub1", {}});

    Finding act = finding(1, FindingKind::starved, Urgency::act, ShaftId{1}, {});
    act.summary =
        "fin_port has run 120 h (80 to 170) with its cavity below the reserve of 20 %; it holds 6 % (1 to 14)";
    act.began = When{day(180).utc, day(176).utc, day(184).utc};
    act.figures = {{"strength", {4.2, 4.2, 4.2}, ""}, {"starved_h", {120, 80, 170}, "h"}};
    act.likely_causes = {"interval too long for the present loss", "seal lip worn"};
    act.checks = {"grease it at the next chance and write down how much it takes and how it ended",
                  "look at the purge for water"};
    act.cautions = {"isolate and lock the fin before anybody comes near it",
                    "no hand before the nozzle: grease under pressure goes through the skin"};
    Finding plan = finding(2, FindingKind::line_leak, Urgency::plan, {}, LubricatorId{1});
    plan.summary = "1.52 times (1.45 to 1.60) what the doses call for left lub1 since 28 May";
    plan.figures = {{"strength", {11.03, 11.03, 11.03}, ""}};
    plan.checks = {"walk the main lines"};
    plan.cautions = {"isolate and lock the fin before anybody comes near it"};
    Finding watch = finding(3, FindingKind::seal_wear, Urgency::watch, ShaftId{3}, {});
    watch.vessel = VesselId{2};
    watch.summary = "the loss climbs by 12 % per 1000 h (-2 to 27)";
    watch.figures = {{"strength", {1.1, 1.1, 1.1}, ""}};
    Finding note = finding(4, FindingKind::record_suspect, Urgency::note, ShaftId{3}, {});
    note.vessel = VesselId{2};
    note.summary = "hours of 2026-05-03 read 8142 after 8412: two digits exchanged?";
    note.evidence = {nth_id(71), nth_id(70)};
    note.figures = {{"strength", {6, 6, 6}, ""}};
    findings = {act, plan, watch, note};

    VesselReview one;
    one.vessel = VesselId{1};
    one.findings = {act, plan};
    ShaftState port = shaft(VesselId{1}, ShaftId{1});
    port.cavity_fill_pct = Estimate{6, 1, 14};
    port.starved_h = StarvedHours{80, 120, 170};
    port.next_greasing.is_overdue = true;
    port.next_greasing.due_in_h = -130;
    port.next_greasing.due_at = day(182).utc;
    port.next_greasing.overdue_h = 130;
    port.next_greasing.overdue_days = 18.2;
    port.next_greasing.expected_cm3 = Estimate{372, 340, 396};
    ShaftState stbd = shaft(VesselId{1}, ShaftId{2});
    stbd.trend_pct_per_1000h = Estimate{1.5, -3, 6};
    stbd.next_greasing.due_at = day(212).utc;
    stbd.next_greasing.due_in_h = 95;
    stbd.next_greasing.expected_cm3 = Estimate{78, 70, 95};
    one.shafts = {port, stbd};
    LubricatorState lub;
    lub.vessel = VesselId{1};
    lub.lubricator = LubricatorId{1};
    lub.delivery_ratio = Estimate{1.52, 1.45, 1.60};
    lub.level_pct = Estimate{31, 29, 33};
    lub.last_level = day(198).utc;
    lub.next_refill.p10 = day(210).utc;
    lub.next_refill.p50 = day(216).utc;
    lub.next_refill.p90 = day(225).utc;
    lub.next_refill.amount_cm3 = Estimate{4500, 4300, 4700};
    one.lubricators = {lub};
    VesselReview two;
    two.vessel = VesselId{2};
    two.findings = {watch, note};
    ShaftState rudder;  // of which next to nothing is known
    rudder.vessel = VesselId{2};
    rudder.shaft = ShaftId{3};
    two.shafts = {rudder};
    vessels = {one, two};
  }

 private:
  Finding finding(std::uint64_t n, FindingKind kind, Urgency urgency, ShaftId shaft_id, LubricatorId lubricator) const {
    Finding f;
    f.id = nth_id(0x5EED0000 + n);
    f.vessel = VesselId{1};
    f.shaft = shaft_id;
    f.lubricator = lubricator;
    f.kind = kind;
    f.urgency = urgency;
    f.first_seen = day(190).utc;
    f.evidence = {nth_id(n)};
    return f;
  }

  static ShaftState shaft(VesselId vessel, ShaftId id) {
    ShaftState s;
    s.is_judged = true;
    s.vessel = vessel;
    s.shaft = id;
    s.running_h = 8412.25;
    s.last_hours = day(199).utc;
    s.last_greasing = day(150).utc;
    s.washout_cm3_per_h = Estimate{0.2476, 0.211, 0.2904};
    return s;
  }
};

}  // namespace shaftlog::test
