#pragma once

#include "reports/report_content.hpp"

#include <string>

namespace shaftlog {

/// Blank log sheets of one ship to print and fill in at the machine: what is registered and what the next greasings
/// should take, then ruled forms whose columns are called as in `add` and in the files of a log folder.
/// \param in of which view.vessels holds that one ship, with details
Report log_sheets(const ReportInput& in);

/// The same as plain text of 100 columns, for a printer that knows no more.
std::string sheets_text(const Report& sheets);

}  // namespace shaftlog
