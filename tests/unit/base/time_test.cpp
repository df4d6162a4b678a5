#include "base/time.hpp"

#include "base/error.hpp"

#include <string>

#include <catch2/catch.hpp>
#include <rapidcheck/catch.h>

using namespace shaftlog;

namespace {
const Zone kUtc = Zone::utc();
}

TEST_CASE("time: the forms that are taken", "[base][time]") {
  CHECK(format_stamp(*parse_stamp("2026-03-14T08:10+03:00", kUtc)) == "2026-03-14T08:10+03:00");
  CHECK(format_stamp(*parse_stamp("2026-03-14 08:10:30Z", kUtc)) == "2026-03-14T08:10:30Z");
  const auto day = parse_stamp("2026-03-14", Zone{"Europe/Lisbon"});
  REQUIRE(day);
  CHECK(day->precision == Precision::day);
  CHECK(format_utc(day->utc) == "2026-03-14T12:00:00Z");
  CHECK(parse_stamp("2026-03-14+03:00", kUtc)->offset == std::chrono::minutes{180});
  CHECK(format_utc(parse_stamp("2026-03-14T05:30Z", kUtc)->utc) == "2026-03-14T05:30:00Z");
}

TEST_CASE("time: what is no moment is refused", "[base][time]") {
  for (const char* text : {"",
                           "2026",
                           "2026-3-14",
                           "14.03.2026",
                           "2026-02-29",
                           "2026-13-01",
                           "2026-00-10",
                           "0000-01-01",
                           "9999-12-31",
                           "1969-12-31T23:59:59Z",
                           "2026-03-14T24:00",
                           "2026-03-14T08:60",
                           "2026-03-14T08",
                           "2026-03-14T8:10",
                           "2026-03-14T08:10+99:99",
                           "2026-03-14T08:10+3",
                           "2026-03-14T08:10:30.5",
                           "2026-03-14T08:10 UTC",
                           "-026-03-14",
                           "2026-03-14T08:10+03:00x",
                           "2100-01-01"}) {
    CAPTURE(text);
    CHECK_FALSE(parse_stamp(text, kUtc).has_value());
  }
}

TEST_CASE("time: a local time is read on the vessel's clock, summer and winter", "[base][time]") {
  const Zone oslo{"Europe/Oslo"};
  CHECK(format_utc(parse_stamp("2026-01-15T08:00", oslo)->utc) == "2026-01-15T07:00:00Z");
  CHECK(format_utc(parse_stamp("2026-07-15T08:00", oslo)->utc) == "2026-07-15T06:00:00Z");
  // Directive 2000/84/EC: clocks go forward at 01:00 UTC on the last Sunday of March, back on the last of October.
  CHECK(format_utc(parse_stamp("2026-03-29T02:30", oslo)->utc) == "2026-03-29T01:30:00Z");  // skipped: offset before
  CHECK(format_utc(parse_stamp("2026-10-25T02:30", oslo)->utc) == "2026-10-25T00:30:00Z");  // twice: the first
  CHECK(format_utc(parse_stamp("2026-10-25T03:00", oslo)->utc) == "2026-10-25T02:00:00Z");
}

TEST_CASE("time: rules past 2037 follow the same calendar", "[base][time]") {
  const Zone oslo{"Europe/Oslo"};
  CHECK(format_utc(parse_stamp("2045-07-15T08:00", oslo)->utc) == "2045-07-15T06:00:00Z");
  CHECK(format_utc(parse_stamp("2045-01-15T08:00", oslo)->utc) == "2045-01-15T07:00:00Z");
}

TEST_CASE("time: the date line and odd offsets", "[base][time]") {
  CHECK(Zone{"Pacific/Kiritimati"}.offset_at(from_unix(1'780'000'000)) == std::chrono::hours{14});
  CHECK(Zone{"Asia/Kathmandu"}.offset_at(from_unix(1'780'000'000)) == std::chrono::minutes{345});
  CHECK(format_stamp(*parse_stamp("2026-06-01T01:00", Zone{"Asia/Kathmandu"})) == "2026-06-01T01:00+05:45");
}

TEST_CASE("time: an unknown zone is named", "[base][time]") {
  try {
    const Zone zone{"Mars/Olympus"};
    FAIL("taken");
  } catch (const Error& e) {
    CHECK(e.code() == Errc::bad_data);
    CHECK(std::string{e.what()}.find("\"Mars/Olympus\"") == 0);
  }
}

TEST_CASE("time: parse is the inverse of format", "[base][time][property]") {
  rc::prop("any stamp", [] {
    Stamp s;
    s.precision = Precision::second;
    s.utc = from_unix(*rc::gen::inRange<std::int64_t>(90'000, 4'102'300'000));
    s.offset = std::chrono::minutes{*rc::gen::inRange(-14 * 60, 14 * 60)};
    RC_ASSERT(parse_stamp(format_stamp(s), Zone::utc()) == s);
  });
}

TEST_CASE("time: what no clock shows is written all the same, as it stands", "[base][time]") {
  // A damaged file can hold any number.
  CHECK(format_utc(from_unix(253'402'300'800)) == "10000-01-01T00:00:00Z");
  CHECK(format_utc(from_unix(-1)) == "1969-12-31T23:59:59Z");
  CHECK(format_utc(from_unix(-62'167'219'201)) == "-001-12-31T23:59:59Z");
  CHECK(format_stamp({from_unix(0), std::chrono::minutes{-6001}, Precision::minute}) == "1969-12-27T19:59-100:01");
  CHECK(format_stamp({from_unix(0), std::chrono::minutes{-61}, Precision::day}) == "1969-12-31-01:01");
  CHECK(format_local({from_unix(86'399), std::chrono::minutes{1}, Precision::minute}) == "1970-01-02 00:00");
}
