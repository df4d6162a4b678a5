#include "support/run.hpp"

#include <sstream>

#include <catch2/catch.hpp>

using namespace shaftlog::test;
using Catch::Matchers::Contains;

namespace {

/// The demo fleet, aboard.
struct DemoFleet : Aboard {
  DemoFleet() { ok({"demo"}); }
  std::string report(std::vector<std::string> words, const std::vector<std::string>& env = {}) const {
    words.insert(words.begin(), "report");
    words.insert(words.end(), {"--as-of", "2026-10-01"});
    return ok(words, "", env);
  }
};

/// What tidy says about a page, but for two attributes of SVG that it does not know: `font-family` is a presentation
/// attribute and every element may have an `id` (SVG 1.1, 6.1 and 5.10.1).
std::string faults_of(const std::filesystem::path& page, const std::filesystem::path& folder) {
  const Ran ran = run_program_file("/usr/bin/tidy", {"-q", "-e", page.string()}, folder);
  std::istringstream in{ran.err};
  std::string faults;
  for (std::string line; std::getline(in, line);) {
    const bool is_known = line.ends_with("<svg> proprietary attribute \"font-family\"") ||
                          line.ends_with("<title> proprietary attribute \"id\"");
    if (!is_known) faults += line + '\n';
  }
  return faults;
}

/// What an HTML5 parser says about pages.
Ran parsed(std::vector<std::string> pages, const std::filesystem::path& folder) {
  pages.insert(pages.begin(), std::string{SHAFTLOG_SOURCE_DIR} + "/tests/e2e/cli/html5_check.py");
  return run_program_file("/usr/bin/python3", pages, folder);
}

std::string text_of_pdf(const std::filesystem::path& file, const std::filesystem::path& folder) {
  const Ran ran = run_program_file("/usr/bin/pdftotext", {"-layout", file.string(), "-"}, folder);
  CHECK(ran.err.empty());
  return ran.out;
}

}  // namespace

TEST_CASE("report: the pages of fleet, vessel and shaft are sound HTML and hold what they promise", "[e2e][report]") {
  const DemoFleet demo;
  demo.report({"fleet", "--out", "fleet.html"});
  demo.report({"vessel", "tarnwick", "--out", "vessel.html"});
  demo.report({"shaft", "aldervane", "fin_stbd", "--out", "shaft.html"});
  for (const char* page : {"fleet.html", "vessel.html", "shaft.html"}) {
    CAPTURE(page);
    CHECK(faults_of(demo.dir / page, demo.dir.path()).empty());
  }
  demo.ok({"history", "aldervane", "fin_stbd", "--until", "2026-10-01", "--out", "history.html"});
  const Ran pages = parsed({"fleet.html", "vessel.html", "shaft.html", "history.html"}, demo.dir.path());
  INFO(pages.out << pages.err);
  CHECK(pages.out == "4 pages parsed, 0 with errors\n");
  const std::string fleet = read_text(demo.dir / "fleet.html");
  for (const char* part : {"What asks for attention", "State of every ship", "Who is not recording", "past the seals",
                           "planned, done, overdue", "ISM Code, element 10", "grease injection"}) {
    CHECK_THAT(fleet, Contains(part));
  }
  const std::string shaft = read_text(demo.dir / "shaft.html");
  CHECK_THAT(shaft, Contains("seal wear") && Contains("began about") && Contains("Records"));
}

TEST_CASE("report: a fault in the markup would be seen", "[e2e][report]") {
  const Aboard aboard;
  write_text(aboard.dir / "bad.html",
             "<!DOCTYPE html><html lang=\"en\"><head><title>x</title></head><body><p><div id=\"a\"></p><b "
             "id=\"a\"></body></html>");
  CHECK_FALSE(faults_of(aboard.dir / "bad.html", aboard.dir.path()).empty());
  CHECK(parsed({"bad.html"}, aboard.dir.path()).code == 1);
}

TEST_CASE("report: bytes do not depend on threads, time zone or locale", "[e2e][report]") {
  const DemoFleet demo;
  const std::string page = demo.report({"fleet", "--threads", "1"});
  CHECK(page == demo.report({"fleet", "--threads", "3"}, {"TZ=Pacific/Chatham", "LC_ALL=de_DE.UTF-8"}));
  demo.report({"vessel", "vespergale", "--out", "one.pdf", "--threads", "1"});
  demo.report({"vessel", "vespergale", "--out", "two.pdf", "--threads", "3"},
              {"TZ=Pacific/Chatham", "LC_ALL=de_DE.UTF-8"});
  CHECK(read_text(demo.dir / "one.pdf") == read_text(demo.dir / "two.pdf"));
}

TEST_CASE("report: the PDF says the same, readable by programs, with an outline", "[e2e][report]") {
  const DemoFleet demo;
  demo.report({"fleet", "--out", "fleet.pdf"});
  demo.report({"shaft", "aldervane", "fin_stbd", "--out", "shaft.pdf", "--paper", "letter"});
  const std::string fleet = text_of_pdf(demo.dir / "fleet.pdf", demo.dir.path());
  for (const char* part : {"What asks for attention", "1. tarndale, lub1: missed cycles", "page 1 of", "cm\xC2\xB3",
                           "Extract for an auditor", "never hold a fitting"}) {
    CHECK_THAT(fleet, Contains(part));
  }
  CHECK_THAT(text_of_pdf(demo.dir / "shaft.pdf", demo.dir.path()), Contains("Washout") && Contains("began about"));
  const Ran info = run_program_file("/usr/bin/pdfinfo", {"shaft.pdf"}, demo.dir.path());
  CHECK_THAT(info.out, Contains("612 x 792 pts (letter)"));
  CHECK_THAT(read_text(demo.dir / "fleet.pdf"), Contains("/Outlines"));
}

TEST_CASE("report: without --out the page goes to standard output, and is the one of the file", "[e2e][report]") {
  const DemoFleet demo;
  const std::string page = demo.report({"shaft", "aldermoor", "fin_port"});
  demo.report({"shaft", "aldermoor", "fin_port", "--out", "a.html"});
  CHECK(page == read_text(demo.dir / "a.html"));
  demo.report({"shaft", "aldermoor", "fin_port", "--out", "a.html", "--overwrite"});
}

TEST_CASE("report: svg writes each chart into a folder", "[e2e][report]") {
  const DemoFleet demo;
  std::istringstream names{demo.report({"shaft", "aldervane", "fin_stbd", "--format", "svg", "--out", "new/pictures"})};
  int count = 0;
  for (std::string name; std::getline(names, name); ++count) {
    CHECK_THAT(read_text(demo.dir.path() / name), Catch::Matchers::StartsWith("<svg xmlns="));
  }
  CHECK(count >= 2);
}

TEST_CASE("report: an empty database and a ship with no record make a page too", "[e2e][report]") {
  const Aboard aboard;
  aboard.ok({"init"});
  CHECK_THAT(aboard.ok({"report", "fleet", "--as-of", "2026-10-01"}), Contains("Nothing found"));
  write_text(aboard.dir / "log/vessels.csv", "vessel,name,time_zone\nT-01,Testholm,UTC\n");
  write_text(aboard.dir / "log/greases.csv", "grease,density_g_cm3\nG-1,0.92\n");
  write_text(aboard.dir / "log/shafts.csv", "vessel,shaft,grease\nT-01,port,G-1\n");
  aboard.ok({"import", "log"});
  CHECK_THAT(aboard.ok({"report", "shaft", "T-01", "port", "--as-of", "2026-10-01"}),
             Contains("No record is about this shaft"));
  aboard.ok({"report", "vessel", "T-01", "--as-of", "2026-10-01", "--out", "v.pdf"});
  aboard.ok({"report", "vessel", "T-01", "--as-of", "2026-10-01", "--out", "V.PDF"});
  CHECK(read_text(aboard.dir / "V.PDF") == read_text(aboard.dir / "v.pdf"));
  CHECK_THAT(text_of_pdf(aboard.dir / "v.pdf", aboard.dir.path()), Contains("cavity capacity not known"));
}
