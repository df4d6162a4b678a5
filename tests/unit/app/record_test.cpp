#include "app/record.hpp"

#include "app/second_look.hpp"
#include "base/error.hpp"
#include "support/temp_db.hpp"

#include <catch2/catch.hpp>

using namespace shaftlog;
using namespace shaftlog::test;

namespace {

const Instant kNow = day(40).utc;

std::string typed_amount(const Draft& d) { return std::get<Greasing>(d.entry->detail).amount->typed; }
Unit unit_of(const Draft& d) { return std::get<Greasing>(d.entry->detail).amount->unit; }

}  // namespace

TEST_CASE("draft: the only vessel, its only lubricator and the present minute go without saying", "[app][record]") {
  TempDb t;
  const Draft d = draft_record(load_register(t.db), kNow, Kind::level, {{"level_pct", "80"}});
  REQUIRE(d.entry);
  CHECK(d.entry->vessel == t.vessel);
  CHECK(d.entry->lubricator == t.lubricator);
  CHECK(d.entry->head.at.utc == kNow);
  CHECK(d.entry->head.source == "typed");
}

TEST_CASE("draft: one of two shafts is never guessed, nor of two vessels", "[app][record]") {
  TempDb t;
  const Draft d = draft_record(load_register(t.db), kNow, Kind::hours, {{"meter_h", "5"}});
  CHECK_FALSE(d.entry);
  CHECK(d.missing == std::vector<std::string>{"shaft"});
  t.add_vessel("T-02");
  const Draft two = draft_record(load_register(t.db), kNow, Kind::level, {{"level_pct", "80"}});
  CHECK(two.missing == std::vector<std::string>{"vessel", "lubricator"});
}

TEST_CASE("draft: the unit may stand behind the amount, an amount alone has none", "[app][record]") {
  TempDb t;
  const Register reg = load_register(t.db);
  const auto draft = [&](const std::string& amount) {
    return draft_record(reg, kNow, Kind::greasing,
                        {{"shaft", "port"}, {"amount", amount}, {"ended", "pressure"}, {"gun", "gun1"}});
  };
  for (const auto& [text, number, unit] :
       {std::tuple{"60 strokes", "60", Unit::strokes}, std::tuple{"2.5kg", "2.5", Unit::kg},
        std::tuple{"78 cm3", "78", Unit::cm3}, std::tuple{"78cm3", "78", Unit::cm3},
        std::tuple{"2,5 kg", "2.5", Unit::kg}}) {
    INFO(text);
    const Draft d = draft(text);
    REQUIRE(d.entry);
    CHECK(typed_amount(d) == number);
    CHECK(unit_of(d) == unit);
  }
  CHECK(draft("60").missing == std::vector<std::string>{"unit"});
  CHECK_FALSE(draft("60 barrels").entry);
}

TEST_CASE("draft: all faults are told at once", "[app][record]") {
  TempDb t;
  const Draft d =
      draft_record(load_register(t.db), kNow, Kind::greasing,
                   {{"shaft", "prt"}, {"amount", "6o"}, {"unit", "cm3"}, {"ended", "pressur"}, {"at", "2026-02-30"}});
  CHECK_FALSE(d.entry);
  CHECK(d.faults.size() == 4);
}

TEST_CASE("draft: a value that such a record does not have is refused", "[app][record]") {
  TempDb t;
  CHECK_THROWS_AS(draft_record(load_register(t.db), kNow, Kind::hours, {{"amount", "5"}}), Error);
}

TEST_CASE("correction: what is not said again keeps its conversion", "[app][record]") {
  TempDb t;
  const Register reg = load_register(t.db);
  Entry e = t.entry(Kind::greasing, 1, 3);
  e.detail = Greasing{Amount{"60", Unit::strokes, Volume::from_base(66'000), 1'100'000'000}, t.gun, Ended::pressure,
                      Purge::clean, GreaseId{}};  // the gun gave 1.1 cm3 then; it is registered with 1.3
  const Draft same_unit = draft_correction(reg, kNow, e, {{"amount", "50"}});
  REQUIRE(same_unit.entry);
  CHECK(std::get<Greasing>(same_unit.entry->detail).amount->volume == cm3(55));
  CHECK(same_unit.entry->head.replaces == e.head.id);
  CHECK(same_unit.entry->head.at == e.head.at);
  const Draft gun_again = draft_correction(reg, kNow, e, {{"amount", "50"}, {"gun", "gun1"}});
  REQUIRE(gun_again.entry);
  CHECK(std::get<Greasing>(gun_again.entry->detail).amount->volume == cm3(65));
  CHECK_THROWS_AS(draft_correction(reg, kNow, e, {{"vessel", "T-02"}}), Error);
}

TEST_CASE("keep: a correction of what is not in force any more is refused, and nothing is written", "[app][record]") {
  TempDb t;
  const FixedClock clock{kNow};
  Entry first = keep_record(t.db, clock, t.entry(Kind::hours, 1, 3));
  Entry better = first;
  better.head.replaces = first.head.id;
  const Entry second = keep_record(t.db, clock, better);
  CHECK_THROWS_AS(keep_record(t.db, clock, better), Error);
  CHECK_THROWS_AS(get_standing_record(t.db, format_uuid(first.head.id)), Error);
  CHECK(get_standing_record(t.db, format_uuid(second.head.id)).head.id == second.head.id);
  const Withdrawn w = withdraw_record(t.db, clock, format_uuid(second.head.id), "2/E", "never");
  REQUIRE(w.in_force);
  CHECK(w.in_force->head.id == first.head.id);
}

TEST_CASE("odd amount: far on the scale of ratios and by more than back-pressure repeats", "[app][record]") {
  const Estimate usual{78, 60, 101};
  CHECK_FALSE(is_odd_amount(78, usual));
  CHECK_FALSE(is_odd_amount(125, usual));
  CHECK(is_odd_amount(780, usual));
  CHECK(is_odd_amount(10, usual));
  const Estimate nothing{0.01, 0, 2};  // a shaft whose doses cover its loss
  CHECK_FALSE(is_odd_amount(20, nothing));
  CHECK(is_odd_amount(200, nothing));
}
