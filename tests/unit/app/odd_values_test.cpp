#include "app/second_look.hpp"
#include "base/decimal.hpp"
#include "domain/amount.hpp"
#include "support/temp_db.hpp"

#include <catch2/catch.hpp>

using namespace shaftlog;
using namespace shaftlog::test;
using Catch::Matchers::Contains;

namespace {

class Board {
 public:
  TempDb t;  // a reservoir of 5000 cm3, grease of 0.92 g/cm3

  void kept(Kind kind, int at_day, Detail what) {
    Entry e = drafted(kind, at_day, std::move(what));
    e.head.id = nth_id(next_++);
    LogRepository{t.db}.add(e);
  }
  std::vector<std::string> odd(Kind kind, int at_day, Detail what) {
    return second_look(t.db, drafted(kind, at_day, std::move(what)), day(at_day).utc).odd;
  }

 private:
  [[nodiscard]] Entry drafted(Kind kind, int at_day, Detail what) const {
    Entry e = t.entry(kind, 900, at_day);
    e.detail = std::move(what);
    return e;
  }

  std::uint64_t next_ = 1;
};

LevelReading level(int pct) { return LevelReading{Level::from_base(pct * 100)}; }

Refill pour(const char* typed, Unit unit, double cm3_each) {
  Refill r;
  r.amount = make_amount(*parse_decimal(typed), unit, static_cast<std::int64_t>(cm3_each * 1e9));
  return r;
}

Inspection sample(std::optional<double> water_pct, std::optional<double> iron_ppm, std::optional<double> clearance_mm) {
  const auto base = [](std::optional<double> v, double per) {
    return v ? std::optional{static_cast<std::int64_t>(*v * per + 0.5)} : std::nullopt;
  };
  return {base(water_pct, 1e4), base(iron_ppm, 1e3), base(clearance_mm, 1e3)};
}

}  // namespace

TEST_CASE("odd: a refill far below the room is asked about, with what would fit", "[app][second_look]") {
  Board b;
  b.kept(Kind::refill, 5, pour("3.3", Unit::kg, 1000 / 0.92));
  b.kept(Kind::level, 9, level(30));  // room for 3500 cm3
  const auto slip = b.odd(Kind::refill, 10, pour("3.2", Unit::cm3, 1));
  REQUIRE(slip.size() == 1);
  CHECK_THAT(slip.front(),
             Contains("3.2 cm3 where 3") && Contains("; 3.2 kg would fit; to top up a part is all right"));
  const auto point = b.odd(Kind::refill, 10, pour("0.32", Unit::kg, 1000 / 0.92));
  REQUIRE(point.size() == 1);
  CHECK_THAT(point.front(), Contains("0.32 kg (347.8 cm3) where 3") && Contains("; 3.2 kg would fit"));
  CHECK(b.odd(Kind::refill, 10, pour("320", Unit::cm3, 1)).size() == 1);
}

TEST_CASE("odd: beyond what the reservoir can hold, what would fit is told too", "[app][second_look]") {
  Board b;
  b.kept(Kind::level, 9, level(30));
  const auto odd = b.odd(Kind::refill, 10, pour("32", Unit::kg, 1000 / 0.92));
  REQUIRE(odd.size() == 2);
  CHECK_THAT(odd[0], Contains("more than it can hold"));
  CHECK(odd[1] == "3.2 kg would fit");
  CHECK(b.odd(Kind::refill, 10, pour("3.6", Unit::kg, 1000 / 0.92)).empty());
}

TEST_CASE("odd: a part of the room is a refill like any other", "[app][second_look]") {
  Board b;
  b.kept(Kind::level, 9, level(30));
  for (const char* cm3 : {"1400", "2500", "3500"}) {
    INFO(cm3);
    CHECK(b.odd(Kind::refill, 10, pour(cm3, Unit::cm3, 1)).empty());
  }
}

TEST_CASE("odd: in a nearly full reservoir a small refill is none", "[app][second_look]") {
  Board b;
  b.kept(Kind::level, 9, level(97));
  CHECK(b.odd(Kind::refill, 10, pour("20", Unit::cm3, 1)).empty());
}

TEST_CASE("odd: more than there is room for is asked about without a level before it", "[app][second_look]") {
  Board b;
  b.kept(Kind::level, 9, level(90));
  const auto odd = b.odd(Kind::refill, 10, pour("4000", Unit::cm3, 1));
  REQUIRE(odd.size() == 1);
  CHECK_THAT(odd.front(), Contains("4000 cm3 where there should be room for") && Contains("400 cm3 would fit"));
}

TEST_CASE("odd: next to nothing is asked about where no level is known", "[app][second_look]") {
  Board b;
  const auto odd = b.odd(Kind::refill, 10, pour("3.6", Unit::cm3, 1));
  REQUIRE(odd.size() == 1);
  CHECK_THAT(odd.front(),
             Contains("3.6 cm3 is next to nothing in a reservoir of 5000 cm3; 3.6") && Contains("is the unit right?"));
  CHECK(b.odd(Kind::refill, 10, pour("500", Unit::cm3, 1)).empty());
}

TEST_CASE("odd: a level that rose with no refill asks for the refill", "[app][second_look]") {
  Board b;
  b.kept(Kind::level, 1, level(60));
  const auto odd = b.odd(Kind::level, 10, level(95));
  REQUIRE(odd.size() == 1);
  CHECK_THAT(odd.front(), Contains("95 % after 60 % on 2026-01-02, no refill is recorded since") &&
                              Contains("is a refill missing in the log?"));
  CHECK(b.odd(Kind::level, 10, level(62)).empty());
  b.kept(Kind::refill, 5, pour("1750", Unit::cm3, 1));
  CHECK(b.odd(Kind::level, 10, level(94)).empty());
  b.kept(Kind::level, 6, level(90));
  b.kept(Kind::refill, 7, Refill{std::nullopt, Level::from_base(9000), Level::from_base(9800), {}, ""});
  CHECK(b.odd(Kind::level, 10, level(97)).empty());
}

TEST_CASE("odd: a counter that fell asks whether it was reset", "[app][second_look]") {
  Board b;
  b.kept(Kind::cycles, 1, Cycles{44'000, false});
  b.kept(Kind::cycles, 11, Cycles{44'771, false});
  const auto odd = b.odd(Kind::cycles, 21, Cycles{12, false});
  REQUIRE(odd.size() == 1);
  CHECK(odd.front() ==
        "12 is less than 44771 on 2026-01-12: was the counter reset or replaced? then mark it as new (counter new)");
  CHECK(b.odd(Kind::cycles, 21, Cycles{12, true}).empty());
  CHECK(b.odd(Kind::cycles, 21, Cycles{45'500, false}).empty());
  CHECK_THAT(b.odd(Kind::cycles, 21, Cycles{445'500, false}).at(0), Contains("400729 more than on 2026-01-12"));
}

TEST_CASE("odd: a sample far from the last is asked about", "[app][second_look]") {
  Board b;
  b.kept(Kind::inspection, 1, sample(1.15, 50, 0.35));
  CHECK(b.odd(Kind::inspection, 10, sample(12, std::nullopt, std::nullopt)) ==
        std::vector<std::string>{"12 % water is far from the last, 1.15 % on 2026-01-02"});
  CHECK(b.odd(Kind::inspection, 10, sample(std::nullopt, 480, 350)) ==
        std::vector<std::string>{"480 ppm iron is far from the last, 50 ppm on 2026-01-02",
                                 "350 mm clearance is far from the last, 0.35 mm on 2026-01-02"});
  CHECK(b.odd(Kind::inspection, 10, sample(3, 120, 0.5)).empty());
}

TEST_CASE("odd: a first sample is asked about only where it is hardly possible", "[app][second_look]") {
  Board b;
  CHECK(b.odd(Kind::inspection, 10, sample(12, 480, 1.5)).empty());
  CHECK(b.odd(Kind::inspection, 10, sample(std::nullopt, std::nullopt, 350)) ==
        std::vector<std::string>{"350 mm clearance is hardly possible"});
}

TEST_CASE("odd: less in a sample after work is what the work was for", "[app][second_look]") {
  Board b;
  b.kept(Kind::inspection, 1, sample(3, std::nullopt, std::nullopt));
  CHECK(b.odd(Kind::inspection, 10, sample(0.3, std::nullopt, std::nullopt)).size() == 1);
  b.kept(Kind::work, 5, Work{WorkKind::seal_replaced});
  CHECK(b.odd(Kind::inspection, 10, sample(0.3, std::nullopt, std::nullopt)).empty());
}
