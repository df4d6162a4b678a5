#include "analysis/censored.hpp"
#include "reference/reference.hpp"

#include <cmath>
#include <limits>

#include <catch2/catch.hpp>

using namespace shaftlog;
using namespace shaftlog::reference;

namespace {

constexpr double kInf = std::numeric_limits<double>::infinity();
using Columns = std::vector<std::vector<double>>;

void put_fit(const Into& a, const CensoredFit& f, const std::vector<std::string>& names) {
  CHECK(f.converged);
  for (std::size_t i = 0; i < f.coefficients.size(); ++i) {
    const std::string name = i == 0 ? "intercept" : names.at(i - 1);
    a("coef_" + name, f.coefficients[i]);
    a("se_" + name, f.standard_errors[i]);
  }
  a("scale", f.scale);
  a("log_scale", f.log_scale);
  a("se_log_scale", f.log_scale_se);
  a("loglik", f.log_likelihood);
  a("loglik_intercept_only", f.log_likelihood_constant);
  a("lr_chi2", f.lr_chi2);
}

}  // namespace

TEST_CASE("reference: censored regression", "[analysis][reference]") {
  Answers a{"08_censored.csv"};
  {
    const Data d{"tobin.csv"};
    std::vector<CensoredValue> y;
    for (const double v : d.numbers("durable")) y.push_back({v > 0 ? v : -kInf, v});
    const CensoredFit f = fit_censored(y, Columns{d.numbers("age"), d.numbers("quant")});
    put_fit({a, "tobit", "tobin.csv"}, f, {"age", "quant"});
    const Into at{a, "tobit_predict", "tobin.csv"};
    for (const auto& [age, quant] : {std::pair{40, 250}, std::pair{50, 230}}) {
      const std::vector<double> point{static_cast<double>(age), static_cast<double>(quant)};
      const LinearPredictor p = predict_censored(f, point);
      const std::string where = "age " + std::to_string(age) + " quant " + std::to_string(quant);
      at("linear predictor " + where, p.value);
      at("se " + where, p.se);
    }
  }
  {
    const Data d{"motorettes.csv"};
    const auto hours = d.numbers("hours"), failed = d.numbers("failed"), temp = d.numbers("temp_c");
    std::vector<CensoredValue> decimal, natural;
    Columns u{{}};
    double logs = 0;
    for (std::size_t i = 0; i < hours.size(); ++i) {
      decimal.push_back({std::log10(hours[i]), failed[i] == 1 ? std::log10(hours[i]) : kInf});
      natural.push_back({std::log(hours[i]), failed[i] == 1 ? std::log(hours[i]) : kInf});
      if (failed[i] == 1) logs += std::log(hours[i]);
      u[0].push_back(1000 / (temp[i] + 273.2));
    }
    put_fit({a, "tobit", "motorettes.csv"}, fit_censored(decimal, u), {"u"});
    const Columns t{temp};
    const std::vector<double> at130{130};
    for (const auto& [check, law] :
         {std::pair{"lognormal_life", ErrorLaw::normal}, std::pair{"weibull_life", ErrorLaw::smallest_extreme}}) {
      const CensoredFit f = fit_censored(natural, t, law);
      CHECK(f.converged);
      const Into put{a, check, "motorettes.csv"};
      put("coef_intercept", f.coefficients[0]);
      put("coef_temp_c", f.coefficients[1]);
      put("scale", f.scale);
      put("loglik", f.log_likelihood - logs);
      if (law != ErrorLaw::normal) continue;
      put("quantile 0.1 at 130 C", std::exp(quantile_censored(f, at130, 0.1)));
      put("quantile 0.5 at 130 C", std::exp(quantile_censored(f, at130, 0.5)));
    }
  }
  {
    const Data d{"censored_mixed.csv"};
    const auto low = d.numbers("low"), high = d.numbers("high");
    const Columns x{d.numbers("x1"), d.numbers("x2")};
    std::vector<CensoredValue> y, middle;
    for (std::size_t i = 0; i < low.size(); ++i) {
      y.push_back({std::isnan(low[i]) ? -kInf : low[i], std::isnan(high[i]) ? kInf : high[i]});
      const double m = (low[i] + high[i]) / 2;
      middle.push_back(std::isnan(m) ? y.back() : CensoredValue{m, m});
    }
    const CensoredFit f = fit_censored(y, x);
    const Into put{a, "tobit", "censored_mixed.csv"};
    put_fit(put, f, {"x1", "x2"});
    put("count_exact", static_cast<double>(f.exact));
    put("count_left", static_cast<double>(f.left));
    put("count_right", static_cast<double>(f.right));
    put("count_interval", static_cast<double>(f.interval));
    put_fit({a, "tobit", "censored_mixed.csv midpoints"}, fit_censored(middle, x), {"x1", "x2"});
  }
  const Data d{"cars.csv"};
  std::vector<CensoredValue> y;
  for (const double v : d.numbers("dist")) y.push_back({v, v});
  put_fit({a, "tobit", "cars.csv"}, fit_censored(y, Columns{d.numbers("speed")}), {"speed"});
  a.compare();
}
