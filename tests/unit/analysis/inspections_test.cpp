#include "analysis/inspections.hpp"

#include <cmath>

#include <catch2/catch.hpp>

using namespace shaftlog;
using Catch::Matchers::Contains;

namespace {

constexpr ShaftId kShaft{1};
Instant day(double d) { return from_unix(1700000000) + std::chrono::seconds{static_cast<std::int64_t>(d * 86400)}; }

struct Ship {
  VesselLog log;
  Ship() {
    log.vessel.time_zone = "UTC";
    log.shafts.push_back({kShaft, {}, "port", {ShaftSetting{}}});
  }
  void iron(double at, double ppm) {
    Logged<Inspection> i;
    i.id.bytes[0] = static_cast<std::uint8_t>(log.inspections.size() + 1);
    i.shaft = kShaft;
    i.at = day(at);
    i.what.iron_ppm_milli = std::llround(ppm * 1000);
    log.inspections.push_back(i);
  }
  void purge(double at, Purge p) {
    Logged<Greasing> g;
    g.id.bytes[0] = static_cast<std::uint8_t>(log.greasings.size() + 1);
    g.shaft = kShaft;
    g.at = day(at);
    g.what.purge = p;
    log.greasings.push_back(g);
  }
  void work(double at, WorkKind kind) {
    Logged<Work> w;
    w.shaft = kShaft;
    w.at = day(at);
    w.what.work = kind;
    log.work.push_back(w);
  }
  [[nodiscard]] InspectionTrends trends(double as_of = 2000) const {
    return inspection_trends(log, kShaft, day(as_of));
  }
};

}  // namespace

TEST_CASE("inspections: five in rising order are a lasting rise, with the exact chance", "[analysis][inspections]") {
  Ship s;
  for (int i = 0; i < 5; ++i) s.iron(90 * i, 20 * std::pow(1.5, i));
  const auto t = s.trends();
  REQUIRE(t.measures.size() == 1);
  const InspectionTrend& iron = t.measures.front();
  CHECK(iron.measure == "iron");
  CHECK(iron.p_is_exact);
  CHECK(*iron.p_rising == Approx(1.0 / 120));  // one order of the 5! there are
  CHECK(iron.is_rising);
  CHECK(*iron.per_year > 0);
  CHECK_THAT(iron.says, Contains("up from"));
  CHECK_THAT(iron.says, Contains("in 0.83 of 100"));
}

TEST_CASE("inspections: too few samples say so and are no finding", "[analysis][inspections]") {
  Ship s;
  s.iron(0, 10);
  CHECK_THAT(s.trends().measures.at(0).says, Contains("the only sample"));
  CHECK_FALSE(s.trends().measures.at(0).p_rising);
  s.iron(100, 20);
  s.iron(200, 40);
  const auto t = s.trends().measures.at(0);
  CHECK_FALSE(t.is_rising);
  CHECK(*t.p_rising == Approx(1.0 / 6));
  CHECK_THAT(t.says, Contains("by chance once in 6"));
  CHECK_FALSE(t.limit);
}

TEST_CASE("inspections: a limit of the register goes before any other and is named", "[analysis][inspections]") {
  Ship s;
  s.iron(0, 90);
  CHECK_FALSE(s.trends().measures.at(0).is_over_limit);
  s.log.shafts.front().settings.front().iron_limit_ppm_milli = 80'000;
  const auto t = s.trends().measures.at(0);
  CHECK(t.is_over_limit);
  CHECK(t.limit->kind == LimitKind::registered);
  CHECK_THAT(t.says, Contains("above 80.0 ppm (the limit registered for this shaft)"));
}

TEST_CASE("inspections: with no limit registered the shaft's own values give one, and it says what it is",
          "[analysis][inspections]") {
  Ship s;
  for (const double v : {20.0, 22.0, 19.0, 21.0, 20.0, 23.0, 21.0})
    s.iron(static_cast<double>(s.log.inspections.size()) * 60, v);
  CHECK_FALSE(s.trends().measures.at(0).is_over_limit);
  s.iron(500, 60);
  const auto t = s.trends().measures.at(0);
  REQUIRE(t.limit);
  CHECK(t.limit->kind == LimitKind::statistical);
  CHECK(t.is_over_limit);
  CHECK(t.limit->value > 23);
  CHECK(t.limit->value < 60);
  CHECK_THAT(t.says, Contains("statistical, not a limit of wear"));
}

TEST_CASE("inspections: the limit for one more value is that of the t law on logarithms", "[analysis][inspections]") {
  // By hand: ln of 1, e, e^2, e^3 has mean 1.5 and sd sqrt(5/3); t(0.999; 3) = 10.21453 (table of Student's t).
  const double e = std::exp(1.0);
  const std::vector<double> x{1, e, e * e, e * e * e};
  CHECK(*next_value_limit(x) == Approx(std::exp(1.5 + 10.21453 * std::sqrt(5.0 / 3) * std::sqrt(1.25))).epsilon(1e-5));
  const std::vector<double> with_zero{0, 1, 2, 3};
  CHECK(*next_value_limit(with_zero) == Approx(1.5 + 10.21453 * std::sqrt(5.0 / 3) * std::sqrt(1.25)).epsilon(1e-5));
  CHECK_FALSE(next_value_limit(std::vector<double>{1, 2, 3}));
  CHECK_FALSE(next_value_limit(std::vector<double>{2, 2, 2, 2}));
}

TEST_CASE("inspections: a new seal starts anew", "[analysis][inspections]") {
  Ship s;
  for (int i = 0; i < 5; ++i) s.iron(90 * i, 20 * std::pow(1.5, i));
  s.work(400, WorkKind::seal_replaced);
  CHECK(s.trends().measures.empty());
  CHECK(s.trends().since == day(400));
  CHECK(s.trends(399).measures.size() == 1);  // as it was the day before
}

TEST_CASE("inspections: water at the seal is counted and compared with the time before", "[analysis][inspections]") {
  Ship s;
  for (int i = 0; i < 8; ++i) s.purge(100 * i, Purge::clean);
  for (int i = 0; i < 4; ++i) s.purge(1700 + 50 * i, i == 0 ? Purge::dark : Purge::water);
  const PurgeTrend p = s.trends().purge;
  CHECK(p.looked == 4);
  CHECK(p.water == 3);
  CHECK(p.dark == 1);
  CHECK(p.looked_before == 8);
  CHECK(p.water_before == 0);
  CHECK(p.second_water == day(1800));
  CHECK(p.water_records.size() == 3);
  // 4 x C(8, 0) / C(12, 3): the three with water all among the last four.
  CHECK(*p.p_more_water == Approx(4.0 / 220));
  CHECK_THAT(p.says, Contains("water came out at the seal at 3 of 4 greasings in the last year, dark grease at 1"));
}

TEST_CASE("inspections: the hypergeometric tail is that of counted hands", "[analysis][inspections]") {
  CHECK(hypergeometric_at_least(0, 3, 2, 5) == Approx(1));
  CHECK(hypergeometric_at_least(1, 3, 2, 5) == Approx(0.9));  // 1 - C(3,3)/C(5,3)
  CHECK(hypergeometric_at_least(2, 3, 2, 5) == Approx(0.3));  // C(3,1)/C(5,3)
  CHECK(hypergeometric_at_least(3, 3, 2, 5) == Approx(0).margin(1e-15));
}
