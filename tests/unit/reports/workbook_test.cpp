#include "reports/workbook_content.hpp"
#include "reports/workbook_file.hpp"
#include "support/shown_ship.hpp"

#include <cmath>
#include <limits>
#include <set>

#include <catch2/catch.hpp>

using namespace shaftlog;
using Catch::Matchers::Contains;
using shaftlog::test::Shown;

namespace {

struct Books {
  Shown shown;
  [[nodiscard]] std::vector<Workbook> all() const {
    const ReviewView v = shown.view();
    const ReportInput in{v, shown.logs, Shown::kRecords};
    return {fleet_workbook(in, false), fleet_workbook(in, true), shaft_workbook(in, ShaftId{1}, shown.records()),
            shaft_workbook(in, ShaftId{2}, {}), shaft_workbook(in, ShaftId{3}, {})};
  }
};

const Sheet& sheet(const Workbook& book, const std::string& name) {
  for (const Sheet& s : book.sheets) {
    if (s.name == name) return s;
  }
  throw std::runtime_error{"no sheet " + name};
}

std::size_t column(const Sheet& s, const std::string& head) {
  for (std::size_t c = 0; c < s.columns.size(); ++c) {
    if (s.columns[c].head == head) return c;
  }
  throw std::runtime_error{s.name + " has no column " + head};
}

}  // namespace

TEST_CASE("workbook: names of sheets are such as spreadsheets take, heads differ, rows are as long as their heads",
          "[report][workbook]") {
  for (const Workbook& book : Books{}.all()) {
    CAPTURE(book.title);
    std::set<std::string> names;
    for (const Sheet& s : book.sheets) {
      CAPTURE(s.name);
      CHECK(names.insert(s.name).second);
      CHECK(s.name.size() <= 31);
      CHECK(s.name.find_first_of("[]:*?/\\'") == std::string::npos);
      std::set<std::string> heads;
      for (const SheetColumn& c : s.columns) CHECK(heads.insert(c.head).second);
      for (const SheetRow& r : s.rows) CHECK(r.cells.size() == s.columns.size());
      CHECK((!s.columns.empty() || !s.charts.empty()));
    }
  }
}

TEST_CASE("workbook: every series of a chart names columns that are there", "[report][workbook]") {
  std::size_t charts = 0;
  for (const Workbook& book : Books{}.all()) {
    for (const Sheet& s : book.sheets) {
      for (const SheetChart& c : s.charts) {
        ++charts;
        for (const SheetChart::Series& x : c.series) {
          CHECK_NOTHROW(column(sheet(book, x.sheet), x.x));
          CHECK_NOTHROW(column(sheet(book, x.sheet), x.y));
        }
      }
    }
  }
  CHECK(charts >= 8);
}

TEST_CASE("workbook: what is not known is an empty cell, what is nought is a 0", "[report][workbook]") {
  const Books books;
  const Workbook fleet = books.all()[0];
  const Sheet& shafts = sheet(fleet, "Shafts");
  REQUIRE(shafts.rows.size() == 3);
  // Nothing was ever written of the rudder.
  const auto& rudder = shafts.rows[2].cells;
  for (const char* head : {"meter h", "cavity fill %", "cavity fill %, 5 %", "last hours (UTC)"}) {
    CAPTURE(head);
    CHECK(std::holds_alternative<std::monostate>(rudder[column(shafts, head)]));
  }
  const Sheet& ships = sheet(fleet, "Ships");
  const auto& act = ships.rows.at(0).cells[column(ships, "act")];
  REQUIRE(std::holds_alternative<double>(act));
  const Sheet& done = sheet(fleet, "Planned and done");
  CHECK(std::get<double>(done.rows[2].cells[column(done, "done")]) == 0);
  CHECK(std::holds_alternative<std::monostate>(done.rows[2].cells[column(done, "late")]));
}

TEST_CASE("workbook: figures are those of the review, to the digits that its JSON tells", "[report][workbook]") {
  const Books books;
  const Workbook fleet = books.all()[0];
  const Sheet& shafts = sheet(fleet, "Shafts");
  const ShaftState& state = books.shown.ship.review.shafts[0];
  REQUIRE(state.washout_cm3_per_h);
  const auto& cell = shafts.rows[0].cells[column(shafts, typeset("washout cm3/h"))];
  CHECK(std::get<double>(cell) == told_value(state.washout_cm3_per_h->value));
  CHECK(std::get<Instant>(shafts.rows[0].cells[column(shafts, "last greasing (UTC)")]) == *state.last_greasing);
}

TEST_CASE("workbook: values are told to six digits, nothing that is no number is told", "[report][workbook]") {
  CHECK(told_value(0.123456789) == 0.123457);
  CHECK(told_value(-0.0) == 0.0);
  CHECK_FALSE(std::signbit(*told_value(-0.0)));
  CHECK(told_value(12345678.0, 15) == 12345678.0);
  CHECK_FALSE(told_value(std::numeric_limits<double>::quiet_NaN()));
  CHECK_FALSE(told_value(std::numeric_limits<double>::infinity()));
}

TEST_CASE("workbook: the same records give the same bytes", "[report][workbook]") {
  const auto one = Books{}.all(), two = Books{}.all();
  for (std::size_t i = 0; i < one.size(); ++i) CHECK(workbook_bytes(one[i]) == workbook_bytes(two[i]));
  CHECK(workbook_bytes(one[0]) != workbook_bytes(one[2]));
}

TEST_CASE("workbook: no text and no figure damages the file", "[report][workbook]") {
  Workbook book;
  book.title = "Odd & \xFF title";
  Sheet s;
  s.name = "Odd";
  s.columns = {{"text", SheetColumn::Kind::text, 0}, {"figure", SheetColumn::Kind::number, 2}};
  const double nan = std::numeric_limits<double>::quiet_NaN();
  for (const std::string& text :
       {std::string{"=1+1"}, std::string{"\xC3\x28 bad"}, std::string("nul\0in it", 9), std::string{"bell \a"},
        std::string(40000, 'x'), std::string{"_x0041_"}, std::string{"<b>&\"'"}}) {
    s.rows.push_back({{text, nan}, {}});
  }
  book.sheets.push_back(s);
  CHECK_THAT(workbook_bytes(book),
             Catch::Matchers::StartsWith("PK"));  // read back in tests/e2e/cli/workbook_e2e_test.cpp
  book.sheets.push_back(s);
  CHECK_THROWS_WITH(workbook_bytes(book), Contains("Odd"));  // two sheets of one name
}
