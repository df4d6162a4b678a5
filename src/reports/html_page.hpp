#pragma once

#include "reports/report_document.hpp"

#include <string>
#include <string_view>

namespace shaftlog {

/// The report as one HTML file: nothing from elsewhere, nothing sent anywhere, prints well on A4 and Letter, whole with
/// scripts off (on screen a script adds a cross-hair and ranges of days to charts). The same bytes for the same report.
std::string html_page(const Report& report);

// The parts of such a page, for pages that are served: the list of its chapters, its blocks, what they are drawn with.
std::string html_contents(const Report& report);
/// \param range_form markup before the first chart on a time axis: `form.range` with fields `from` and `to`
std::string html_blocks(const Report& report, std::string_view range_form = {});
std::string html_style();
std::string_view html_script();
/// An urgency with its shape before its word.
std::string html_urgency(Urgency u);
/// Text with what HTML takes for markup made harmless, in quotes too.
std::string html_escaped(std::string_view text);
/// The same of words that are shown, not of a field's value: "cm3" as cm³.
std::string html_words(std::string_view text);

}  // namespace shaftlog
