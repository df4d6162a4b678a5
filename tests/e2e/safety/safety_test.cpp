#include "support/run.hpp"

#include <algorithm>
#include <unistd.h>

#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

using namespace shaftlog::test;
using Catch::Matchers::Contains;
using Catch::Matchers::StartsWith;
using nlohmann::json;

namespace {

const std::filesystem::path kShip = std::filesystem::path{SHAFTLOG_SOURCE_DIR} / "tests/errors/ship";

/// T-01 with 4 records more than its log folder has, in one file without a journal.
class Ship : public Aboard {
 public:
  Ship() {
    ok({"init"});
    ok({"import", kShip.string()});
    ok({"backup", "before.db"});
    for (const char* day : {"2026-03-01", "2026-03-02", "2026-03-03", "2026-03-04"}) {
      ok({"add", "hours", "shaft=fin_port", std::string{"at="} + day, "meter_h=2000", "remark=after the backup"});
    }
    ok({"backup", "after.db"});
  }
};

}  // namespace

TEST_CASE("restore --dry-run says what the backup lacks; restore keeps the file that was there", "[e2e][restore]") {
  const Ship ship;
  const std::string lacks =
      "the backup lacks: T-01, hours: 4 records from 2026-03-01T11:00:00Z to 2026-03-04T11:00:00Z\n";
  const std::string all = ship.ok({"list", "--csv", "--all-versions"});
  CHECK(ship.ok({"restore", "before.db", "--dry-run"}) == lacks + "nothing was changed\n");
  CHECK(ship.ok({"list", "--csv", "--all-versions"}) == all);
  const std::string told = ship.ok({"restore", "before.db"});
  CHECK_THAT(told, StartsWith(lacks + "shaftlog.db is now the backup, "));
  const std::string aside = told.substr(told.find("as it was: ") + 11);
  CHECK_THAT(aside, StartsWith("shaftlog.replaced-20"));
  CHECK(ship.ok({"--db", aside.substr(0, aside.size() - 1), "list", "--csv", "--all-versions"}) == all);
  CHECK(ship.ok({"restore", "before.db", "--dry-run"}) == "the backup lacks nothing\nnothing was changed\n");
}

TEST_CASE("backup --keep removes the oldest dated copies", "[e2e][backup]") {
  const Ship ship;
  write_text(ship.dir / "safe/shaftlog-20250101T000000Z.db", "old");
  write_text(ship.dir / "safe/shaftlog-20250102T000000Z.db", "old");
  const std::string told = ship.ok({"backup", "safe", "--keep", "2"});
  CHECK_THAT(told, Contains("removed safe/shaftlog-20250101T000000Z.db\n"));
  CHECK(!std::filesystem::exists(ship.dir / "safe/shaftlog-20250101T000000Z.db"));
  CHECK(std::filesystem::exists(ship.dir / "safe/shaftlog-20250102T000000Z.db"));
}

TEST_CASE("recover: of a sound file everything, of a cut one what is left, with a backup again everything",
          "[e2e][recover]") {
  const Ship ship;
  const std::string all = ship.ok({"--db", "after.db", "list", "--csv", "--all-versions"});
  CHECK(ship.ok({"recover", "after.db", "whole.db"}) ==
        "after.db: 71 pages, 0 damaged\nsaved to whole.db: 11 records, 0 lost\n");
  CHECK(ship.ok({"--db", "whole.db", "list", "--csv", "--all-versions"}) == all);

  const std::string bytes = read_text(ship.dir / "after.db");
  // The page with the newest records' own rows is lost: noughts in its place.
  const std::size_t at = bytes.rfind("after the backup") / 4096 * 4096;
  REQUIRE(at > 4096);
  std::string hurt = bytes;
  hurt.replace(at, 4096, std::string(4096, '\0'));
  write_text(ship.dir / "hurt.db", hurt);
  const Ran checked = ship({"--db", "hurt.db", "check"});
  CHECK(checked.code != 0);
  const Ran ran = ship({"recover", "hurt.db", "new.db"});
  INFO(ran.out << ran.err);
  CHECK(ran.code == 1);
  CHECK_THAT(ran.out, Contains("lost: T-01, hours: ") && Contains("newer records than the newest saved may be lost"));
  CHECK(ship({"--db", "new.db", "check"}).code == 0);
  const json told = json::parse(ship({"recover", "hurt.db", "json.db", "--json"}).out);
  CHECK(told.at("records").get<int>() + static_cast<int>(told.at("lost").size()) == 11);
  CHECK(told.at("newer_may_be_lost") == true);

  const Ran lent = ship({"recover", "hurt.db", "lent.db", "--backup", "after.db"});
  INFO(lent.out << lent.err);
  CHECK(ship.ok({"--db", "lent.db", "list", "--csv", "--all-versions"}) == all);
  CHECK(read_text(ship.dir / "hurt.db") == hurt);
}

TEST_CASE("check names what killed programs left beside the file and records from later than now; no fault is that",
          "[e2e][check]") {
  const Ship ship;
  const std::string gone = ".shaftlog-20260314T081005Z.db.2147483000-0.part", pack = ".T-01.pack.part";
  const std::string at_work = ".shaftlog.db." + std::to_string(::getpid()) + "-0.part";
  for (const std::string& name : {gone, gone + "-journal", pack, at_work, std::string{".shaftlog.part"}}) {
    write_text(ship.dir / name, "half");
  }
  CHECK_THAT(ship.ok({"check"}), Contains("note: " + gone + " was left by a program that was killed") &&
                                     Contains("note: " + gone + "-journal") && Contains("note: " + pack) &&
                                     !Contains(at_work) && !Contains(".shaftlog.part") && Contains("all is well"));
  const json before = json::parse(ship.ok({"check", "--json"}));
  CHECK(before["left_by_killed_programs"] == json{pack, gone, gone + "-journal"});
  CHECK(before["recorded_later"] == 0);
  CHECK(before["newest_recorded_later"].is_null());
  write_text(ship.dir / "later/hours.csv",
             "vessel,shaft,at,meter_h,recorded_at\nT-01,fin_port,2026-03-05T08:00Z,2001,2097-01-01T00:00Z\n");
  ship.ok({"import", "later"});
  CHECK_THAT(ship.ok({"check"}), Contains("note: 1 record recorded later than now, the last 2097-01-01T00:00:00Z: "));
  CHECK(json::parse(ship.ok({"check", "--json"}))["newest_recorded_later"] == "2097-01-01T00:00:00Z");
}
