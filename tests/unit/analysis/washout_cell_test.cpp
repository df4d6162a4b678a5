#include "analysis/washout_cell.hpp"

#include "analysis/distributions.hpp"

#include <catch2/catch.hpp>

using namespace shaftlog;

TEST_CASE("washout cell: the inlined exponential agrees with the library's") {
  double worst = 0;
  for (double x = -699.9; x < 699.9; x += 0.0371)
    worst = std::max(worst, std::abs(washout::inline_exp(x) / std::exp(x) - 1));
  CHECK(worst < 5e-16);
  CHECK(washout::inline_exp(0) == 1);
  CHECK(washout::inline_exp(-701) == 0);
  CHECK(washout::inline_exp(-std::numeric_limits<double>::infinity()) == 0);
}

TEST_CASE("washout cell: a mixture by moments is the mixture of one after the other") {
  washout::Cell together;
  washout::Mixture moments{310};
  for (int i = 0; i < 40; ++i) {
    washout::Cell c;
    c.p = 1e-6 * (1 + i * i);
    c.m = 300 + 7 * (i % 5);
    c.d = 0.01 * (i % 7) - 0.03;
    c.vm = 90 + i;
    c.cmd = 0.02 * (i % 3) - 0.02;
    c.vd = 0.004;
    c.onset = 1000 + 50 * i;
    c.log_ratio = 0.02 * i;
    together.add(c);
    moments.add(c, c.onset);
  }
  const washout::Cell whole = moments.whole();
  CHECK(whole.p == Approx(together.p).epsilon(1e-12));
  CHECK(whole.m == Approx(together.m).epsilon(1e-12));
  CHECK(whole.d == Approx(together.d).epsilon(1e-10));
  CHECK(whole.vm == Approx(together.vm).epsilon(1e-10));
  CHECK(whole.cmd == Approx(together.cmd).margin(1e-10));
  CHECK(whole.vd == Approx(together.vd).epsilon(1e-10));
  CHECK(whole.onset == Approx(together.onset).epsilon(1e-12));
  CHECK(whole.log_ratio == Approx(together.log_ratio).epsilon(1e-12));
  CHECK(washout::Mixture{0}.whole().p == 0);
}

TEST_CASE("washout cell: far past a bound the weight goes on smoothly") {
  // A dose far above the loss: the cavity is full for sure. 7 sd below it the inner part is left out; nothing may jump.
  washout::Reading r;
  r.run_h = 100;
  r.capacity = 400;
  r.amount = 4;
  r.is_known = true;
  r.outlier_density = 0.01;
  double before = -1;
  for (double delivered = 88; delivered < 110; delivered += 0.25) {
    r.delivered = delivered;
    washout::Cell c;
    c.p = 1;
    c.vm = 100;
    washout::pass(c, 0.25, r);
    CHECK(c.p > 0);
    CHECK(std::isfinite(c.m + c.vm + c.d + c.vd + c.cmd));
    if (before > 0) CHECK(c.p == Approx(before).epsilon(1e-5));
    before = c.p;
  }
}

TEST_CASE("distributions: the beta law in double agrees with the one helped by long double") {
  for (const double a : {1.0, 1.9, 17.4, 230.0, 900.0})
    for (const double b : {1.0, 2.8, 41.0, 900.0})
      for (const double x : {0.0, 1e-6, 0.02, 0.3, a / (a + b), 0.7, 0.995, 1.0})
        CHECK(beta_cdf_in_double(x, a, b) == Approx(beta_cdf(x, a, b)).margin(1e-12));
}
