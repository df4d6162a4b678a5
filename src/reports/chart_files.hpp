#pragma once

#include "reports/report_document.hpp"

#include <string>
#include <vector>

namespace shaftlog {

struct ChartFile {
  std::string name;  ///< "02-washout-of-every-shaft.svg": its place in the report, and its title
  std::string svg;   ///< stands alone
};

/// Every chart of a report as a picture of its own, in its order.
std::vector<ChartFile> chart_files(const Report& report);

}  // namespace shaftlog
