#pragma once

#include "reports/report_content.hpp"
#include "reports/workbook.hpp"

namespace shaftlog {

/// What the report of a fleet or of one vessel says, as sheets to sort, filter and reckon with.
/// \param is_vessel in.view.vessels holds that one ship
Workbook fleet_workbook(const ReportInput& in, bool is_vessel);

/// The same of one shaft, with its records and the series behind its charts. \param records as of shaft_report
Workbook shaft_workbook(const ReportInput& in, ShaftId shaft, std::span<const Entry> records);

}  // namespace shaftlog
