#include "analysis/period.hpp"

#include "support/charted_ship.hpp"

#include <catch2/catch.hpp>

using namespace shaftlog;
using shaftlog::test::ChartedShip;

namespace {

const GreaseUse& only(const std::vector<GreaseUse>& uses) {
  REQUIRE(uses.size() == 1);
  return uses.front();
}

}  // namespace

TEST_CASE("tally: done, not done and late are counted apart, each in its stretch", "[analysis][period]") {
  const ChartedShip ship;
  const auto all = tally_greasings(ship.log, ship.review, from_unix(0), ship.as_of);
  REQUIRE(all.size() == 3);
  CHECK(all[0].done == 24);
  CHECK(all[0].not_done == 1);
  CHECK(all[0].late == 0);  // 300 h each, 400 agreed
  CHECK(*all[0].worst_interval_share == Approx(0.75).margin(0.01));
  CHECK(all[1].done == 12);
  CHECK(all[1].late == 11);  // 600 h each
  CHECK(*all[1].worst_interval_share == Approx(1.5).margin(0.01));
  CHECK(all[2].done == 0);
  CHECK_FALSE(all[2].worst_interval_share);  // nothing to compare is not 0
  CHECK(all[2].is_planned);
  const auto year = tally_greasings(ship.log, ship.review, ship.as_of - std::chrono::days{365}, ship.as_of);
  CHECK(year[0].done == 12);
  CHECK(year[0].not_done == 0);
}

TEST_CASE("tally: late by a record that others contradict is told apart", "[analysis][period]") {
  ChartedShip ship;
  const auto late = [&] { return tally_greasings(ship.log, ship.review, from_unix(0), ship.as_of)[1]; };
  CHECK(late().in_doubt == 0);
  Suspect s;
  s.record = ship.review.shaft_details[1].history.intervals[4].id;  // closes one interval and opens the next
  ship.review.suspects.push_back(s);
  CHECK(late().late == 11);
  CHECK(late().in_doubt == 2);
}

TEST_CASE("grease: what was put into cavities is what their change and the seals account for", "[analysis][period]") {
  const ChartedShip ship;
  const Instant from = ship.as_of - std::chrono::days{365};
  const GreaseUse u = only(grease_used(ship.log, ship.review, from, ship.as_of));
  CHECK(u.grease == GreaseId{1});
  double by_hand = 0;
  for (const auto& g : ship.log.greasings) {
    if (g.at > from && g.what.amount) by_hand += in_cm3(*g.what.amount->volume);
  }
  CHECK(u.by_hand_cm3 == Approx(by_hand));
  // 1 cm3/h over 365 days of 10 h, of which the lines bring six tenths.
  CHECK(u.by_doses_cm3 == Approx(0.6 * 3650).epsilon(0.12));
  // Each cavity is near full at both ends: what went in came out, within what two cavities hold.
  CHECK(u.past_seals_cm3.value == Approx(u.by_hand_cm3 + u.by_doses_cm3).margin(400));
  CHECK(u.past_seals_cm3.low < u.past_seals_cm3.value);
  CHECK(u.past_seals_cm3.value < u.past_seals_cm3.high);
  CHECK(u.beyond_doses_cm3 == 0);
}

TEST_CASE("grease: a refill told by its levels counts by the reservoir's size", "[analysis][period]") {
  const ChartedShip ship;
  const GreaseUse u = only(grease_used(ship.log, ship.review, from_unix(0), ship.as_of));
  double poured = 0;
  for (const auto& r : ship.log.refills) poured += (100 - in_pct(*r.what.before)) / 100 * 5000;
  CHECK(poured > 0);
  CHECK(u.poured_cm3 == Approx(poured));
  CHECK(u.unmeasured == 0);
}

TEST_CASE("grease: an amount that cannot be told is counted, not added as 0", "[analysis][period]") {
  ChartedShip ship;
  ship.log.greasings.back().what.amount->volume.reset();
  CHECK(only(grease_used(ship.log, ship.review, from_unix(0), ship.as_of)).unmeasured == 1);
}

TEST_CASE("grease: nothing used gives no line", "[analysis][period]") {
  const ChartedShip ship;
  CHECK(grease_used(ship.log, ship.review, from_unix(0), from_unix(1000)).empty());
}
