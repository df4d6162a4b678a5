#include "analysis/event_rates.hpp"
#include "reference/reference.hpp"

#include <cstdio>
#include <map>

#include <catch2/catch.hpp>

using namespace shaftlog;
using namespace shaftlog::reference;

namespace {

std::vector<WatchedSystem> one(const char* name, double end) { return {{end, Data{name}.numbers("hours")}}; }

void put_times(Answers& a) {
  {
    const auto systems = one("nist_repair_case1.csv", 1500);
    const PowerLaw f = fit_power_law(systems);
    const Into put{a, "power_law", "nist_repair_case1.csv"};
    put("sum_log_T_over_t", trend_of_events(systems).milhdbk_chi2 / 2);
    put("shape_mle", f.shape);
    put("scale_mle", f.scale);
    put("shape_ci90_low", f.shape_limits.value().low);
    put("shape_ci90_high", f.shape_limits.value().high);
    put("mtbf_at_end_mle", 1 / f.intensity_at_end);
    const TrendTest t = trend_of_events(systems);
    const Into trend{a, "trend_test", "nist_repair_case1.csv"};
    trend("laplace_z", t.laplace_z);
    trend("laplace_p_improving", t.laplace_p_falling);
    trend("milhdbk_chi2", t.milhdbk_chi2);
    trend("milhdbk_df", t.milhdbk_dof);
    trend("milhdbk_p_improving", t.milhdbk_p_falling);
    const Into hpp{a, "hpp", "nist_repair_case1.csv"};
    hpp("rate", event_rate(f.events, 1500).rate);
    hpp("mtbf", 1 / event_rate(f.events, 1500).rate);
    for (const int level : {80, 90, 95}) {
      const Interval i = event_rate(f.events, 1500, level / 100.0).limits;
      hpp("mtbf_ci" + std::to_string(level) + "_low_time_terminated", 1 / i.high);
      hpp("mtbf_ci" + std::to_string(level) + "_high_time_terminated", 1 / i.low);
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
    put("laplace_z", t.laplace_z);
    put("milhdbk_chi2", t.milhdbk_chi2);
    put("milhdbk_p_improving", t.milhdbk_p_falling);
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
    put("milhdbk_chi2_pooled", t.milhdbk_chi2);
    put("milhdbk_p_improving", t.milhdbk_p_falling);
    put("laplace_z_pooled", t.laplace_z);
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
  double exposure = 0;
  for (const auto& [key, s] : by) {
    systems.push_back(s);
    exposure += s.end;
  }
  const PowerLaw f = fit_power_law(systems);
  const TrendTest t = trend_of_events(systems);
  const Rate r = event_rate(f.events, exposure, 0.95);
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
      double e1 = 0, e2 = 0;
      REQUIRE(std::sscanf(q.c_str(), "%d in %lf vs %d in %lf", &n1, &e1, &n2, &e2) == 4);
      const RateRatio c = compare_rates(n1, e1, n2, e2, 0.95);
      put(ends("p two-sided")                        ? c.p_two_sided
          : ends("low 95") || ends("low 95 exact")   ? c.limits.low
          : ends("high 95") || ends("high 95 exact") ? c.limits.high
                                                     : c.ratio);
    }
  }
}

}  // namespace

TEST_CASE("reference: event rates and their trend", "[analysis][reference]") {
  Answers a{"07_event_rates.csv"};
  put_times(a);
  put_fleets(a);
  put_by_name(a);
  a.compare();
}
