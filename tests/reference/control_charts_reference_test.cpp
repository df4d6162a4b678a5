#include "analysis/control_charts.hpp"
#include "reference/reference.hpp"

#include <cstdio>

#include <catch2/catch.hpp>

using namespace shaftlog;
using namespace shaftlog::reference;

namespace {

void put_run_lengths(Answers& a) {
  for (const Row& r : std::vector<Row>{a.rows()}) {
    const std::string& q = r.quantity;
    const auto put = [&](double v) { a.put(r.check, r.dataset, q, v); };
    const auto number_after = [&](const char* key) {
      const auto at = q.find(key);
      REQUIRE(at != std::string::npos);
      return std::stod(q.substr(at + std::string{key}.size()));
    };
    const bool two = q.find("two-sided") != std::string::npos;
    if (r.check == "arl") {
      const double shift = number_after("shift=");
      if (q.rfind("shewhart", 0) == 0) {
        put(shewhart_run_length(3, shift));
      } else if (q.rfind("ewma", 0) == 0) {
        put(ewma_run_length(number_after("lambda="), number_after("L="), shift));
      } else {
        const double k = number_after("k="), h = number_after("h=");
        const double head = q.find("head start h/2") != std::string::npos ? h / 2 : 0;
        put(two ? cusum_run_length_two_sided(k, h, shift, head) : cusum_run_length(k, h, shift, head));
      }
    } else if (r.check == "arl_design") {
      const double wanted = number_after("ARL0=");
      put(q.rfind("cusum", 0) == 0 ? cusum_limit_for(number_after("k="), wanted)
                                   : ewma_width_for(number_after("lambda="), wanted));
    }
  }
}

}  // namespace

TEST_CASE("reference: control charts and their run lengths", "[analysis][reference]") {
  Answers a{"05_control_charts.csv"};
  {
    const auto x = Data{"nist_flowrate.csv"}.numbers("x");
    const Into put{a, "individuals", "nist_flowrate.csv"};
    const IndividualsChart c = individuals_chart(x), printed = individuals_chart(x, 3, 1.128);
    put("mean", c.mean);
    put("mean_moving_range", c.mean_moving_range);
    put("ucl_with_d2_1.128", printed.high);
    put("lcl_with_d2_1.128", printed.low);
    put("sigma_from_mr_exact_d2", c.sigma);
    put("ucl_exact_d2", c.high);
    put("lcl_exact_d2", c.low);
    a.put("individuals", "", "d2_n2", moving_range_d2());
    a.put("individuals", "", "D4_n2", moving_range_d4());
  }
  {
    const EwmaChart c = ewma_chart(Data{"nist_ewma.csv"}.numbers("x"), 50, 2.0539, 0.3);
    const Into put{a, "ewma", "nist_ewma.csv"};
    for (std::size_t i = 0; i < c.values.size(); ++i) put("ewma_" + std::to_string(i + 1), c.values[i]);
    put("ucl_asymptotic", c.high_asymptotic);
    put("lcl_asymptotic", c.low_asymptotic);
    for (const std::size_t i : {1U, 2U, 5U, 20U}) put("ucl_exact_time_" + std::to_string(i), c.high.at(i - 1));
  }
  {
    const CusumChart c = cusum_chart(Data{"nist_cusum.csv"}.numbers("x"), 325, 0.3175, 4.1959);
    const Into put{a, "cusum", "nist_cusum.csv"};
    for (std::size_t i = 0; i < c.sums.size(); ++i) {
      const std::string at = "_" + std::to_string(i + 1);
      put("upper" + at, c.upper[i]);
      put("lower" + at, c.lower[i]);
      put("sum" + at, c.sums[i]);
    }
    put("first_signal_group", static_cast<double>(c.first_signal.value() + 1));
    put("steps_since_zero_at_signal", static_cast<double>(c.steps_since_zero));
    put("new_mean_at_signal", c.new_mean);
  }
  {
    const auto x = Data{"lucas_crosier_fir.csv"}.numbers("x");
    const CusumChart plain = cusum_chart(x, 0, 0.5, 5), head = cusum_chart(x, 0, 0.5, 5, 2.5);
    const Into put{a, "cusum_fir", "lucas_crosier_fir.csv"};
    for (std::size_t i = 0; i < x.size(); ++i) {
      put("upper_" + std::to_string(i + 1), plain.upper[i]);
      put("upper_fir_" + std::to_string(i + 1), head.upper[i]);
    }
  }
  put_run_lengths(a);
  a.compare();
}
