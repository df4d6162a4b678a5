#include "app/second_look.hpp"

#include "support/temp_db.hpp"

#include <catch2/catch.hpp>

using namespace shaftlog;
using namespace shaftlog::test;

namespace {

Entry refill(const TempDb& t, int at_day, std::optional<double> before_pct, std::optional<double> after_pct) {
  Entry e = t.entry(Kind::refill, 900, at_day);
  Refill r;
  r.amount = Amount{"1", Unit::cm3, cm3(1), 1'000'000'000};
  const auto level = [](std::optional<double> pct) {
    return pct ? std::optional{Level::from_base(static_cast<std::int64_t>(*pct * 100))} : std::nullopt;
  };
  r.before = level(before_pct);
  r.after = level(after_pct);
  e.detail = r;
  return e;
}

}  // namespace

TEST_CASE("second look: a refill is expected to take what lies between its two levels", "[app][second_look]") {
  TempDb t;  // a reservoir of 5000 cm3
  const auto look = second_look(t.db, refill(t, 10, 20, 75), day(10).utc);
  REQUIRE(look.expected);
  CHECK(look.expected->value == Approx(2750));
  CHECK(look.expected->low < 2750);
  CHECK(look.expected->high > 2750);
}

TEST_CASE("second look: a refill of nothing is asked about", "[app][second_look]") {
  TempDb t;
  Entry e = refill(t, 10, std::nullopt, std::nullopt);
  std::get<Refill>(e.detail).amount = Amount{"0", Unit::kg, cm3(0), 1'000'000'000};
  const auto look = second_look(t.db, e, day(10).utc);
  REQUIRE(look.odd.size() == 1);
  CHECK(look.odd.front() == "a refill of 0: nothing went in");
}

TEST_CASE("second look: a date long before the ship's last record is asked about", "[app][second_look]") {
  TempDb t;
  LogRepository{t.db}.add(t.entry(Kind::hours, 1, 100));
  const auto odd = [&](int at_day, bool is_correction = false) {
    Entry e = t.entry(Kind::work, 900, at_day);
    e.detail = Work{WorkKind::other};
    if (is_correction) e.head.replaces = nth_id(2);
    return second_look(t.db, e, day(110).utc).odd;
  };
  CHECK(odd(75).empty());
  CHECK(odd(110).empty());
  REQUIRE(odd(60).size() == 1);
  CHECK(odd(60).front().find("40 days before the ship's last record on ") != std::string::npos);
  CHECK(odd(60, true).empty());
}

TEST_CASE("second look: an amount typed in strokes is asked about in strokes and cm3", "[app][second_look]") {
  TempDb t;
  Entry e = t.entry(Kind::greasing, 900, 10);
  e.shaft = t.port;
  e.detail = Greasing{
      Amount{"9000", Unit::strokes, Volume::from_base(9'900'000), 1'100'000'000}, t.gun, Ended::pressure, {}, {}};
  const auto look = second_look(t.db, e, day(10).utc);
  REQUIRE_FALSE(look.odd.empty());
  INFO(look.odd.front());
  CHECK(look.odd.front().find("9000 strokes") != std::string::npos);
  CHECK(look.odd.front().find("9900 cm3") != std::string::npos);
}

TEST_CASE("second look: without a level after, a refill is expected to reach the full mark", "[app][second_look]") {
  TempDb t;
  CHECK(second_look(t.db, refill(t, 10, 40, std::nullopt), day(10).utc).expected->value == Approx(3000));
}

TEST_CASE("second look: without any level the balance says how much a refill should take", "[app][second_look]") {
  TempDb t;
  LogRepository log{t.db};
  Entry level = t.entry(Kind::level, 1, 1);
  level.detail = LevelReading{Level::from_base(8000)};
  log.add(level);
  for (int i = 0; i < 3; ++i) {  // 100 running hours in ten days on each of two shafts, 1 cm3/h each
    for (const ShaftId shaft : {t.port, t.stbd}) {
      Entry hours =
          t.entry(Kind::hours, 10 + 2 * static_cast<std::uint64_t>(i) + (shaft == t.port ? 0 : 1), 1 + 10 * i);
      hours.shaft = shaft;
      hours.detail = Hours{HoursReading::from_base(3600LL * (1000 + 100 * i)), false, std::nullopt};
      log.add(hours);
    }
  }
  const auto look = second_look(t.db, refill(t, 21, std::nullopt, std::nullopt), day(21).utc);
  REQUIRE(look.expected);
  // 80 % of 5000 cm3 less 2 x 200 h x 1 cm3/h leaves 3600 cm3.
  CHECK(look.expected->value == Approx(1400).margin(60));
  CHECK(look.expected->low < look.expected->value);
  CHECK(look.expected->high > look.expected->value);
}

TEST_CASE("second look: where nothing tells the level nothing is expected of a refill", "[app][second_look]") {
  TempDb t;
  CHECK_FALSE(second_look(t.db, refill(t, 10, std::nullopt, std::nullopt), day(10).utc).expected);
}

TEST_CASE("second look: the last one is also one of the same minute, and none of the next", "[app][second_look]") {
  TempDb t;
  LogRepository log{t.db};
  const auto level = [&](std::uint64_t n, int seconds) {
    Entry e = t.entry(Kind::level, n, 1);
    e.detail = LevelReading{Level::from_base(8000)};
    e.head.at.utc += std::chrono::seconds{seconds};
    return e;
  };
  log.add(level(1, -600));
  log.add(level(2, 0));
  log.add(level(3, 60));
  Entry draft = level(900, 0);
  draft.head.at.precision = Precision::minute;
  auto look = second_look(t.db, draft, day(1).utc);
  REQUIRE(look.last);
  CHECK(look.last->head.id == nth_id(2));
  draft.head.replaces = nth_id(2);
  look = second_look(t.db, draft, day(1).utc);
  REQUIRE(look.last);
  CHECK(look.last->head.id == nth_id(1));
}

TEST_CASE("units: what one of each is worth is said by gun, grease and reservoir", "[app][second_look]") {
  TempDb t;
  const Register reg = RegisterRepository{t.db}.load();
  const auto worth = [&](Kind kind, Unit unit, const NamedTexts& fields, const char* grease = "") {
    for (const UnitWorth& w : unit_worths(reg, day(10).utc, kind, fields))
      if (w.unit == unit && w.grease.value_or(grease) == grease) return w.cm3;
    return std::optional{-1.0};
  };
  const std::string shaft = reg.shafts.front().code, lubricator = reg.lubricators.front().code;
  const NamedTexts greased{{"vessel", "T-01"}, {"shaft", shaft}},
      filled{{"vessel", "T-01"}, {"lubricator", lubricator}};
  CHECK(worth(Kind::greasing, Unit::cm3, greased) == 1.0);
  CHECK(worth(Kind::greasing, Unit::strokes, greased) == Approx(1.3));
  CHECK(worth(Kind::greasing, Unit::kg, greased, "G-1") == Approx(1000 / 0.92));
  CHECK(worth(Kind::refill, Unit::kg, filled) == Approx(1000 / 0.92));
  CHECK(worth(Kind::refill, Unit::pct, filled) == Approx(50));
  // Nothing is taken from another ship or subject.
  CHECK(worth(Kind::refill, Unit::pct, {{"vessel", "T-01"}, {"lubricator", "none"}}) == std::nullopt);
  CHECK(worth(Kind::greasing, Unit::strokes, {{"vessel", "T-99"}, {"shaft", shaft}}) == std::nullopt);
}
