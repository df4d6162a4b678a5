#include "app/export.hpp"

#include "app/import.hpp"
#include "base/error.hpp"
#include "storage/log_repository.hpp"
#include "support/log_text.hpp"

#include <string>

#include <catch2/catch.hpp>

using namespace shaftlog;
using test::read_folder;
using test::write_text;

namespace {

const FixedClock kClock{from_unix(1'790'000'000)};

void import(Database& db, const std::filesystem::path& folder) {
  ImportOptions o;
  o.folder = folder;
  const auto r = import_folder(db, kClock, o);
  for (const Fault& f : r.faults) FAIL_CHECK(f.text());
  REQUIRE(r.is_kept);
}

}  // namespace

TEST_CASE("export: what was exported imports to the same bytes", "[app][export]") {
  const test::TempDir dir;
  for (const std::filesystem::path& log :
       {dir / "small", std::filesystem::path{SHAFTLOG_SOURCE_DIR} / "demo_db" / "log"}) {
    if (log == dir / "small") {
      test::write_register(log);
      write_text(log / "greasings.csv",
                 "vessel,shaft,at,amount,unit,gun,ended,remark,by\n"
                 "T-01,port,2026-07-01,12.50,strokes,gun1,pressure,\"  a \"\"b\"\",\n\r\n; caf\xC3\xA9\",Mate\n"
                 "T-01,stbd,2026-07-01T08:10:11+02:30,1,oz,,limit,,\n"
                 "T-01,stbd,2026-01-01T08:10Z,7,strokes,gun1,stopped,,\n"
                 "T-01,stbd,2026-01-01T08:10Z,,,,not_done,no access,\n");
      write_text(log / "inspections.csv",
                 "vessel,shaft,at,water_pct,iron_ppm,clearance_mm\nT-02,port,2026-02-01,0.0001,0.001,1.234\n");
    }
    const auto name = log.filename().string();
    auto first = Database::create(dir / (name + "1.db"));
    import(first, log);
    const auto written = export_folder(first, dir / (name + "1"));
    CHECK(written.files.size() == 17);
    auto second = Database::create(dir / (name + "2.db"));
    import(second, dir / (name + "1"));
    export_folder(second, dir / (name + "2"));
    const auto a = read_folder(dir / (name + "1")), b = read_folder(dir / (name + "2"));
    CHECK(a.size() == 17);
    for (const auto& [file, text] : a) {
      INFO(file);
      CHECK(text == b.at(file));
    }
    import(first, dir / (name + "2"));  // and it is all known where it came from
    export_folder(first, dir / (name + "3"));
    CHECK(read_folder(dir / (name + "3")) == a);
  }
}

TEST_CASE("export: one vessel alone, with its part of the register", "[app][export]") {
  const test::TempDir dir;
  test::write_register(dir / "log");
  write_text(dir / "log" / "levels.csv",
             "vessel,lubricator,at,level_pct\nT-01,lub1,2026-03-01,80\nT-02,lub1,2026-03-02,70\n");
  auto db = Database::create(dir / "shaftlog.db");
  import(db, dir / "log");
  export_folder(db, dir / "out", {{"T-02"}, false});
  const auto files = read_folder(dir / "out");
  CHECK(files.at("vessels.csv") == "vessel,name,imo,time_zone,group\nT-02,Test Two,,UTC,\n");
  CHECK(files.at("feeds.csv") == "vessel,lubricator,shaft,from,dose_cm3,cycle_min\n");
  CHECK(files.at("levels.csv").find("T-01") == std::string::npos);
  CHECK(files.at("levels.csv").find("T-02,lub1,2026-03-02Z,70,") != std::string::npos);
  auto alone = Database::create(dir / "alone.db");
  import(alone, dir / "out");
  CHECK_THROWS_WITH(export_folder(db, dir / "other", {{"T-09"}, false}), "\"T-09\" is not a registered vessel");
}

TEST_CASE("export: a folder that holds something is left alone unless asked", "[app][export]") {
  const test::TempDir dir;
  test::write_register(dir / "log");
  auto db = Database::create(dir / "shaftlog.db");
  import(db, dir / "log");
  write_text(dir / "out" / "vessels.csv", "mine\n");
  CHECK_THROWS_WITH(export_folder(db, dir / "out"), Catch::Matchers::Contains("holds something already"));
  CHECK(read_folder(dir / "out") == std::map<std::string, std::string>{{"vessels.csv", "mine\n"}});
  export_folder(db, dir / "out", {{}, true});
  CHECK(read_folder(dir / "out").size() == 17);
  write_text(dir / "file", "x");
  CHECK_THROWS_WITH(export_folder(db, dir / "file"), Catch::Matchers::Contains("is a file; expected a folder"));
}

TEST_CASE("export: a folder that was cut short is known as such until it is whole again", "[app][export]") {
  const test::TempDir dir;
  test::write_register(dir / "log");
  auto db = Database::create(dir / "shaftlog.db");
  import(db, dir / "log");
  export_folder(db, dir / "out");
  const auto whole = read_folder(dir / "out");
  CHECK(whole.size() == 17);
  for (const auto& entry : std::filesystem::directory_iterator{dir.path()}) {
    CHECK(!entry.path().filename().string().starts_with("."));  // nothing under way is left beside it
  }

  write_text(dir / "out" / "export-unfinished.txt", "as a crash leaves it\n");
  auto other = Database::create(dir / "other.db");
  ImportOptions as_folder, as_files;
  as_folder.folder = dir / "out";
  as_files.files = {dir / "out" / "vessels.csv"};
  for (const auto& options : {as_folder, as_files}) {
    CHECK_THROWS_WITH(import_folder(other, kClock, options), Catch::Matchers::Contains("was cut short"));
  }
  export_folder(db, dir / "out", {{}, true});
  CHECK(read_folder(dir / "out") == whole);
  import(other, dir / "out");
}
