#include "reports/chart_files.hpp"
#include "reports/charts/palette.hpp"
#include "reports/charts/text_width.hpp"
#include "reports/html_page.hpp"
#include "reports/pdf_pages.hpp"
#include "reports/report_content.hpp"
#include "support/shown_ship.hpp"

#include <algorithm>
#include <set>

#include <catch2/catch.hpp>

using namespace shaftlog;
using Catch::Matchers::Contains;
using shaftlog::test::Shown;

namespace {

std::vector<TextItem> texts_of(const Drawing& d) {
  std::vector<TextItem> out;
  for (const DrawingItem& item : d.items()) {
    if (const auto* t = std::get_if<TextItem>(&item)) out.push_back(*t);
  }
  return out;
}

}  // namespace

TEST_CASE("report: the findings come in rank, with cautions beside their checks", "[report]") {
  const Shown shown;
  REQUIRE_FALSE(shown.findings.empty());
  const Report r = shown.all()[0];
  std::size_t pressing = 0, in_full = 0;
  for (const Finding& f : shown.findings) pressing += f.urgency <= Urgency::plan ? 1U : 0U;
  REQUIRE(pressing > 0);
  for (const ReportBlock& b : r.blocks) {
    const auto* f = std::get_if<FindingBlock>(&b);
    if (f == nullptr) continue;
    const Finding& from = shown.findings[in_full++];
    CHECK(f->urgency == from.urgency);
    CHECK(f->checks == from.checks);
    CHECK(f->cautions == from.cautions);
    std::set<std::string> told;
    for (const auto& line : f->lines) told.insert(line.first);
    CHECK(told.count("since") == 1);
    CHECK(told.count("how sure") == 1);
    CHECK(told.count("at stake") == 1);
  }
  CHECK(in_full == pressing);
}

TEST_CASE("report: every kind says what it rests on: time, version, records", "[report]") {
  for (const Report& r : Shown{}.all()) {
    CAPTURE(r.title);
    CHECK_THAT(r.subtitle, Contains("Shaftlog 0.0.0") && Contains("fingerprint 0123456789abcdef"));
    CHECK_THAT(r.footer, Contains("as of 2025-12-09 12:00 UTC"));
  }
}

TEST_CASE("report: a closed finding stands apart, and is not counted as open", "[report]") {
  const Shown shown;
  ReviewView v = shown.view();
  REQUIRE(shown.findings.front().urgency <= Urgency::plan);
  FindingState closed;
  closed.status = FindingStatus::closed;
  closed.by = "superintendent";
  closed.says = "seal changed";
  closed.since = Stamp{shown.ship.as_of};
  v.states[shown.findings.front().id] = closed;
  const auto blocks = [&](const ReviewView& view) {
    std::pair<std::size_t, std::size_t> n{0, 0};  // in full, closed
    for (const ReportBlock& b : fleet_report({view, shown.logs, "r"}).blocks) {
      n.first += std::holds_alternative<FindingBlock>(b) ? 1U : 0U;
      const auto* t = std::get_if<ReportTable>(&b);
      if (t == nullptr || t->caption != "Closed, and still standing") continue;
      n.second += t->rows.size();
      CHECK_THAT(t->rows[0].cells[2].text, Contains("seal changed"));
    }
    return n;
  };
  const auto before = blocks(shown.view()), after = blocks(v);
  CHECK(before.second == 0);
  CHECK(after.second == 1);
  CHECK(after.first + 1 == before.first);
}

TEST_CASE("report: grease is summed by grade, with what the register says of it", "[report]") {
  const Report r = Shown{}.all()[0];
  bool is_seen = false;
  for (const ReportBlock& b : r.blocks) {
    const auto* t = std::get_if<ReportTable>(&b);
    if (t == nullptr || t->caption != "By grade") continue;
    is_seen = true;
    REQUIRE(t->rows.size() == 1);
    const auto& cells = t->rows[0].cells;
    CHECK(cells[0].text == "G-1");
    CHECK(cells[1].text == "calcium");
    CHECK(cells[2].text == "2");
    CHECK(cells[4].text == "yes");
    CHECK(cells[5].text == "1");
    CHECK(std::stod(cells[6].text) > 0);
  }
  CHECK(is_seen);
}

TEST_CASE("report: every table has as many cells as columns", "[report]") {
  for (const Report& r : Shown{}.all()) {
    for (const ReportBlock& b : r.blocks) {
      const auto* t = std::get_if<ReportTable>(&b);
      if (t == nullptr) continue;
      CAPTURE(r.title, t->caption);
      for (const TableRow& row : t->rows) CHECK(row.cells.size() == t->columns.size());
    }
  }
}

TEST_CASE("html: nothing comes from elsewhere and nothing that was typed becomes markup", "[report][html]") {
  for (const Report& r : Shown{}.all()) {
    const std::string page = html_page(r);
    CAPTURE(r.title);
    for (const char* leak : {"http://", "https://", "src=", "@import", "url(http", "<link", "<iframe"}) {
      if (std::string_view{leak} == "http://") {  // the script names the name space of SVG, which fetches nothing
        const std::string ns = "http://www.w3.org/2000/svg";
        CHECK(page.find(leak) == page.find(ns));
        CHECK(page.find(leak, page.find(ns) + 1) == std::string::npos);
      } else {
        CHECK_THAT(page, !Contains(leak));
      }
    }
    CHECK_THAT(page, Contains("default-src 'none'"));
    CHECK_THAT(page, !Contains("<b>slow"));
    CHECK_THAT(page, !Contains("@text@"));
  }
  CHECK_THAT(html_page(Shown{}.all()[2]), Contains("&lt;b&gt;slow&lt;/b&gt; &amp; &quot;odd&quot;"));
}

TEST_CASE("html: no two elements have one id, and every link of the contents leads somewhere", "[report][html]") {
  for (const Report& r : Shown{}.all()) {
    const std::string page = html_page(r);
    CAPTURE(r.title);
    std::set<std::string> ids;
    for (std::size_t at = page.find(" id=\""); at != std::string::npos; at = page.find(" id=\"", at + 1)) {
      const std::string id = page.substr(at + 5, page.find('"', at + 5) - at - 5);
      CAPTURE(id);
      CHECK(ids.insert(id).second);
    }
    std::size_t links = 0;
    for (std::size_t at = page.find("href=\"#"); at != std::string::npos; at = page.find("href=\"#", at + 1)) {
      CHECK(ids.count(page.substr(at + 7, page.find('"', at + 7) - at - 7)) == 1);
      ++links;
    }
    CHECK(links > 3);
  }
}

TEST_CASE("html and pdf: the same records give the same bytes", "[report]") {
  const auto one = Shown{}.all(), two = Shown{}.all();
  for (std::size_t i = 0; i < one.size(); ++i) {
    CHECK(html_page(one[i]) == html_page(two[i]));
    CHECK(pdf_pages(one[i], Paper::a4) == pdf_pages(two[i], Paper::a4));
  }
}

TEST_CASE("pdf: on A4 and on Letter no text lies on another or leaves the page", "[report][pdf]") {
  for (const Report& r : Shown{}.all()) {
    for (const Paper paper : {Paper::a4, Paper::letter}) {
      const LaidOut laid = lay_out(r, paper);
      CAPTURE(r.title, laid.pages.size());
      CHECK(laid.pages.size() > 1);
      for (std::size_t n = 0; n < laid.pages.size(); ++n) {
        const Drawing& page = laid.pages[n];
        const auto texts = texts_of(page);
        CAPTURE(n);
        bool is_clear = true, is_inside = true;
        std::string which;
        for (std::size_t i = 0; i < texts.size(); ++i) {
          const Box a = box_of(texts[i]);
          if (a.x < 30 || a.right() > page.width() - 30 || a.y < 30 || a.bottom() > page.height() - 15) {
            is_inside = false;
            which = texts[i].text;
          }
          for (std::size_t k = i + 1; k < texts.size(); ++k) {
            if (!overlaps(a, box_of(texts[k]))) continue;
            is_clear = false;
            which = texts[i].text + " | " + texts[k].text;
          }
        }
        CAPTURE(which);
        CHECK(is_clear);
        CHECK(is_inside);
        CHECK(std::any_of(texts.begin(), texts.end(), [&](const TextItem& t) {
          return t.text == "page " + std::to_string(n + 1) + " of " + std::to_string(laid.pages.size());
        }));
      }
    }
  }
}

TEST_CASE("pdf: cubic centimetres are written as on the pages, wherever they stand", "[report][pdf]") {
  Report r;
  r.title = "T";
  r.footer = "T";
  r.blocks.emplace_back(Paragraph{"took 12 cm3", false, false});
  r.blocks.emplace_back(BulletList{"in cm3", {"1 cm3"}});
  r.blocks.emplace_back(Facts{{{"dose", "2 cm3"}}});
  r.blocks.emplace_back(Cautions{"first", {"3 cm3"}});
  ReportTable t;
  t.caption = "grease, cm3";
  t.columns = {{"loss cm3/h", true}};
  t.rows.push_back({{{"4 cm3", {}}}});
  r.blocks.emplace_back(t);
  r.blocks.emplace_back(FindingBlock{Urgency::act, "5 cm3", "6 cm3", {{"missing", "7 cm3"}}, {"8 cm3"}, {}});
  int found = 0;
  for (const Drawing& page : lay_out(r, Paper::a4).pages)
    for (const TextItem& x : texts_of(page)) {
      CAPTURE(x.text);
      CHECK(x.text.find("cm3") == std::string::npos);
      found += x.text.find("cm\xC2\xB3") != std::string::npos ? 1 : 0;
    }
  CHECK(found == 12);
}

TEST_CASE("pdf: no chart is cut by the end of a page", "[report][pdf]") {
  for (const Report& r : Shown{}.all()) {
    for (const Paper paper : {Paper::a4, Paper::letter}) {
      const LaidOut laid = lay_out(r, paper);
      CAPTURE(r.title);
      for (const Drawing& page : laid.pages) {
        double lowest = 0;
        for (const DrawingItem& item : page.items()) {
          if (const auto* l = std::get_if<LineItem>(&item))
            for (const Place& p : l->points) lowest = std::max(lowest, p.y);
          if (const auto* m = std::get_if<MarkItem>(&item)) lowest = std::max(lowest, m->at.y);
        }
        CHECK(lowest <= page.height() - 40);
      }
    }
  }
}

TEST_CASE("pdf: a table that goes over pages has its head on each, and no row is lost", "[report][pdf]") {
  Report r;
  r.title = "Long";
  r.footer = "Long";
  ReportTable t;
  t.columns = {{"number", true}, {"what it says", false}};
  for (int i = 0; i < 150; ++i) t.rows.push_back({{{std::to_string(i), {}}, {"row " + std::to_string(i) + ".", {}}}});
  r.blocks.emplace_back(t);
  const LaidOut laid = lay_out(r, Paper::letter);
  REQUIRE(laid.pages.size() > 2);
  std::multiset<std::string> all;
  for (const Drawing& page : laid.pages) {
    const auto texts = texts_of(page);
    CHECK(std::count_if(texts.begin(), texts.end(), [](const TextItem& x) { return x.text == "what it says"; }) == 1);
    for (const TextItem& x : texts) all.insert(x.text);
  }
  for (int i = 0; i < 150; ++i) CHECK(all.count("row " + std::to_string(i) + ".") == 1);
}

TEST_CASE("pdf: a heading never stands alone at the foot of a page", "[report][pdf]") {
  for (int lines = 60; lines < 75; ++lines) {
    Report r;
    r.title = "T";
    r.footer = "T";
    for (int i = 0; i < lines; ++i) r.blocks.emplace_back(Heading{3, "h" + std::to_string(i), "h" + std::to_string(i)});
    r.blocks.emplace_back(Paragraph{"text", false, false});
    // All of them keep with the text: the row is longer than a page, so only the last ones can.
    const LaidOut laid = lay_out(r, Paper::a4);
    const auto last = texts_of(laid.pages.back());
    CHECK(std::any_of(last.begin(), last.end(), [](const TextItem& t) { return t.text == "text"; }));
  }
  Report r;
  r.title = "T";
  r.footer = "T";
  for (int i = 0; i < 55; ++i) r.blocks.emplace_back(Paragraph{"line", true, false});
  for (int i = 0; i < 12; ++i) {
    r.blocks.emplace_back(Heading{2, "head", "h"});
    r.blocks.emplace_back(Paragraph{"under it", false, false});
    const LaidOut laid = lay_out(r, Paper::a4);
    for (const Drawing& page : laid.pages) {
      const auto texts = texts_of(page);
      const auto count = [&](const char* word) {
        return std::count_if(texts.begin(), texts.end(), [&](const TextItem& t) { return t.text == word; });
      };
      CHECK(count("head") == count("under it"));
    }
  }
}

TEST_CASE("pdf: every chapter is in the outline, at the page where it stands", "[report][pdf]") {
  const Report r = Shown{}.all()[0];
  const LaidOut laid = lay_out(r, Paper::a4);
  std::size_t headings = 0;
  for (const ReportBlock& b : r.blocks) headings += std::holds_alternative<Heading>(b) ? 1U : 0U;
  REQUIRE(laid.bookmarks.size() == headings);
  for (const PdfBookmark& b : laid.bookmarks) {
    const auto texts = texts_of(laid.pages.at(b.page));
    CAPTURE(b.text);
    CHECK(std::any_of(texts.begin(), texts.end(), [&](const TextItem& t) { return b.text.starts_with(t.text); }));
  }
}

TEST_CASE("colours of the page: text reaches a contrast of 4.5 on paper", "[report][html]") {
  for (const Colour c : {ink::kText, ink::kQuiet, ink::kMain, ink::kOther, ink::kWarn}) {
    CHECK(contrast(c, ink::kPaper) >= 4.5);
  }
}

TEST_CASE("chart files: one a chart, each of its own name, standing alone", "[report]") {
  const auto files = chart_files(Shown{}.all()[2]);
  REQUIRE(files.size() >= 2);
  std::set<std::string> names;
  for (const ChartFile& f : files) {
    CHECK(names.insert(f.name).second);
    CHECK(f.name.find_first_not_of("abcdefghijklmnopqrstuvwxyz0123456789-.") == std::string::npos);
    CHECK_THAT(f.svg, Contains("xmlns=\"http://www.w3.org/2000/svg\""));
  }
}
