#include "analysis/shrinkage.hpp"
#include "reference/reference.hpp"

#include <cmath>

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
  const RandomEffects r = random_effects(y, v);
  const double half = normal_quantile(0.975) * r.se;
  put("REML_tau2", r.tau2);
  put("REML_estimate", r.mean);
  put("REML_se", r.se);
  put("REML_z", r.mean / r.se);
  put("REML_ci95_low", r.mean - half);
  put("REML_ci95_high", r.mean + half);
  for (const std::size_t i : {1U, 4U, 8U, 13U}) put("REML_shrunk_" + std::to_string(i), r.shrunk.at(i - 1));
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
  }
}

}  // namespace

TEST_CASE("reference: shrinkage", "[analysis][reference]") {
  Answers a{"10_shrinkage.csv"};
  put_trials(a);
  put_pumps(a);
  a.compare();
}
