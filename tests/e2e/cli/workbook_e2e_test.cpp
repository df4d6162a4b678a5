// `report --format xlsx` through the program, read back by two readers that are not ours: openpyxl, and where it is
// installed a spreadsheet program (libreoffice-calc-nogui of Debian: 82 MB to fetch, so it is not asked for).
#include "support/run.hpp"

#include <catch2/catch.hpp>

using namespace shaftlog::test;
using Catch::Matchers::Contains;

namespace {

const std::string kCheck = std::string{SHAFTLOG_SOURCE_DIR} + "/tests/e2e/cli/workbook_check.py";

struct DemoBook : Aboard {
  DemoBook() {
    ok({"demo"});
    ok({"report", "fleet", "--as-of", "2026-10-01", "--out", "fleet.xlsx"});
    write_text(dir / "review.json", ok({"review", "--json", "--as-of", "2026-10-01"}));
  }
  [[nodiscard]] Ran compare(std::vector<std::string> words) const {
    words.insert(words.begin(), kCheck);
    return run_program_file("/usr/bin/python3", words, dir.path());
  }
};

}  // namespace

TEST_CASE("workbook: another reader finds in it the figures of review --json", "[e2e][report]") {
  const DemoBook demo;
  const Ran ran = demo.compare({"fleet.xlsx", "review.json"});
  INFO(ran.out << ran.err);
  CHECK(ran.code == 0);
  CHECK_THAT(ran.out, Contains("61 findings, shafts and lubricators compared, 0 differences"));
  // The comparison can fail: a review of another day has other figures.
  write_text(demo.dir / "other.json", demo.ok({"review", "--json", "--as-of", "2026-08-01"}));
  CHECK(demo.compare({"fleet.xlsx", "other.json"}).code == 1);
}

TEST_CASE("workbook: a spreadsheet program opens it and saves the same figures", "[e2e][report]") {
  const std::string program = "/usr/bin/soffice";
  if (!std::filesystem::exists(program)) {
    WARN("skipped: no " + program + " (Debian: libreoffice-calc-nogui)");
    return;
  }
  const DemoBook demo;
  std::filesystem::create_directory(demo.dir / "saved");
  const Ran saved = run_program_file(program,
                                     {"-env:UserInstallation=file://" + (demo.dir / "profile").string(), "--headless",
                                      "--convert-to", "xlsx", "--outdir", "saved", "fleet.xlsx"},
                                     demo.dir.path());
  INFO(saved.out << saved.err);
  REQUIRE(std::filesystem::exists(demo.dir / "saved/fleet.xlsx"));
  const Ran ran = demo.compare({"saved/fleet.xlsx", "review.json", "--figures-only"});
  INFO(ran.out << ran.err);
  CHECK(ran.code == 0);
}

TEST_CASE("workbook: bytes do not depend on threads, time zone or locale, nor on when it was made", "[e2e][report]") {
  const DemoBook demo;
  const std::string fleet = read_text(demo.dir / "fleet.xlsx");
  demo.ok({"report", "fleet", "--as-of", "2026-10-01", "--out", "again.xlsx", "--threads", "3"}, "",
          {"TZ=Pacific/Chatham", "LC_ALL=de_DE.UTF-8"});
  CHECK((fleet == read_text(demo.dir / "again.xlsx")));
  const std::vector<std::string> shaft{"report", "shaft", "aldervane", "fin_stbd", "--as-of", "2026-10-01", "--out"};
  auto one = shaft, two = shaft;
  one.insert(one.end(), {"one.xlsx", "--threads", "1"});
  two.insert(two.end(), {"two.xlsx", "--threads", "3"});
  demo.ok(one);
  ::usleep(2100000);  // the archive's own times have a step of 2 s
  demo.ok(two, "", {"TZ=Pacific/Chatham"});
  CHECK((read_text(demo.dir / "one.xlsx") == read_text(demo.dir / "two.xlsx")));
}

TEST_CASE("workbook: an empty database, a ship with no record, and odd text make one that opens", "[e2e][report]") {
  const Aboard aboard;
  aboard.ok({"init"});
  aboard.ok({"report", "fleet", "--as-of", "2026-10-01", "--out", "empty.xlsx"});
  write_text(aboard.dir / "log/vessels.csv", "vessel,name,time_zone\nT-01,\"=1+1 <b>&\",UTC\n");
  write_text(aboard.dir / "log/greases.csv", "grease,density_g_cm3\nG-1,0.92\n");
  write_text(aboard.dir / "log/shafts.csv", "vessel,shaft,grease\nT-01,port,G-1\n");
  write_text(aboard.dir / "log/hours.csv",
             "vessel,shaft,at,meter_h,remark\nT-01,port,2026-09-01,100,_x0041_ =2+2\nT-01,port,2026-09-10,150,\n");
  aboard.ok({"import", "log"});
  aboard.ok({"report", "vessel", "T-01", "--as-of", "2026-10-01", "--out", "v.xlsx"});
  aboard.ok({"report", "shaft", "T-01", "port", "--as-of", "2026-10-01", "--out", "s.xlsx"});
  const Ran ran = run_program_file(
      "/usr/bin/python3",
      {"-c",
       "import openpyxl\n"
       "print(len(openpyxl.load_workbook('empty.xlsx').sheetnames))\n"
       "c = openpyxl.load_workbook('v.xlsx')['Ships']['B2']\n"
       "print(c.value, c.data_type)\n"
       "for row in openpyxl.load_workbook('s.xlsx')['Records'].iter_rows(min_row=2, values_only=True):\n"
       "    print([x for x in row if x is not None][5:7])\n"},
      aboard.dir.path());
  INFO(ran.err);
  // openpyxl calls whatever begins with "=" a formula; in the file it is text, which the next line sees.
  CHECK_THAT(ran.out, Contains("=1+1 <b>&"));
  CHECK_THAT(ran.out, Contains("[100, '_x0041_ =2+2']") && Contains("[150,"));
  CHECK(run_program_file("/usr/bin/python3",
                         {"-c",
                          "import zipfile\nz = zipfile.ZipFile('v.xlsx')\n"
                          "print(sum(b'<f>' in z.read(n) for n in z.namelist() if 'worksheets/sheet' in n))"},
                         aboard.dir.path())
            .out == "0\n");
}
