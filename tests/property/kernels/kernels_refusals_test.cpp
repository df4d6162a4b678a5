#include "analysis/change_point.hpp"
#include "analysis/control_charts.hpp"
#include "analysis/distributions.hpp"
#include "analysis/event_rates.hpp"
#include "analysis/least_squares.hpp"
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
  const WatchedSystem late{10, {4, 12}};
  CHECK(refusal([&] { (void)fit_power_law({&late, 1}); }) == "system 1: event at 12 is not after 0 and up to 10");
  CHECK(refusal([] { (void)theil_sen(V{1, 2, 3}, V{1, 2}); }) == "y: 2 values found, 3 expected");
  CHECK(refusal([] { (void)theil_sen(V{1, 1, 1}, V{1, 2, 3}); }) == "x: all 3 values are 1, so there is no slope");
  CHECK(refusal([] { (void)mann_kendall(V{1, 2}, V{1, kNan}); }) == "y, row 2: nan is not finite");
  CHECK(refusal([] { (void)fit_line(V{2, 2, 2}, V{1, 2, 3}); }) == "x: all 3 values are 2, so there is no slope");
  CHECK(refusal([] { (void)fit_line(V{2}, V{1}); }) == "records: 1 found, at least 2 expected");
  CHECK(refusal([] {
          (void)predict(fit_line(V{1, 2}, V{1, 3}), 4);
        }) == "fit: no degree of freedom is left for an interval");
  CHECK(refusal([] {
          (void)fit_line(V{1, 2, 3}, V{1, 2, 3}, V{1, -1, 1});
        }) == "weight, row 2: -1 is not a number above 0");
  CHECK(refusal([] { (void)describe(V{}); }) == "values: 0 found, at least 1 expected");
  CHECK(refusal([] { (void)adjust_p(V{0.1, 2}); }) == "p 2: 2 is not between 0 and 1");
  CHECK(refusal([] { (void)cusum_run_length(0.5, 4, 0, 5); }) == "head start: 5 is not between 0 and h");
  CHECK(refusal([] { (void)find_level_shift(V{2, 2, 2, 2}); }) == "values: all are equal, so nothing can have changed");
  CHECK(refusal([] { (void)shrink_rates(V{0, 0}, V{1, 2}); }) == "events: 0 found over all units, at least 1 expected");
  CHECK(refusal([] { (void)random_effects(V{1, 2}, V{1, 0}); }) == "variance of unit 2: 0 is not a number above 0");
}

TEST_CASE("kernels: no event is a rate of 0 with an upper limit, never a certainty", "[analysis]") {
  const Rate r = event_rate(0, 1000, 0.9);
  CHECK(r.rate == 0);
  CHECK(r.limits.low == 0);
  CHECK(r.limits.high > 0.0029);  // -log(0.05) / 1000
  CHECK(r.limits.high < 0.0030);
}
