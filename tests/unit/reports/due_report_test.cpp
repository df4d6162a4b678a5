#include "reports/due_report.hpp"

#include "support/sample_review.hpp"

#include <catch2/catch.hpp>

using namespace shaftlog;
using namespace shaftlog::test;
using Catch::Matchers::Contains;

TEST_CASE("due: what is overdue comes first, then by day; what lies beyond the horizon is left out", "[due]") {
  const SampleReview s;
  const std::vector<DueItem> items = list_due(s.vessels, s.as_of, 30);
  REQUIRE(items.size() == 3);
  CHECK(items[0].shaft == ShaftId{1});
  CHECK(items[0].is_overdue);
  CHECK(items[1].shaft == ShaftId{2});
  CHECK(items[2].lubricator == LubricatorId{1});
  CHECK(list_due(s.vessels, s.as_of, 13).size() == 3);  // the refill's early day is 10 days ahead
  CHECK(list_due(s.vessels, s.as_of, 11).size() == 2);
  CHECK(list_due(s.vessels, s.as_of, 0).size() == 1);
}

TEST_CASE("due: a shaft with no interval and a reservoir with no forecast are not due", "[due]") {
  SampleReview s;
  for (ShaftState& shaft : s.vessels[0].shafts) shaft.next_greasing = {};
  s.vessels[0].lubricators[0].next_refill = {};
  CHECK(list_due(s.vessels, s.as_of, 3660).empty());
}

TEST_CASE("due: a reservoir whose low mark is behind us is overdue", "[due]") {
  SampleReview s;
  s.vessels[0].lubricators[0].next_refill.p10 = day(180).utc;
  s.vessels[0].lubricators[0].next_refill.p50 = day(199).utc;
  const std::vector<DueItem> items = list_due(s.vessels, s.as_of, 1);
  REQUIRE(items.size() == 2);
  CHECK(items[1].lubricator == LubricatorId{1});
  CHECK(items[1].is_overdue);
}

TEST_CASE("due text: the expected amount stands beside what is due, with the cautions", "[due]") {
  const SampleReview s;
  const std::string text = due_text(list_due(s.vessels, s.as_of, 30), s.reg, s.as_of, 30, {100, false});
  CHECK_THAT(text, Contains("78 cm3; usual 70 to 95"));
  CHECK_THAT(text, Contains("OVERDUE by 130 h, 18 days"));
  CHECK_THAT(text, Contains("A hand never comes before a grease nozzle"));
  CHECK_THAT(due_text({}, s.reg, s.as_of, 30, {100, false}), Contains("Nothing is due."));
}

TEST_CASE("due text: the days until then are those of the calendar of the ship", "[due]") {
  SampleReview s;
  s.reg.vessels.at(0).time_zone = "UTC";
  const auto due = [&](int hours_from_noon) {
    std::vector<DueItem> items = list_due(s.vessels, s.as_of, 30);
    items.erase(items.begin());
    items.resize(1);
    const Instant noon = s.as_of + std::chrono::hours{12};
    items[0].due_at = noon + std::chrono::hours{hours_from_noon};
    return due_text(items, s.reg, noon, 30, {100, false});
  };
  CHECK_THAT(due(1), Contains("2026-07-20, today"));
  CHECK_THAT(due(13), Contains("2026-07-21, in 1 day "));
  CHECK_THAT(due(35), Contains("2026-07-21, in 1 day "));
  CHECK_THAT(due(37), Contains("2026-07-22, in 2 days"));
}
