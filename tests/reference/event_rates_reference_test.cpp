#include "analysis/event_rates.hpp"
#include "analysis/least_squares.hpp"
#include "analysis/trend.hpp"
#include "reference/reference.hpp"

#include <cstdio>
#include <map>
#include <set>

#include <catch2/catch.hpp>

using namespace shaftlog;
using namespace shaftlog::reference;

namespace {

std::vector<WatchedSystem> one(const char* name, double end) { return {{end, Data{name}.numbers("hours")}}; }

void put_times(Answers& a) {
  {
    const auto systems = one("nist_repair_case1.csv", 1500);
    const PowerLaw f = fit_power_law(systems);
    const auto n = static_cast<double>(f.events);
    const Into put{a, "power_law", "nist_repair_case1.csv"};
    put("sum_log_T_over_t", trend_of_events(systems).milhdbk_chi2 / 2);
    put("shape_mle", f.shape);
    put("scale_mle", f.scale);
    put("shape_modified", f.shape_unbiased);
    put("one_minus_shape_modified", 1 - f.shape_unbiased);
    put("scale_modified", f.scale_of_unbiased);
    const double mtbf = 1500 / (n * f.shape_unbiased);
    put("mtbf_at_end_modified", mtbf);
    const Interval normal = mtbf_limits_normal(mtbf, f.events, 0.8);
    put("mtbf_80_low_normal", normal.low);
    put("mtbf_80_high_normal", normal.high);
    put("shape_ci90_low", f.shape_limits.value().low);
    put("shape_ci90_high", f.shape_limits.value().high);
    put("mtbf_at_end_mle", 1 / f.intensity_at_end);
    const Interval factor = mtbf_factors(f.events, 0.9);
    put("mtbf_90_low_exact", factor.low / f.intensity_at_end);
    put("mtbf_90_high_exact", factor.high / f.intensity_at_end);
    put("cvm_statistic", f.cramer_von_mises);
    const TrendTest t = trend_of_events(systems);
    const ReverseArrangements r = reverse_arrangements(systems[0].events);
    const Into trend{a, "trend_test", "nist_repair_case1.csv"};
    trend("laplace_z", t.laplace_z);
    trend("laplace_p_improving", t.laplace_p_falling);
    trend("milhdbk_chi2", t.milhdbk_chi2);
    trend("milhdbk_df", t.milhdbk_dof);
    trend("milhdbk_p_improving", t.milhdbk_p_falling);
    trend("reverse_arrangements", static_cast<double>(r.count));
    trend("reverse_arrangements_p_exact_no_ties", r.p_slower);
    const Into hpp{a, "hpp", "nist_repair_case1.csv"};
    hpp("rate", event_rate(f.events, 1500).rate);
    hpp("mtbf", 1 / event_rate(f.events, 1500).rate);
    for (const int level : {80, 90, 95}) {
      const Interval i = mean_time_limits(f.events, 1500, level / 100.0);
      hpp("mtbf_ci" + std::to_string(level) + "_low_time_terminated", i.low);
      hpp("mtbf_ci" + std::to_string(level) + "_high_time_terminated", i.high);
    }
  }
  {
    const auto systems = one("milhdbk189_appc.csv", 300);
    const PowerLaw f = fit_power_law(systems);
    const TrendTest t = trend_of_events(systems);
    const Into put{a, "power_law", "milhdbk189_appc.csv"};
    put("shape_mle", f.shape);
    put("scale_mle", f.scale);
    put("intensity_at_end", f.intensity_at_end);
    put("mtbf_at_end", 1 / f.intensity_at_end);
    put("shape_unbiased", f.shape_unbiased);
    put("cvm_statistic", f.cramer_von_mises);
    const Interval factor = mtbf_factors(f.events, 0.9), factor23 = mtbf_factors(23, 0.8);
    put("mtbf_factor_low_90", factor.low);
    put("mtbf_factor_high_90", factor.high);
    put("mtbf_low_90", factor.low / f.intensity_at_end);
    put("mtbf_high_90", factor.high / f.intensity_at_end);
    put("laplace_z", t.laplace_z);
    put("milhdbk_chi2", t.milhdbk_chi2);
    put("milhdbk_p_improving", t.milhdbk_p_falling);
    put("mtbf_factor_low_80_n23", factor23.low);
    put("mtbf_factor_high_80_n23", factor23.high);
  }
  {
    const Data d{"milhdbk189_grouped.csv"};
    std::vector<std::int64_t> counts;
    for (const double c : d.numbers("failures")) counts.push_back(static_cast<std::int64_t>(c));
    const GroupedPowerLaw f = fit_power_law_grouped(d.numbers("interval_end"), counts);
    const Into put{a, "power_law_grouped", "milhdbk189_grouped.csv"};
    put("shape", f.shape);
    put("scale", f.scale);
    put("intensity_at_end", f.intensity_at_end);
    put("mtbf_at_end", 1 / f.intensity_at_end);
    put("mean_intensity_last_interval", f.mean_intensity_last);
    put("mean_mtbf_last_interval", 1 / f.mean_intensity_last);
    put("chi2_fit", f.chi2);
    put("chi2_df", f.chi2_dof);
  }
}

void put_fleets(Answers& a) {
  {
    const Data d{"crow1975_three_systems.csv"};
    std::map<std::string, WatchedSystem> by;
    const auto hours = d.numbers("hours");
    for (std::size_t i = 0; i < hours.size(); ++i) {
      by[d.text("system")[i]].end = 200;
      by[d.text("system")[i]].events.push_back(hours[i]);
    }
    std::vector<WatchedSystem> systems;
    for (const auto& [key, s] : by) systems.push_back(s);
    const PowerLaw f = fit_power_law(systems);
    const TrendTest t = trend_of_events(systems);
    const Into put{a, "power_law_fleet", "crow1975_three_systems.csv"};
    put("events", static_cast<double>(f.events));
    put("shape_mle", f.shape);
    put("scale_mle", f.scale);
    put("shape_unbiased", f.shape_unbiased);
    put("milhdbk_chi2_pooled", t.milhdbk_chi2);
    put("milhdbk_p_improving", t.milhdbk_p_falling);
    put("laplace_z_pooled", t.laplace_z);
    put("equal_shape_lr", test_equal_shapes(systems).lr);
  }
  const Data d{"valve_seat.csv"};
  std::map<std::string, WatchedSystem> by;
  const auto time = d.numbers("time"), status = d.numbers("status");
  for (std::size_t i = 0; i < time.size(); ++i) {
    WatchedSystem& s = by[d.text("id")[i]];
    if (status[i] == 0)
      s.end = time[i];
    else
      s.events.push_back(time[i]);
  }
  std::vector<WatchedSystem> systems;
  std::vector<double> counts, ends;
  double exposure = 0;
  for (const auto& [key, s] : by) {
    systems.push_back(s);
    counts.push_back(static_cast<double>(s.events.size()));
    ends.push_back(s.end);
    exposure += s.end;
  }
  const PowerLaw f = fit_power_law(systems);
  const TrendTest t = trend_of_events(systems);
  const Rate r = event_rate(f.events, exposure, 0.95);
  const Homogeneity h = test_equal_rates(counts, ends);
  const Into put{a, "fleet", "valve_seat.csv"};
  put("engines", static_cast<double>(systems.size()));
  put("events", static_cast<double>(f.events));
  put("exposure_days", exposure);
  put("rate_per_day", r.rate);
  put("rate_ci95_low", r.limits.low);
  put("rate_ci95_high", r.limits.high);
  put("laplace_z_pooled", t.laplace_z);
  put("milhdbk_chi2_pooled", t.milhdbk_chi2);
  put("milhdbk_df", t.milhdbk_dof);
  put("milhdbk_p_two_sided", 2 * std::min(t.milhdbk_p_rising, t.milhdbk_p_falling));
  put("power_law_shape", f.shape);
  put("power_law_scale", f.scale);
  put("lr_against_constant_rate", f.lr_constant_rate);
  put("homogeneity_chi2", h.chi2);
  put("homogeneity_df", h.dof);
  const auto mcf = mean_cumulative_function(systems);
  for (const McfPoint& p : mcf)
    for (const int at : {98, 326, 404, 570, 653})
      if (p.time == at) put("mcf_at_" + std::to_string(at), p.mean);
  put("mcf_last_time", mcf.back().time);
  put("mcf_last", mcf.back().mean);
}

void put_by_name(Answers& a) {
  for (const Row& r : std::vector<Row>{a.rows()}) {
    const std::string& q = r.quantity;
    const auto ends = [&](const char* what) {
      return q.size() >= std::string{what}.size() && q.rfind(what) == q.size() - std::string{what}.size();
    };
    const auto put = [&](double v) { a.put(r.check, r.dataset, q, v); };
    if (r.check == "garwood") {
      int n = 0, level = 0;
      char side[8]{};
      REQUIRE(std::sscanf(q.c_str(), "n=%d %7s %d", &n, side, &level) == 3);
      const Interval i = poisson_interval(n, level / 100.0);
      put(side[0] == 'l' ? i.low : i.high);
    } else if (r.check == "poisson_test") {
      int n = 0;
      double e = 0;
      REQUIRE(std::sscanf(q.c_str(), "%d events in %lf", &n, &e) == 2);
      const Rate rate = event_rate(n, e, 0.95);
      put(ends("rate") ? rate.rate : ends("low 95") ? rate.limits.low : rate.limits.high);
    } else if (r.check == "two_rates") {
      int n1 = 0, n2 = 0;
      double e1 = 0, e2 = 0, ratio = 1;
      const int found = std::sscanf(q.c_str(), "%d in %lf vs %d in %lf ratio %lf", &n1, &e1, &n2, &e2, &ratio);
      REQUIRE(found >= 4);
      const RateRatio c = compare_rates(n1, e1, n2, e2, ratio, 0.95);
      put(ends("p two-sided")                        ? c.p_two_sided
          : ends("p wald")                           ? c.p_wald
          : ends("p score")                          ? c.p_score
          : ends("p sqrt")                           ? c.p_sqrt
          : ends("p exact conditional")              ? c.p_greater
          : ends("p mid")                            ? c.p_mid
          : ends("low 95") || ends("low 95 exact")   ? c.limits.low
          : ends("high 95") || ends("high 95 exact") ? c.limits.high
                                                     : c.ratio);
    } else if (r.check == "cvm_critical") {
      int n = 0;
      double alpha = 0;
      REQUIRE(std::sscanf(q.c_str(), "M=%d alpha=%lf", &n, &alpha) == 2);
      put(cvm_critical(n, alpha));
    }
  }
}

void put_counts(Answers& a) {
  {
    const Data d{"ships.csv"};
    const auto service = d.numbers("service"), incidents = d.numbers("incidents");
    const std::vector<std::pair<std::string, std::string>> levels{{"type", "B"},  {"type", "C"},   {"type", "D"},
                                                                  {"type", "E"},  {"year", "65"},  {"year", "70"},
                                                                  {"year", "75"}, {"period", "75"}};
    std::vector<double> counts, exposures;
    std::vector<std::vector<double>> x(levels.size());
    for (std::size_t i = 0; i < service.size(); ++i) {
      if (!(service[i] > 0)) continue;
      counts.push_back(incidents[i]);
      exposures.push_back(service[i]);
      for (std::size_t j = 0; j < levels.size(); ++j) x[j].push_back(d.text(levels[j].first)[i] == levels[j].second);
    }
    const CountFit f = fit_counts(counts, exposures, x);
    CHECK(f.converged);
    const Into put{a, "poisson_glm", "ships.csv"};
    for (std::size_t j = 0; j < f.coefficients.size(); ++j) {
      const std::string name = j == 0 ? "(Intercept)" : levels[j - 1].first + levels[j - 1].second;
      put("coef_" + name, f.coefficients[j]);
      put("se_" + name, f.standard_errors[j]);
    }
    put("deviance", f.deviance);
    put("df", f.dof);
    put("pearson_chi2", f.pearson_chi2);
    put("dispersion", f.dispersion);
  }
  const Data d{"coal_yearly.csv"};
  std::vector<std::vector<double>> x{d.numbers("year")};
  for (double& v : x[0]) v -= 1851;
  const std::vector<double> exposures(x[0].size(), 1.0);
  const CountFit f = fit_counts(d.numbers("count"), exposures, x);
  const Into put{a, "poisson_glm", "coal_yearly.csv"};
  put("intercept", f.coefficients[0]);
  put("slope_per_year", f.coefficients[1]);
  put("se_slope", f.standard_errors[1]);
  put("deviance", f.deviance);
}

}  // namespace

TEST_CASE("reference: event rates and their trend", "[analysis][reference]") {
  Answers a{"07_event_rates.csv"};
  put_times(a);
  put_fleets(a);
  put_by_name(a);
  put_counts(a);
  a.compare();
}
