#pragma once

#include "reports/dossier_report.hpp"
#include "reports/report_document.hpp"

#include <vector>

namespace shaftlog {

/// The charts of a dossier: changes, loss, fill, delivery, alarms, hours and work on one time axis, then the grease
/// taken against the hours run. Inside reports only.
std::vector<ChartBlock> dossier_charts(const DossierView& view, const DossierWords& words);

}  // namespace shaftlog
