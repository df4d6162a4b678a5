#pragma once

#include "reports/report_content.hpp"
#include "support/charted_ship.hpp"

#include <vector>

namespace shaftlog::test {

/// The charted ship as the reports see it.
struct Shown {
  ChartedShip ship;
  Register reg;
  std::vector<VesselReview> vessels;
  std::vector<VesselLog> logs;
  std::vector<Finding> findings;

  Shown() {
    reg.vessels = {ship.log.vessel};
    reg.greases = ship.log.greases;
    reg.shafts = ship.log.shafts;
    reg.lubricators = ship.log.lubricators;
    reg.feeds = ship.log.feeds;
    vessels = {ship.review};
    logs = {ship.log};
    findings = ship.review.findings;
  }
  static constexpr const char* kRecords = "9 records, fingerprint 0123456789abcdef";
  [[nodiscard]] ReviewView view() const { return {ship.as_of, "0.0.0", reg, findings, vessels, {}, "fleet", {}}; }
  [[nodiscard]] std::vector<Report> all() const {
    const ReviewView v = view();
    const ReportInput in{v, logs, kRecords};
    const std::vector<Entry> entries = records();
    return {fleet_report(in), vessel_report(in), shaft_report(in, ShaftId{1}, entries)};
  }
  /// A greasing whose remark holds markup.
  [[nodiscard]] std::vector<Entry> records() const {
    Entry e;
    e.kind = Kind::greasing;
    e.shaft = ShaftId{1};
    e.vessel = VesselId{1};
    e.head.at = Stamp{ship.as_of, std::chrono::minutes{60}, Precision::minute};
    e.head.remark = "<b>slow</b> & \"odd\"";
    e.head.by = "2/E";
    e.detail = Greasing{Amount{"78", Unit::cm3, cm3(78), {}}, {}, Ended::pressure, {}, {}};
    return {e};
  }
};

}  // namespace shaftlog::test
