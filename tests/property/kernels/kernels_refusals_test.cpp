#include "analysis/censored.hpp"
#include "analysis/change_point.hpp"
#include "analysis/control_charts.hpp"
#include "analysis/distributions.hpp"
#include "analysis/event_rates.hpp"
#include "analysis/least_squares.hpp"
#include "analysis/local_level.hpp"
#include "analysis/multiple_testing.hpp"
#include "analysis/prediction.hpp"
#include "analysis/shrinkage.hpp"
#include "analysis/trend.hpp"
#include "base/error.hpp"

#include <limits>
#include <string>
#include <vector>

#include <catch2/catch.hpp>

using namespace shaftlog;

namespace {

constexpr double kNan = std::numeric_limits<double>::quiet_NaN();
using V = std::vector<double>;

template <class F>
std::string refusal(F f) {
  try {
    f();
  } catch (const Error& e) {
    CHECK(e.code() == Errc::bad_data);
    return e.what();
  }
  return "nothing was refused";
}

}  // namespace

TEST_CASE("kernels: what cannot be computed is refused with the value found", "[analysis]") {
  CHECK(refusal([] { (void)normal_quantile(1.5); }) == "probability: 1.5 is not between 0 and 1");
  CHECK(refusal([] { (void)t_quantile(0.5, 0); }) == "degrees of freedom: 0 is not a number above 0");
  CHECK(refusal([] { (void)event_rate(3, 0); }) == "exposure: 0 is not a number above 0");
  CHECK(refusal([] { (void)event_rate(-1, 5); }) == "events: -1 is not a count of 0 or more");
  CHECK(refusal([] { (void)cvm_critical(5, 0.07); }) == "alpha: 0.07 is not one of 0.20, 0.15, 0.10, 0.05, 0.01");
  const WatchedSystem late{10, {4, 12}};
  CHECK(refusal([&] { (void)fit_power_law({&late, 1}); }) == "system 1: event at 12 is not after 0 and up to 10");
  CHECK(refusal([] { (void)theil_sen(V{1, 2, 3}, V{1, 2}); }) == "y: 2 values found, 3 expected");
  CHECK(refusal([] { (void)theil_sen(V{1, 1, 1}, V{1, 2, 3}); }) == "x: all 3 values are 1, so there is no slope");
  CHECK(refusal([] { (void)mann_kendall(V{1, 2}, V{1, kNan}); }) == "y, row 2: nan is not finite");
  CHECK(refusal([] {
          (void)fit_line(V{2, 2, 2}, V{1, 2, 3});
        }) == "column 1 is a combination of those before it; its effect cannot be told apart");
  CHECK(refusal([] {
          (void)fit_line(V{1, 2, 3}, V{1, 2, 3}, V{1, -1, 1});
        }) == "weight, row 2: -1 is not a number above 0");
  CHECK(refusal([] { (void)describe(V{}); }) == "values: 0 found, at least 1 expected");
  CHECK(refusal([] { (void)smooth_exponential(V{1, 2}, 0); }) == "alpha: 0 is not above 0 and up to 1");
  CHECK(refusal([] { (void)adjust_p(V{0.1, 2}); }) == "p 2: 2 is not between 0 and 1");
  CHECK(refusal([] { (void)cusum_run_length(0.5, 4, 0, 5); }) == "head start: 5 is not between 0 and h");
  CHECK(refusal([] { (void)filter_local_level(V{kNan}, 1, 1); }) == "values: none found, at least 1 expected");
  CHECK(refusal([] { (void)find_level_shift(V{2, 2, 2, 2}); }) == "values: all are equal, so nothing can have changed");
  CHECK(refusal([] { (void)shrink_rates(V{0, 0}, V{1, 2}); }) == "events: 0 found over all units, at least 1 expected");
  CHECK(refusal([] { (void)random_effects(V{1, 2}, V{1, 0}); }) == "variance of unit 2: 0 is not a number above 0");
  const std::vector<CensoredValue> backwards{{3, 2}};
  CHECK(refusal([&] { (void)fit_censored(backwards, {}); }) == "value 1: between 3 and 2 says nothing");
}

TEST_CASE("kernels: no event is a rate of 0 with an upper limit, never a certainty", "[analysis]") {
  const Rate r = event_rate(0, 1000, 0.9);
  CHECK(r.rate == 0);
  CHECK(r.limits.low == 0);
  CHECK(r.limits.high > 0.0029);  // -log(0.05) / 1000
  CHECK(r.limits.high < 0.0030);
}

TEST_CASE("kernels: a level that no line can be shown to reach has no limits", "[analysis]") {
  const LinearFit flat = fit_line(V{1, 2, 3, 4, 5}, V{1, -1, 1, -1, 1.1});
  CHECK_FALSE(line_crossing(flat, 10, 0.95).limits);
}
