// Input that no log should hold and places that no log should be in: each is answered by a sentence that says where,
// what was found and what was expected, by its exit code, and by a database that is as it was.
#include "ship.hpp"

#include <algorithm>
#include <sys/mount.h>
#include <sys/stat.h>
#include <unistd.h>

#include <catch2/catch.hpp>

using namespace shaftlog::test;
using namespace std::string_literals;

namespace {

struct Bad {
  const char* what;
  const char* file;
  std::string text;
  std::vector<std::string> said;  // parts of the message
};

const std::string kHours = "vessel,shaft,at,meter_h\n";
const std::string kEndless(5000, 'x');
const std::string kObjection = "\"xxxxxxxxxxxxxxxxxxxx...\" has 5000 characters; expected at most 100";
const std::string kGreasings = "vessel,shaft,at,amount,unit,gun,ended,grease\n";

std::string hours_row(const std::string& at, const std::string& meter_h) {
  return kHours + "T-01,fin_port," + at + "," + meter_h + "\n";
}

const std::vector<Bad> kBad{
    {"not UTF-8", "hours.csv", hours_row("2026-03-01", "\xFF\xFE"), {"line 2", "0xFF", "not UTF-8"}},
    {"UTF-16", "hours.csv", "\xFF\xFEv\0e\0"s, {"UTF-16", "expected UTF-8"}},
    {"a NUL byte", "hours.csv", hours_row("2026-03-01", "1\0002"s), {"line 2", "NUL", "expected text"}},
    {"a quote not closed", "hours.csv", kHours + "T-01,fin_port,\"2026-03-01,3\n", {"line 2", "quote", "not closed"}},
    {"text behind a quote", "hours.csv", kHours + "T-01,\"fin\"_port,2026-03-01,3\n", {"line 2", "field 2", "quote"}},
    {"too few fields", "hours.csv", kHours + "T-01,fin_port,2026-03-01\n", {"line 2", "3 fields", "expected 4"}},
    {"the year 0", "hours.csv", hours_row("0000-01-01T10:00", "3"), {"line 2, at", "0000-01-01", "1970-01-01"}},
    {"the year 9999", "hours.csv", hours_row("9999-12-31T23:59", "3"), {"line 2, at", "9999-12-31", "2099-12-31"}},
    {"the 30th of February", "hours.csv", hours_row("2026-02-30", "3"), {"line 2, at", "2026-02-30", "expected"}},
    {"1e308 hours", "hours.csv", hours_row("2026-03-01", "1e308"), {"line 2, meter_h", "1e308", "plain digits"}},
    {"negative hours", "hours.csv", hours_row("2026-03-01", "-3"), {"line 2, meter_h", "-3", "expected 0 to"}},
    {"hours of infinity", "hours.csv", hours_row("2026-03-01", "inf"), {"line 2, meter_h", "inf", "expected"}},
    {"1e308 of grease",
     "greasings.csv",
     kGreasings + "T-01,fin_port,2026-03-01,1e308,cm3,,pressure,\n",
     {"line 2, amount", "1e308", "plain digits"}},
    {"more digits than fit",
     "greasings.csv",
     kGreasings + "T-01,fin_port,2026-03-01,99999999999999999999999,cm3,,pressure,\n",
     {"line 2, amount", "99999999999999999999999", "at most 15 digits"}},
    {"a negative amount",
     "greasings.csv",
     kGreasings + "T-01,fin_port,2026-03-01,-5,cm3,,pressure,\n",
     {"line 2, amount", "-5", "expected 0 or more"}},
    {"an unknown zone",
     "vessels.csv",
     "vessel,name,time_zone\nT-09,Nine,Europe/Atlantis\n",
     {"line 2, time_zone", "Europe/Atlantis", "expected a name such as"}},
    {"a ship's name without end",
     "vessels.csv",
     "vessel,name,time_zone\nT-09," + kEndless + ",UTC\n",
     {"line 2, name", kObjection}},
    {"a code without end",
     "greases.csv",
     "grease,density_g_cm3\n" + kEndless + ",0.92\n",
     {"line 2, grease", kObjection}},
    {"a person's name without end",
     "hours.csv",
     "vessel,shaft,at,meter_h,by\nT-01,fin_port,2026-03-01,1300," + kEndless + "\n",
     {"line 2, by", kObjection}},
    {"the same who verifies",
     "verifications.csv",
     "vessel,record,at,by\nT-01,0190b5e2-7c1a-7f3e-8a11-2f6c1d0b9a77,2026-03-01," + kEndless + "\n",
     {"line 2, by", kObjection}},
    {"the same who remarks on a finding",
     "findings.csv",
     "vessel,finding,kind,did,at,says,by\nT-01,0190b5e2-7c1a-7f3e-8a11-2f6c1d0b9a77,seal_wear,noted,2026-03-01,seen," +
         kEndless + "\n",
     {"line 2, by", kObjection}},
    {"an unknown vessel", "hours.csv", kHours + "T-77,fin_port,2026-03-01,3\n", {"line 2, vessel", "T-77", "T-01"}},
    {"an unknown shaft",
     "hours.csv",
     kHours + "T-01,fin_prt,2026-03-01,3\n",
     {"line 2, shaft", "fin_prt", "did you mean \"fin_port\"?"}},
    {"an unknown gun",
     "greasings.csv",
     kGreasings + "T-01,fin_port,2026-03-01,5,strokes,gun9,pressure,\n",
     {"line 2, gun", "gun9", "expected gun1"}},
    {"an unknown grease",
     "greasings.csv",
     kGreasings + "T-01,fin_port,2026-03-01,5,cm3,,pressure,G-7\n",
     {"line 2, grease", "G-7", "expected G-1"}},
    {"an unknown column",
     "hours.csv",
     "vessel,shaft,at,meter_h,mood\nT-01,fin_port,2026-03-01,3,good\n",
     {"line 1", "\"mood\"", "expected vessel, shaft, at, meter_h"}},
    {"a column twice",
     "hours.csv",
     "vessel,shaft,at,meter_h,at\nT-01,fin_port,2026-03-01,3,2026-03-01\n",
     {"line 1", "\"at\"", "twice"}},
    {"a column missing",
     "hours.csv",
     "vessel,shaft,meter_h\nT-01,fin_port,3\n",
     {"line 1", "lacks \"at\"", "expected at least vessel, shaft, at, meter_h"}},
    {"an empty file", "hours.csv", "", {"is empty", "expected a header line"}},
    {"a name that is none", "houres.csv", kHours, {"houres.csv", "did you mean \"hours.csv\"?"}},
};

bool holds(const std::string& text, const std::string& part) { return text.find(part) != std::string::npos; }

/// Runs a shell line in the ship's folder; $0 is the program. For limits, redirections and other users.
Ran shell(const Ship& ship, const std::string& line) {
  return run_program_file("/bin/sh", {"-c", line, SHAFTLOG_BINARY}, ship.aboard.dir.path());
}

}  // namespace

TEST_CASE("bad lines are refused by place, value and what was expected", "[e2e][hostile]") {
  const Ship ship;
  for (const Bad& bad : kBad) {
    INFO(bad.what);
    const TempDir in;
    write_text(in / "log" / bad.file, bad.text);
    // A good line beside the bad one: not kept either.
    write_text(in / "log/work.csv", "vessel,at,work\nT-01,2026-03-01,docked\n");
    const Ran ran = ship.aboard({"import", (in / "log").string()});
    INFO(ran.err);
    CHECK(ran.code == 3);
    CHECK(holds(ran.err, bad.file));
    for (const std::string& part : bad.said) CHECK(holds(ran.err, part));
    CHECK(std::count(ran.err.begin(), ran.err.end(), '\n') == 1);
    CHECK(ran.err.size() < 400);
  }
  CHECK(ship.is_untouched());
}

TEST_CASE("a header alone is a file with no records", "[e2e][hostile]") {
  const Ship ship;
  write_text(ship.path("in/hours.csv"), kHours);
  const Ran ran = ship.aboard({"import", "in"});
  CHECK(ran.code == 0);
  CHECK(ran.err.empty());
  CHECK(ship.is_untouched());
}

TEST_CASE("a name without end is refused wherever one comes in", "[e2e][hostile]") {
  const Ship ship;
  const std::string objection = kObjection + "\n";
  const std::string listed = ship.aboard.ok({"list", "--csv", "--newest", "1"});
  const std::string id = listed.substr(listed.find('\n') + 1, 36);
  ship.aboard.ok({"pack", "all.pack", "--all", "--name", "T-01"});
  ship.aboard.ok({"--db", "other.db", "init"});
  const auto refused = [&](std::vector<std::string> words, int code, const std::string& says) {
    INFO(words.front());
    const Ran ran = ship.aboard(words);
    CHECK(ran.code == code);
    CHECK(ran.err == "shaftlog: " + says);
  };
  refused({"add", "hours", "--shaft", "fin_port", "--meter-h", "1300", "--by", kEndless}, 3, "by: " + objection);
  refused({"correct", id, "remark=x", "--reason", "typing", "--by", kEndless}, 3, "by: " + objection);
  for (const std::vector<std::string>& words :
       std::vector<std::vector<std::string>>{{"withdraw", id, "--reason", "typing"},
                                             {"verify", id},
                                             {"finding", "note", "0123", "seen"},
                                             {"import", std::string{SHAFTLOG_SOURCE_DIR} + "/tests/errors/ship"},
                                             {"side", "ship"},
                                             {"key", "make"},
                                             {"--db", "other.db", "unpack", "all.pack"}}) {
    std::vector<std::string> with_name = words;
    with_name.insert(with_name.end(), {"--by", kEndless});
    refused(with_name, 2, "by: " + objection);
  }
  const Ran account =
      ship.aboard({"account", "add", kEndless, "--role", "reader", "--accounts", "people"}, "a phrase\n");
  CHECK(account.code == 2);
  CHECK(account.err.size() < 200);
  CHECK(ship.is_untouched());
  CHECK(ship.aboard.ok({"--db", "other.db", "list", "--csv"}).find(kEndless) == std::string::npos);
}

TEST_CASE("ten million columns are refused in little memory", "[e2e][hostile]") {
  const Ship ship;
  std::string header = "vessel,shaft,at,meter_h";
  header.append(10'000'000, ',');
  write_text(ship.path("wide/hours.csv"), header + "\n");
  write_text(ship.path("row/hours.csv"), kHours + "T-01,fin_port,2026-03-01,3" + std::string(10'000'000, ',') + "\n");
  for (const char* const folder : {"wide", "row"}) {
    const Ran ran = shell(ship, address_limit(400000) + "exec \"$0\" import " + folder);
    INFO(ran.err);
    CHECK(ran.code == 3);
    CHECK(holds(ran.err, "hours.csv"));
    CHECK(holds(ran.err, folder == "wide"s ? "line 1" : "line 2"));
    CHECK(holds(ran.err, "expected"));
    CHECK(ran.err.size() < 400);
  }
  CHECK(ship.is_untouched());
}

TEST_CASE("clocks that go back are kept, and hours that do are told", "[e2e][hostile]") {
  const Ship ship;
  write_text(ship.path("in/hours.csv"),
             "vessel,shaft,at,meter_h,recorded_at\n"
             "T-01,fin_port,2026-03-01T10:00,2000,2026-02-28T10:00\n"  // written down before it happened
             "T-01,fin_port,2026-03-08T10:00,2060,2026-03-08T10:05\n"
             "T-01,fin_port,2026-03-15T10:00,1260,2026-03-15T10:05\n"  // the meter goes back
             "T-01,fin_port,2026-03-22T10:00,2180,2026-03-22T10:05\n"
             "T-01,fin_port,2026-03-29T10:00,2240,2026-03-29T10:05\n");
  const Ran ran = ship.aboard({"import", "in"});
  INFO(ran.err);
  CHECK(ran.code == 0);
  CHECK(holds(ship.aboard.ok({"list", "--kind", "hours", "--csv"}), "1260"));
  CHECK(holds(ship.aboard.ok({"list", "--kind", "hours", "--csv"}), "2000"));
  const std::string review = ship.aboard.ok({"review", "--as-of", "2026-04-01", "--json"});
  CHECK(holds(review, "\"record_suspect\""));
  CHECK(holds(review, "1260"));
  CHECK(ship.aboard({"check"}).code == 0);
}

TEST_CASE("folders and files in each other's place are told apart", "[e2e][hostile]") {
  const Ship ship;
  std::filesystem::create_directories(ship.path("in/hours.csv"));
  const Ran folder = ship.aboard({"import", "in"});
  CHECK(folder.code == 3);
  CHECK(folder.err == "hours.csv: is a folder; expected a CSV file\n");
  const Ran none = ship.aboard({"import", "nowhere"});
  CHECK(none.code == 3);
  CHECK(holds(none.err, "nowhere: does not exist"));
  const Ran other = ship.aboard({"import", "shaftlog.db"});
  CHECK(other.code == 3);
  CHECK(holds(other.err, "shaftlog.db"));
  write_text(ship.path("file"), "x");
  const Ran out = ship.aboard({"export", "file"});
  CHECK((out.code == 3 || out.code == 4));
  CHECK(holds(out.err, "file: is a file; expected a folder"));
  CHECK(read_text(ship.path("file")) == "x");
  const Ran db = ship.aboard({"--db", "in", "check"});
  CHECK(db.code == 4);
  CHECK(holds(db.err, "in: is a folder, not a database file"));
  CHECK(ship.aboard({"import"}).code == 2);
  CHECK(ship.aboard({"import", "in", "--no-such"}).code == 2);
  CHECK(ship.is_untouched());
}

TEST_CASE("what is no database of ours is refused and left alone", "[e2e][hostile]") {
  const Ship ship;
  const std::string whole = [&] {
    ship.aboard.ok({"backup", "copy.db"});
    return read_text(ship.path("copy.db"));
  }();
  std::string newer = whole, foreign = whole, cut = whole.substr(0, whole.size() / 3);
  newer[63] = '\x63';     // PRAGMA user_version: bytes 60 to 63, https://sqlite.org/fileformat.html
  foreign[71] ^= '\x01';  // application_id: bytes 68 to 71
  struct Case {
    const char* what;
    std::string bytes, said;
  };
  for (const Case& c : {Case{"a text", "hours are fine\n", "is not a database"}, Case{"an empty file", "", "is empty"},
                        Case{"another program's", foreign, "another program"}, Case{"cut off", cut, "is damaged"},
                        Case{"a newer schema", newer, "newer Shaftlog"}}) {
    INFO(c.what);
    write_text(ship.path("other.db"), c.bytes);
    for (const std::vector<std::string>& command : {std::vector<std::string>{"review"},
                                                    {"list"},
                                                    {"import", std::string{SHAFTLOG_SOURCE_DIR} + "/tests/errors/ship"},
                                                    {"check"}}) {
      std::vector<std::string> words{"--db", "other.db"};
      words.insert(words.end(), command.begin(), command.end());
      const Ran ran = ship.aboard(words);
      INFO(command[0] << ": " << ran.err << ran.out);
      CHECK(ran.code == 4);
      CHECK(holds(ran.err, "other.db"));
      CHECK(holds(ran.err, c.said));
    }
    CHECK(read_text(ship.path("other.db")) == c.bytes);
    for (const char* const rest : {"other.db-wal", "other.db-shm"}) std::filesystem::remove(ship.path(rest));
  }
  const Ran none = ship.aboard({"--db", "none.db", "review"});
  CHECK(none.code == 3);  // nothing is wrong with a file: it is not there
  CHECK(holds(none.err, "none.db: there is no such file; \"init\" makes a new database"));
  CHECK(!std::filesystem::exists(ship.path("none.db")));
  CHECK(ship.is_untouched());
}

TEST_CASE("of two writers one is told that the other writes", "[e2e][hostile]") {
  const Ship ship;
  {
    shaftlog::Database db = shaftlog::Database::open(ship.path("shaftlog.db"), shaftlog::Database::Mode::read_write);
    const shaftlog::WriteTransaction other{db};
    const Ran ran = ship.aboard(
        {"add", "hours", "--vessel", "T-01", "--shaft", "fin_port", "--at", "2026-03-01", "--meter-h", "2000"});
    INFO(ran.err);
    CHECK(ran.code == 4);
    CHECK(holds(ran.err, "shaftlog.db"));
    CHECK(ship.aboard({"list"}).code == 0);  // who reads need not wait
  }
  CHECK(ship.is_untouched());
}

TEST_CASE("an answer that cannot be written is no success", "[e2e][hostile]") {
  const Ship ship;
  REQUIRE(std::filesystem::exists("/dev/full"));
  for (const char* const command : {"review --json", "review", "due", "list", "list --csv", "check",
                                    "show aaaaaaaa-0000-7000-8000-000000000001", "--help", "man"}) {
    INFO(command);
    const Ran full = shell(ship, "exec \"$0\" "s + command + " > /dev/full");
    CHECK(full.code == 4);
    CHECK(holds(full.err, "standard output cannot be written"));
    const Ran closed = shell(ship, "exec \"$0\" "s + command + " >&-");
    CHECK(closed.code == 4);
    CHECK(holds(closed.err, "standard output cannot be written"));
  }
  CHECK(ship.is_untouched());
}

TEST_CASE("a disk that is full leaves nothing half written", "[e2e][hostile]") {
  const Ship ship;
  ship.aboard.ok({"demo", "--folder", "fleet"});
  const auto tried = [&](const std::string& before) {
    const Ran exported = shell(ship, before + "exec \"$0\" --db big.db export small/out");
    INFO(exported.err);
    CHECK(exported.code == 4);
    CHECK(holds(exported.err, "small/out"));
    // Files appear whole or not at all, and none is left beside.
    if (std::filesystem::exists(ship.path("small/out"))) {
      for (const auto& item : std::filesystem::directory_iterator{ship.path("small/out")}) {
        CHECK(item.path().filename().string().find(".part") == std::string::npos);
        CHECK(item.path().filename() != "hours.csv");  // too large for what there is
      }
    }
    const Ran made = shell(ship, before + "exec \"$0\" --db small/new.db demo");
    INFO(made.err);
    CHECK(made.code == 4);
    CHECK(
        (holds(made.err, "small/new.db") || holds(made.err, "cannot be written")));  // or where the fleet is put first
    CHECK(!std::filesystem::exists(ship.path("small/new.db")));
    const Ran imported = shell(ship, before + "exec \"$0\" --db small/old.db import fleet");
    INFO(imported.err);
    CHECK(imported.code == 4);
    CHECK(holds(imported.err, "small/old.db"));
  };
  ship.aboard.ok({"--db", "big.db", "init"});
  ship.aboard.ok({"--db", "big.db", "import", "fleet"});
  std::filesystem::create_directory(ship.path("small"));
  SECTION("by a limit on the size of files") {
    ship.aboard.ok({"--db", "small/old.db", "init"});
    tried("trap '' XFSZ; ulimit -f 700; ");
    CHECK(ship.aboard({"--db", "small/old.db", "check"}).code == 0);
    CHECK(holds(ship.aboard.ok({"--db", "small/old.db", "check"}), " 0 records"));
  }
  SECTION("by a file system of a megabyte") {
    if (geteuid() != 0 || mount("tmpfs", ship.path("small").c_str(), "tmpfs", 0, "size=1m") != 0) {
      WARN("not asked of a small file system: only root may mount one");
      return;
    }
    ship.aboard.ok({"--db", "small/old.db", "init"});
    tried("");
    const Ran check = ship.aboard({"--db", "small/old.db", "check"});
    umount2(ship.path("small").c_str(), MNT_DETACH);
    INFO(check.err);
    CHECK(check.code == 0);
    CHECK(holds(check.out, " 0 records"));
  }
  CHECK(ship.is_untouched());
}

TEST_CASE("a folder that may not be written is told of", "[e2e][hostile]") {
  const Ship ship;
  const auto dir = ship.aboard.dir.path();
  std::filesystem::create_directory(ship.path("shut"));
  std::filesystem::copy_file(ship.path("shaftlog.db"), ship.path("shut/ours.db"));
  std::string as_other = "exec ";
  if (geteuid() == 0) {
    if (!std::filesystem::exists("/usr/bin/setpriv") || access(SHAFTLOG_BINARY, X_OK) != 0) {
      WARN("not asked: root may write anywhere, and there is no setpriv to become another user");
      return;
    }
    as_other += "/usr/bin/setpriv --reuid=65534 --regid=65534 --clear-groups ";
    chmod(dir.c_str(), 0755);
  }
  chmod(ship.path("shut").c_str(), 0555);
  const auto run = [&](const std::string& words) { return shell(ship, as_other + "\"$0\" " + words); };
  const Ran probe = run("--help");
  if (probe.code == 0) {
    for (const char* const words :
         {"--db shut/new.db init", "--db shut/new.db demo", "--db shut/ours.db export shut/out"}) {
      INFO(words);
      const Ran ran = run(words);
      INFO(ran.err);
      CHECK(ran.code == 4);
      CHECK(holds(ran.err, "shut/"));
    }
    const Ran add = run("--db shut/ours.db add hours --vessel T-01 --shaft fin_port --at 2026-03-01 --meter-h 2000");
    INFO(add.err);
    CHECK(add.code == 4);
    CHECK(holds(add.err, "shut/ours.db"));
    const Ran list = run("--db shut/ours.db list");  // reading is possible all the same
    INFO(list.err);
    CHECK(list.code == 0);
  } else {
    WARN("not asked: the program lies where another user may not run it");
  }
  chmod(ship.path("shut").c_str(), 0755);
  CHECK(!std::filesystem::exists(ship.path("shut/new.db")));
  CHECK(!std::filesystem::exists(ship.path("shut/out")));
  CHECK(ship.is_untouched());
}
