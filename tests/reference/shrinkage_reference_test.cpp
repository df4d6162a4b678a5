#include "analysis/event_rates.hpp"
#include "analysis/shrinkage.hpp"
#include "reference/reference.hpp"

#include <algorithm>
#include <cmath>
#include <map>

#include <catch2/catch.hpp>

using namespace shaftlog;
using namespace shaftlog::reference;

namespace {

void put_trials(Answers& a) {
  const Data d{"bcg.csv"};
  const auto tp = d.numbers("tpos"), tn = d.numbers("tneg"), cp = d.numbers("cpos"), cn = d.numbers("cneg");
  std::vector<double> y, v;
  const Into put{a, "random_effects", "bcg.csv"};
  for (std::size_t i = 0; i < tp.size(); ++i) {
    y.push_back(std::log((tp[i] / (tp[i] + tn[i])) / (cp[i] / (cp[i] + cn[i]))));
    v.push_back(1 / tp[i] - 1 / (tp[i] + tn[i]) + 1 / cp[i] - 1 / (cp[i] + cn[i]));
    put("yi_" + std::to_string(i + 1), y[i]);
    put("vi_" + std::to_string(i + 1), v[i]);
  }
  const std::vector<std::pair<std::string, BetweenVariance>> ways{{"DL", BetweenVariance::dersimonian_laird},
                                                                  {"PM", BetweenVariance::paule_mandel},
                                                                  {"REML", BetweenVariance::restricted_likelihood},
                                                                  {"ML", BetweenVariance::maximum_likelihood},
                                                                  {"HE", BetweenVariance::hedges}};
  for (const auto& [name, how] : ways) {
    const RandomEffects r = random_effects(y, v, how);
    put("fixed_estimate", r.fixed_mean);
    put("fixed_se", r.fixed_se);
    put("Q", r.q);
    put("Q_df", r.q_dof);
    put(name + "_tau2", r.tau2);
    put(name + "_estimate", r.mean);
    put(name + "_se", r.se);
    put(name + "_z", r.mean / r.se);
    put(name + "_ci95_low", r.mean_limits.low);
    put(name + "_ci95_high", r.mean_limits.high);
    if (name != "DL" && name != "REML") continue;
    for (const std::size_t i : {1U, 4U, 8U, 13U}) put(name + "_shrunk_" + std::to_string(i), r.shrunk.at(i - 1));
    put(name + "_prediction95_low", r.prediction.low);
    put(name + "_prediction95_high", r.prediction.high);
    if (name == "DL") {
      put("I2_percent_from_Q", r.i2_percent_from_q);
    } else {
      put("REML_I2_percent", r.i2_percent);
      put("REML_H2", r.h2);
      put("REML_se_tau2", r.tau2_se.value());
      put("REML_knapp_hartung_se", r.knapp_hartung_se);
      put("REML_knapp_hartung_ci95_low", r.knapp_hartung_limits.low);
      put("REML_knapp_hartung_ci95_high", r.knapp_hartung_limits.high);
    }
  }
}

std::vector<std::vector<double>> grouped(const std::vector<std::string>& key, const std::vector<double>& value,
                                         const std::vector<std::size_t>& without = {}) {
  std::map<std::string, std::vector<double>> by;
  for (std::size_t i = 0; i < key.size(); ++i)
    if (std::find(without.begin(), without.end(), i + 1) == without.end()) by[key[i]].push_back(value[i]);
  std::vector<std::vector<double>> groups;
  for (const auto& [name, g] : by) groups.push_back(g);
  return groups;
}

void put_groups(Answers& a) {
  const Data s{"nist_sirstv.csv"};
  const OneWay w = one_way(grouped(s.text("instrument"), s.numbers("resistance")));
  const Into anova{a, "anova", "nist_sirstv.csv"};
  anova("ss_between", w.ss_between);
  anova("ms_between", w.ms_between);
  anova("ss_within", w.ss_within);
  anova("ms_within", w.ms_within);
  anova("f_statistic", w.f_statistic);
  anova("r_squared", w.r_squared);
  anova("residual_sd", w.residual_sd);
  anova("variance_between", w.variance_between);
  const Data rail{"rail.csv"};
  for (const bool whole : {true, false}) {
    const RandomIntercepts r =
        random_intercepts(grouped(rail.text("rail"), rail.numbers("travel"),
                                  whole ? std::vector<std::size_t>{} : std::vector<std::size_t>{2, 5, 6, 12}));
    const Into put{a, whole ? "random_intercept" : "random_intercept_unbalanced",
                   whole ? "rail.csv" : "rail.csv without records 2 5 6 12"};
    put("mean", r.mean);
    put("se_mean", r.mean_se);
    put("sd_between", r.sd_between);
    put("sd_within", r.sd_within);
    put("reml_loglik", r.log_likelihood);
    for (std::size_t i = 0; i < r.shrunk.size(); ++i) put("shrunk_mean_rail_" + std::to_string(i + 1), r.shrunk[i]);
    if (whole) put("shrinkage_factor", r.shrinkage[0]);
  }
}

void put_averages(Answers& a) {
  const Data d{"efron_morris_1975.csv"};
  const auto bats = d.numbers("at_bats"), hits = d.numbers("hits"), later = d.numbers("remaining_average_1975");
  std::vector<double> y, x;
  double mean = 0;
  for (std::size_t i = 0; i < hits.size(); ++i) {
    y.push_back(hits[i] / bats[i]);
    x.push_back(std::sqrt(45.0) * std::asin(2 * y[i] - 1));
    mean += y[i] / static_cast<double>(hits.size());
  }
  const JamesStein plain = james_stein(y, mean * (1 - mean) / 45), arc = james_stein(x, 1);
  const Into put{a, "james_stein", "efron_morris_1975.csv"};
  put("grand_mean", plain.mean);
  put("shrink_multiplier_c", plain.multiplier);
  put("arcsin_mean", arc.mean);
  put("arcsin_sum_squares", arc.sum_squares);
  put("arcsin_multiplier", arc.multiplier);
  double raw = 0, shrunk = 0;
  for (std::size_t i = 0; i < y.size(); ++i) {
    put("js_" + std::to_string(i + 1), plain.shrunk[i]);
    if (i == 0 || i == 7 || i == 17) put("arcsin_x_" + std::to_string(i + 1), x[i]);
    const double truth = std::sqrt(45.0) * std::asin(2 * later[i] - 1);
    raw += (x[i] - truth) * (x[i] - truth);
    shrunk += (arc.shrunk[i] - truth) * (arc.shrunk[i] - truth);
  }
  put("arcsin_loss_raw", raw);
  put("arcsin_loss_js", shrunk);
}

void put_pumps(Answers& a) {
  const Data d{"pumps.csv"};
  const auto x = d.numbers("failures");
  const Into put{a, "gamma_poisson", "pumps.csv"};
  for (const bool rounded : {false, true}) {
    const auto t = d.numbers(rounded ? "khours_rounded" : "khours");
    const GammaPoisson g = shrink_rates(x, t, 0.9);
    const std::string lab = rounded ? "rounded_times_" : "";
    put(lab + "mle_shape", g.shape);
    put(lab + "mle_rate", g.rate);
    put(lab + "mle_se_shape", g.shape_se);
    put(lab + "mle_se_rate", g.rate_se);
    put(lab + "mle_loglik", g.log_likelihood);
    for (std::size_t i = 0; i < x.size(); ++i) {
      const std::string n = std::to_string(i + 1);
      put(lab + "eb_rate_" + n, g.units[i].shrunk);
      if (i != 0 && i != 4 && i != 9) continue;
      put(lab + "eb_ci90_low_" + n, g.units[i].limits.low);
      put(lab + "eb_ci90_high_" + n, g.units[i].limits.high);
      if (!rounded) put("raw_rate_" + n, g.units[i].raw);
    }
    if (rounded) continue;
    put("pooled_rate", g.pooled_rate);
    const auto m = gamma_moments(x, t);
    REQUIRE(m);
    put("moment_shape_divisor_k", m->shape);
    put("moment_rate_divisor_k", m->rate);
  }
}

}  // namespace

TEST_CASE("reference: shrinkage", "[analysis][reference]") {
  Answers a{"10_shrinkage.csv"};
  put_trials(a);
  put_groups(a);
  put_averages(a);
  put_pumps(a);
  const Data d{"pumps.csv"};
  a.put("gamma_poisson", "pumps.csv", "homogeneity_chi2",
        test_equal_rates(d.numbers("failures"), d.numbers("khours")).chi2);
  a.compare();
}
