#include "analysis/change_point.hpp"
#include "reference/reference.hpp"

#include <cmath>

#include <catch2/catch.hpp>

using namespace shaftlog;
using namespace shaftlog::reference;

namespace {
double as_number(std::size_t i) { return static_cast<double>(i); }
}  // namespace

TEST_CASE("reference: change points", "[analysis][reference]") {
  Answers a{"06_changepoint.csv"};
  {
    const Data d{"nile.csv"};
    const auto y = d.numbers("flow"), year = d.numbers("year");
    const LevelShift s = find_level_shift(y);
    const CusumOfResiduals c = cusum_of_residuals(y);
    const auto several = find_level_shifts(y, 15, 2);
    const Into put{a, "level_shift", "nile.csv"};
    put("last_index_before_break", as_number(s.at));
    put("last_year_before_break", year.at(s.at - 1));
    put("mean_before", s.mean_before);
    put("mean_after", s.mean_after);
    put("rss_no_break", s.rss_none);
    put("rss_one_break", s.rss);
    for (std::size_t m = 0; m <= 2; ++m) put("bic_" + std::to_string(m) + "_breaks", several.at(m).bic);
    put("ci95_low_index", as_number(s.low));
    put("ci95_high_index", as_number(s.high));
    put("ci95_low_year", year.at(s.low - 1));
    put("ci95_high_year", year.at(s.high - 1));
    put("sup_F", s.sup_f);
    put("max_minus2_log_lr", s.lr);
    put("max_minus2_log_lr_index", as_number(s.lr_at));
    put("t_statistic_at_break", s.t);
    put("ols_cusum_max", c.statistic);
    put("ols_cusum_index", as_number(c.at));
    put("ols_cusum_p", c.p);
  }
  for (const auto& [name, column] : {std::pair{"nile.csv", "flow"}, std::pair{"coal_yearly.csv", "count"}}) {
    const Pettitt p = pettitt(Data{name}.numbers(column));
    const Into put{a, "pettitt", name};
    put("K", p.k);
    put("index", as_number(p.at));
    put("p_approximate", p.p);
  }
  {
    const Data d{"realint.csv"};
    const auto all = find_level_shifts(d.numbers("rate"), 15, 5);
    const Into put{a, "multi_break", "realint.csv"};
    for (std::size_t m = 0; m < all.size(); ++m) {
      const std::string n = std::to_string(m);
      put("rss_" + n + "_breaks", all[m].rss);
      put("bic_" + n + "_breaks", all[m].bic);
      if (m == 0 || m > 3) continue;
      for (std::size_t j = 0; j < m; ++j) {
        put("breaks" + n + "_index" + std::to_string(j + 1), as_number(all[m].breaks[j]));
        a.put("multi_break", "realint.csv", "breaks" + n + "_quarter" + std::to_string(j + 1),
              d.text("quarter").at(all[m].breaks[j] - 1));
      }
      for (std::size_t j = 0; j <= m; ++j) put("breaks" + n + "_mean" + std::to_string(j + 1), all[m].means[j]);
    }
    put("breaks_chosen_by_bic", as_number(best_by_bic(all).breaks.size()));
  }
  {
    const auto all = find_level_shifts(Data{"two_changes.csv"}.numbers("y"), 5, 4);
    const Into put{a, "multi_break", "two_changes.csv"};
    for (std::size_t j = 0; j < 2; ++j) put("index" + std::to_string(j + 1), as_number(all.at(2).breaks[j]));
    for (std::size_t j = 0; j < 3; ++j) put("mean" + std::to_string(j + 1), all.at(2).means[j]);
    for (std::size_t m = 0; m < 4; ++m) put("rss_" + std::to_string(m) + "_breaks", all.at(m).rss);
    put("breaks_chosen_by_bic", as_number(best_by_bic(all).breaks.size()));
  }
  {
    const Data d{"coal_yearly.csv"};
    const auto count = d.numbers("count"), year = d.numbers("year");
    const RateChange r = find_rate_change(count);
    const auto position = [](double at) { return static_cast<std::size_t>(at) - 1; };
    const Into put{a, "poisson_change", "coal_yearly.csv"};
    double events = 0;
    for (const double c : count) events += c;
    put("events", events);
    put("last_index_before_change", r.at);
    put("last_year_before_change", year.at(position(r.at)));
    put("rate_before", r.rate_before);
    put("rate_after", r.rate_after);
    put("max_minus2_log_lr", r.lr);
    put("profile_set95_first_year", year.at(position(r.low)));
    put("profile_set95_last_year", year.at(position(r.high)));
  }
  {
    const RateChange r = find_rate_change(Data{"coal_dates.csv"}.numbers("date"), 1851, 1963, 0.5);
    const Into put{a, "poisson_change", "coal_dates.csv"};
    put("event_time_of_change", r.at);
    put("events_before", as_number(r.events_before));
    put("rate_before", r.rate_before);
    put("rate_after", r.rate_after);
    put("max_minus2_log_lr", r.lr);
  }
  const Data d{"stagnant.csv"};
  const BrokenLine b = fit_broken_line(d.numbers("x"), d.numbers("y"));
  const Into put{a, "broken_line", "stagnant.csv"};
  put("join_x", b.join);
  put("rss", b.rss);
  put("slope_left", b.slope_left);
  put("slope_right", b.slope_right);
  put("intercept", b.intercept);
  put("se_join_segmented", b.join_se);
  a.compare();
}
