#include "reports/charts/ticks.hpp"

#include <cmath>

#include <catch2/catch.hpp>
#include <rapidcheck/catch.h>

using namespace shaftlog;

namespace {

Instant utc(const char* text) { return parse_stamp(text, Zone::utc())->utc; }

std::vector<std::string> labels(const std::vector<TimeTick>& ticks) {
  std::vector<std::string> out;
  for (const TimeTick& t : ticks) out.push_back(t.label);
  return out;
}

}  // namespace

TEST_CASE("ticks: round numbers with the decimals that tell them apart", "[charts][ticks]") {
  const NumberTicks t = nice_ticks(0, 1.13, 6);
  REQUIRE(t.at.size() == 6);
  CHECK(t.at[3] == 0.6);
  CHECK(tick_text(t.at[3], t.decimals) == "0.6");
  CHECK(nice_ticks(0, 104, 4).at == std::vector<double>{0, 50, 100});
  CHECK(nice_ticks(-30, 30, 5).at == std::vector<double>{-20, 0, 20});
  CHECK(tick_text(-0.001, 1) == "0.0");
}

TEST_CASE("ticks: one value when there is no range, none when it is not finite", "[charts][ticks]") {
  CHECK(nice_ticks(4, 4, 5).at == std::vector<double>{4});
  CHECK(nice_ticks(0, INFINITY, 5).at.empty());
  CHECK(log_ticks(0, 10, 5).empty());
}

TEST_CASE("ticks: never more than asked, inside the range, evenly apart, at least two", "[charts][ticks]") {
  rc::prop("number ticks", [] {
    const double low = static_cast<double>(*rc::gen::inRange(-1000000, 1000000)) / 997.0;
    const double span = std::pow(10.0, *rc::gen::inRange(-30, 60) / 10.0);
    const int most = *rc::gen::inRange(4, 12);
    const NumberTicks t = nice_ticks(low, low + span, most);
    RC_ASSERT(static_cast<int>(t.at.size()) <= most);
    RC_ASSERT(t.at.size() >= 1U);
    for (std::size_t i = 0; i < t.at.size(); ++i) {
      RC_ASSERT(t.at[i] >= low - 1e-6 * span);
      RC_ASSERT(t.at[i] <= low + span * (1 + 1e-6));
      if (i > 1) {
        RC_ASSERT(std::abs((t.at[i] - t.at[i - 1]) - (t.at[1] - t.at[0])) < 1e-6 * span);
        RC_ASSERT(tick_text(t.at[i], t.decimals) != tick_text(t.at[i - 1], t.decimals));
      }
    }
  });
}

TEST_CASE("ticks: 1, 2, 5 on a log scale, only the tens when there are many", "[charts][ticks]") {
  CHECK(log_ticks(0.4, 6, 9) == std::vector<double>{0.5, 1, 2, 5});
  CHECK(log_ticks(0.01, 1000, 7) == std::vector<double>{0.01, 0.1, 1, 10, 100, 1000});
}

TEST_CASE("ticks: years, quarters, months, weeks and days by the length of the span", "[charts][ticks]") {
  const Zone z = Zone::utc();
  CHECK(labels(time_ticks(utc("2023-09-20"), utc("2026-10-05"), z, 10)) ==
        std::vector<std::string>{"2024", "Jul", "2025", "Jul", "2026", "Jul"});
  CHECK(labels(time_ticks(utc("2026-01-15"), utc("2026-10-05"), z, 10)) ==
        std::vector<std::string>{"Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct"});
  CHECK(labels(time_ticks(utc("2026-03-01"), utc("2026-03-29"), z, 8)) ==
        std::vector<std::string>{"2 Mar", "9 Mar", "16 Mar", "23 Mar"});  // Mondays
  CHECK(labels(time_ticks(utc("2000-06-01"), utc("2026-10-05"), z, 8)) ==
        std::vector<std::string>{"2005", "2010", "2015", "2020", "2025"});
  CHECK(time_ticks(utc("2026-10-05"), utc("2026-10-04"), z, 8).empty());
}

TEST_CASE("ticks: days begin at midnight of the ship's clock, on both sides of a change of clocks", "[charts][ticks]") {
  const Zone lisbon{"Europe/Lisbon"};  // UTC, from 2026-03-29 01:00 an hour ahead
  const auto ticks = time_ticks(utc("2026-03-27"), utc("2026-04-01"), lisbon, 8);
  REQUIRE(ticks.size() >= 5);
  CHECK(ticks[0].at == utc("2026-03-28T00:00Z"));
  CHECK(ticks[2].at == utc("2026-03-29T23:00Z"));
  CHECK(ticks[2].label == "30 Mar");
}

TEST_CASE("ticks: never more than asked for any span of time", "[charts][ticks]") {
  rc::prop("time ticks", [] {
    const auto from = from_unix(*rc::gen::inRange<std::int64_t>(0, 3'000'000'000));
    const auto to = from + std::chrono::seconds{*rc::gen::inRange<std::int64_t>(1, 1'000'000'000)};
    const auto ticks = time_ticks(from, to, Zone::utc(), 9);
    RC_ASSERT(ticks.size() <= 9U);
    if (days_between(from, to) > 3) RC_ASSERT(!ticks.empty());
    for (std::size_t i = 0; i < ticks.size(); ++i) {
      RC_ASSERT(ticks[i].at >= from);
      RC_ASSERT(ticks[i].at <= to);
      if (i > 0) RC_ASSERT(ticks[i].at > ticks[i - 1].at);
    }
  });
}
