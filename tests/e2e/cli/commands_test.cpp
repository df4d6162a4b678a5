#include "support/run.hpp"

#include <algorithm>

#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

using namespace shaftlog::test;
using Catch::Matchers::Contains;
using Catch::Matchers::StartsWith;
using nlohmann::json;

namespace {

const std::filesystem::path kShip = std::filesystem::path{SHAFTLOG_SOURCE_DIR} / "tests/errors/ship";

/// One ship, T-01, with a little log.
class Ship : public Aboard {
 public:
  Ship() {
    ok({"init"});
    ok({"import", kShip.string()});
  }
  json list(std::vector<std::string> args = {}) const {
    args.insert(args.begin(), {"list", "--json"});
    return json::parse(ok(args)).at("records");
  }
};

std::ptrdiff_t lines(const std::string& text) { return std::count(text.begin(), text.end(), '\n'); }

}  // namespace

TEST_CASE("init makes a database that check finds sound", "[e2e][init]") {
  const Aboard aboard;
  CHECK_THAT(aboard.ok({"init"}), StartsWith("made shaftlog.db\n"));
  CHECK(aboard.ok({"check"}) == "shaftlog.db: all is well, 0 vessels, 0 records, schema 7\n");
  CHECK(json::parse(aboard.ok({"check", "--json"})).at("faults").empty());
}

TEST_CASE("the database is --db, else SHAFTLOG_DB, else shaftlog.db", "[e2e]") {
  const Aboard aboard;
  aboard.ok({"init", "--db", "a.db"});
  aboard.ok({"init"}, "", {"SHAFTLOG_DB=b.db"});
  aboard.ok({"--db", "c.db", "init"}, "", {"SHAFTLOG_DB=b.db"});
  for (const char* name : {"a.db", "b.db", "c.db"}) CHECK(std::filesystem::exists(aboard.dir / name));
  CHECK_FALSE(std::filesystem::exists(aboard.dir / "shaftlog.db"));
}

TEST_CASE("check answers 1 for a file whose log was tampered with", "[e2e][check]") {
  const Ship ship;
  std::string bytes = read_text(ship.dir / "shaftlog.db");
  const std::string text = "a nought too many";
  const std::size_t at = bytes.find(text);
  if (at == std::string::npos) {  // still in the journal: a backup has it in the file itself
    ship.ok({"backup", "copy.db"});
    bytes = read_text(ship.dir / "copy.db");
  }
  const std::size_t page = bytes.find(text);
  REQUIRE(page != std::string::npos);
  bytes.replace(page - 40, 40, std::string(40, '\xff'));
  write_text(ship.dir / "broken.db", bytes);
  const Ran ran = ship({"--db", "broken.db", "check"});
  INFO(ran.out << ran.err);
  CHECK((ran.code == 1 || ran.code == 4));
  CHECK(ran.out + ran.err != "");
}

TEST_CASE("backup copies into a file or a folder, upgrade has nothing to do on a new file", "[e2e][backup]") {
  const Ship ship;
  CHECK(ship.ok({"backup", "copy.db"}) == "copied to copy.db\n");
  CHECK(ship.ok({"--db", "copy.db", "list", "--csv"}) == ship.ok({"list", "--csv"}));
  std::filesystem::create_directory(ship.dir / "safe");
  CHECK_THAT(ship.ok({"backup", "safe"}), StartsWith("copied to safe/shaftlog-20"));
  CHECK(ship.ok({"upgrade"}) == "shaftlog.db is up to date (schema 7)\n");
}

TEST_CASE("import: twice adds nothing, a dry run keeps nothing", "[e2e][import]") {
  const Aboard aboard;
  aboard.ok({"init"});
  CHECK_THAT(aboard.ok({"import", kShip.string(), "--dry-run"}), Contains("a dry run: nothing was changed"));
  CHECK(json::parse(aboard.ok({"check", "--json"})).at("records") == 0);
  const json first = json::parse(aboard.ok({"import", kShip.string(), "--json"}));
  CHECK(first.at("kept") == true);
  const json again = json::parse(aboard.ok({"import", kShip.string(), "--json"}));
  for (const json& f : again.at("files")) {
    CHECK(f.at("added") == 0);
    CHECK(f.at("known") == f.at("rows"));
  }
}

TEST_CASE("import --keep-good keeps the good lines and writes the bad ones aside", "[e2e][import]") {
  const Ship ship;
  write_text(ship.dir / "log/hours.csv",
             "vessel,shaft,at,meter_h\nT-01,fin_port,2026-03-01,1200\nT-01,fin_port,2026-03-02,x\n");
  CHECK(ship({"import", "log"}).code == 3);
  CHECK(ship.list({"--from", "2026-03-01"}).empty());
  const Ran ran = ship({"import", "log", "--keep-good"});
  CHECK(ran.code == 3);
  CHECK(ran.err == "hours.csv line 3, meter_h: \"x\" is not a number; expected plain digits such as 25 or 0.5\n");
  CHECK(ship.list({"--from", "2026-03-01"}).size() == 1);
  CHECK_THAT(read_text(ship.dir / "log-rejects/hours.csv"), Contains("T-01,fin_port,2026-03-02,x"));
}

TEST_CASE("export and import into an empty database give the same log", "[e2e][export]") {
  const Ship ship;
  ship.ok({"export", "out"});
  ship.ok({"--db", "second.db", "init"});
  ship.ok({"--db", "second.db", "import", "out"});
  CHECK(ship.ok({"--db", "second.db", "list", "--json", "--all-versions"}) ==
        ship.ok({"list", "--json", "--all-versions"}));
  CHECK_THAT(ship.ok({"export", "out", "--overwrite", "--csv"}), StartsWith("file,rows\n"));
  CHECK(json::parse(ship.ok({"export", "third", "--json", "--vessel", "T-01"})).at("files").size() == 17);
}

TEST_CASE("add keeps what was typed beside what it was turned into, and says what was expected", "[e2e][add]") {
  const Ship ship;
  const json answer = json::parse(
      ship.ok({"add", "greasing", "--shaft", "fin_port", "--at", "2026-03-05T08:10", "--amount", "60", "--unit",
               "strokes", "--gun", "gun1", "--ended", "pressure", "--purge", "clean", "--remark", "hot", "--json"}));
  const json& record = answer.at("record");
  CHECK(record.at("vessel") == "T-01");  // the only one goes without saying
  CHECK(record.at("at") == "2026-03-05T07:10:00Z");
  CHECK(record.at("at_local") == "2026-03-05T08:10+01:00");
  CHECK(record.at("values").at("amount") == 60);
  CHECK(record.at("values").at("unit") == "strokes");
  CHECK(record.at("values").at("volume_cm3") == 78);
  CHECK(record.at("by") == "2/E");
  CHECK(record.at("source") == "typed");
  CHECK(record.at("remark") == "hot");
}

TEST_CASE("add takes every kind of record, as options and as words", "[e2e][add]") {
  const Ship ship;
  ship.ok({"add", "hours", "shaft=fin_port", "meter_h=1150.5", "at=2026-02-11T08:00"});
  ship.ok({"add", "cycles", "count=1000", "at=2026-02-11T08:00"});
  ship.ok({"add", "level", "level_pct=80", "at=2026-02-11T08:00"});
  ship.ok({"add", "refill", "amount=2.5 kg", "at=2026-02-12T08:00"});
  ship.ok({"add", "greasing", "shaft=fin_stbd", "ended=not_done", "at=2026-02-12T08:00"});
  ship.ok({"add", "alarm", "alarm=no_pressure", "at=2026-02-12T08:00", "--cleared-at", "2026-02-12T09:00"});
  ship.ok({"add", "work", "work=docked", "at=2026-02-13"});
  ship.ok({"add", "inspection", "shaft=fin_port", "--water-pct", "0.2", "at=2026-02-13"});
  const json records = ship.list({"--from", "2026-02-09"});
  REQUIRE(records.size() == 8);
  CHECK(records[0].at("kind") == "hours");
  CHECK(ship.list({"--kind", "refill"})[0].at("values").at("volume_cm3") == Approx(2717.391));
  CHECK(ship.ok({"check"}) == "shaftlog.db: all is well, 1 vessel, 15 records, schema 7\n");
}

TEST_CASE("add says that a value is odd, and keeps it", "[e2e][add]") {
  const Ship ship;
  const Ran ran = ship({"add", "hours", "shaft=fin_port", "meter_h=900", "at=2026-02-15T08:00"});
  CHECK(ran.code == 0);
  CHECK_THAT(ran.err, StartsWith("odd: the meter shows 900.0 h after it showed 1100.0 h"));
  CHECK(ship.list({"--from", "2026-02-15"}).size() == 1);
}

TEST_CASE("correct says what changed and keeps kind, vessel and the conversion used then", "[e2e][correct]") {
  const Ship ship;
  ship.ok({"import", "--update-register", kShip.string()});
  const std::string said =
      ship.ok({"correct", "aaaaaaaa-0000-7000-8000-000000000001", "--amount", "66", "--reason", "misread"});
  CHECK_THAT(said, Contains("changed: amount 60 -> 66; volume_cm3 78 -> 85.8\n"));
  const json records = ship.list({"--kind", "greasing", "--until", "2026-02-02"});
  REQUIRE(records.size() == 1);
  CHECK(records[0].at("values").at("volume_cm3") == 85.8);
  CHECK(records[0].at("replaces") == "aaaaaaaa-0000-7000-8000-000000000001");
  CHECK(records[0].at("reason") == "misread");
  CHECK(ship.list({"--kind", "greasing", "--until", "2026-02-02", "--all-versions"}).size() == 2);
  CHECK_THAT(ship.ok({"show", "aaaaaaaa-0000-7000-8000-000000000001"}), Contains("replaced; in force is"));
}

TEST_CASE("withdraw takes a record out of force; withdrawing that brings it back", "[e2e][withdraw]") {
  const Ship ship;
  const std::string id = "aaaaaaaa-0000-7000-8000-000000000001";
  const json gone = json::parse(ship.ok({"withdraw", id, "--reason", "entered twice", "--json"})).at("record");
  CHECK(gone.at("withdraws") == id);
  const json shown = json::parse(ship.ok({"show", id, "--json"}));
  CHECK(shown.at("in_force").is_null());
  CHECK(shown.at("history").size() == 2);
  ship.ok({"withdraw", gone.at("id").get<std::string>(), "--reason", "it did happen"});
  CHECK(json::parse(ship.ok({"show", id, "--json"})).at("in_force") == id);
}

TEST_CASE("list: a day is meant whole, on the vessel's clock; the newest are cut off first", "[e2e][list]") {
  const Ship ship;
  CHECK(ship.list({"--vessel", "T-01", "--from", "2026-02-03", "--until", "2026-02-03"}).size() == 1);
  CHECK(ship.list({"--newest", "2"}).size() == 2);
  CHECK(ship.list({"--newest", "2"}).back() == ship.list().back());
  CHECK(ship.list({"--vessel", "T-01", "--shaft", "fin_stbd"}).empty());
  CHECK(lines(ship.ok({"list", "--csv"})) == 1 + static_cast<std::ptrdiff_t>(ship.list().size()));
  CHECK(ship.ok({"list", "--kind", "work"}) == "no record\n");
}

TEST_CASE("demo: the fleet is loaded, reviewed and listed as due; the answer does not depend on threads",
          "[e2e][demo]") {
  const Aboard aboard;
  CHECK_THAT(aboard.ok({"demo"}), StartsWith("made shaftlog.db: a fleet of invented ships"));
  const std::string one = aboard.ok({"review", "--as-of", "2026-10-01", "--json", "--threads", "1"});
  CHECK(one == aboard.ok({"review", "--as-of", "2026-10-01", "--json", "--threads", "3"}, "",
                         {"TZ=Pacific/Chatham", "LC_ALL=de_DE.UTF-8"}));
  const json review = json::parse(one);
  CHECK(review.at("as_of") == "2026-10-01T12:00:00Z");
  CHECK(review.at("shafts").size() == 39);
  CHECK(review.at("lubricators").size() == 5);
  for (const json& f : review.at("findings")) {
    CHECK(f.at("quantities").contains("strength"));
    CHECK_FALSE(f.at("summary").get<std::string>().empty());
    CHECK(f.at("status") == "open");
  }
  for (const json& s : review.at("shafts")) {
    std::vector<std::string> keys;
    for (const auto& [key, value] : s.items()) keys.push_back(key);
    CHECK(keys == std::vector<std::string>{"alarms_per_1000h", "cavity_fill_pct", "next_greasing", "running_h", "shaft",
                                           "starved_h", "trend_pct_per_1000h", "vessel", "washout_cm3_per_h"});
  }
  const json group = json::parse(aboard.ok({"review", "--as-of", "2026-10-01", "--json", "--group", "alder"}));
  for (const json& s : group.at("shafts")) CHECK(s.at("vessel").get<std::string>().starts_with("alder"));
  CHECK(aboard({"review", "--as-of", "2026-10-01", "--exit-code"}).code == 1);
  CHECK(aboard({"review", "--as-of", "2026-10-01", "--exit-code", "--vessel", "aldermoor"}).code == 0);
  CHECK(lines(aboard.ok({"review", "--as-of", "2026-10-01", "--csv", "--what", "shafts"})) == 40);

  const json due = json::parse(aboard.ok({"due", "--as-of", "2026-10-01", "--json", "--vessel", "brackensound"}));
  REQUIRE(due.at("due").size() >= 2);
  CHECK(due.at("due")[0].at("shaft") == "thruster");
  CHECK(due.at("due")[0].at("overdue") == true);
  CHECK(aboard({"due", "--as-of", "2026-10-01", "--vessel", "brackensound", "--exit-code"}).code == 1);
  CHECK_THAT(aboard.ok({"due", "--as-of", "2026-10-01", "--vessel", "brackensound"}), Contains("OVERDUE"));
}

TEST_CASE("demo --folder writes the fleet's log folder, which imports", "[e2e][demo]") {
  const Aboard aboard;
  aboard.ok({"demo", "--folder", "log"});
  aboard.ok({"init"});
  aboard.ok({"import", "log"});
  CHECK_THAT(aboard.ok({"check"}), Contains("all is well, 12 vessels"));
}

TEST_CASE("standard output that cannot be written is no success", "[e2e]") {
  if (!std::filesystem::exists("/dev/full")) return;
  const Ship ship;
  const Ran ran =
      run_program_file("/bin/sh", {"-c", std::string{SHAFTLOG_BINARY} + " list > /dev/full"}, ship.dir.path());
  CHECK(ran.code == 4);
  CHECK(ran.err == "shaftlog: standard output cannot be written: No space left on device\n");
}

TEST_CASE("no colour where output is no terminal", "[e2e]") {
  const Ship ship;
  for (const std::vector<std::string>& args : {std::vector<std::string>{"review"}, {"due"}, {"list"}, {"--help"}})
    CHECK(ship.ok(args).find('\x1b') == std::string::npos);
}
