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
  void water(double at, double pct) {
    Logged<Inspection> i;
    i.id.bytes[0] = static_cast<std::uint8_t>(log.inspections.size() + 1);
    i.shaft = kShaft;
    i.at = day(at);
    i.what.water_ppm = std::llround(pct * 10000);
    log.inspections.push_back(i);
  }
  void purge(double at, std::optional<Purge> p) {
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
  CHECK(p.not_noted == 0);
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

TEST_CASE("inspections: greasings at which nobody noted the purge are told apart from those with no water",
          "[analysis][inspections]") {
  Ship s;
  for (int i = 0; i < 10; ++i)
    s.purge(1700 + 25 * i, i % 3 == 0 ? std::optional<Purge>{} : i < 3 ? Purge::clean : Purge::water);
  s.purge(1990, std::nullopt);
  s.log.greasings.back().what.ended = Ended::not_done;
  const PurgeTrend p = s.trends().purge;
  CHECK(p.looked == 6);
  CHECK(p.not_noted == 4);
  CHECK(p.water == 4);
  CHECK_THAT(p.says,
             Contains("of 10 greasings in the last year 6 noted what came out at the seal, water at 4 of these"));
}

TEST_CASE("inspections: the date of the limit follows the rise, not the level years before it",
          "[analysis][inspections]") {
  // Level for three years, then 0.3 % more every quarter: 1.5 % on day 1500, and the limit of 2 % after 150 days more.
  Ship s;
  for (int i = 0; i < 12; ++i) s.water(90 * i, 0.300 + (i % 2 == 0 ? 0.001 : -0.001));
  for (int i = 0; i < 5; ++i) s.water(1080 + 90 * i, 0.3 * (i + 1));
  const InspectionTrend t = s.trends().measures.at(0);
  REQUIRE(t.is_rising);
  CHECK(t.slope_from == 12);
  CHECK(*t.per_year == Approx(0.3 / 90 * 365.25));
  REQUIRE(t.limit_reached);
  CHECK(days_between(day(1440), *t.limit_reached) == Approx(150).margin(1));
  REQUIRE(t.limit_earliest);
  CHECK(*t.limit_earliest <= *t.limit_reached);
  CHECK_THAT(t.says,
             Contains("at the earliest") && Contains("at the rate since " + format_day(day(1080), Zone{"UTC"})));
}

TEST_CASE("inspections: a rise that grows is foretold by its last stretch, and its limits hold what came",
          "[analysis][inspections]") {
  Ship s;
  const std::vector<double> pct{0.18, 0.18, 0.18, 0.19, 0.26, 0.40, 0.58, 0.81, 1.15};
  for (std::size_t i = 0; i < pct.size(); ++i) s.water(91.3125 * static_cast<double>(i), pct[i]);
  const InspectionTrend t = s.trends().measures.at(0);
  REQUIRE(t.limit_reached);
  // The slopes between the last five in quarters, sorted by hand: 0.14 0.16 0.18 0.183 0.205 | 0.2225 0.23 0.25 0.285
  // 0.34.
  CHECK(t.slope_from == 4);
  CHECK(*t.per_year == Approx(4 * 0.21375).epsilon(1e-6));
  CHECK(t.per_year_limits.low == Approx(4 * 0.16).epsilon(1e-6));
  CHECK(t.per_year_limits.high == Approx(4 * 0.285).epsilon(1e-6));
  CHECK(days_between(t.points.back().at, *t.limit_reached) == Approx(365.25 * 0.85 / (4 * 0.21375)).margin(1));
}

TEST_CASE("inspections: an even rise from the first sample on keeps all of them", "[analysis][inspections]") {
  std::vector<double> x, y;
  for (int i = 0; i < 12; ++i) {
    x.push_back(90 * i);
    y.push_back(10 + 2 * i + 0.7 * std::sin(5.0 * i));
  }
  CHECK(rise_from(x, y) == 0);
  for (std::size_t i = 0; i < y.size(); ++i) y[i] = 10 + 2 * static_cast<double>(i);
  CHECK(rise_from(x, y) == 0);  // what rounding leaves is no stretch of its own
  CHECK(rise_from(std::span{x}.first(5), std::span{y}.first(5)) == 0);
}
