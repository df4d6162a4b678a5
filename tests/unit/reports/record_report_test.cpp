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
