#include "web/pages/papers.hpp"

#include "reports/pdf_pages.hpp"
#include "reports/workbook_file.hpp"

namespace shaftlog::web {

ReviewView view_of(const FleetReview& r, std::string scope) {
  return {r.as_of, program_version(), r.reg, r.findings, r.vessels, r.states, std::move(scope), {}, r.outcomes};
}

Response handed(const PaperKind& paper, const ReportData& data, std::string scope, std::string_view form) {
  const ReviewView view = view_of(data.review, std::move(scope));
  const ReportInput in{view, data.review.logs, data.records};
  const std::string name = fmt::format("{}.{}", paper.name, form);
  if (form == "xlsx")
    return download(workbook_bytes(paper.workbook(in)),
                    "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet", name);
  if (form == "pdf") return download(pdf_pages(paper.report(in), Paper::a4), "application/pdf", name);
  return download(html_page(paper.report(in)), "text/html; charset=utf-8", name);
}

std::string paper_links(const std::string& base, const std::string& tail) {
  return link(base + ".html" + tail, "report as a page") + " &nbsp; " + link(base + ".pdf" + tail, "as PDF") +
         " &nbsp; " + link(base + ".xlsx" + tail, "workbook");
}

}  // namespace shaftlog::web
