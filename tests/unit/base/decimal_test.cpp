#include "base/decimal.hpp"

#include <string>

#include <catch2/catch.hpp>
#include <rapidcheck/catch.h>

using shaftlog::format_decimal;
using shaftlog::format_scaled;
using shaftlog::parse_decimal;

TEST_CASE("decimal: the digits that were written are kept", "[base][decimal]") {
  CHECK(format_decimal(*parse_decimal("1.50")) == "1.50");
  CHECK(format_decimal(*parse_decimal("-0.05")) == "-0.05");
  CHECK(format_decimal(*parse_decimal("007")) == "7");
  CHECK(format_decimal(*parse_decimal("9,25", true)) == "9.25");
}

TEST_CASE("decimal: what is no plain number is refused", "[base][decimal]") {
  for (const char* text : {"",
                           "-",
                           "+",
                           ".",
                           ".5",
                           "5.",
                           "1e3",
                           "1e308",
                           "inf",
                           "nan",
                           "0x10",
                           "1 000",
                           "25o",
                           " 1",
                           "1 ",
                           "1.2.3",
                           "1,5",
                           "--1",
                           "1234567890123456",
                           "1.0000000001",
                           "\xC2\xBD"}) {
    CAPTURE(text);
    CHECK_FALSE(parse_decimal(text).has_value());
  }
}

TEST_CASE("decimal: scaling rounds half away from zero and tells when it does not fit", "[base][decimal]") {
  CHECK(parse_decimal("1.2345")->scaled(3) == 1235);
  CHECK(parse_decimal("-1.2345")->scaled(3) == -1235);
  CHECK(parse_decimal("2")->scaled(3) == 2000);
  CHECK_FALSE(parse_decimal("999999999999999")->scaled(9).has_value());
}

TEST_CASE("decimal: format_scaled drops trailing zeros only", "[base][decimal]") {
  CHECK(format_scaled(98400, 3) == "98.4");
  CHECK(format_scaled(-5, 1) == "-0.5");
  CHECK(format_scaled(0, 3) == "0");
  CHECK(format_scaled(12000, 3) == "12");
}

TEST_CASE("decimal: parse is the inverse of format", "[base][decimal][property]") {
  rc::prop("any mantissa of 15 digits and scale", [] {
    const auto mantissa = *rc::gen::inRange<std::int64_t>(-999'999'999'999, 999'999'999'999);
    const int scale = *rc::gen::inRange(0, 9);
    const shaftlog::Decimal d{mantissa, scale};
    RC_ASSERT(parse_decimal(format_decimal(d)) == d);
  });
}

TEST_CASE("decimal: a typed comma is the decimal sign where it cannot part thousands", "[base]") {
  using shaftlog::may_part_thousands;
  using shaftlog::parse_typed_decimal;
  CHECK(parse_typed_decimal("12,5") == parse_decimal("12.5"));
  CHECK(parse_typed_decimal("0,125") == parse_decimal("0.125"));
  CHECK(parse_typed_decimal("1234,567") == parse_decimal("1234.567"));
  CHECK(parse_typed_decimal("1,234") == std::nullopt);
  CHECK(parse_typed_decimal("1,234,567") == std::nullopt);
  for (const char* text : {"1,234", "-12,500", "999,000"}) CHECK(may_part_thousands(text));
  for (const char* text : {"", ",", "1,23", "1,2345", "0,125", "1234,567", "1.234", "1,2x4", "a,234"})
    CHECK_FALSE(may_part_thousands(text));
}
