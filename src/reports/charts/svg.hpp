#pragma once

#include "reports/charts/drawing.hpp"

#include <string>
#include <string_view>

namespace shaftlog {

struct SvgOptions {
  std::string_view title, description;  ///< the text alternative, read aloud in place of the picture
  std::string_view id;                  ///< no two drawings of one page may have the same; letters, digits, '-'
  bool is_file = false;                 ///< with the XML name space, to stand alone
};

/// The drawing as SVG 1.1 text: no script, no style sheet, nothing from elsewhere; the same bytes for the same drawing.
std::string svg_text(const Drawing& drawing, const SvgOptions& options);

/// `text` with the five signs that markup needs escaped, control signs left out, bytes that are no UTF-8 as U+FFFD.
std::string escaped(std::string_view text);

}  // namespace shaftlog
