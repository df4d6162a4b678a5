// Is the standard deviation of running hours honest: between readings, and beyond the last one?
#include "simulation/records/ships.hpp"

#include <algorithm>
#include <cstdio>
#include <cstdlib>

#include <catch2/catch.hpp>

using namespace shaftlog;
using namespace shaftlog::simulation;

namespace {

std::uint64_t first_seed() { return std::getenv("SHAFTLOG_TUNE") != nullptr ? 100 : 80'000; }

struct Coverage {
  int n = 0, held = 0;
  double squares = 0;
  void add(double off, double sd) {
    ++n;
    held += std::abs(off) <= 1.645 * sd + 0.1;
    squares += off * off / (sd * sd + 0.01);
  }
  [[nodiscard]] double share() const { return static_cast<double>(held) / n; }
  void print(const char* what) const {
    std::printf("%-34s %5d runs, in the 90 %% interval %.3f, sd of the standardised error %.2f\n", what, n, share(),
                std::sqrt(squares / n));
  }
};

}  // namespace

TEST_CASE("simulation: true running hours lie where their standard deviation says", "[simulation][records]") {
  const Sea sea{3.0, 0, 0};
  Coverage between, across, week, month, quarter;
  for (int i = 0; i < 80; ++i) {
    const SimShip ship = sail(first_seed() + static_cast<std::uint64_t>(i), i, sea);
    Chance c{first_seed() + 500 + static_cast<std::uint64_t>(i)};
    for (const Shaft& shaft : ship.log.shafts) {
      std::vector<Logged<Hours>> readings;
      for (const auto& r : ship.log.hours)
        if (r.shaft == shaft.id) readings.push_back(r);
      if (readings.size() < 20) continue;
      const TrueHours& truth = ship.hours.at(shaft.id);
      const Instant first = readings.front().at, last = readings.back().at;
      const auto at = [&](double share) {
        return first + std::chrono::seconds{std::llround(share * days_between(first, last) * 86400)};
      };
      const HoursCurve all = build_hours(readings, std::nullopt, last).curve;
      for (int k = 0; k < 10; ++k) {
        const Instant a = at(c.uniform(0, 0.8)), b = a + std::chrono::seconds{std::llround(86400 * c.uniform(2, 60))};
        if (b > last) continue;
        Coverage& of = k % 2 == 0 ? across : between;
        const Instant to = k % 2 == 0 ? b : a + std::chrono::seconds{std::llround(86400 * c.uniform(0.3, 4))};
        of.add(truth.at(to) - truth.at(a) - all.run_h(a, to), all.run_sd_h(a, to));
      }
      for (int k = 0; k < 4; ++k) {
        const Instant now = at(c.uniform(0.15, 0.85));
        const HoursCurve then = build_hours(readings, std::nullopt, now).curve;
        if (then.points().size() < 5) continue;
        for (const int days : {7, 30, 90}) {
          const Instant to = then.last() + std::chrono::days{days};
          Coverage& of = days == 7 ? week : days == 30 ? month : quarter;
          of.add(truth.at(to) - truth.at(then.last()) - then.run_h(then.last(), to), then.run_sd_h(then.last(), to));
        }
      }
    }
  }
  between.print("a few days");
  across.print("2 to 60 days");
  week.print("7 days beyond the last reading");
  month.print("30 days beyond");
  quarter.print("90 days beyond");
  for (const Coverage* x : {&between, &across, &week, &month}) {
    CHECK(x->share() > 0.84);
    CHECK(x->share() < 0.97);
  }
}
