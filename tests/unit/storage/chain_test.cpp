#include "storage/chain.hpp"

#include "base/error.hpp"
#include "storage/chain_sql.hpp"
#include "storage/finding_repository.hpp"
#include "storage/migration.hpp"
#include "storage/verification_repository.hpp"
#include "support/temp_db.hpp"

#include <sqlite3.h>

#include <SQLiteCpp/Database.h>
#include <catch2/catch.hpp>
#include <fmt/format.h>

using namespace shaftlog;
using namespace shaftlog::test;

namespace {

FindingRemark remark(const TempDb& t, std::uint64_t n) {
  FindingRemark r;
  r.id = nth_id(1000 + n);
  r.finding = nth_id(77);
  r.kind = "seal_wear";
  r.vessel = t.vessel;
  r.shaft = t.port;
  r.did = FindingAct::noted;
  r.says = "looked at";
  r.at = day(4);
  r.recorded_at = day(5);
  r.by = "chief";
  r.then = {"plan", "loses more", day(2).utc, day(1).utc, "factor", 1'500'000};
  return r;
}

/// A file with a record of every kind, a correction, a withdrawal, a remark and a verification.
struct FullDb : TempDb {
  FullDb() {
    LogRepository log{db};
    WriteTransaction transaction{db};
    std::uint64_t n = 0;
    for (const Kind kind : kKinds) {
      Entry e = entry(kind, ++n);
      e.head.remark = "as read";
      log.add(e);
    }
    log.add(correction(entry(Kind::hours, 1), 20, 3));
    log.add(withdrawal(entry(Kind::work, 7), 21, 3));
    FindingRepository{db}.add(remark(*this, 0));
    VerificationRepository{db}.add({nth_id(2000), nth_id(2), vessel, day(6), "chief"});
    transaction.commit();
  }
};

/// What somebody with an SQLite shell does, who knows the triggers.
void tamper(Database& db, const std::string& sql) {
  std::vector<std::pair<std::string, std::string>> triggers;
  Query row{db, "SELECT name, sql FROM sqlite_schema WHERE type = 'trigger'"};
  while (row.step()) triggers.emplace_back(row.text(0), row.text(1));
  execute(handle_of(db), "PRAGMA foreign_keys = OFF");
  for (const auto& [name, text] : triggers) execute(handle_of(db), "DROP TRIGGER " + name);
  execute(handle_of(db), sql);
  for (const auto& [name, text] : triggers) execute(handle_of(db), text);
  execute(handle_of(db), "PRAGMA foreign_keys = ON");
}

std::vector<std::string> chain_faults(Database& db) {
  CheckResult result;
  check_chain(db, result);
  return result.faults;
}

bool has(const std::string& text, const std::string& part) { return text.find(part) != std::string::npos; }

std::int64_t count(Database& db, const std::string& sql) { return single_integer(handle_of(db), sql); }

}  // namespace

TEST_CASE("chain: what the program wrote passes its check, and every record has its place", "[storage][chain]") {
  FullDb t;
  CHECK(check(t.db).faults == std::vector<std::string>{});
  CHECK(count(t.db, "SELECT count(*) FROM link") == 12);
  CHECK(count(t.db, "SELECT max(position) FROM link") == 12);
  CHECK(count(t.db, "SELECT count(*) FROM origin WHERE own = 1") == 1);
}

TEST_CASE("chain: a change of any one column of a record is found and the record named", "[storage][chain]") {
  const std::vector<std::string> tables{"entry", "hours", "cycles",     "level_reading",  "refill",      "greasing",
                                        "alarm", "work",  "inspection", "finding_remark", "verification"};
  int changes = 0;
  for (const std::string& table : tables) {
    std::vector<std::pair<std::string, std::string>> columns;
    {
      FullDb t;
      Query info{t.db, fmt::format("SELECT name, type FROM pragma_table_info('{}') WHERE pk = 0", table)};
      while (info.step()) columns.emplace_back(info.text(0), info.text(1));
    }
    for (const auto& [column, type] : columns) {
      INFO(table << "." << column);
      FullDb t;
      const bool is_record = table != "finding_remark" && table != "verification";
      const std::string key = is_record ? "entry_id" : fmt::format("{}_id", table);
      Query first{t.db, fmt::format("SELECT min({}) FROM {}", key, table)};
      first.step();
      const std::int64_t row = first.integer(0);
      first.reset();
      std::string other = type == "TEXT"   ? fmt::format("ifnull({}, '') || 'x'", column)
                          : type == "BLOB" ? "x'0102030405060708090a0b0c0d0e0f10'"
                                           : fmt::format("ifnull({}, 0) + 1", column);
      if (column == "recorded_by" || column == "source_id") other = table == "finding_remark" ? "1" : "2";
      if (column == "verified_by") other = "1";
      if (column == "kind" && table == "entry") other = "5";
      if (column == "vessel_id") {
        t.add_vessel("T-02");
        other = "2";
      }
      if (column == "shaft_id" || column == "lubricator_id") other = column == "shaft_id" ? "2" : "1";
      if (column == "grease_id" || column == "gun_id") {
        execute(handle_of(t.db), "INSERT INTO grease (code, density_mg_cm3) VALUES ('G-2', 900)");
        execute(handle_of(t.db), "INSERT INTO gun (vessel_id, code) VALUES (1, 'gun2')");
        other = "2";
      }
      // Words, ids and pairs of columns have checks that would refuse most values: they are set aside, as by one who
      // writes the pages.
      execute(handle_of(t.db), "PRAGMA ignore_check_constraints = ON");
      if (column == "recorded_by") execute(handle_of(t.db), "INSERT INTO person (name) VALUES ('x'), ('y')");
      if (column == "source_id") execute(handle_of(t.db), "INSERT INTO source (name) VALUES ('x'), ('y')");
      tamper(t.db, fmt::format("UPDATE {} SET {} = {} WHERE {} = {}", table, column, other, key, row));
      if (t.db.raw().getChanges() == 0) continue;
      const auto faults = chain_faults(t.db);
      REQUIRE(faults.size() == 1);
      CHECK(has(faults[0], "the audit chain: "));
      Query id{t.db, fmt::format("SELECT uuid FROM {} WHERE {} = {}", is_record ? "entry" : table, key, row)};
      REQUIRE(id.step());
      CHECK(has(faults[0], format_uuid(id.uuid(0))));
      ++changes;
    }
  }
  CHECK(changes > 60);
}

TEST_CASE("chain: a name that is altered breaks every record that bears it", "[storage][chain]") {
  FullDb t;
  tamper(t.db, "UPDATE person SET name = 'somebody else' WHERE name = 'second engineer'");
  CHECK(chain_faults(t.db).size() == 10);
}

TEST_CASE("chain: a record that was taken out, slipped in or moved is told", "[storage][chain]") {
  SECTION("taken out") {
    FullDb t;
    tamper(t.db, "DELETE FROM entry WHERE entry_id = 3");
    const auto faults = chain_faults(t.db);
    REQUIRE(faults.size() == 1);
    CHECK(has(faults[0], "position 3 of strand"));
    CHECK(has(faults[0], "is of a record that is not there"));
  }
  SECTION("taken out with its link") {
    FullDb t;
    tamper(t.db, "DELETE FROM entry WHERE entry_id = 3; DELETE FROM link WHERE entry_id = 3");
    const auto faults = chain_faults(t.db);
    REQUIRE(faults.size() == 1);
    CHECK(has(faults[0], "positions 3 to 3 of strand"));
  }
  SECTION("taken out, and the rest moved up") {
    FullDb t;
    tamper(t.db,
           "DELETE FROM entry WHERE entry_id = 3; DELETE FROM link WHERE entry_id = 3;"
           "UPDATE link SET position = position - 1 WHERE position = 4");
    const auto faults = chain_faults(t.db);
    REQUIRE(faults.size() == 2);
    CHECK(has(faults[0], format_uuid(nth_id(4))));
  }
  SECTION("slipped in") {
    FullDb t;
    execute(handle_of(t.db),
            "INSERT INTO entry (uuid, kind, vessel_id, shaft_id, at_utc_s, at_offset_min, at_precision, "
            "recorded_at_utc_s, recorded_offset_min, recorded_precision) "
            "VALUES (x'000000000000700080000000000000ff', 7, 1, 1, 1767225600, 0, 1, 1767225600, 0, 0);"
            "INSERT INTO work (entry_id, work) VALUES (last_insert_rowid(), 'bled')");
    const auto faults = chain_faults(t.db);
    REQUIRE(faults.size() == 1);
    CHECK(has(faults[0], "record 00000000-0000-7000-8000-0000000000ff stands in no strand"));
  }
  SECTION("a verification taken out") {
    FullDb t;
    tamper(t.db, "DELETE FROM verification");
    const auto faults = chain_faults(t.db);
    REQUIRE(faults.size() == 1);
    CHECK(has(faults[0], "position 12 of strand"));
    CHECK(has(faults[0], "is of a verification that is not there"));
  }
  SECTION("a verification slipped in") {
    FullDb t;
    execute(
        handle_of(t.db),
        "INSERT INTO verification (uuid, vessel_id, record, at_utc_s, at_offset_min, at_precision, verified_by) "
        "VALUES (x'000000000000700080000000000000ff', 1, x'00000000000070008000000000000001', 1767225600, 0, 0, 1)");
    const auto faults = chain_faults(t.db);
    REQUIRE(faults.size() == 1);
    CHECK(has(faults[0], "verification 00000000-0000-7000-8000-0000000000ff stands in no strand"));
  }
  SECTION("exchanged") {
    FullDb t;
    tamper(t.db,
           "UPDATE link SET entry_id = 99 WHERE entry_id = 1; UPDATE link SET entry_id = 1 WHERE entry_id = 2;"
           "UPDATE link SET entry_id = 2 WHERE entry_id = 99");
    CHECK(chain_faults(t.db).size() == 2);
  }
  SECTION("a strand of nobody") {
    FullDb t;
    tamper(t.db, "INSERT INTO link SELECT 9, position, entry_id, finding_remark_id, verification_id, hash FROM link");
    const auto faults = chain_faults(t.db);
    REQUIRE(faults.size() == 1);
    CHECK(has(faults[0], "strand 9 is of no origin"));
  }
}

TEST_CASE("chain: what is undone leaves no gap, what two connections write stands in one strand", "[storage][chain]") {
  TempDb t;
  Database other = Database::open(t.file, Database::Mode::read_write);
  LogRepository log{t.db}, second{other};
  log.add(t.entry(Kind::hours, 1));
  {
    const WriteTransaction undone{t.db};
    log.add(t.entry(Kind::hours, 2));
  }
  second.add(t.entry(Kind::hours, 3));
  log.add(t.entry(Kind::hours, 4));
  log.add(t.entry(Kind::hours, 4));  // is there already
  CHECK(check(t.db).faults == std::vector<std::string>{});
  CHECK(count(t.db, "SELECT count(*) FROM link") == 3);
  CHECK(count(t.db, "SELECT max(position) FROM link") == 3);
}

TEST_CASE("chain: a record that is refused takes no place", "[storage][chain]") {
  TempDb t;
  LogRepository log{t.db};
  WriteTransaction transaction{t.db};
  log.add(t.entry(Kind::hours, 1));
  Entry bad = t.entry(Kind::greasing, 2);
  std::get<Greasing>(bad.detail).gun = GunId{99};
  CHECK_THROWS_AS(log.add(bad), Error);
  log.add(t.entry(Kind::greasing, 3));
  transaction.commit();
  CHECK(check(t.db).faults == std::vector<std::string>{});
  CHECK(count(t.db, "SELECT count(*) FROM link") == 2);
}

TEST_CASE("chain: a new strand leaves the old one as it is and takes what follows", "[storage][chain]") {
  TempDb t;
  LogRepository log{t.db};
  log.add(t.entry(Kind::hours, 1));
  const std::int64_t before = own_origin(handle_of(t.db));
  const std::int64_t now = begin_strand(handle_of(t.db));
  CHECK(now != before);
  CHECK(own_origin(handle_of(t.db)) == now);
  log.add(t.entry(Kind::hours, 2));
  CHECK(count(t.db, fmt::format("SELECT count(*) FROM link WHERE origin_id = {}", before)) == 1);
  CHECK(count(t.db, fmt::format("SELECT count(*) FROM link WHERE origin_id = {}", now)) == 1);
  CHECK(check(t.db).faults == std::vector<std::string>{});
}

TEST_CASE("chain: a verification put on another record is found and named with it", "[storage][chain]") {
  FullDb t;
  tamper(t.db, "UPDATE verification SET record = x'00000000000070008000000000000003'");
  const auto faults = chain_faults(t.db);
  REQUIRE(faults.size() == 1);
  CHECK(has(faults[0],
            fmt::format("verification {} (of record {} of T-01, 2026-01-07T00:00:00Z) is not as it was written",
                        format_uuid(nth_id(2000)), format_uuid(nth_id(3)))));
}

// Hashes lie in files: another content for the same record would break every chain there is.
TEST_CASE("chain: the hash of a known record is what it has always been", "[storage][chain]") {
  FullDb t;
  Query hash{t.db, "SELECT hash FROM link WHERE position = 11"};
  REQUIRE(hash.step());
  CHECK(hex(hash.hash(0)) == "acab08206504eba619afff99c701215fded7604a3d6d4849cd38ecfb6bdd8ece");
}
