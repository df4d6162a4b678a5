#pragma once

#include "base/time.hpp"
#include "reports/charts/drawing.hpp"

#include <string>
#include <string_view>
#include <vector>

namespace shaftlog {

/// A heading that a reader of the file can jump to.
struct PdfBookmark {
  std::string text;
  std::size_t page = 0;  ///< from 0
  double y = 0;          ///< [px]
  int level = 0;         ///< 0: chapter
};

struct PdfMeta {
  std::string title, subject;
  Instant made{};  ///< stands as the date of making: the moment of the view, never the clock's
};

/// Pages as a PDF 1.5 file, its text readable by programs, fonts embedded; the same bytes for the same pages.
/// \param pages sizes in px of 1/96 inch \throws Error{io} when the library cannot make it
std::string pdf_text(const std::vector<Drawing>& pages, const std::vector<PdfBookmark>& bookmarks, const PdfMeta& meta);

/// What the library measures, for a test of text_width [same unit as `size`].
double pdf_text_width(std::string_view text, double size, bool is_strong);

}  // namespace shaftlog
