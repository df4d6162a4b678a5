#pragma once

#include "reports/charts/pdf.hpp"
#include "reports/report_document.hpp"

#include <string>
#include <vector>

namespace shaftlog {

enum class Paper : std::uint8_t { a4, letter };

/// Pages as drawings, with their bookmarks.
struct LaidOut {
  std::vector<Drawing> pages;
  std::vector<PdfBookmark> bookmarks;
};

/// Lays the report out: no chart and no table row is cut, a table's head is repeated, a heading stays with what
/// follows, every page has its number. \param paper A4 210 x 297 mm, Letter 8.5 x 11 in
LaidOut lay_out(const Report& report, Paper paper);

/// The report as a PDF file, its text readable by programs, with an outline. The same bytes for the same report.
std::string pdf_pages(const Report& report, Paper paper);

}  // namespace shaftlog
