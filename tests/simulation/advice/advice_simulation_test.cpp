// Shafts with known truth: of the intervals that are advised, how many end with the cavity above its reserve?
// SHAFTLOG_SIM_SEED chooses other seeds for tuning; the default one is for judging only.
#include "analysis/advise_cavity.hpp"
#include "analysis/washout.hpp"

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <numbers>
#include <random>

#include <catch2/catch.hpp>

using namespace shaftlog;

namespace {

std::uint64_t seed() {
  const char* given = std::getenv("SHAFTLOG_SIM_SEED");
  return given != nullptr ? std::strtoull(given, nullptr, 10) : 90210774;
}
#ifdef NDEBUG
constexpr int kShafts = 300;
#else
constexpr int kShafts = 60;
#endif

class Dice {
 public:
  explicit Dice(std::uint64_t s) : bits_{s} {}
  double uniform() { return (static_cast<double>(bits_() >> 11) + 0.5) / 9007199254740992.0; }
  double between(double a, double b) { return a + (b - a) * uniform(); }
  double normal() { return std::sqrt(-2 * std::log(uniform())) * std::cos(2 * std::numbers::pi * uniform()); }

 private:
  std::mt19937_64 bits_;
};

struct Truth {
  double base = 0.25, duty = 0.1, fill = 15, season = 0.1, season_at = 0, dose = 0;
};

/// What an interval that begins on `day` loses in `run_h` hours, 9 a day [cm3].
double loss_of(const Truth& t, Dice& dice, double day, double run_h) {
  double loss = 0;
  for (int k = 0; k < 20; ++k) {
    const double at = day + run_h / 9 * (k + 0.5) / 20;
    loss += t.base * std::exp(t.season * std::sin(2 * std::numbers::pi * (at / 365.25 + t.season_at))) * run_h / 20;
  }
  return loss * std::exp(t.duty * dice.normal());
}

struct Ship {
  Truth truth;
  ShaftHistory history;
  double day = 0;  // of the last greasing
};

Ship sail(Dice& dice, int n, bool is_automatic) {
  Ship ship;
  Truth& t = ship.truth;
  t.base = 0.25 * std::exp(0.3 * dice.normal());
  t.duty = dice.between(0.10, 0.20);
  t.fill = dice.between(8, 20);
  t.season = dice.between(0, 0.20);
  t.season_at = dice.uniform();
  if (is_automatic) t.dose = dice.between(0.3, 0.8) * t.base;
  ShaftHistory& s = ship.history;
  s.vessel = VesselId{1};
  s.shaft = ShaftId{n + 1};
  s.key = "T-" + std::to_string(10000 + n) + "/fin";
  s.group = is_automatic ? "alder/automatic" : "alder/manual";
  s.is_automatic = is_automatic;
  s.cavity_cm3 = 400;
  s.first_is_full = true;
  const int greasings = 6 + static_cast<int>(dice.uniform() * 20);
  const double usual_h = dice.between(200, 500);
  double missing = std::max(0.0, t.fill * dice.normal());
  for (int i = 0; i < greasings; ++i) {
    GreasingInterval g;
    g.id.bytes[14] = static_cast<std::uint8_t>(i / 256);
    g.id.bytes[15] = static_cast<std::uint8_t>(i % 256);
    g.run_h = std::round(usual_h * std::exp(0.2 * dice.normal()));
    g.run_sd_h = 1;
    g.from = from_unix(1600000000 + static_cast<std::int64_t>(ship.day * 86400));
    g.delivered_cm3 = t.dose * g.run_h;
    g.delivered_sd_cm3 = 0.04 * g.delivered_cm3;
    const double loss = loss_of(t, dice, ship.day, g.run_h);
    const double x = std::clamp(missing + loss - g.delivered_cm3, 0.0, *s.cavity_cm3);
    missing = std::max(0.0, t.fill * dice.normal());
    g.taken_cm3 = std::max(0.0, std::round((x - missing) * (1 + 0.05 * dice.normal())));
    ship.day += g.run_h / 9;
    g.at = from_unix(1600000000 + static_cast<std::int64_t>(ship.day * 86400));
    s.intervals.push_back(g);
  }
  return ship;
}

struct Share {
  int intervals = 0, above = 0;
  [[nodiscard]] double value() const { return static_cast<double>(above) / intervals; }
};

/// Sails the advised interval `kTimes` after each history and counts how many end above the reserve.
Share coverage(bool is_automatic, bool by_dose) {
  constexpr int kTimes = 20;
  Dice dice{seed() + (is_automatic ? 1 : 0)};
  std::vector<Ship> ships;
  std::vector<ShaftHistory> histories;
  for (int n = 0; n < kShafts; ++n) {
    ships.push_back(sail(dice, n, is_automatic));
    histories.push_back(ships.back().history);
  }
  const FleetPrior fleet = fit_fleet_prior(histories);
  Share share;
  for (const Ship& ship : ships) {
    const WashoutPrior& prior = fleet.of(ship.history.group);
    const WashoutResult fit = fit_washout(ship.history, prior);
    if (!fit.washout_cm3_per_h) continue;
    CavityLoss c;
    c.capacity_cm3 = *ship.history.cavity_cm3;
    c.washout_cm3_per_h = *fit.washout_cm3_per_h;
    c.scatter_sd = std::hypot(prior.duty_sd, prior.season_sd);
    c.fill_sd_cm3 = prior.fill_sd_cm3;
    c.dose_cm3_per_h = ship.truth.dose;
    double run_h = 2000;
    if (by_dose) {
      const auto dose = smallest_dose_cm3_per_h(c, run_h, 0.95);
      if (!dose || *dose <= 0) continue;
      c.dose_cm3_per_h = *dose;
    } else {
      const auto h = longest_interval_h(c, 0.95);
      if (!h || *h <= 0) continue;
      run_h = *h;
    }
    for (int k = 0; k < kTimes; ++k) {
      const double start = std::max(0.0, ship.truth.fill * dice.normal());
      const double missing = start + loss_of(ship.truth, dice, ship.day, run_h) - c.dose_cm3_per_h * run_h;
      ++share.intervals;
      share.above += missing <= 0.8 * c.capacity_cm3 ? 1 : 0;
    }
  }
  return share;
}

}  // namespace

TEST_CASE("advice: of the advised intervals about 95 % end above the reserve", "[simulation][advise]") {
  const Share manual = coverage(false, false), automatic = coverage(true, false);
  std::printf("advised intervals that end above the reserve: by hand %.3f of %d, with doses %.3f of %d\n",
              manual.value(), manual.intervals, automatic.value(), automatic.intervals);
  REQUIRE(manual.intervals > 15 * kShafts);
  CHECK(manual.value() >= 0.93);
  CHECK(manual.value() <= 0.985);
  CHECK(automatic.value() >= 0.93);
  CHECK(automatic.value() <= 0.99);
}

TEST_CASE("advice: of the intervals at the advised dose about 95 % end above the reserve", "[simulation][advise]") {
  const Share share = coverage(true, true);
  std::printf("intervals of 2000 h at the advised dose: %.3f of %d end above the reserve\n", share.value(),
              share.intervals);
  REQUIRE(share.intervals > 5 * kShafts);
  CHECK(share.value() >= 0.93);
  CHECK(share.value() <= 0.99);
}
