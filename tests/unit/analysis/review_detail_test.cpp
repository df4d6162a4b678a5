#include "analysis/prior_learner.hpp"
#include "analysis/review.hpp"

#include <catch2/catch.hpp>

using namespace shaftlog;

namespace {

Instant day(int n) { return from_unix(1767225600 + std::int64_t{n} * 86400); }
Uuid nth_id(std::uint8_t n) {
  Uuid id;
  id.bytes[15] = n;
  return id;
}

// One ship, a shaft greased by hand every 30 days of 10 h, 75 cm3 a time, and a shaft on which nothing was ever
// written.
VesselLog sample_log() {
  VesselLog log;
  log.vessel = {VesselId{1}, "T-01", "Testholm", std::nullopt, "UTC", std::nullopt};
  ShaftSetting setting;
  setting.cavity = cm3(400);
  setting.interval = RunTime::from_base(400 * 3600);
  log.shafts = {{ShaftId{1}, VesselId{1}, "fin_port", {setting}}, {ShaftId{2}, VesselId{1}, "fin_stbd", {setting}}};
  std::uint8_t id = 1;
  for (int d = 0; d <= 300; d += 10) {
    Logged<Hours> h;
    h.id = nth_id(id++);
    h.at = day(d);
    h.recorded_at = h.at;
    h.shaft = ShaftId{1};
    h.what.reading = HoursReading::from_base(d * 10 * 3600);
    log.hours.push_back(h);
  }
  for (int d = 0; d <= 300; d += 30) {
    Logged<Greasing> g;
    g.id = nth_id(id++);
    g.at = day(d);
    g.recorded_at = g.at;
    g.shaft = ShaftId{1};
    g.what.amount = Amount{"75", Unit::cm3, cm3(75), std::nullopt};
    log.greasings.push_back(g);
  }
  Logged<Alarm> a;
  a.id = nth_id(id++);
  a.at = day(120);
  a.recorded_at = a.at;
  a.shaft = ShaftId{1};
  a.what = {AlarmKind::other, Stamp{day(121)}};
  log.alarms.push_back(a);
  return log;
}

}  // namespace

TEST_CASE("starved: told before it is, where the interval is longer than the cavity lasts", "[analysis][review]") {
  // 75 cm3 in 300 h: from 400 cm3 to the reserve of 80 in about 1280 h.
  const auto told = [](std::int64_t interval_h, int until) {
    VesselLog log = sample_log();
    log.shafts[0].settings[0].interval = RunTime::from_base(interval_h * 3600);
    for (int d = 310; d <= until; d += 10) {
      Logged<Hours> h = log.hours.back();
      h.id = nth_id(static_cast<std::uint8_t>(100 + d / 10));
      h.at = h.recorded_at = day(d);
      h.what.reading = HoursReading::from_base(d * 10 * 3600);
      log.hours.push_back(h);
    }
    std::vector<Finding> of_it;
    const FleetResult fleet = review_fleet(std::vector<VesselLog>{log}, day(until), 1);
    for (const Finding& f : fleet.vessels[0].findings)
      if (f.shaft == ShaftId{1} && f.kind != FindingKind::record_suspect) of_it.push_back(f);
    return of_it;
  };
  CHECK(told(400, 310).empty());
  CHECK(told(1000, 310).empty());

  const auto foretold = told(2500, 310);
  REQUIRE(foretold.size() == 1);
  CHECK(foretold[0].kind == FindingKind::starved);
  CHECK(foretold[0].urgency == Urgency::plan);
  CHECK(foretold[0].summary.find("will probably be below its reserve of 20.0 % before the next greasing, due ") !=
        std::string::npos);
  CHECK(foretold[0].first_seen == day(300));  // the greasing that told the loss
  CHECK(!foretold[0].began);

  const auto below = told(2500, 450);  // 1500 h
  REQUIRE(below.size() == 1);
  CHECK(below[0].id == foretold[0].id);  // one matter
  CHECK(below[0].urgency == Urgency::act);
  CHECK(below[0].summary.find("below its reserve") != std::string::npos);
  CHECK(below[0].summary.find("before the greasing of") == std::string::npos);
}

TEST_CASE("detail: only of the vessels that were asked for", "[analysis][review]") {
  std::vector<VesselLog> fleet{sample_log(), sample_log()};
  fleet[1].vessel.id = VesselId{2};
  fleet[1].vessel.code = "T-02";
  const auto none = review_fleet(fleet, day(305), 1).vessels;
  CHECK(none[0].shaft_details.empty());
  CHECK(none[0].digest == nullptr);
  FleetSource source{2, [&](std::size_t i) { return fleet[i]; }, [](std::size_t i) { return i == 1; }, true};
  const auto take = [](std::size_t i, const VesselLog& log, const VesselReview& v) {
    CHECK(i == 1);
    CHECK(log.vessel.code == "T-02");
    CHECK(v.shaft_details.size() == 2);
    CHECK(v.digest != nullptr);
  };
  const FleetPrior prior = review_fleet(source, day(305), 1, take);
  CHECK(prior.fleet.shafts == 2);  // the other one was learnt from
}

TEST_CASE("review: a log is held, or read a second time where the fleet is large: the same comes out",
          "[analysis][review]") {
  std::vector<VesselLog> fleet(5, sample_log());
  for (std::size_t i = 0; i < fleet.size(); ++i) {
    fleet[i].vessel.id = VesselId{static_cast<std::int64_t>(i) + 1};
    fleet[i].vessel.code = "T-0" + std::to_string(i);
    for (Logged<Greasing>& g : fleet[i].greasings) g.what.amount->volume = cm3(60 + 10 * static_cast<std::int64_t>(i));
  }
  const std::size_t one = count_records(fleet[0]);
  for (const std::size_t most : {std::size_t{0}, one + 1, 100 * one}) {
    INFO("at most " << most << " records held");
    std::vector<int> asked(fleet.size(), 0);
    FleetSource source{fleet.size(),
                       [&](std::size_t i) {
                         ++asked[i];
                         return fleet[i];
                       },
                       {},
                       true,
                       most};
    std::vector<VesselReview> found(fleet.size());
    const FleetPrior prior =
        review_fleet(source, day(305), 2, [&](std::size_t i, VesselLog, VesselReview v) { found[i] = std::move(v); });
    CHECK(std::count(asked.begin(), asked.end(), 2) == (most == 0 ? 5 : most > 10 * one ? 0 : 3));
    const FleetResult at_hand = review_fleet(fleet, day(305), 1, true);
    CHECK(is_same(prior.fleet, at_hand.prior.fleet));
    for (std::size_t i = 0; i < fleet.size(); ++i) {
      REQUIRE(found[i].shafts.size() == at_hand.vessels[i].shafts.size());
      CHECK(found[i].shafts[0].washout_cm3_per_h->value == at_hand.vessels[i].shafts[0].washout_cm3_per_h->value);
      CHECK(found[i].findings.size() == at_hand.vessels[i].findings.size());
    }
  }
}

TEST_CASE("detail: holds what the state was computed from", "[analysis][review]") {
  const std::vector<VesselLog> fleet{sample_log()};
  const auto review = review_fleet(fleet, day(305), 1, true).vessels;
  const VesselReview& v = review.at(0);
  REQUIRE(v.shaft_details.size() == v.shafts.size());
  const ShaftDetail& d = v.shaft_details[0];
  CHECK(d.shaft == v.shafts[0].shaft);
  CHECK(d.hours.hours_at(day(300)) == Approx(3000));
  CHECK(d.history.intervals.size() == 10);
  CHECK(d.washout.steps.size() == 10);
  REQUIRE(v.shafts[0].washout_cm3_per_h);
  REQUIRE(d.washout.washout_cm3_per_h);
  CHECK(d.washout.washout_cm3_per_h->value == v.shafts[0].washout_cm3_per_h->value);
  REQUIRE(v.shafts[0].cavity_fill_pct);
  REQUIRE_FALSE(d.fill.points.empty());
  CHECK(d.fill.points.back().at == day(305));
  CHECK(d.reserve_pct == 20);  // none is registered
  REQUIRE(v.digest);
  CHECK(delivered_cm3(*v.digest, d.shaft, day(0), day(300)) == 0);  // no lubricator
  CHECK(d.alarms.size() == 1);
  REQUIRE(d.alarm_rate);
  CHECK(d.alarm_rate->episodes == 1);
}

TEST_CASE("detail: a shaft with no records has an entry that knows nothing", "[analysis][review]") {
  const std::vector<VesselLog> fleet{sample_log()};
  const auto review = review_fleet(fleet, day(305), 1, true).vessels;
  const ShaftDetail& d = review.at(0).shaft_details.at(1);
  CHECK(d.shaft == ShaftId{2});
  CHECK(d.hours.is_empty());
  CHECK(d.history.intervals.empty());
  CHECK_FALSE(d.fill.fill_pct);
  CHECK_FALSE(d.alarm_rate);
}
