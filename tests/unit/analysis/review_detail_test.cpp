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

TEST_CASE("detail: only of the vessels that were asked for", "[analysis][review]") {
  std::vector<VesselLog> fleet{sample_log(), sample_log()};
  fleet[1].vessel.id = VesselId{2};
  fleet[1].vessel.code = "T-02";
  const auto none = review_fleet(fleet, day(305), 1).vessels;
  CHECK(none[0].shaft_details.empty());
  CHECK(none[0].digest == nullptr);
  const auto one = review_fleet(fleet, day(305), 1, [](const Vessel& v) { return v.code == "T-02"; }).vessels;
  CHECK(one[0].shaft_details.empty());
  CHECK(one[1].shaft_details.size() == 2);
  CHECK(one[1].digest != nullptr);
}

TEST_CASE("detail: holds what the state was computed from", "[analysis][review]") {
  const std::vector<VesselLog> fleet{sample_log()};
  const auto review = review_fleet(fleet, day(305), 1, [](const Vessel&) { return true; }).vessels;
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
  const auto review = review_fleet(fleet, day(305), 1, [](const Vessel&) { return true; }).vessels;
  const ShaftDetail& d = review.at(0).shaft_details.at(1);
  CHECK(d.shaft == ShaftId{2});
  CHECK(d.hours.is_empty());
  CHECK(d.history.intervals.empty());
  CHECK_FALSE(d.fill.fill_pct);
  CHECK_FALSE(d.alarm_rate);
}
