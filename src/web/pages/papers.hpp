#pragma once

#include "app/report.hpp"
#include "reports/report_content.hpp"
#include "reports/workbook.hpp"
#include "web/pages/layout.hpp"

#include <functional>
#include <string>
#include <string_view>

namespace shaftlog::web {

/// A review as the reports see it. \param r must outlive it; \param scope as of ReviewView
ReviewView view_of(const FleetReview& r, std::string scope);

/// What is printed or reckoned with, to be saved: made only in the form that is asked for.
struct PaperKind {
  std::string_view name;  ///< of the file, without its end
  std::function<Report(const ReportInput&)> report;
  std::function<Workbook(const ReportInput&)> workbook;
};
/// \param form html, pdf or xlsx
Response handed(const PaperKind& paper, const ReportData& data, std::string scope, std::string_view form);

constexpr std::string_view kPaperForms[] = {"html", "pdf", "xlsx"};
/// Links to the three forms of a report. \param base "/ship/x/report"; \param tail the query
std::string paper_links(const std::string& base, const std::string& tail);

}  // namespace shaftlog::web
