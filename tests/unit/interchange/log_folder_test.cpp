#include "interchange/log_folder.hpp"

#include "base/error.hpp"
#include "support/temp_db.hpp"

#include <filesystem>
#include <fstream>
#include <string>
#include <vector>

#include <catch2/catch.hpp>

using namespace shaftlog;

namespace {

void touch(const std::filesystem::path& path) { std::ofstream{path} << "x\n"; }

std::string refusal_of(Table t, std::string_view text) {
  try {
    const LogFileReader r{t, CsvReader::of_text(text)};
  } catch (const Error& e) {
    return e.what();
  }
  return "taken";
}

}  // namespace

TEST_CASE("log folder: its files come in the order in which they need each other", "[interchange][log_folder]") {
  const test::TempDir dir;
  for (const char* name :
       {"hours.csv", "vessels.csv", "feeds.csv", "notes.txt", ".hidden.csv", "greasing.csv", "Work.CSV"}) {
    touch(dir / name);
  }
  std::vector<Fault> faults;
  const auto files = find_log_files(dir.path(), faults);
  REQUIRE(files.size() == 3);
  CHECK(files[0].name() == "vessels.csv");
  CHECK(files[1].name() == "feeds.csv");
  CHECK(files[2].name() == "hours.csv");
  REQUIRE(faults.size() == 2);
  CHECK(faults[0].text() == "Work.CSV: is not the name of a file of a log folder; did you mean \"work.csv\"?");
  CHECK(faults[1].text() == "greasing.csv: is not the name of a file of a log folder; did you mean \"greasings.csv\"?");
}

TEST_CASE("log folder: no folder, a file, nothing in it", "[interchange][log_folder]") {
  const test::TempDir dir;
  touch(dir / "notes.txt");
  std::vector<Fault> faults;
  const auto why = [&](const std::filesystem::path& p) {
    try {
      find_log_files(p, faults);
    } catch (const Error& e) {
      return std::string{e.what()}.substr(p.string().size());
    }
    return std::string{"taken"};
  };
  CHECK(why(dir / "none") == ": does not exist; expected a log folder");
  CHECK(why(dir / "notes.txt") == ": is a file; expected a log folder");
  CHECK(why(dir.path()) ==
        ": holds none of the files of a log folder; expected vessels.csv, hours.csv, greasings.csv or others of them");
  CHECK_THROWS_AS(as_log_files({dir / "notes.txt"}), Error);
  CHECK(as_log_files({dir / "work.csv", dir / "shafts.csv"})[0].table == Table::shafts);
}

TEST_CASE("log folder: columns in any order, unknown, repeated and missing ones", "[interchange][log_folder]") {
  LogFileReader r{Table::levels, CsvReader::of_text("level_pct,at, vessel ,lubricator,refused_because\n5,t,v,l,why\n")};
  REQUIRE(r.next() == CsvReader::Got::row);
  CHECK(r.fields()[Column::vessel] == "v");
  CHECK(r.fields()[Column::level_pct] == "5");
  CHECK_FALSE(r.fields().is_given(Column::id));
  CHECK(refusal_of(Table::cycles, "vessel,lubricator,at,cuont\n") ==
        "line 1: \"cuont\" is not a column of this file; expected vessel, lubricator, at, count, counter, id, "
        "recorded_at, by, remark, replaces, withdraws, reason, source; did you mean \"count\"?");
  CHECK(refusal_of(Table::cycles, "vessel,vessel,lubricator,at,count\n") ==
        "line 1: the column \"vessel\" is there twice");
  CHECK(refusal_of(Table::cycles, "vessel,at\n") ==
        "line 1: the header lacks \"lubricator\", \"count\"; expected at least vessel, lubricator, at, count");
}

TEST_CASE("log folder: every table names its columns once and finds them", "[interchange][log_folder]") {
  for (std::size_t i = 0; i < kTableCount; ++i) {
    const Table t = table_at(i);
    CHECK(table_of_file(file_name_of(t)) == t);
    for (const TableColumn& c : columns_of(t)) CHECK(find_column(t, name_of(c.column)) == c.column);
    if (is_log(t)) CHECK(table_of(kind_of(t)) == t);
  }
  CHECK_FALSE(table_of_file("HOURS.csv"));
}
