#include "analysis/advise.hpp"
#include "analysis/distributions.hpp"
#include "analysis/shrinkage.hpp"

#include <array>
#include <cmath>
#include <stdexcept>
#include <string>
#include <vector>

#include <catch2/catch.hpp>

using namespace shaftlog;

namespace {

OwnAlarms unit(int n, int episodes, double run_h) {
  return {VesselId{n}, LubricatorId{n}, "T-" + std::to_string(100 + n) + "/lub1", episodes, run_h};
}

std::vector<OwnAlarms> even_fleet(int others) {
  std::vector<OwnAlarms> fleet;
  for (int i = 0; i < others; ++i) fleet.push_back(unit(i + 1, 4 + i % 3, 5000));
  return fleet;
}

const PeerAlarms& of(const std::vector<PeerAlarms>& all, int n) {
  for (const PeerAlarms& p : all)
    if (p.lubricator == LubricatorId{n}) return p;
  throw std::out_of_range{"not compared"};
}

/// P(N >= n) by quadrature over the gamma law of the rate.
double tail_by_quadrature(int n, double exposure, double shape, double rate) {
  double sum = 0, weight = 0;
  for (int i = 0; i < 200000; ++i) {
    const double x = std::exp(-30 + 40 * (i + 0.5) / 200000);  // even in ln(rate)
    const double density = std::exp(shape * std::log(rate * x) - rate * x);
    double below = 0, term = std::exp(-exposure * x);
    for (int k = 0; k < n; ++k) {
      below += term;
      term *= exposure * x / (k + 1);
    }
    sum += density * (1 - below);
    weight += density;
  }
  return sum / weight;
}

}  // namespace

// Gaver and O'Muircheartaigh's ten pumps, failures and thousands of hours, as printed by Gelfand and Smith 1990; shrunk
// rates by R, optim of the negative binomial likelihood: tests/reference/expected/10_shrinkage.csv.
TEST_CASE("alarms among the fleet: the rates are the published example's", "[advise][reference]") {
  const std::array<int, 10> n{5, 1, 5, 14, 3, 19, 1, 1, 4, 22};
  const std::array<double, 10> khours{94.320, 15.720, 62.880, 125.760, 5.240, 31.440, 1.048, 1.048, 2.096, 10.480};
  const std::array<double, 10> shrunk{0.0609158018477621, 0.107325139234362, 0.0907758584500971, 0.116693360566882,
                                      0.58813593524841,   0.606204968541658, 0.789902312516457,  0.789902312516457,
                                      1.43735741604995,   1.94414832767129};
  std::vector<OwnAlarms> pumps;
  for (int i = 0; i < 10; ++i)
    pumps.push_back(unit(i + 1, n[static_cast<std::size_t>(i)], 1000 * khours[static_cast<std::size_t>(i)]));
  const std::vector<PeerAlarms> all = compare_alarms(pumps);
  REQUIRE(all.size() == 10);
  for (int i = 0; i < 10; ++i)
    CHECK(of(all, i + 1).shrunk_per_1000h.value == Approx(shrunk[static_cast<std::size_t>(i)]).epsilon(1e-6));
  CHECK(of(all, 10).own_per_1000h.value == Approx(22 / 10.48));
  CHECK(of(all, 10).factor == Approx(22 / 10.48 / 0.214266124240069));
  // Law as published: shape 0.822, rate 1.259 per thousand hours.
  for (const int i : {5, 6, 10})
    CHECK(of(all, i).p ==
          Approx(tail_by_quadrature(n[static_cast<std::size_t>(i - 1)], khours[static_cast<std::size_t>(i - 1)],
                                    0.822268649688646, 1.25895444337072))
              .epsilon(1e-4));
}

TEST_CASE("alarms among the fleet: one that alarms ten times as often stands out, its sisters do not", "[advise]") {
  std::vector<OwnAlarms> fleet = even_fleet(15);
  fleet.push_back(unit(16, 50, 5000));
  const std::vector<PeerAlarms> all = compare_alarms(fleet);
  REQUIRE(all.size() == 16);
  CHECK(all.front().lubricator == LubricatorId{16});
  CHECK(all.front().stands_out);
  for (std::size_t i = 1; i < all.size(); ++i) CHECK_FALSE(all[i].stands_out);
  CHECK(all.front().shrunk_per_1000h.value < all.front().own_per_1000h.value);
}

TEST_CASE("alarms among the fleet: where the rates vary no more than chance all share one, p is Poisson's",
          "[advise]") {
  const std::vector<PeerAlarms> all = compare_alarms(even_fleet(9));
  REQUIRE(all.size() == 9);
  for (const PeerAlarms& p : all) {
    CHECK(p.shrunk_per_1000h.value == Approx(1.0));
    CHECK_FALSE(p.stands_out);
  }
  // P(N >= 6) at mean 5: 0.38404 (any table of the Poisson law).
  CHECK(of(all, 3).p == Approx(0.38404).epsilon(1e-4));
}

TEST_CASE("alarms among the fleet: thousands of alarms are weighed as few are", "[advise]") {
  std::vector<OwnAlarms> fleet;
  for (int i = 0; i < 8; ++i) fleet.push_back(unit(i + 1, 3000, 100000));
  fleet.push_back(unit(9, 3000, 70000));
  const auto all = compare_alarms(fleet);
  CHECK(of(all, 1).p > 0.3);
  CHECK(of(all, 1).p <= 1);
  CHECK(of(all, 9).p < 0.05);
}

TEST_CASE("alarms among the fleet: few lubricators, no alarm or no hours are not compared", "[advise]") {
  CHECK(compare_alarms(even_fleet(3)).empty());
  std::vector<OwnAlarms> quiet;
  for (int i = 0; i < 8; ++i) quiet.push_back(unit(i + 1, 0, 4000));
  CHECK(compare_alarms(quiet).empty());
  std::vector<OwnAlarms> fleet = even_fleet(5);
  fleet.push_back(unit(6, 3, 0));
  const auto all = compare_alarms(fleet);
  CHECK(all.size() == 5);
  // None seen: not more than 0 for certain, and the fleet says how many to expect.
  fleet.push_back(unit(7, 0, 200));
  const auto with_new = compare_alarms(fleet);
  CHECK(of(with_new, 7).p == 1);
  CHECK(of(with_new, 7).own_per_1000h.low == 0);
  CHECK(of(with_new, 7).shrunk_per_1000h.value > 0.5);
}
