#include "reports/record_report.hpp"

#include "support/temp_db.hpp"

#include <catch2/catch.hpp>

using namespace shaftlog;
using namespace shaftlog::test;

TEST_CASE("record: what was typed stands beside what it was turned into", "[reports][record]") {
  TempDb t;
  const Register reg = RegisterRepository{t.db}.load();
  CHECK(says(t.entry(Kind::greasing, 1), Names{reg}) == "60 strokes of gun1 = 78 cm3, pressure, purge clean");
  CHECK(says(t.entry(Kind::refill, 1), Names{reg}) == "2.5 kg = 2717 cm3, level 20 % to 75 %, batch B-7");
}

TEST_CASE("record: a volume that cannot be told is said to be so", "[reports][record]") {
  TempDb t;
  const Register reg = RegisterRepository{t.db}.load();
  Entry e = t.entry(Kind::greasing, 1);
  std::get<Greasing>(e.detail).amount = Amount{"60", Unit::strokes, std::nullopt, std::nullopt};
  std::get<Greasing>(e.detail).gun = GunId{};
  CHECK(says(e, Names{reg}) == "60 strokes (gun not known: 52 to 162 cm3), pressure, purge clean");
}

TEST_CASE("record: a standing alarm says so", "[reports][record]") {
  TempDb t;
  const Register reg = RegisterRepository{t.db}.load();
  Entry e = t.entry(Kind::alarm, 1);
  std::get<Alarm>(e.detail).cleared.reset();
  CHECK(says(e, Names{reg}) == "no pressure, standing");
}

TEST_CASE("changes: only what is said otherwise, with the old value", "[reports][record]") {
  TempDb t;
  const Register reg = RegisterRepository{t.db}.load();
  const Names names{reg};
  const Entry before = t.entry(Kind::greasing, 1);
  CHECK(changes_between(before, before, names).empty());
  Entry after = before;
  Greasing& g = std::get<Greasing>(after.detail);
  g.amount->typed = "66";
  g.amount->volume = Volume::from_base(85'800);
  g.purge.reset();
  after.shaft = t.stbd;
  after.head.remark = "counted again";
  CHECK(changes_between(before, after, names) ==
        "shaft port -> stbd; amount 60 -> 66; volume_cm3 78 -> 85.8; purge clean -> (none); remark (none) -> counted "
        "again");
}

TEST_CASE("expected: an amount is told in the unit that it is given in, in plain digits", "[reports][record]") {
  const Estimate cm3{1234.4, 987.6, 23456.0};
  CHECK(format_expected(Kind::hours, {4669.99, 4610.62, 4729.37}) == "4670 h; usual 4611 to 4729");
  CHECK(format_expected_in(Unit::cm3, 1.0, cm3) == "1234 cm\xC2\xB3; usual 988 to 23456");
  CHECK(format_expected_in(Unit::strokes, 1.3, cm3) == "950 strokes; usual 760 to 18043 (1234 cm\xC2\xB3)");
  CHECK(format_expected_in(Unit::kg, 1000 / 0.92, cm3) == "1.14 kg; usual 0.91 to 21.58 (1234 cm\xC2\xB3)");
  CHECK(format_expected_in(Unit::g, 1 / 0.92, cm3) == "1136 g; usual 909 to 21580 (1234 cm\xC2\xB3)");
  CHECK(format_expected_in(Unit::pct, 50, cm3) == "25 %; usual 20 to 469 (1234 cm\xC2\xB3)");
  CHECK(format_expected_in(Unit::kg, 1000 / 0.92, {0.005, 0.004, 2.4}) == "0.00 kg; usual 0.00 to 0.00 (0 cm\xC2\xB3)");
  CHECK(format_expected_in(Unit::strokes, 1.3, {3, 0, 6}) == "2 strokes; usual 0 to 5 (3 cm\xC2\xB3)");
}

TEST_CASE("expected: a unit that nothing turns into a volume is said to be so", "[reports][record]") {
  const Estimate cm3{60, 50, 70};
  CHECK(format_expected_in(Unit::strokes, std::nullopt, cm3) ==
        "60 cm\xC2\xB3; usual 50 to 70; not known in strokes: what a stroke of the gun gives is not registered");
  CHECK(format_expected_in(Unit::kg, std::nullopt, cm3) ==
        "60 cm\xC2\xB3; usual 50 to 70; not known in kg: the grease is not registered");
}
