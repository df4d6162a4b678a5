#include "analysis/advise.hpp"

#include "support/temp_db.hpp"

#include <algorithm>

#include <catch2/catch.hpp>

using namespace shaftlog;
using Catch::Matchers::Contains;
using shaftlog::test::day;
using shaftlog::test::nth_id;

namespace {

/// A ship that runs 10 h a day; its shaft is greased every 30 days and takes 75 cm3 each time: 0.25 cm3/h.
struct Ship {
  VesselLog log;
  int days = 600;

  Ship() {
    log.vessel = {VesselId{1}, "T-01", "Testholm", std::nullopt, "UTC", "test"};
    Grease grease;
    grease.id = GreaseId{1};
    grease.code = "G-1";
    grease.density = Density::from_base(900);
    log.greases = {grease};
    ShaftSetting setting;
    setting.cavity = cm3(400);
    setting.interval = RunTime::from_base(400 * 3600);
    setting.grease = GreaseId{1};
    log.shafts = {{ShaftId{1}, VesselId{1}, "fin_port", {setting}}};
  }

  void sail(int greasings, double taken = 75) {
    std::uint64_t id = 1;
    for (int d = 0; d <= days; d += 5) {
      Logged<Hours> h;
      h.id = nth_id(id++);
      h.at = h.recorded_at = day(d).utc;
      h.shaft = ShaftId{1};
      h.what.reading = HoursReading::from_base(static_cast<std::int64_t>(d) * 10 * 3600);
      log.hours.push_back(h);
    }
    for (int i = greasings - 1; i >= 0; --i) {
      Logged<Greasing> g;
      g.id = nth_id(1000 + id++);
      g.at = g.recorded_at = day(days - 30 * i).utc;
      g.shaft = ShaftId{1};
      const auto mm3 = static_cast<std::int64_t>((taken + (i % 2 == 0 ? 3 : -3)) * 1000);
      g.what.amount = Amount{"75", Unit::cm3, Volume::from_base(mm3), std::nullopt};
      log.greasings.push_back(g);
    }
  }
  ShaftSetting& setting() { return log.shafts.front().settings.front(); }
  [[nodiscard]] VesselReview review() const {
    return review_fleet(std::span{&log, 1}, day(days).utc, 1, true).vessels.front();
  }
  [[nodiscard]] ShaftAdvice advice() const {
    const VesselReview r = review();
    return advise_shaft(log, r, r.shaft_details.front(), day(days).utc);
  }
};

std::string all(const std::vector<std::string>& says) {
  std::string out;
  for (const std::string& s : says) out += s + '\n';
  return out;
}

}  // namespace

TEST_CASE("advice: an interval that holds may be longer, but not beyond the registered one without saying so",
          "[advise]") {
  Ship ship;
  ship.sail(18);
  const ShaftAdvice a = ship.advice();
  CHECK(a.verdict == AdviceVerdict::may_be_longer);
  CHECK(*a.present_h == Approx(400));
  CHECK(*a.p_holds > 0.99);
  CHECK(*a.longest_h > 600);
  CHECK(*a.longest_h < 1280);  // what a certain 0.25 cm3/h would allow
  CHECK(*a.hours_per_day == Approx(10).epsilon(0.02));
  CHECK_THAT(all(a.says), Contains("the registered interval stands all the same, unless the maker agrees"));
  CHECK(a.year_now->to_sea_cm3.value == Approx(0.25 * 3652).epsilon(0.1));
}

TEST_CASE("advice: an interval that is too long is to be shortened, with the hours below the reserve", "[advise]") {
  Ship ship;
  ship.setting().interval = RunTime::from_base(2000 * 3600);
  ship.sail(18);
  const ShaftAdvice a = ship.advice();
  CHECK(a.verdict == AdviceVerdict::shorten);
  CHECK(*a.p_holds < 0.2);
  REQUIRE(a.advised_h);
  CHECK(*a.advised_h <= *a.longest_h);
  CHECK(a.year_now->below_reserve_h.value > 500);
  REQUIRE(a.year_advised);
  CHECK(a.year_advised->below_reserve_h.value < 50);
  CHECK_THAT(all(a.says), Contains("for 95 %") && Contains("below the reserve are to be expected"));
}

TEST_CASE("advice: a registered interval that is not kept is to be kept, when the usual one is too long", "[advise]") {
  Ship ship;
  ship.setting().interval = RunTime::from_base(100 * 3600);
  ship.setting().cavity = cm3(90);
  ship.sail(18);  // every 300 h, when 75 of 90 cm3 are gone
  const ShaftAdvice a = ship.advice();
  CHECK(a.verdict == AdviceVerdict::keep_to_it);
  CHECK(*a.p_holds > 0.95);
  REQUIRE(a.p_practised);
  CHECK(*a.p_practised < 0.95);
  CHECK_THAT(all(a.says), Contains("the last greasings were 300 h (about 30 days) apart") &&
                              Contains("keep to the registered interval"));
}

TEST_CASE("advice: a shaft that is overdue is not told that it could wait longer", "[advise]") {
  Ship ship;
  ship.sail(18);
  // 1500 h later, with nothing greased in between.
  for (int d = 5; d <= 150; d += 5) {
    Logged<Hours> h = ship.log.hours.back();
    h.id = nth_id(static_cast<std::uint64_t>(5000 + d));
    h.at = h.recorded_at = day(600 + d).utc;
    h.what.reading = HoursReading::from_base((600 + static_cast<std::int64_t>(d)) * 10 * 3600);
    ship.log.hours.push_back(h);
  }
  ship.days = 750;
  const ShaftAdvice a = ship.advice();
  CHECK(a.verdict == AdviceVerdict::keep_to_it);
  CHECK(a.is_overdue);
  CHECK(*a.since_last_h == Approx(1500).epsilon(0.02));
  CHECK(*a.p_now < 0.5);
  // Days of the calendar, not the hours at some rate of use: nothing was greased since day 600.
  CHECK_THAT(all(a.says),
             Contains("it is overdue now: 1500 h and 150 days since the last greasing") && !Contains("would allow"));
}

TEST_CASE("advice: the nearer of hours and days is the registered interval; without one, the usual", "[advise]") {
  Ship ship;
  ship.setting().interval_days = 20;
  ship.sail(18);
  const ShaftAdvice by_days = ship.advice();
  CHECK(*by_days.present_h == Approx(200).epsilon(0.02));
  CHECK(by_days.registered_days == 20);
  CHECK_THAT(all(by_days.says), Contains("the registered interval of 20 days (about 200 h at its usual use)"));
  ship.setting().interval_days = 60;  // 600 h at 10 h a day: the 400 h come first
  CHECK_FALSE(ship.advice().registered_days);
  CHECK_THAT(all(ship.advice().says), Contains("the registered interval of 400 h"));
  ship.setting().interval_days.reset();
  ship.setting().interval.reset();
  const ShaftAdvice a = ship.advice();
  CHECK_FALSE(a.registered_h.has_value());
  CHECK(*a.present_h == Approx(300).epsilon(0.02));
  CHECK_THAT(all(a.says), Contains("the usual interval of 300 h") && !Contains("registered"));
}

TEST_CASE("advice: what is not known is said with its reason", "[advise]") {
  Ship few;
  few.sail(3);
  const ShaftAdvice a = few.advice();
  CHECK(a.verdict == AdviceVerdict::unknown);
  CHECK(a.reason == "too few records: 2 of at least 3 intervals between greasings tell something about the loss");
  CHECK_FALSE(a.longest_h.has_value());
  CHECK_FALSE(a.year_now.has_value());

  Ship none;
  none.sail(0);
  CHECK(none.advice().reason == "no two manual greasings: nothing tells what it loses");
  Ship no_cavity;
  no_cavity.setting().cavity.reset();
  no_cavity.sail(18);
  CHECK(no_cavity.advice().reason == "the capacity of the cavity is not registered");
  Ship no_hours;
  no_hours.sail(18);
  no_hours.log.hours.clear();
  CHECK(no_hours.advice().reason == "no two readings of its hour meter that can be used");
}

TEST_CASE("advice: where a finding stands its cause comes first, and nothing longer is advised", "[advise]") {
  Ship ship;
  ship.sail(18);
  VesselReview r = ship.review();
  Finding wear;
  wear.kind = FindingKind::seal_wear;
  wear.urgency = Urgency::plan;
  wear.shaft = ShaftId{1};
  r.findings.push_back(wear);
  const ShaftAdvice a = advise_shaft(ship.log, r, r.shaft_details.front(), day(ship.days).utc);
  REQUIRE(a.causes_first == std::vector<std::string>{"seal wear (plan)"});
  CHECK(a.verdict == AdviceVerdict::keep);
  CHECK(a.says.front().starts_with("the cause comes first: seal wear (plan)"));
  CHECK_THAT(all(a.says), !Contains("would allow"));
}

TEST_CASE("advice: a mixed grease of several shafts comes first at each of them, and at no other", "[advise]") {
  Ship ship;
  ship.sail(18);
  VesselReview r = ship.review();
  Finding mixed;
  mixed.kind = FindingKind::grease_mixed;
  mixed.urgency = Urgency::plan;
  mixed.shafts = {ShaftId{1}, ShaftId{2}};
  r.findings.push_back(mixed);
  const ShaftAdvice a = advise_shaft(ship.log, r, r.shaft_details.front(), day(ship.days).utc);
  REQUIRE(a.causes_first == std::vector<std::string>{"grease mixed (plan)"});
  CHECK(a.verdict == AdviceVerdict::keep);
  r.findings.back().shafts = {ShaftId{2}, ShaftId{3}};
  CHECK(advise_shaft(ship.log, r, r.shaft_details.front(), day(ship.days).utc).causes_first.empty());
}

TEST_CASE("order: what the intervals until then will take, with half and nine in ten", "[advise]") {
  Ship ship;
  ship.setting().interval = RunTime::from_base(300 * 3600);
  ship.sail(18);
  const std::vector<OrderLine> order = order_grease(ship.log, ship.review(), day(ship.days).utc, 300);
  REQUIRE(order.size() == 1);
  CHECK(*order[0].p50_cm3 == Approx(10 * 75).epsilon(0.15));
  CHECK(*order[0].p90_cm3 > *order[0].p50_cm3);
  CHECK(*order[0].automatic_p50_cm3 == 0);
  CHECK(order[0].left_out.empty());
  const std::vector<OrderLine> again = order_grease(ship.log, ship.review(), day(ship.days).utc, 300);
  CHECK(*again[0].p90_cm3 == *order[0].p90_cm3);
}

TEST_CASE("order: a shaft that cannot be foreseen is named, not counted as nothing", "[advise]") {
  Ship ship;
  ship.sail(0);
  const std::vector<OrderLine> order = order_grease(ship.log, ship.review(), day(ship.days).utc, 300);
  REQUIRE(order.size() == 1);
  CHECK_FALSE(order[0].p50_cm3.has_value());
  CHECK(order[0].left_out == std::vector<ShaftId>{ShaftId{1}});
}
