#include "domain/amount.hpp"

#include <catch2/catch.hpp>

using namespace shaftlog;

TEST_CASE("amount: one amount in three units", "[domain][amount]") {
  const Conversion with{Density::from_base(920), Volume::from_base(1300), cm3(5000)};
  CHECK(make_amount(*parse_decimal("60"), Unit::strokes, with).volume == Volume::from_base(78'000));
  CHECK(make_amount(*parse_decimal("0.070"), Unit::kg, with).volume == Volume::from_base(76'087));
  CHECK(make_amount(*parse_decimal("78"), Unit::cm3, with).volume == cm3(78));
  CHECK(make_amount(*parse_decimal("12.5"), Unit::pct, with).volume == cm3(625));
  CHECK(make_amount(*parse_decimal("0.070"), Unit::kg, with).typed == "0.070");
}

// International yard and pound agreement of 1959: 1 lb = 453.59237 g, 1 oz = lb/16 (from memory).
TEST_CASE("amount: avoirdupois pound and ounce", "[domain][amount][reference]") {
  const Conversion water{Density::from_base(1000), std::nullopt, std::nullopt};
  CHECK(make_amount(*parse_decimal("1"), Unit::lb, water).volume == Volume::from_base(453'592));
  CHECK(make_amount(*parse_decimal("16"), Unit::oz, water).volume == Volume::from_base(453'592));
}

TEST_CASE("amount: what cannot be told stays empty and keeps what was typed", "[domain][amount]") {
  const Amount strokes = make_amount(*parse_decimal("60"), Unit::strokes, Conversion{});
  CHECK_FALSE(strokes.volume.has_value());
  CHECK(strokes.typed == "60");
  CHECK_FALSE(make_amount(*parse_decimal("1"), Unit::kg, Conversion{}).volume.has_value());
  CHECK_FALSE(make_amount(*parse_decimal("999999999999999"), Unit::l, Conversion{}).volume.has_value());
}

TEST_CASE("amount: a conversion that was kept is used again", "[domain][amount]") {
  const Conversion then{std::nullopt, Volume::from_base(1300), std::nullopt};
  const Amount a = make_amount(*parse_decimal("60"), Unit::strokes, then);
  CHECK(make_amount(*parse_decimal("60"), Unit::strokes, a.nano_cm3_per_unit).volume == a.volume);
}
