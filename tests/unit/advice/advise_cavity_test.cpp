// Own model: the figures are worked by hand from its formulas (docs/methods/advice.md); no published ones exist.
#include "analysis/advise_cavity.hpp"

#include "base/error.hpp"

#include <cmath>
#include <random>

#include <catch2/catch.hpp>
#include <rapidcheck/catch.h>

using namespace shaftlog;

namespace {

/// 400 cm3 that lose 0.25 cm3/h for certain, with a reserve of 20 %: 320 cm3 may go, in 1280 h.
CavityLoss certain() {
  CavityLoss c;
  c.capacity_cm3 = 400;
  c.reserve_pct = 20;
  c.washout_cm3_per_h = {0.25, 0.25, 0.25};
  c.scatter_sd = 0;
  c.fill_sd_cm3 = 0;
  return c;
}

CavityLoss usual() {
  CavityLoss c = certain();
  c.washout_cm3_per_h = {0.25, 0.21, 0.2976};
  c.scatter_sd = 0.15;
  c.fill_sd_cm3 = 20;
  return c;
}

}  // namespace

TEST_CASE("advice: a certain loss empties to the reserve after room over rate", "[advise]") {
  CHECK(*longest_interval_h(certain(), 0.95) == Approx(1280).epsilon(0.002));
  CHECK(p_above_reserve(certain(), 1279) == 1);
  CHECK(p_above_reserve(certain(), 1281) == 0);
}

TEST_CASE("advice: a log-normal loss shortens the interval by its 95 % point", "[advise]") {
  CavityLoss c = certain();
  c.scatter_sd = 0.2;
  CHECK(*longest_interval_h(c, 0.95) == Approx(1280 * std::exp(-1.6449 * 0.2)).epsilon(0.003));
  c.scatter_sd = 0;
  c.washout_cm3_per_h = {0.25, 0.2, 0.3125};  // the same on both sides in ln: 95 % point 0.3125
  CHECK(*longest_interval_h(c, 0.95) == Approx(320 / 0.3125).epsilon(0.003));
}

TEST_CASE("advice: doses that cover the loss leave no limit; part of it stretches the interval", "[advise]") {
  CavityLoss c = certain();
  c.dose_cm3_per_h = 0.3;
  CHECK_FALSE(longest_interval_h(c, 0.95).has_value());
  c.dose_cm3_per_h = 0.125;
  CHECK(*longest_interval_h(c, 0.95) == Approx(2560).epsilon(0.002));
  c.ratio = {0, 0, 0};  // nothing of it arrives
  CHECK(*longest_interval_h(c, 0.95) == Approx(1280).epsilon(0.002));
}

TEST_CASE("advice: the smallest dose is what is missing over the interval", "[advise]") {
  CHECK(*smallest_dose_cm3_per_h(certain(), 1000, 0.95) == 0);
  CHECK(*smallest_dose_cm3_per_h(certain(), 2560, 0.95) == Approx(0.125).epsilon(0.001));
  CavityLoss half = certain();
  half.ratio = {0.5, 0.5, 0.5};
  CHECK(*smallest_dose_cm3_per_h(half, 2560, 0.95) == Approx(0.25).epsilon(0.001));
  half.ratio = {0, 0, 0};
  CHECK_FALSE(smallest_dose_cm3_per_h(half, 2560, 0.95).has_value());
}

TEST_CASE("advice: the probability is that of drawing loss, scatter, start and delivery", "[advise]") {
  CavityLoss c = usual();
  c.dose_cm3_per_h = 0.1;
  c.ratio = {0.9, 0.8, 1.0};
  std::mt19937_64 bits{20261125};
  std::normal_distribution<double> z;
  const double log_sd = (std::log(0.2976) - std::log(0.21)) / 3.2897, run_h = 1500;
  int above = 0;
  constexpr int kDraws = 200'000;
  for (int i = 0; i < kDraws; ++i) {
    const double w = 0.25 * std::exp(log_sd * z(bits) + 0.15 * z(bits));
    const double r = std::max(0.0, 0.9 + 0.1 / 1.6449 * z(bits));
    const double missing = std::max(0.0, 20 * z(bits)) + (w - 0.1 * r) * run_h;
    above += missing <= 320 ? 1 : 0;
  }
  // One standard error of the drawing is 0.001; the rest is the coarseness of the nodes.
  CHECK(p_above_reserve(c, run_h) == Approx(above / double{kDraws}).margin(0.005));
}

TEST_CASE("advice: laws of interval and dose", "[advise][property]") {
  const auto drawn = [] {
    CavityLoss c;
    c.capacity_cm3 = *rc::gen::inRange(100, 2000);
    c.reserve_pct = *rc::gen::inRange(5, 60);
    const double w = *rc::gen::inRange(5, 200) / 100.0, half = 1 + *rc::gen::inRange(1, 60) / 100.0;
    c.washout_cm3_per_h = {w, w / half, w * half};
    c.scatter_sd = *rc::gen::inRange(1, 40) / 100.0;
    c.fill_sd_cm3 = *rc::gen::inRange(0, 30);
    c.dose_cm3_per_h = *rc::gen::inRange(0, 150) / 100.0 * w;
    c.ratio = {0.95, 0.9, 1.0};
    return c;
  };
  rc::prop("the longest interval holds with the probability asked for, and a longer one with less", [&] {
    const CavityLoss c = drawn();
    const auto h = longest_interval_h(c, 0.95);
    if (!h || *h <= 0) return;
    RC_ASSERT(p_above_reserve(c, *h) >= 0.95);
    RC_ASSERT(p_above_reserve(c, *h * 1.01 + 0.1) < 0.95);
  });
  rc::prop("a longer interval never holds better, a higher dose or a larger cavity never worse", [&] {
    CavityLoss c = drawn();
    const double h = *rc::gen::inRange(10, 5000), p = p_above_reserve(c, h);
    RC_ASSERT(p_above_reserve(c, 1.3 * h) <= p + 1e-12);
    c.dose_cm3_per_h *= 1.2;
    RC_ASSERT(p_above_reserve(c, h) >= p - 1e-12);
    c.capacity_cm3 *= 1.2;
    RC_ASSERT(p_above_reserve(c, h) >= p - 1e-12);
  });
  rc::prop("at the smallest dose the interval is about the longest", [&] {
    CavityLoss c = drawn();
    const double h = *rc::gen::inRange(100, 5000);
    const auto dose = smallest_dose_cm3_per_h(c, h, 0.95);
    if (!dose || *dose == 0) return;
    c.dose_cm3_per_h = *dose;
    RC_ASSERT(p_above_reserve(c, h) >= 0.95);
    c.dose_cm3_per_h = 0.99 * *dose;
    RC_ASSERT(p_above_reserve(c, h) < 0.95);
  });
}

TEST_CASE("advice: a year's grease adds up", "[advise]") {
  // By hand every 1000 h, 8000 h a year: 8 times 250 cm3, all of it lost to sea, never below the reserve.
  const YearOfGrease manual = year_of_grease(certain(), 1000, 8000);
  CHECK(manual.greasings == Approx(8));
  CHECK(manual.by_hand_cm3.value == Approx(2000));
  CHECK(manual.to_sea_cm3.value == Approx(2000));
  CHECK(manual.automatic_cm3.value == 0);
  CHECK(manual.below_reserve_h.value == 0);
  // Every 1600 h the last 320 h of each interval are below the reserve, and the cavity is just empty.
  const YearOfGrease late = year_of_grease(certain(), 1600, 8000);
  CHECK(late.below_reserve_h.value == Approx(1600));
  CHECK(late.by_hand_cm3.value == Approx(2000));
  // Beyond that nothing more is lost: there is nothing left.
  CHECK(year_of_grease(certain(), 4000, 8000).to_sea_cm3.value == Approx(800));
  // A dose of twice the loss: half of it is surplus, a greasing takes nothing.
  CavityLoss dosed = certain();
  dosed.dose_cm3_per_h = 0.5;
  const YearOfGrease over = year_of_grease(dosed, 1000, 8000);
  CHECK(over.automatic_cm3.value == Approx(4000));
  CHECK(over.surplus_cm3.value == Approx(2000));
  CHECK(over.to_sea_cm3.value == Approx(4000));
  CHECK(over.by_hand_cm3.value == 0);
  // No greasing by hand in the year: 0.25 x 8000 would be lost, but only 400 are there.
  const YearOfGrease alone = year_of_grease(certain(), std::nullopt, 8000);
  CHECK(alone.by_hand_cm3.value == 0);
  CHECK(alone.to_sea_cm3.value == Approx(400));
  CHECK(alone.below_reserve_h.value == Approx(8000 - 1280));
}

TEST_CASE("advice: uncertain figures keep their order and hold the certain one", "[advise]") {
  const YearOfGrease y = year_of_grease(usual(), 1100, 5000);
  for (const Estimate& e : {y.by_hand_cm3, y.to_sea_cm3, y.below_reserve_h}) {
    CHECK(e.low <= e.value);
    CHECK(e.value <= e.high);
  }
  CHECK(y.to_sea_cm3.low < 1250);
  CHECK(y.to_sea_cm3.high > 1250);
}

TEST_CASE("advice: a value that cannot be is named", "[advise]") {
  const auto faults = [](auto change) {
    CavityLoss c = certain();
    change(c);
    CHECK_THROWS_AS(p_above_reserve(c, 100), Error);
  };
  faults([](CavityLoss& c) { c.capacity_cm3 = 0; });
  faults([](CavityLoss& c) { c.reserve_pct = 101; });
  faults([](CavityLoss& c) { c.washout_cm3_per_h = {0, 0, 0}; });
  faults([](CavityLoss& c) { c.scatter_sd = std::nan(""); });
  faults([](CavityLoss& c) { c.dose_cm3_per_h = -1; });
  CHECK_THROWS_AS(p_above_reserve(certain(), -1), Error);
  CHECK_THROWS_AS(longest_interval_h(certain(), 1), Error);
  CHECK_THROWS_WITH(year_of_grease(certain(), 0.0, 8000), "interval: 0 found, a number above 0 expected");
}
