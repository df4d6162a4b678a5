#include "analysis/local_level.hpp"
#include "reference/reference.hpp"

#include <cmath>
#include <limits>

#include <catch2/catch.hpp>

using namespace shaftlog;
using namespace shaftlog::reference;

TEST_CASE("reference: local level model", "[analysis][reference]") {
  Answers a{"11_state_space.csv"};
  const Data d{"nile.csv"};
  const auto y = d.numbers("flow");
  const auto& year = d.text("year");
  const LocalLevelFit f = fit_local_level(y);
  const Into fit{a, "local_level", "nile.csv"};
  fit("variance_observation_mle", f.noise);
  fit("variance_level_mle", f.walk);
  fit("signal_to_noise_q", f.signal_to_noise);
  fit("loglik_diffuse_constant_n", f.log_likelihood - 0.5 * std::log(2 * std::acos(-1.0)));
  fit("loglik_diffuse_constant_n_minus_1", f.log_likelihood);
  for (const char* q : {"1", "0.0360", "0.0745"})
    fit(std::string{"concentrated_loglik_q_"} + q, concentrated_likelihood(y, std::stod(q)));
  fit("concentrated_loglik_at_mle", f.concentrated);

  const double noise = 15099, walk = 1469.1;
  const LocalLevel k = filter_local_level(y, noise, walk);
  const Into put{a, "local_level_fixed", "nile.csv"};
  put("loglik_diffuse_constant_n_minus_1", k.log_likelihood);
  for (const std::size_t t : {1U, 2U, 3U, 28U, 29U, 50U, 100U}) {
    put("filtered_level_" + year[t - 1], k.filtered[t - 1]);
    put("filtered_variance_" + year[t - 1], k.filtered_variance[t - 1]);
  }
  for (const std::size_t t : {2U, 29U, 100U}) {
    put("innovation_" + year[t - 1], k.innovations[t - 1]);
    put("innovation_variance_" + year[t - 1], k.innovation_variances[t - 1]);
    put("standardised_innovation_" + year[t - 1], k.innovations[t - 1] / std::sqrt(k.innovation_variances[t - 1]));
  }
  for (const std::size_t t : {1U, 2U, 28U, 29U, 50U, 100U}) {
    put("smoothed_level_" + year[t - 1], k.smoothed[t - 1]);
    put("smoothed_variance_" + year[t - 1], k.smoothed_variance[t - 1]);
  }
  const double gain = steady_gain(walk / noise);
  put("steady_state_gain", gain);
  put("ses_alpha_equivalent", gain);
  put("steady_state_predicted_variance", noise * gain / (1 - gain));
  for (const std::size_t ahead : {1U, 5U, 10U, 30U}) {
    const Forecast c = forecast_local_level(k, noise, walk, ahead);
    const std::string j = std::to_string(ahead);
    put("forecast_" + j, c.mean);
    put("forecast_variance_" + j, c.variance);
    put("forecast_50_low_" + j, c.mean + normal_quantile(0.25) * std::sqrt(c.variance));
    put("forecast_95_high_" + j, c.mean + normal_quantile(0.975) * std::sqrt(c.variance));
  }
  auto z = y;
  for (std::size_t t = 20; t < 40; ++t) z[t] = z[t + 40] = std::numeric_limits<double>::quiet_NaN();
  const LocalLevel g = filter_local_level(z, noise, walk);
  const Into gaps{a, "local_level_gaps", "nile.csv"};
  gaps("loglik_diffuse_constant_observed_minus_1", g.log_likelihood);
  for (const std::size_t t : {20U, 30U, 40U, 41U, 100U}) {
    gaps("filtered_level_" + year[t - 1], g.filtered[t - 1]);
    gaps("filtered_variance_" + year[t - 1], g.filtered_variance[t - 1]);
  }
  for (const std::size_t t : {20U, 30U, 40U, 70U}) {
    gaps("smoothed_level_" + year[t - 1], g.smoothed[t - 1]);
    gaps("smoothed_variance_" + year[t - 1], g.smoothed_variance[t - 1]);
  }
  a.compare();
}
