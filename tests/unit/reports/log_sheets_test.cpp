#include "reports/log_sheets.hpp"

#include "reports/charts/text_width.hpp"
#include "reports/pdf_pages.hpp"
#include "support/shown_ship.hpp"

#include <catch2/catch.hpp>

using namespace shaftlog;
using shaftlog::test::Shown;

TEST_CASE("log sheets: each begins a page, no text lies on another or leaves its page", "[report][sheet]") {
  const Shown shown;
  const ReviewView v = shown.view();
  const Report sheets = log_sheets({v, shown.logs, Shown::kRecords});
  for (const Paper paper : {Paper::a4, Paper::letter}) {
    const LaidOut laid = lay_out(sheets, paper);
    CHECK(laid.pages.size() >= 5);
    std::size_t begun = 0;
    for (const PdfBookmark& b : laid.bookmarks) begun += b.page > 0 && b.y < 60 ? 1U : 0U;
    CHECK(begun >= 4);
    for (const Drawing& page : laid.pages) {
      std::vector<TextItem> texts;
      for (const DrawingItem& item : page.items()) {
        if (const auto* t = std::get_if<TextItem>(&item)) texts.push_back(*t);
      }
      for (std::size_t i = 0; i < texts.size(); ++i) {
        CAPTURE(texts[i].text);
        CHECK(box_of(texts[i]).right() <= page.width() - 30);
        for (std::size_t k = i + 1; k < texts.size(); ++k) {
          CAPTURE(texts[k].text);
          CHECK_FALSE(overlaps(box_of(texts[i]), box_of(texts[k])));
        }
      }
    }
  }
}
