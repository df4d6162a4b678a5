#include "base/error.hpp"
#include "storage/chain_sql.hpp"
#include "storage/change_sql.hpp"
#include "storage/exchange_sql.hpp"
#include "storage/finding_repository.hpp"
#include "storage/finding_sql.hpp"
#include "storage/key_sql.hpp"
#include "storage/log_sql.hpp"
#include "storage/query.hpp"
#include "storage/register_sql.hpp"
#include "storage/side_sql.hpp"
#include "storage/verification_sql.hpp"
#include "support/temp_db.hpp"

#include <fstream>
#include <map>
#include <set>
#include <sqlite3.h>
#include <sstream>

#include <catch2/catch.hpp>
#include <fmt/format.h>

using namespace shaftlog;
using namespace shaftlog::test;

namespace {

std::string plan_of(Database& db, const std::string& sql) {
  Query row{db, "EXPLAIN QUERY PLAN " + sql};
  std::string out;
  while (row.step()) out += std::string{row.text(3)} + "\n";
  return out;
}

bool has(const std::string& text, const std::string& part) { return text.find(part) != std::string::npos; }

std::vector<std::string> strings(Database& db, const std::string& sql) {
  Query row{db, sql};
  std::vector<std::string> out;
  while (row.step()) out.emplace_back(row.text(0));
  return out;
}

}  // namespace

TEST_CASE("sql: every statement prepares against the fresh schema", "[storage][sql]") {
  TempDb t;
  for (const auto& statements :
       {log_sql::all(), register_sql::all(), finding_sql::all(), chain_sql::all(), change_sql::all(),
        exchange_sql::all(), key_sql::all(), side_sql::all(), verification_sql::all()}) {
    for (const std::string& sql : statements) {
      INFO(sql);
      CHECK_NOTHROW(Query{t.db, sql});
    }
  }
}

TEST_CASE("sql: hot statements use an index and never read the whole log", "[storage][sql]") {
  TempDb t;
  for (std::size_t kind = 0; kind < log_sql::kDetails.size(); ++kind) {
    const auto load = plan_of(t.db, log_sql::load_kind(kind));
    INFO(load);
    CHECK(has(load, "SEARCH e USING INDEX entry_of_vessel (vessel_id=? AND kind=?)"));
    CHECK(has(load, "SEARCH d USING INTEGER PRIMARY KEY (rowid=?)"));
    CHECK_FALSE(has(load, "TEMP B-TREE"));
    for (const bool newest_first : {false, true}) {
      const auto list = plan_of(t.db, log_sql::list_kind(kind, newest_first));
      INFO(list);
      CHECK(has(list, "entry_of_vessel (vessel_id=? AND kind=? AND at_utc_s>? AND at_utc_s<?)"));
      CHECK_FALSE(has(list, "TEMP B-TREE"));
      CHECK_FALSE(has(list, "SCAN"));
    }
  }
  const std::map<std::string, std::string> hot{
      {log_sql::find_entry(), "sqlite_autoindex_entry_1 (uuid=?)"},
      {log_sql::kFindByPrefix, "sqlite_autoindex_entry_1 (uuid>? AND uuid<?)"},
      {log_sql::kCorrections, "entry_replaces (vessel_id=?"},
      {log_sql::kWithdrawals, "entry_withdraws (vessel_id=?"},
      {log_sql::kCorrectionsOf, "entry_replaces (vessel_id=? AND replaces=?)"},
      {log_sql::kWithdrawalsOf, "entry_withdraws (vessel_id=? AND withdraws=?)"},
      {log_sql::list_withdrawals(false), "entry_withdraws (vessel_id=?"},
      {log_sql::kFindPerson, "(name=?)"},
      {log_sql::kFindSource, "(name=?)"},
      {change_sql::kEntriesSince, "SEARCH entry USING INTEGER PRIMARY KEY (rowid>?)"},
      {change_sql::kRemarksSince, "SEARCH finding_remark USING INTEGER PRIMARY KEY (rowid>?)"},
      {finding_sql::find(), "(uuid=?)"},
      {chain_sql::kHead, "SEARCH link USING PRIMARY KEY (origin_id=?)"},
      {chain_sql::kLinks, "SEARCH link USING PRIMARY KEY (origin_id=? AND position>?)"},
      {finding_sql::list_of_vessel(), "finding_remark_of_vessel (vessel_id=? AND recorded_at_utc_s<?)"},
      {register_sql::kFindShaft, "(vessel_id=? AND code=?)"},
      {register_sql::kFindGunCalibration, "gun_calibration_key (gun_id=? AND <expr>=?)"},
      {register_sql::kFindFeed, "feed_key (lubricator_id=? AND shaft_id=? AND <expr>=?)"},
  };
  for (const auto& [sql, expected] : hot) {
    const auto plan = plan_of(t.db, sql);
    INFO(sql << "\n" << plan);
    CHECK(has(plan, expected));
  }
  for (const auto* reading :
       {&register_sql::kGuns, &register_sql::kLubricators, &register_sql::kShafts, &register_sql::kFeeds}) {
    const auto plan = plan_of(t.db, reading->text(/*one_vessel=*/true));
    INFO(plan);
    CHECK_FALSE(has(plan, "SCAN"));
  }
}

TEST_CASE("sql: nothing in the log can be changed, removed or written over", "[storage][sql]") {
  TempDb t;
  LogRepository log{t.db};
  std::uint64_t n = 1;
  for (const Kind kind : kKinds) log.add(t.entry(kind, n++));
  const RegisterRepository reg{t.db};
  reg.put_gun(t.vessel, "gun1", {std::nullopt, Volume::from_base(1100)}, {day(1).utc, "chief", true});
  Grease other;
  other.code = "G-2";
  other.density = Density::from_base(900);
  reg.put(other, {day(1).utc, "chief", false});
  reg.put(GreaseEvidence{t.grease, other.id, Evidence::none, ""});
  FindingRemark remark;
  remark.id = nth_id(90);
  remark.finding = nth_id(91);
  remark.kind = "starved";
  remark.vessel = t.vessel;
  remark.says = "looked at";
  remark.at = remark.recorded_at = day(1);
  CHECK(FindingRepository{t.db}.add(remark));
  std::vector<std::string> tables{"entry", "person", "source", "register_change", "grease_evidence", "finding_remark"};
  for (const auto& detail : log_sql::kDetails) tables.emplace_back(detail.name);
  for (const std::string& table : tables) {
    const auto column = strings(t.db, fmt::format("SELECT name FROM pragma_table_info('{}') LIMIT 1", table)).at(0);
    for (const std::string& sql :
         {fmt::format("UPDATE {0} SET {1} = {1}", table, column), fmt::format("DELETE FROM {}", table),
          fmt::format("INSERT OR REPLACE INTO {0} SELECT * FROM {0}", table)}) {
      INFO(sql);
      CHECK(single_integer(handle_of(t.db), fmt::format("SELECT count(*) FROM {}", table)) > 0);
      CHECK_THROWS_WITH(execute(handle_of(t.db), sql),
                        Catch::Contains("is never changed") || Catch::Contains("is never removed"));
    }
  }
  CHECK(check(t.db).faults.empty());
}

TEST_CASE("sql: every table is STRICT and every CHECK has a name", "[storage][sql]") {
  TempDb t;
  CHECK(strings(t.db,
                "SELECT name FROM pragma_table_list WHERE schema = 'main' AND type = 'table' AND NOT strict AND "
                "name NOT LIKE 'sqlite_%'")
            .empty());
  for (const auto& sql : strings(t.db, "SELECT sql FROM sqlite_schema WHERE type = 'table'")) {
    for (auto at = sql.find("CHECK ("); at != std::string::npos; at = sql.find("CHECK (", at + 1)) {
      const auto named = sql.rfind("CONSTRAINT ", at);
      INFO(sql.substr(0, at));
      REQUIRE(named != std::string::npos);
      CHECK(sql.find_first_not_of(" \n", sql.find_first_of(" \n", named + 11)) == at);  // the name is its own
    }
  }
}

TEST_CASE("sql: words and codes of the tables are those of the program", "[storage][sql]") {
  // Each enum's words, each tried in its column: a word the tables do not know, or know and the program does not.
  TempDb t;
  LogRepository log{t.db};
  std::uint64_t n = 100;
  for (int u = 0; u <= static_cast<int>(Unit::pct); ++u) {
    Entry e = t.entry(Kind::refill, n++);
    std::get<Refill>(e.detail).amount->unit = static_cast<Unit>(u);
    CHECK(log.add(e));
  }
  for (int p = 0; p <= static_cast<int>(Purge::water); ++p) {
    for (int ended = 0; ended < static_cast<int>(Ended::not_done); ++ended) {
      Entry e = t.entry(Kind::greasing, n++);
      std::get<Greasing>(e.detail).purge = static_cast<Purge>(p);
      std::get<Greasing>(e.detail).ended = static_cast<Ended>(ended);
      CHECK(log.add(e));
    }
  }
  for (int a = 0; a <= static_cast<int>(AlarmKind::other); ++a) {
    Entry e = t.entry(Kind::alarm, n++);
    std::get<Alarm>(e.detail).alarm = static_cast<AlarmKind>(a);
    CHECK(log.add(e));
  }
  for (int w = 0; w <= static_cast<int>(WorkKind::other); ++w) {
    Entry e = t.entry(Kind::work, n++);
    std::get<Work>(e.detail).work = static_cast<WorkKind>(w);
    CHECK(log.add(e));
  }
  const RegisterRepository reg{t.db};
  for (int k = 0; k <= static_cast<int>(Thickener::other); ++k) {
    Grease g;
    g.code = "G-" + std::to_string(k + 10);
    g.thickener = static_cast<Thickener>(k);
    g.density = Density::from_base(900);
    CHECK(reg.put(g, {day(0).utc, "", false}) == RegisterRepository::Put::added);
    CHECK(reg.put(g, {day(0).utc, "", false}) == RegisterRepository::Put::same);
  }
  CHECK(log.list({}).size() == n - 100);
}

TEST_CASE("sql: docs/schema.md has every table and column, and no other", "[storage][sql][docs]") {
  TempDb t;
  std::set<std::string> real;
  for (const auto& name : strings(t.db,
                                  "SELECT m.name || '.' || c.name FROM sqlite_schema m, pragma_table_info(m.name) c "
                                  "WHERE m.type = 'table'")) {
    real.insert(name);
  }
  // "## `table`" begins a table; "| `column` | ..." is one of its columns.
  std::set<std::string> told;
  std::ifstream in{SHAFTLOG_SOURCE_DIR "/docs/schema.md"};
  REQUIRE(in);
  std::string line, table;
  while (std::getline(in, line)) {
    if (line.rfind("## ", 0) == 0) {
      const auto first = line.find('`'), last = line.rfind('`');
      table = first == last ? "" : line.substr(first + 1, last - first - 1);
    } else if (!table.empty() && line.rfind("| `", 0) == 0) {
      const auto end = line.find('`', 3);
      CHECK(told.insert(table + "." + line.substr(3, end - 3)).second);
      const auto meaning = line.find("| ", end);
      REQUIRE(meaning != std::string::npos);
      CHECK(line.size() > meaning + 12);
    }
  }
  for (const auto& name : real) {
    INFO(name << " is missing in docs/schema.md");
    CHECK(told.contains(name));
  }
  for (const auto& name : told) {
    INFO(name << " is in docs/schema.md only");
    CHECK(real.contains(name));
  }
}
