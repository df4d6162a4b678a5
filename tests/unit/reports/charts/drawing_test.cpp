#include "reports/charts/palette.hpp"
#include "reports/charts/pdf.hpp"
#include "reports/charts/plot.hpp"
#include "reports/charts/svg.hpp"
#include "reports/charts/text_width.hpp"

#include <catch2/catch.hpp>
#include <rapidcheck/catch.h>

using namespace shaftlog;
using Catch::Matchers::Contains;

TEST_CASE("contrast: black on white is 21, as WCAG 2.1 defines it", "[charts]") {
  CHECK(contrast({0, 0, 0}, {255, 255, 255}) == Approx(21));
  CHECK(contrast({255, 255, 255}, {255, 255, 255}) == Approx(1));
  // The grey nearest to 4.5 on white is #767676 (computed from the formula: 4.54).
  CHECK(contrast({0x76, 0x76, 0x76}, ink::kPaper) == Approx(4.54).margin(0.005));
}

TEST_CASE("colours: text reaches 4.5 on every ground it is put on, meaning in lines and marks 3", "[charts]") {
  for (const Colour text : {ink::kText, ink::kQuiet, ink::kMain, ink::kOther, ink::kWarn}) {
    CAPTURE(hex(text));
    for (const Colour ground : {ink::kPaper, ink::kCalmBand, ink::kMainBand, ink::kWarnBand}) {
      CAPTURE(hex(ground));
      CHECK(contrast(text, ground) >= 4.5);
    }
  }
  for (const Colour line : {ink::kAxis, ink::kMainEdge, ink::kWarnEdge}) {
    CAPTURE(hex(line));
    CHECK(contrast(line, ink::kPaper) >= 3);
  }
}

TEST_CASE("urgency: each has its own shape, not only its own colour", "[charts]") {
  const Urgency all[] = {Urgency::act, Urgency::plan, Urgency::watch, Urgency::note};
  for (const Urgency a : all) {
    for (const Urgency b : all) CHECK((a == b) == (shape_of(a) == shape_of(b)));
  }
}

TEST_CASE("text width: agrees with what the PDF library draws, plain and strong", "[charts]") {
  for (const std::string text : {"Washout 0.57 cm\xC2\xB3/h (0.52 to 0.66)", "began about 2025-02-06",
                                 "\xC2\xB1 10 % \xE2\x86\x92 \xE2\x89\xA4 5",
                                 "\xC5\x81\xC3\xB3\xC5\xBA \xC3\x98sterby na\xC3\xAFve", "AVAWAY To. Te"}) {
    for (const bool is_strong : {false, true}) {
      CAPTURE(text, is_strong);
      // The toy text calls do not kern, nor do we; widths are hinted to 1/64 px at most.
      CHECK(text_width(text, 10.5, is_strong) == Approx(pdf_text_width(text, 10.5, is_strong)).epsilon(0.02));
    }
  }
}

TEST_CASE("text: lines break at blanks, long words are cut, nothing is lost", "[charts]") {
  const auto lines = broken_into_lines("the quick brown fox jumps", 60, 10);
  CHECK(lines.size() > 1);
  std::string joined;
  for (const std::string& l : lines) {
    CHECK(text_width(l, 10) <= 60);
    joined += (joined.empty() ? "" : " ") + l;
  }
  CHECK(joined == "the quick brown fox jumps");
  const auto cut = broken_into_lines("0123456789012345678901234567890123456789", 60, 10);
  std::string whole;
  for (const std::string& l : cut) {
    CHECK(text_width(l, 10) <= 60);
    whole += l;
  }
  CHECK(whole == "0123456789012345678901234567890123456789");
  CHECK(broken_into_lines("", 60, 10) == std::vector<std::string>{""});
  CHECK(broken_into_lines("a\nb", 60, 10) == std::vector<std::string>{"a", "b"});
}

TEST_CASE("svg: what was typed cannot leave its place, nor make the text invalid", "[charts][svg]") {
  Drawing d{100, 50};
  d.begin_group("<script>alert(1)</script>");
  d.text({1, 10}, std::string{"a<b & \"c\" \x01 \xFF \xEF\xBF\xBF."}, {10, ink::kText});
  d.end_group();
  const std::string svg = svg_text(d, {"A <title>", "say & see", "x1", true});
  CHECK_THAT(svg, Contains("&lt;script&gt;alert(1)&lt;/script&gt;"));
  CHECK_THAT(svg, Contains("a&lt;b &amp; &quot;c&quot;  \xEF\xBF\xBD ."));
  CHECK_THAT(svg, Contains("<title id=\"x1-t\">A &lt;title&gt;</title>"));
  CHECK_THAT(svg, Contains("aria-labelledby=\"x1-t x1-d\""));
  CHECK_THAT(svg, !Contains("<script"));
}

TEST_CASE("svg: whatever bytes were typed, what comes out is UTF-8 with no markup in it", "[charts][svg]") {
  CHECK(escaped("\xC0\xBC"
                "a") ==
        "\xEF\xBF\xBD"
        "a");  // '<' written too long
  CHECK(escaped("\xED\xA0\x80"
                "a") ==
        "\xEF\xBF\xBD"
        "a");  // half of a pair
  CHECK(escaped("\xF4\x90\x80\x80"
                "a") ==
        "\xEF\xBF\xBD"
        "a");                                                                                // beyond the last
  CHECK(escaped("\xFB\xA6\xB1\xA1") == "\xEF\xBF\xBD\xEF\xBF\xBD\xEF\xBF\xBD\xEF\xBF\xBD");  // no first byte
  rc::prop("escaped", [](const std::string& typed) {
    const std::string out = escaped(typed);
    RC_ASSERT(out.find_first_of("<>\"'") == std::string::npos);
    for (std::size_t i = 0; i < out.size();) {
      const std::size_t at = i;
      if (next_code_point(out, i) == 0xFFFD) RC_ASSERT(out.substr(at, i - at) == "\xEF\xBF\xBD");
    }
    Drawing d{100, 20};
    d.text({1, 10}, typed.empty() ? "x" : typed, {10, ink::kText});
    RC_ASSERT(pdf_text({d}, {{typed, 0, 0, 0}}, {typed, typed, {}}).starts_with("%PDF-"));
  });
}

TEST_CASE("svg: places are told to a tenth of a pixel, whatever the locale", "[charts][svg]") {
  Drawing d{100, 50};
  d.line({0.04, -0.26}, {10.25, 50}, {ink::kAxis, 0.8, Dash::dashed});
  CHECK_THAT(svg_text(d, {"t", "", "x", false}), Contains("d=\"M0 -0.3L10.3 50\""));
}

TEST_CASE("pdf: the same pages give the same bytes, with the date that was given", "[charts][pdf]") {
  Drawing d{300, 200};
  d.text({10, 20}, "Washout cm\xC2\xB3/h", {11, ink::kText, Anchor::start, true});
  d.text({10, 40}, "bad \xFF byte", {11, ink::kText});
  d.mark({50, 60}, Shape::ring, 8, ink::kMain);
  d.begin_clip({0, 0, 100, 100});
  d.area({{0, 0}, {50, 0}, {50, 50}}, ink::kMainBand, Stroke{ink::kMain, 1, Dash::dash_dot});
  d.end_clip();
  const PdfMeta meta{"A report", "", parse_stamp("2026-10-01T12:00Z", Zone::utc())->utc};
  const std::string one = pdf_text({d, d}, {{"First", 0, 10, 0}, {"Second", 1, 10, 1}}, meta);
  CHECK(one.substr(0, 5) == "%PDF-");
  CHECK_THAT(one, Contains("20261001120000"));
  CHECK(one == pdf_text({d, d}, {{"First", 0, 10, 0}, {"Second", 1, 10, 1}}, meta));
}

TEST_CASE("typeset: cubic centimetres and minus signs as they are printed", "[charts]") {
  CHECK(typeset("0.5 cm3/h (-3 to 6)") ==
        "0.5 cm\xC2\xB3/h (\xE2\x88\x92"
        "3 to 6)");
  CHECK(typeset("2026-10-01, fin-port") == "2026-10-01, fin-port");
}
