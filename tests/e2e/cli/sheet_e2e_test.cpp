// `sheet`: what it prints can be typed in as it stands.
#include "support/run.hpp"

#include <map>
#include <sstream>

#include <catch2/catch.hpp>

using namespace shaftlog::test;
using Catch::Matchers::Contains;

namespace {

/// The heads of the form under a caption, as the heading of a CSV file.
std::string heads_under(const std::string& sheets, const std::string& caption) {
  const std::size_t at = sheets.find("vessel tarnwick: " + caption);
  if (at == std::string::npos) return "";
  const std::size_t from = sheets.find("\n|", at) + 2;
  std::istringstream cells{sheets.substr(from, sheets.find('\n', from) - from)};
  std::string out = "vessel";
  for (std::string cell; std::getline(cells, cell, '|');) out += "," + cell.substr(0, cell.find(' '));
  return out;
}

}  // namespace

TEST_CASE("sheet: every form's columns are taken by import as they are printed", "[e2e][sheet]") {
  const Aboard aboard;
  aboard.ok({"demo"});
  const std::string sheets = aboard.ok({"sheet", "tarnwick", "--as-of", "2026-10-01"});
  const std::map<std::string, std::pair<std::string, std::string>> forms{
      {"greasings", {"manual greasings", "fin_aft_port,2026-10-02T08:00,60,strokes,gun1,pressure,clean,2/E,"}},
      {"hours", {"running hours", "fin_aft_port,2026-10-02T08:00,99999,new,,2/E,"}},
      {"refills", {"refills", "lub1,2026-10-02T08:00,2,kg,40,80,,A-1,2/E,"}},
      {"levels", {"levels", "lub1,2026-10-03T08:00,79,2/E,"}},
      {"cycles", {"cycle counters", "lub1,2026-10-03T08:00,10,new,2/E,"}},
      {"alarms", {"alarms", "lub1,,2026-10-03T08:00,,no_pressure,2/E,"}},
      {"work", {"work", "fin_aft_port,,2026-10-03T08:00,bled,2/E,"}},
      {"inspections", {"inspections", "fin_aft_port,2026-10-03T08:00,1.5,20,0.4,2/E,"}}};
  for (const auto& [file, form] : forms) {
    const std::string heads = heads_under(sheets, form.first);
    CAPTURE(file, heads);
    REQUIRE_FALSE(heads.empty());
    write_text(aboard.dir / ("typed/" + file + ".csv"), heads + "\ntarnwick," + form.second + "\n");
  }
  const Ran ran = aboard({"import", "typed"});
  INFO(ran.out << ran.err);
  CHECK(ran.code == 0);
  const std::string told = ran.out + ran.err;
  CHECK_THAT(told, Contains("greasings.csv       1      1      0         0        0"));
  CHECK_THAT(told, !Contains(" 1      0      0"));
}

TEST_CASE("sheet: expected amounts, cautions and the same bytes in every form", "[e2e][sheet]") {
  const Aboard aboard;
  aboard.ok({"demo"});
  const std::string sheets = aboard.ok({"sheet", "tarnwick", "--as-of", "2026-10-01"});
  CHECK_THAT(sheets, Contains("fin_aft_port") && Contains("strokes of gun1") && Contains("grease injection") &&
                         Contains("2026-10-10"));
  for (const char* file : {"one.pdf", "two.pdf", "one.html", "two.html"})
    aboard.ok({"sheet", "tarnwick", "--as-of", "2026-10-01", "--out", file});
  CHECK((read_text(aboard.dir / "one.pdf") == read_text(aboard.dir / "two.pdf")));
  CHECK((read_text(aboard.dir / "one.html") == read_text(aboard.dir / "two.html")));
  const Ran html = run_program_file("/usr/bin/python3",
                                    {std::string{SHAFTLOG_SOURCE_DIR} + "/tests/e2e/cli/html5_check.py", "one.html"},
                                    aboard.dir.path());
  INFO(html.out << html.err);
  CHECK(html.code == 0);
  CHECK_THAT(run_program_file("/usr/bin/pdfinfo", {"one.pdf"}, aboard.dir.path()).out, Contains("Pages:           5"));
  CHECK(aboard({"sheet", "tarnwick", "--format", "docx"}).code == 2);
}
