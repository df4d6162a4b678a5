#include "app/import.hpp"

#include "base/error.hpp"
#include "interchange/csv.hpp"
#include "storage/log_repository.hpp"
#include "storage/register_repository.hpp"
#include "storage/verification_repository.hpp"
#include "support/log_text.hpp"

#include <algorithm>
#include <string>
#include <unistd.h>
#include <vector>

#include <catch2/catch.hpp>

using namespace shaftlog;
using test::read_text;
using test::write_text;

namespace {

const FixedClock kClock{from_unix(1'790'000'000)};

struct Bench {
  test::TempDir dir;
  Database db = Database::create(dir / "shaftlog.db");
  std::filesystem::path log = dir / "log";

  Bench() { test::write_register(log); }
  ImportResult import(ImportOptions options = {}) {
    if (options.files.empty()) options.folder = log;
    return import_folder(db, kClock, options);
  }
  std::vector<Entry> all() {
    ListQuery q;
    q.in_force_only = false;
    return LogRepository{db}.list(q);
  }
};

std::string texts(const std::vector<Fault>& faults) {
  std::string out;
  for (const Fault& f : faults) out += f.text() + "\n";
  return out;
}

const ImportedFile& file_of(const ImportResult& r, const std::string& name) {
  return *std::find_if(r.files.begin(), r.files.end(), [&](const ImportedFile& f) { return f.name == name; });
}

constexpr const char* kLevels = "vessel,lubricator,at,level_pct\nT-01,lub1,2026-03-01,80\nT-02,lub1,2026-03-02,70\n";

}  // namespace

TEST_CASE("import: a folder is kept, and importing it again adds nothing", "[app][import]") {
  Bench b;
  write_text(b.log / "levels.csv", kLevels);
  write_text(b.log / "hours.csv", "vessel,shaft,at,meter_h\nT-01,port,2026-03-01T08:00,100\n");
  const auto first = b.import();
  CHECK(texts(first.faults).empty());
  CHECK(first.is_kept);
  CHECK(file_of(first, "levels.csv").added == 2);
  CHECK(file_of(first, "shafts.csv").added == 4);
  REQUIRE(b.all().size() == 3);
  CHECK(b.all()[1].head.source == "levels.csv:2");
  const auto again = b.import();
  CHECK(again.is_kept);
  for (const ImportedFile& f : again.files) {
    CHECK(f.added == 0);
    CHECK(f.known == f.rows);
  }
  CHECK(b.all().size() == 3);
  CHECK(check(b.db).faults.empty());
}

TEST_CASE("import: dates in the future and amounts beyond the room are kept and told once a file", "[app][import]") {
  Bench b;
  write_text(b.log / "hours.csv",
             "vessel,shaft,at,meter_h\nT-01,port,2026-03-01T08:00,100\n"
             "T-01,port,2029-03-01T08:00,200\nT-01,port,2029-04-01T08:00,300\n");
  write_text(b.log / "refills.csv", "vessel,lubricator,at,amount,unit\nT-01,lub1,2026-03-01,99999,cm3\n");
  const auto r = b.import();
  CHECK(r.is_kept);
  CHECK(r.fault_count == 0);
  CHECK(b.all().size() == 4);
  CHECK(r.warning_count == 2);
  CHECK(texts(r.warnings) ==
        "hours.csv line 3, at: 2 records dated in the future: lines 3, 4\n"
        "refills.csv line 2, amount: 1 record of more than the registered cavity or reservoir holds: line 2\n");
  CHECK(b.import().warning_count == 0);
}

TEST_CASE("import: two equal rows of one file are two records, in any order and any number of times", "[app][import]") {
  Bench b;
  write_text(
      b.log / "levels.csv",
      "vessel,lubricator,at,level_pct\nT-01,lub1,2026-03-01,80\nT-02,lub1,2026-03-02,70\nT-01,lub1,2026-03-01,80.0\n");
  CHECK(file_of(b.import(), "levels.csv").added == 3);
  write_text(
      b.log / "levels.csv",
      "vessel,lubricator,at,level_pct\nT-01,lub1,2026-03-01,80\nT-01,lub1,2026-03-01,80\nT-02,lub1,2026-03-02,70\n");
  CHECK(file_of(b.import(), "levels.csv").added == 0);
  CHECK(b.all().size() == 3);
}

TEST_CASE("import: one bad line and nothing is kept, with every fault told", "[app][import]") {
  Bench b;
  write_text(b.log / "levels.csv", kLevels);
  write_text(
      b.log / "greasings.csv",
      "vessel,shaft,at,amount,unit,ended\nT-01,port,2026-03-01,25o,cm3,presure\nT-01,port,2026-03-02,25,cm3,limit\n"
      "T-03,port,2026-03-02,25,cm3\n");
  const auto r = b.import();
  CHECK_FALSE(r.is_kept);
  CHECK(r.fault_count == 3);
  CHECK(texts(r.faults) ==
        "greasings.csv line 2, ended: \"presure\" is not known; expected one of pressure, limit, stopped, packed, "
        "not_done; did you mean \"pressure\"?\n"
        "greasings.csv line 2, amount: \"25o\" is not a number; expected plain digits such as 25 or 0.5\n"
        "greasings.csv line 4: the line has 5 fields; expected 6 as in the header\n");
  CHECK(b.all().empty());
  CHECK(RegisterRepository{b.db}.load().vessels.empty());
}

TEST_CASE("import: the list of faults is cut, the rest are counted", "[app][import]") {
  Bench b;
  std::string text = "vessel,lubricator,at,level_pct\n";
  for (int i = 0; i < 100; ++i) text += "T-01,lub1,2026-03-01,x\n";
  write_text(b.log / "levels.csv", text);
  ImportOptions o;
  o.most_faults = 7;
  const auto r = b.import(o);
  CHECK(r.faults.size() == 7);
  CHECK(r.fault_count == 100);
}

TEST_CASE("import: a dry run says the same and keeps nothing", "[app][import]") {
  Bench b;
  write_text(b.log / "levels.csv", kLevels);
  ImportOptions o;
  o.dry_run = true;
  const auto r = b.import(o);
  CHECK_FALSE(r.is_kept);
  CHECK(file_of(r, "levels.csv").added == 2);
  CHECK(b.all().empty());
}

TEST_CASE("import: the good lines kept, the bad ones unchanged with the reason; put right they import",
          "[app][import]") {
  Bench b;
  const std::string bad =
      "T-01;lub1;2026-03-03;8o;\"with \"\"quotes\"\";\nand a "
      "line\"\nT-01;lub1;2026-03-04;50;\"open\nT-01;lub1;2026-03-05\n";
  write_text(b.log / "levels.csv", "vessel;lubricator;at;level_pct;remark\nT-01;lub1;2026-03-01;80,5;good\n" + bad +
                                       "T-02;lub1;2026-03-06;70;\n");
  ImportOptions o;
  o.keep_good = true;
  o.rejects_folder = b.dir / "rejects";
  const auto r = b.import(o);
  CHECK(r.is_kept);
  CHECK(file_of(r, "levels.csv").added == 2);
  CHECK(file_of(r, "levels.csv").refused == 3);
  REQUIRE(r.rejects == std::vector{b.dir / "rejects" / "levels.csv"});
  const std::string text = read_text(r.rejects[0]);
  CHECK(
      text ==
      "vessel;lubricator;at;level_pct;remark;refused_because\n"
      "T-01;lub1;2026-03-03;8o;\"with \"\"quotes\"\";\nand a line\";\"level_pct: \"\"8o\"\" is not a number; expected "
      "plain digits such as 25 or 0.5\"\n"
      "T-01;lub1;2026-03-04;50;\"open;the quote that begins in line 5 is not closed\n"
      "T-01;lub1;2026-03-05;\"the line has 3 fields; expected 5 as in the header\"\n");

  SECTION("a rejects file in the way is not overwritten") {
    CHECK_THROWS_WITH(b.import(o), Catch::Matchers::Contains("is there already"));
    CHECK(read_text(r.rejects[0]) == text);
  }
  SECTION("put right, it imports as it is, the reasons still in it") {
    write_text(
        r.rejects[0],
        "vessel;lubricator;at;level_pct;remark;refused_because\nT-01;lub1;2026-03-03;80;x;\"level_pct: no number\"\n");
    ImportOptions single;
    single.files = {r.rejects[0]};
    const auto fixed = b.import(single);
    CHECK(texts(fixed.faults).empty());
    CHECK(b.all().size() == 3);
  }
  SECTION("rejected again, the new reason takes the place of the old one") {
    ImportOptions again;
    again.files = {r.rejects[0]};
    again.keep_good = true;
    again.rejects_folder = b.dir / "again";
    const auto second = b.import(again);
    CHECK(second.fault_count == 3);
    CHECK(read_text(second.rejects[0]).substr(0, 190) == text.substr(0, 190));
  }
}

TEST_CASE("import: corrections and withdrawals must fit what they point at", "[app][import]") {
  Bench b;
  const std::string one = "0190b5e2-7c1a-7f3e-8a11-2f6c1d0b9a01", two = "0190b5e2-7c1a-7f3e-8a11-2f6c1d0b9a02",
                    gone = "0190b5e2-7c1a-7f3e-8a11-2f6c1d0b9aff";
  write_text(b.log / "hours.csv",
             "vessel,shaft,at,meter_h,id,replaces,withdraws,reason\n"
             "T-01,port,2026-03-02,101,," +
                 one +
                 ",,digits swapped\n"  // before its target
                 "T-01,port,2026-03-01,110," +
                 one +
                 ",,,\n"
                 "T-01,port,2026-03-03,,,," +
                 gone + ",of a pack to come\n");
  const auto r = b.import();
  CHECK(texts(r.faults).empty());
  CHECK(r.is_kept);
  CHECK(texts(r.warnings) == "hours.csv line 4, withdraws: " + gone + " is not known here (yet); the row is kept\n");
  CHECK(b.all().size() == 3);
  CHECK(LogRepository{b.db}.list({}).size() == 1);
  CHECK(b.import().files.back().known == 3);

  const std::string bad = "vessel,shaft,at,water_pct,id,replaces\nT-01,port,2026-03-02,1,," + one + "\n";
  write_text(b.log / "inspections.csv", bad);
  const auto other_kind = b.import();
  CHECK(texts(other_kind.faults) ==
        "inspections.csv line 2, replaces: " + one + " is a record of hours; expected one of inspection\n");
  write_text(b.log / "inspections.csv", "vessel,shaft,at,water_pct,id\nT-02,port,2026-03-02,1," + two + "\n");
  write_text(b.log / "hours.csv", "vessel,shaft,at,meter_h,replaces\nT-02,port,2026-03-02,1," + one +
                                      "\nT-02,port,2026-03-02,1," + two + "\nT-02,port,2026-03-03,5,\n");
  const auto late = b.import();
  CHECK_FALSE(late.is_kept);
  CHECK(texts(late.faults) ==
        "hours.csv line 2, replaces: " + one + " is a record of vessel T-01; expected one of the same vessel\n" +
            "hours.csv line 3, replaces: " + two + " is a record of inspection; expected one of hours\n");
  // Found out only after it was read: the good ones are kept all the same, and only they.
  ImportOptions o;
  o.keep_good = true;
  o.rejects_folder = b.dir / "rejects";
  const auto kept = b.import(o);
  CHECK(kept.is_kept);
  CHECK(kept.fault_count == 2);
  CHECK(file_of(kept, "hours.csv").added == 1);
  CHECK(b.all().size() == 5);
  CHECK(read_text(b.dir / "rejects" / "hours.csv").find("T-02,port,2026-03-03") == std::string::npos);
  CHECK(check(b.db).faults.empty());
}

TEST_CASE("import: an id that is kept with other values is refused, not passed over", "[app][import]") {
  Bench b;
  const std::string id = "0190b5e2-7c1a-7f3e-8a11-2f6c1d0b9a01";
  write_text(b.log / "levels.csv", "vessel,lubricator,at,level_pct,id\nT-01,lub1,2026-03-01,80," + id + "\n");
  CHECK(b.import().is_kept);
  write_text(b.log / "levels.csv", "vessel,lubricator,at,level_pct,id\nT-01,lub1,2026-03-01,81," + id + "\n");
  CHECK(texts(b.import().faults) ==
        "levels.csv line 2, id: " + id +
            " is kept already with other values; to correct a record give a new row with its id in \"replaces\"\n");
}

TEST_CASE("import: a register row that says something else is refused unless it may replace", "[app][import]") {
  Bench b;
  CHECK(b.import().is_kept);
  write_text(b.log / "guns.csv", "vessel,gun,cm3_per_stroke,calibrated_on\nT-01,gun1,1.25,2026-01-10\n");
  const auto refused = b.import();
  CHECK_FALSE(refused.is_kept);
  CHECK(texts(refused.faults)
            .find("guns.csv line 2: gun gun1 of T-01 from 2026-01-10Z is registered already with other "
                  "values") == 0);
  ImportOptions o;
  o.update_register = true;
  o.by = "superintendent";
  const auto replaced = b.import(o);
  CHECK(replaced.is_kept);
  CHECK(replaced.register_changes == std::vector<std::string>{"guns.csv line 2: gun gun1 of T-01 from 2026-01-10Z"});
  CHECK(RegisterRepository{b.db}.load().guns[0].calibrations[0].per_stroke == Volume::from_base(1250));
  write_text(b.log / "guns.csv",
             "vessel,gun,cm3_per_stroke,calibrated_on\nT-01,gun1,1.25,2026-01-10\nT-01,gun1,1.2,2026-01-10\n");
  CHECK(texts(b.import(o).faults) ==
        "guns.csv line 3: gun gun1 of T-01 from 2026-01-10Z is there in line 2 already with other values\n");
}

TEST_CASE("import: files that are none", "[app][import]") {
  Bench b;
  std::filesystem::create_directory(b.log / "hours.csv");
  write_text(b.log / "cycles.csv", "");
  write_text(b.log / "levels.csv", "vessel,lubricator,at,level_pct\n");
  write_text(b.log / "work.csv", "vessel,at\n");
  write_text(b.log / "greasing.csv", "vessel\n");
  const auto r = b.import();
  CHECK(texts(r.faults) ==
        "greasing.csv: is not the name of a file of a log folder; did you mean \"greasings.csv\"?\n"
        "hours.csv: is a folder; expected a CSV file\n"
        "cycles.csv: is empty; expected a header line with the names of the columns\n"
        "work.csv: line 1: the header lacks \"work\"; expected at least vessel, at, work\n");
  CHECK(file_of(r, "levels.csv").rows == 0);
  CHECK_THROWS_AS(import_folder(b.db, kClock, {}), Error);
  ImportOptions o;
  o.keep_good = true;
  CHECK_THROWS_WITH(b.import(o), Catch::Matchers::Contains("rejected lines"));
  o = {};
  o.files = {b.log / "none" / "hours.csv"};
  CHECK(texts(b.import(o).faults) == "hours.csv: does not exist\n");
}

TEST_CASE("import: hostile values are refused line by line", "[app][import]") {
  Bench b;
  write_text(b.log / "vessels.csv",
             "vessel,name,time_zone\nT-01,Test One,Europe/Lisbon\nT-02,Two,UTC\nT-3,Three,Mars/Base\n");
  write_text(b.log / "refills.csv",
             "vessel,lubricator,at,amount,unit\nT-01,lub1,0000-01-01,5,kg\nT-01,lub1,9999-12-31,5,kg\n"
             "T-01,lub1,2026-01-01,1e308,kg\nT-01,lub1,2026-01-01,-5,kg\nT-01,lub1,2026-01-01,999999999999999,lb\n"
             "T-01,lub1,2026-01-01,9999999999999999,lb\nT-01,lub1,2026-01-01,nan,kg\nT-01,lub1,2026-01-01,0x10,kg\n");
  const auto r = b.import();
  CHECK(r.fault_count == 9);
  CHECK(file_of(r, "refills.csv").refused == 8);
  CHECK(file_of(r, "vessels.csv").refused == 1);
}

TEST_CASE("import: the demo fleet's log is taken whole", "[app][import]") {
  test::TempDir dir;
  auto db = Database::create(dir / "shaftlog.db");
  ImportOptions o;
  o.folder = std::filesystem::path{SHAFTLOG_SOURCE_DIR} / "demo_db" / "log";
  std::uint64_t done = 0, total = 0;
  o.progress = [&](const ImportProgress& p) {
    CHECK(p.bytes_done >= done);
    done = p.bytes_done;
    total = p.bytes_total;
  };
  const auto r = import_folder(db, kClock, o);
  CHECK(texts(r.faults).empty());
  CHECK(r.is_kept);
  CHECK(done == total);
  std::uint64_t added = 0;
  for (const ImportedFile& f : r.files) added += f.added;
  CHECK(added > 5'000);
  CHECK(check(db).faults.empty());
}

TEST_CASE("import: a verification is kept once, with or without an id of its own", "[app][import]") {
  Bench b;
  write_text(b.log / "hours.csv",
             "vessel,shaft,at,meter_h,id\nT-01,port,2026-03-01T08:00,100,aaaaaaaa-0000-7000-8000-000000000001\n");
  write_text(b.log / "verifications.csv",
             "vessel,record,at,by,id\n"
             "T-01,aaaaaaaa-0000-7000-8000-000000000001,2026-03-02T08:00,C/E,\n"
             "T-01,aaaaaaaa-0000-7000-8000-000000000001,2026-03-03T08:00,C/E 2,bbbbbbbb-0000-7000-8000-000000000001\n"
             "T-01,cccccccc-0000-7000-8000-000000000001,2026-03-03T08:00,C/E,\n");
  const ImportResult first = b.import();
  INFO(texts(first.faults));
  CHECK(first.is_kept);
  CHECK(file_of(first, "verifications.csv").added == 3);
  CHECK_THAT(texts(first.warnings), Catch::Contains("cccccccc-0000-7000-8000-000000000001 is not known here (yet)"));
  const ImportResult again = b.import();
  CHECK(file_of(again, "verifications.csv").added == 0);
  CHECK(file_of(again, "verifications.csv").known == 3);
  CHECK(VerificationRepository{b.db}.list().size() == 3);
  write_text(
      b.log / "verifications.csv",
      "vessel,record,at,by,id\n"
      "T-01,aaaaaaaa-0000-7000-8000-000000000001,2026-03-03T08:00,somebody,bbbbbbbb-0000-7000-8000-000000000001\n");
  const ImportResult other = b.import();
  CHECK_FALSE(other.is_kept);
  CHECK_THAT(texts(other.faults), Catch::Contains("is kept already with other values"));
}

TEST_CASE("import: a verification of a withdrawal is refused, and nothing is kept", "[app][import]") {
  Bench b;
  write_text(b.log / "hours.csv",
             "vessel,shaft,at,meter_h,id,withdraws\n"
             "T-01,port,2026-03-01T08:00,100,aaaaaaaa-0000-7000-8000-000000000001,\n"
             "T-01,port,2026-03-01T08:00,,aaaaaaaa-0000-7000-8000-000000000002,aaaaaaaa-0000-7000-8000-000000000001\n");
  write_text(b.log / "verifications.csv",
             "vessel,record,at,by\nT-01,aaaaaaaa-0000-7000-8000-000000000002,2026-03-02T08:00,C/E\n");
  CHECK_THAT(texts(b.import().faults), Catch::Contains("record: ") && Catch::Contains("is a withdrawal"));
  CHECK(b.all().empty());
}
