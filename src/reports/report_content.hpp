#pragma once

#include "analysis/review.hpp"
#include "domain/record.hpp"
#include "domain/vessel_log.hpp"
#include "reports/report_document.hpp"
#include "reports/review_report.hpp"

#include <span>
#include <string>
#include <vector>

namespace shaftlog {

/// A review with detail, as the printed reports see it. Holds references only.
struct ReportInput {
  const ReviewView& view;           ///< its vessels have their details
  std::span<const VesselLog> logs;  ///< of view.vessels, in the same order
  std::string records;              ///< what the records are known by: "9564 records, fingerprint 3f2a..."
  DayRange shown{};                 ///< of the charts of a shaft's report
};

/// For a superintendent and an auditor: what asks for attention, every ship's state, grease, planned and done.
Report fleet_report(const ReportInput& in);

/// The same of one ship, with each lubricator and shaft. \param in of which view.vessels holds that one
Report vessel_report(const ReportInput& in);

/// One shaft: findings, charts on one time axis, records. \param in of which view.vessels holds its ship
/// \param records about the shaft and what feeds it, in force, in order of time
Report shaft_report(const ReportInput& in, ShaftId shaft, std::span<const Entry> records);

}  // namespace shaftlog
