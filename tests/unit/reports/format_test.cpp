#include "reports/format.hpp"

#include "reports/csv_text.hpp"
#include "reports/json.hpp"

#include <limits>

#include <catch2/catch.hpp>

using namespace shaftlog;

TEST_CASE("figure: significant digits, no exponent, no trailing zeros", "[reports][format]") {
  CHECK(format_figure(0.24761) == "0.248");
  CHECK(format_figure(12345.6) == "12346");
  CHECK(format_figure(100) == "100");
  CHECK(format_figure(0.5) == "0.5");
  CHECK(format_figure(-0.0001234) == "-0.000123");
  CHECK(format_figure(-0.0) == "0");
  CHECK(format_figure(9090.2, 6) == "9090.2");
}

TEST_CASE("figure: what is not a number is unknown, never 0", "[reports][format]") {
  CHECK(format_figure(std::numeric_limits<double>::quiet_NaN()) == "unknown");
  CHECK(format_figure(std::numeric_limits<double>::infinity()) == "unknown");
  CHECK(format_estimate(std::optional<Estimate>{}) == "-");
}

TEST_CASE("both clocks: UTC stands beside the ship's time, with its day only where that differs", "[reports][format]") {
  const Instant t = from_unix(1'773'475'800);  // 2026-03-14T08:10:00Z
  CHECK(format_both({t, std::chrono::minutes{60}, Precision::minute}) == "2026-03-14 09:10 (08:10 UTC)");
  CHECK(format_both({t, std::chrono::minutes{13 * 60 + 45}, Precision::minute}) == "2026-03-14 21:55 (08:10 UTC)");
  CHECK(format_both({t, std::chrono::minutes{-10 * 60}, Precision::minute}) ==
        "2026-03-13 22:10 (2026-03-14 08:10 UTC)");
  CHECK(format_both({t, std::chrono::minutes{0}, Precision::minute}) == "2026-03-14 08:10 UTC");
  CHECK(format_both({t, std::chrono::minutes{60}, Precision::day}) == "2026-03-14");
  CHECK(format_offset({t, std::chrono::minutes{60}, Precision::day}) == "UTC+01:00");
  CHECK(format_offset({t, std::chrono::minutes{-(3 * 60 + 30)}, Precision::minute}) == "UTC-03:30");
  CHECK(format_offset({t, std::chrono::minutes{0}, Precision::minute}) == "UTC");
}

TEST_CASE("json: text is escaped, bytes that are no UTF-8 are replaced", "[reports][json]") {
  CHECK(JsonWriter{true}.text("a\"b\\c\n\x01").take() == "\"a\\\"b\\\\c\\n\\u0001\"\n");
  CHECK(JsonWriter{true}
            .text("gr\xc3\xb6\xc3\x9f"
                  "er \xff")
            .take() == "\"größer \\ufffd\"\n");
  CHECK(JsonWriter{true}.text(std::string_view{"a\0b", 3}).take() == "\"a\\u0000b\"\n");
}

TEST_CASE("json: a number that is not finite is null, -0 is 0", "[reports][json]") {
  CHECK(JsonWriter{true}.number(std::numeric_limits<double>::quiet_NaN()).take() == "null\n");
  CHECK(JsonWriter{true}.number(-0.0).take() == "0\n");
  CHECK(JsonWriter{true}.number(0.123456789).take() == "0.123457\n");
  CHECK(JsonWriter{true}.number(12345.678, 7).take() == "12345.68\n");
}

TEST_CASE("json: nested values, with and without line ends", "[reports][json]") {
  const auto write = [](JsonWriter json) {
    json.begin_object().key("a").begin_list().integer(1).integer(2).end_list();
    json.key("b").begin_object().end_object().key("c").null().end_object();
    return json.take();
  };
  CHECK(write(JsonWriter{true}) == R"({"a":[1,2],"b":{},"c":null})"
                                   "\n");
  CHECK(write(JsonWriter{false}) == "{\n  \"a\": [\n    1,\n    2\n  ],\n  \"b\": {},\n  \"c\": null\n}\n");
}

TEST_CASE("csv row: quoted only where it must be", "[reports][csv]") {
  CHECK(csv_row({"a", "", "b,c", "say \"x\"", "two\nlines"}) == "a,,\"b,c\",\"say \"\"x\"\"\",\"two\nlines\"\n");
}

TEST_CASE("format: a figure never comes with an exponent, however large or small", "[format]") {
  CHECK(format_figure(123456.7, 2) == "123457");
  CHECK(format_figure(1e9, 3) == "1000000000");
  CHECK(format_figure(12.0, 4) == "12");
  CHECK(format_figure(0.0001234, 2) == "0.00012");
  CHECK(format_figure(9.99996, 4) == "10");
  CHECK(format_figure(-0.0000000001, 2) == "0");
}

TEST_CASE("format: days that have gone by are whole ones") {
  CHECK(format_days_past(0.02) == "under a day");
  CHECK(format_days_past(1) == "1 day");
  CHECK(format_days_past(1.99) == "1 day");
  CHECK(format_days_past(18.2) == "18 days");
  CHECK(format_days_past(12345.9) == "12345 days");
}
