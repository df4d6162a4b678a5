#include "analysis/least_squares.hpp"
#include "analysis/prediction.hpp"
#include "reference/reference.hpp"

#include <cmath>

#include <catch2/catch.hpp>

using namespace shaftlog;
using namespace shaftlog::reference;

namespace {

void put_line(const Into& a, const LineFit& f) {
  a("b0", f.intercept);
  a("b1", f.slope);
  a("se_b0", f.residual_sd * std::sqrt(1 / f.weight + f.centre * f.centre / f.spread));
  a("se_b1", f.slope_se);
  a("residual_sd", f.residual_sd);
  a("r_squared", 1 - f.rss / (f.rss + f.slope * f.slope * f.spread));
}

}  // namespace

TEST_CASE("reference: a straight line, with and without weights", "[analysis][reference]") {
  Answers a{"01_linear_regression.csv"};
  {
    const Data d{"nist_norris.csv"};
    const LineFit f = fit_line(d.numbers("x"), d.numbers("y"));
    const Into put{a, "ols", "nist_norris.csv"};
    put_line(put, f);
    const Interval start = predict(f, 0, 0.95).mean, slope = slope_limits(f, 0.95);
    put("ci95_low_b0", start.low);
    put("ci95_high_b0", start.high);
    put("ci95_low_b1", slope.low);
    put("ci95_high_b1", slope.high);
    put("ms_regression", f.slope * f.slope * f.spread);
    put("ms_residual", f.rss / f.dof);
    put("f_statistic", f.slope * f.slope / (f.slope_se * f.slope_se));
  }
  const Data d{"weisberg_physics.csv"};
  std::vector<double> w;
  for (const double sd : d.numbers("sd")) w.push_back(1 / (sd * sd));
  put_line({a, "wls", "weisberg_physics.csv"}, fit_line(d.numbers("x"), d.numbers("y"), w));
  a.compare();
}

TEST_CASE("reference: univariate summaries", "[analysis][reference]") {
  Answers a{"02_univariate.csv"};
  for (const char* name : {"nist_numacc1.csv", "nist_numacc2.csv", "nist_numacc3.csv", "nist_numacc4.csv",
                           "nist_lottery.csv", "nist_lew.csv", "nist_mavro.csv", "nist_michelso.csv"}) {
    const Description d = describe(Data{name}.numbers("y"));
    const Into put{a, "univariate", name};
    put("mean", d.mean);
    put("sd", d.sd);
    put("lag1_autocorrelation", d.lag1);
  }
  a.compare();
}

TEST_CASE("reference: intervals of a line", "[analysis][reference]") {
  Answers a{"13_prediction.csv"};
  const Data d{"cars.csv"};
  const LineFit f = fit_line(d.numbers("speed"), d.numbers("dist"));
  const Into put{a, "line_interval", "cars.csv"};
  put_line(put, f);
  put("t_b1", f.slope / f.slope_se);
  put("p_b1", f.p);
  for (const int x : {0, 5, 15, 21, 30})
    for (const int level : {90, 95}) {
      const Prediction p = predict(f, x, level / 100.0);
      const std::string at = "x" + std::to_string(x), lab = at + "_" + std::to_string(level) + "_";
      put(at + "_fit", p.fit);
      put(lab + "confidence_low", p.mean.low);
      put(lab + "confidence_high", p.mean.high);
      put(lab + "prediction_low", p.next.low);
      put(lab + "prediction_high", p.next.high);
    }
  a.compare();
}
