#include "analysis/multiple_testing.hpp"
#include "analysis/trend.hpp"
#include "reference/reference.hpp"

#include <algorithm>
#include <cstdio>
#include <numeric>

#include <catch2/catch.hpp>

using namespace shaftlog;
using namespace shaftlog::reference;

TEST_CASE("reference: trend by ranks", "[analysis][reference]") {
  Answers a{"04_trend_rank.csv"};
  struct Set {
    const char *name, *x, *y;
    std::vector<int> levels;
    bool exact;
  };
  for (const Set& set : std::vector<Set>{{"sen1968.csv", "t", "y", {93, 95}, true},
                                         {"cloud_seeding_hw.csv", "year", "ratio", {95}, true},
                                         {"epa_mk_small.csv", "t", "conc", {}, true},
                                         {"epa_mk_large.csv", "week", "conc", {90, 95}, false},
                                         {"nile.csv", "year", "flow", {90, 95}, false},
                                         {"nist_mavro.csv", "", "y", {95}, false}}) {
    const Data d{set.name};
    const auto y = d.numbers(set.y);
    std::vector<double> x(y.size());
    if (*set.x)
      x = d.numbers(set.x);
    else
      std::iota(x.begin(), x.end(), 1.0);
    const MannKendall m = mann_kendall(x, y);
    const Into mk{a, "mann_kendall", set.name};
    mk("S", static_cast<double>(m.s));
    mk("var_S", m.variance);
    mk("Z_continuity", m.z);
    mk("p_two_sided_normal", m.p_two_sided);
    mk("tau_b", m.tau_b);
    if (set.exact) {
      // The rows hold the tail on the side of S.
      mk("p_one_sided_exact", kendall_tail(std::abs(m.s), static_cast<int>(y.size())));
      mk("p_two_sided_exact", m.p_two_sided_exact.value());
    }
    const Into ts{a, "theil_sen", set.name};
    for (const int level : set.levels) {
      const TheilSen t = theil_sen(x, y, level / 100.0);
      const std::string ci = "ci" + std::to_string(level) + "_";
      ts("pairs", static_cast<double>(t.pairs));
      ts("slope", t.slope);
      ts("intercept_median_residual", t.intercept);
      ts("intercept_median_y_minus_slope_median_t", t.intercept_of_medians);
      ts(ci + "M1", t.ranks.low);
      ts(ci + "M2", t.ranks.high);
      ts(ci + "low_rounded", t.limits.low);
      ts(ci + "high_rounded", t.limits.high);
      if (t.limits_interpolated) {
        ts(ci + "low_gilbert", t.limits_interpolated->low);
        ts(ci + "high_gilbert", t.limits_interpolated->high);
      }
      if (std::string{set.name} == "sen1968.csv") {
        std::vector<double> slopes = pair_slopes(x, y);
        std::sort(slopes.begin(), slopes.end());
        for (const std::size_t k : {4U, 5U, 17U, 18U}) ts("s" + std::to_string(k), slopes.at(k - 1));
        for (const int k : {4, 5})
          ts("exact_coverage_s" + std::to_string(k) + "_s" + std::to_string(22 - k),
             1 - 2 * kendall_tail(23 - 2 * k, 7));
      }
    }
  }
  {
    const Data d{"tuna_hw.csv"};
    const MannKendall m = mann_kendall(d.numbers("lightness"), d.numbers("panel"));
    const Into k{a, "kendall", "tuna_hw.csv"};
    k("T_concordant", 0.5 * (static_cast<double>(m.s) + 36));
    k("tau", m.tau_b);
    k("p_one_sided_exact", m.p_rising_exact.value());
    k("p_one_sided_normal_no_continuity", m.p_rising_plain);
  }
  {
    const Data d{"gmat_conover.csv"};
    const MannKendall m = mann_kendall(d.numbers("gmat"), d.numbers("gpa"));
    const Into k{a, "kendall", "gmat_conover.csv"};
    k("tau_b", m.tau_b);
    k("z_no_continuity", m.z_plain);
    k("p_two_sided_normal", m.p_two_sided_plain);
  }
  for (const Row& r : a.rows())
    if (r.check == "kendall_null") {
      int s = 0, n = 0;
      REQUIRE(std::sscanf(r.quantity.c_str(), "P(S>=%d) n=%d", &s, &n) == 2);
      a.put(r.check, r.dataset, r.quantity, kendall_tail(s, n));
    }
  a.compare();
}

TEST_CASE("reference: many tests at once", "[analysis][reference]") {
  Answers a{"12_multiple_testing.csv"};
  const auto p = Data{"bh1995_pvalues.csv"}.numbers("p");
  const Into put{a, "p_adjust", "bh1995_pvalues.csv"}, reject{a, "rejections", "bh1995_pvalues.csv"};
  const auto adjusted = adjust_p(p);
  for (std::size_t i = 0; i < adjusted.size(); ++i) put("BH_" + std::to_string(i + 1), adjusted[i]);
  const auto found = std::count_if(adjusted.begin(), adjusted.end(), [](double v) { return v <= 0.05; });
  reject("BH at 0.05", static_cast<double>(found));
  reject("BH largest accepted p at 0.05", p.at(static_cast<std::size_t>(found) - 1));
  const std::vector<double> mixed{p[6], p[0], p[14], p[3], p[9]};
  const auto q = adjust_p(mixed);
  a.put("p_adjust_unsorted", "bh1995_pvalues.csv", "BH of ranks 7 1 15 4 10: first", q[0]);
  a.put("p_adjust_unsorted", "bh1995_pvalues.csv", "BH of ranks 7 1 15 4 10: second", q[1]);
  a.compare();
}
