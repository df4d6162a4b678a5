#include "analysis/distributions.hpp"
#include "analysis/washout_lanes.hpp"

#include <array>
#include <random>
#include <vector>

#include <catch2/catch.hpp>

using namespace shaftlog;

TEST_CASE("washout cell: the inlined exponential agrees with the library's") {
  double worst = 0;
  for (double x = -699.9; x < 699.9; x += 0.0371) worst = std::max(worst, std::abs(inline_exp(x) / std::exp(x) - 1));
  CHECK(worst < 5e-16);
  CHECK(inline_exp(0) == 1);
  CHECK(inline_exp(-701) == 0);
  CHECK(inline_exp(-std::numeric_limits<double>::infinity()) == 0);
}

TEST_CASE("washout cell: the inlined logarithm agrees with the library's") {
  double worst = 0;
  for (double e = -700; e < 700; e += 0.0137) {
    const double x = std::exp(e), log_x = std::log(x);
    worst = std::max(worst, std::abs(inline_log(x) - log_x) / std::max(std::abs(log_x), 1e-3));
  }
  for (double x = 0.5; x < 2; x += 1.37e-5)  // about 1, where little is left of it
    worst = std::max(worst, std::abs(inline_log(x) - std::log(x)) / std::max(std::abs(std::log(x)), 1e-3));
  CHECK(worst < 5e-16);
  CHECK(inline_log(1) == 0);
}

TEST_CASE("washout cell: the inlined normal distribution agrees with the library's") {
  double worst = 0, worst_ratio = 0;
  for (double z = -6.999; z < 7; z += 0.00137) {
    const double off = washout::normal_cdf(z) - shaftlog::normal_cdf(z);
    worst = std::max(worst, std::abs(off));
    worst_ratio = std::max(worst_ratio, std::abs(off) / shaftlog::normal_cdf(z));
  }
  CHECK(worst < 1e-15);
  CHECK(worst_ratio < 1e-8);
  CHECK(washout::normal_cdf(-7.5) == 0);
  CHECK(washout::normal_cdf(7.5) == 1);
}

TEST_CASE("washout cell: a cavity that took far more than expected before the limit is believed to have had room") {
  washout::Reading r;
  r.run_h = 100;
  r.capacity = 900;
  r.is_known = true;
  r.ended = Ended::limit;
  double before = 0;
  for (r.amount = 20; r.amount < 800; r.amount += 5) {  // from well within the prediction to far beyond it
    washout::Cell c;
    c.p = 1;
    c.vm = 100;
    const washout::Ahead a = washout::predict(c, 0.25, r);
    washout::pass(c, 0.25, r);
    CHECK(std::isfinite(c.p + c.m + c.vm + c.d + c.vd));
    const double room = c.d - a.d;  // the duty that the amount asks for rises smoothly
    CHECK(room >= before - 1e-9);
    before = room;
  }
}

namespace {

/// \param spread_epsilon of the variances and the covariance
void check_same(const washout::Cell& lane, const washout::Cell& single, double spread_epsilon) {
  CHECK(lane.p == Approx(single.p).epsilon(1e-9));
  CHECK(lane.m == Approx(single.m).epsilon(1e-9).margin(1e-9));
  CHECK(lane.vm == Approx(single.vm).epsilon(spread_epsilon));
  CHECK(lane.cmd == Approx(single.cmd).epsilon(spread_epsilon).margin(1e-12));
  CHECK(lane.d == Approx(single.d).epsilon(1e-9).margin(1e-12));
  CHECK(lane.vd == Approx(single.vd).epsilon(spread_epsilon));
}

}  // namespace

TEST_CASE("washout lanes: each is passed as a single cell is, whether none, few or most meet an end of the cavity") {
  std::mt19937_64 random{41};
  std::uniform_real_distribution<double> even{0, 1};
  for (const double share : {0.0, 0.1, 0.5, 0.9, 1.0}) {
    washout::Reading r;
    r.run_h = 300;
    r.capacity = 600;
    r.amount = 250;
    r.is_known = true;
    r.fill_var = 60;
    r.outlier_density = washout::slip_density(r.amount, 300);
    washout::Lanes lanes;
    std::vector<std::pair<washout::Cell, double>> singles;
    for (int i = 0; i < 40; ++i) {
      washout::Cell c;
      c.p = 0.01 + even(random);
      c.vm = 60;
      c.vd = 0.003;
      c.cmd = 0.01;
      const double w = even(random) < share ? (even(random) < 0.5 ? 0.02 : 2.2) : 0.7 + 0.5 * even(random);
      lanes.push(c, w);
      singles.emplace_back(c, w);
    }
    lanes.predict(r);
    lanes.pass(r);
    for (std::size_t i = 0; i < singles.size(); ++i) {
      auto& [single, w] = singles[i];
      washout::pass(single, w, r);
      const washout::Cell lane = lanes.cell(i);
      CAPTURE(share, i, w);
      check_same(lane, single, 1e-9);
    }
  }
}

TEST_CASE("washout lanes: a greasing broken off and one that took nothing are passed as single cells are") {
  std::mt19937_64 random{43};
  std::uniform_real_distribution<double> even{0, 1};
  const Ended ended = GENERATE(Ended::limit, Ended::stopped, Ended::pressure, Ended::packed, Ended::not_done);
  const double delivered = GENERATE(0.0, 90.0, 400.0), amount = GENERATE(0.0, 30.0, 250.0, 900.0);
  const double capacity = GENERATE(600.0, washout::kNoCapacity);
  washout::Reading r;
  r.run_h = 300;
  r.capacity = capacity;
  r.delivered = delivered;
  r.delivered_var = 0.0016 * delivered * delivered;
  r.amount = amount;
  r.ended = ended;
  r.is_known = true;
  r.fill_var = 60;
  r.outlier_density = washout::slip_density(r.amount, 300);
  washout::Lanes lanes;
  std::vector<std::pair<washout::Cell, double>> singles;
  for (int i = 0; i < 40; ++i) {
    washout::Cell c;
    c.p = 0.01 + even(random);
    c.m = 60 * even(random) - 30;
    c.vm = 5 + 90 * even(random);
    c.vd = 0.003;
    c.cmd = 0.02 * even(random) - 0.01;
    const double w = std::exp(5 * even(random) - 4);
    lanes.push(c, w);
    singles.emplace_back(c, w);
  }
  lanes.predict(r);
  lanes.pass(r);
  for (std::size_t i = 0; i < singles.size(); ++i) {
    auto& [single, w] = singles[i];
    washout::pass(single, w, r);
    const washout::Cell lane = lanes.cell(i);
    CAPTURE(static_cast<int>(ended), delivered, amount, capacity, i, w);
    check_same(lane, single, 1e-8);
  }
}

TEST_CASE("washout lanes: an amount beyond all belief leaves finite hypotheses") {
  for (double amount = 600; amount < 1e6; amount *= 1.03) {
    washout::Reading r;
    r.run_h = 300;
    r.capacity = 600;
    r.amount = amount;
    r.is_known = true;
    r.fill_var = 20;
    r.relative_sd = 0.03;
    r.outlier_density = washout::slip_density(amount, 300);
    washout::Lanes lanes;
    for (const double w : {0.01, 0.5, 1.9, 2.1, 9.0}) {
      washout::Cell c;
      c.p = 0.2;
      c.vm = 20;
      lanes.push(c, w);
    }
    lanes.predict(r);
    lanes.pass(r);
    for (std::size_t i = 0; i < lanes.size(); ++i) {
      const washout::Cell c = lanes.cell(i);
      CAPTURE(amount, i);
      CHECK(std::isfinite(c.p + c.m + c.vm + c.d + c.vd + c.cmd));
      CHECK(c.p > 0);
    }
  }
}

TEST_CASE("washout cell: a cavity that takes nothing was full, and the loss is only bounded") {
  washout::Reading r;
  r.run_h = 100;
  r.is_known = true;
  r.amount = 0;
  double before = 2;
  for (double w = 0.001; w < 1; w *= 1.3) {
    washout::Cell c;
    c.p = 1;
    c.vm = 100;
    washout::pass(c, w, r);
    CHECK(c.p < before);          // a lower loss is ever more likely
    CHECK(c.m < w * 100 + 1e-9);  // less missing than the loss alone would say
    CHECK(c.vm < 100 + w * w * 100 * 100 * 0.02);
    before = c.p;
  }
}

TEST_CASE("washout cell: what a fed cavity takes, or does not, weighs as quadrature over all it may have been says") {
  // Missing volume after the last greasing, loss less doses, and the level of this "full" are normal; doses fill up to
  // the usual "full", or as far as the cavity had been packed.
  struct Case {
    double m, m_sd, loss, loss_sd, doses, fill_sd;
  };
  const Case cases[] = {{0, 12, 100, 10, 100, 16},  {0, 12, 60, 8, 100, 16},   {-12, 8, 95, 10, 100, 16},
                        {-12, 8, 120, 10, 100, 16}, {10, 10, 90, 10, 100, 16}, {0, 3, 100, 12, 100, 25},
                        {-25, 6, 70, 15, 100, 20},  {0, 12, 180, 15, 100, 12}};
  const auto density = [](double x, double mean, double sd) {
    const double z = (x - mean) / sd;
    return std::exp(-0.5 * z * z) / (sd * 2.5066282746310002);
  };
  for (const Case& k : cases) {
    for (const double y : {0.0, 6.0, 25.0, 70.0}) {
      CAPTURE(k.m, k.loss, k.fill_sd, y);
      washout::Reading r;
      r.run_h = 100;
      r.delivered = k.doses;
      r.amount = y;
      r.is_known = true;
      r.capacity = 400;
      r.outlier_share = 0;
      r.relative_sd = 0;
      r.season_var = 0;
      r.fill_var = k.fill_sd * k.fill_sd;
      r.duty_var = (k.loss_sd / k.loss) * (k.loss_sd / k.loss);
      washout::Cell c;
      c.p = 1;
      c.m = k.m;
      c.vm = k.m_sd * k.m_sd;
      washout::pass(c, k.loss / r.run_h, r);

      constexpr int kGrid = 240;
      const double s = std::sqrt(r.fill_var + washout::kRoundingVariance);
      double weight = 0, left = 0, second = 0;
      for (int i = 0; i < kGrid; ++i) {
        const double m = k.m + k.m_sd * (12.0 * (i + 0.5) / kGrid - 6);
        for (int j = 0; j < kGrid; ++j) {
          const double u = k.loss - k.doses + k.loss_sd * (12.0 * (j + 0.5) / kGrid - 6);
          const double x = std::clamp(m + u, std::min(m, 0.0), r.capacity);
          const double p = density(m, k.m, k.m_sd) * density(u, k.loss - k.doses, k.loss_sd) * (12 * k.m_sd / kGrid) *
                           (12 * k.loss_sd / kGrid);
          // Nothing: this "full" lay at or above x, which stays. Else it lay at x - y but for the rounding.
          const double like = y > 0 ? density(y, x, s) : 0.5 * std::erfc(x / s / 1.4142135623730951);
          const double after = y > 0 ? -r.fill_var / (s * s) * (y - x) : x;
          weight += p * like;
          left += p * like * after;
          second += p * like * (after * after + (y > 0 ? r.fill_var - r.fill_var * r.fill_var / (s * s) : 0));
        }
      }
      left /= weight;
      CHECK(c.p == Approx(weight).epsilon(0.15).margin(2e-4));
      if (weight < 1e-4) continue;  // far out the moments are those of one part of a mixture
      CHECK(c.m == Approx(left).margin(0.25 * k.fill_sd));
      CHECK(std::sqrt(c.vm) == Approx(std::sqrt(second / weight - left * left)).margin(0.2 * k.fill_sd));
    }
  }
}

TEST_CASE("washout cell: a mixture keeps weight, means and spreads whatever the order") {
  washout::Cell forth, back;
  double p = 0, m = 0, mm = 0, onset = 0, onset2 = 0, base = 0, log_w = 0;
  std::vector<washout::Cell> all;
  for (int i = 0; i < 40; ++i) {
    washout::Cell c;
    c.p = 1e-6 * (1 + i * i);
    c.m = 300 + 7 * (i % 5);
    c.d = 0.01 * (i % 7) - 0.03;
    c.vm = 90 + i;
    c.cmd = 0.02 * (i % 3) - 0.02;
    c.vd = 0.004;
    c.onset = 1000 + 50 * i;
    c.onset_var = 400 + i;
    c.base = -1.5 + 0.01 * i;
    c.log_w = -1 + 0.02 * i;
    all.push_back(c);
    p += c.p;
    m += c.p * c.m;
    mm += c.p * (c.vm + c.m * c.m);
    onset += c.p * c.onset;
    onset2 += c.p * (c.onset_var + c.onset * c.onset);
    base += c.p * c.base;
    log_w += c.p * c.log_w;
  }
  for (const auto& c : all) forth.add(c);
  for (auto c = all.rbegin(); c != all.rend(); ++c) back.add(*c);
  for (const washout::Cell& x : {forth, back}) {
    CHECK(x.p == Approx(p).epsilon(1e-12));
    CHECK(x.m == Approx(m / p).epsilon(1e-12));
    CHECK(x.vm == Approx(mm / p - m / p * m / p).epsilon(1e-9));
    CHECK(x.onset == Approx(onset / p).epsilon(1e-12));
    CHECK(x.onset_var == Approx(onset2 / p - onset / p * onset / p).epsilon(1e-9));
    CHECK(x.base == Approx(base / p).epsilon(1e-12));
    CHECK(x.log_w == Approx(log_w / p).epsilon(1e-12));
  }
  CHECK(forth.cmd == Approx(back.cmd).margin(1e-12));
  CHECK(forth.vd == Approx(back.vd).epsilon(1e-12));
}

TEST_CASE("washout lanes: many side by side come out as one by one") {
  std::mt19937_64 bits{20261125};
  const auto between = [&](double a, double b) {
    return a + (b - a) * static_cast<double>(bits() >> 11U) / 9007199254740992.0;
  };
  for (int round = 0; round < 400; ++round) {
    washout::Reading r;
    r.run_h = between(1, 900);
    r.run_var = between(0, 25);
    r.capacity = round % 4 == 0 ? washout::kNoCapacity : between(100, 700);
    r.delivered = round % 3 == 0 ? 0 : between(0, 400);
    r.delivered_var = between(0, 200);
    r.is_known = round % 11 != 0;
    r.is_blocked = round % 13 == 0;
    r.amount = std::floor(between(0, 500));
    constexpr std::array<Ended, 7> kEnded{Ended::pressure, Ended::pressure, Ended::pressure, Ended::limit,
                                          Ended::stopped,  Ended::not_done, Ended::packed};
    r.ended = kEnded[static_cast<std::size_t>(round) % kEnded.size()];
    r.season_decay = between(0.3, 1);
    r.outlier_density = washout::slip_density(r.amount, between(0, 400));
    r.fill_var = between(30, 900);
    r.relative_sd = between(0.01, 0.15);
    r.duty_var = between(0.001, 0.06);
    r.season_var = between(0.001, 0.03);
    washout::Lanes lanes;
    std::vector<washout::Cell> plain;
    double whole = 0;
    const int n = 1 + round % 37;
    for (int i = 0; i < n; ++i) {
      washout::Cell c;
      c.p = between(1e-4, 1);
      c.m = between(-20, 300);
      c.vm = between(1, 900);
      c.d = between(-0.2, 0.2);
      c.vd = between(0.0001, 0.02);
      c.cmd = between(-0.5, 0.5) * std::sqrt(c.vm * c.vd);
      c.onset = i;
      const double w = std::exp(between(-4, 1));
      lanes.push(c, w);
      washout::pass(c, w, r);
      plain.push_back(c);
      whole += c.p;
    }
    lanes.predict(r);
    lanes.pass(r);
    for (int i = 0; i < n; ++i) {
      const washout::Cell c = lanes.cell(static_cast<std::size_t>(i)), &want = plain[static_cast<std::size_t>(i)];
      CAPTURE(round, i, want.p, r.capacity);
      // Parts of less than 1e-12 of a weight are left out at different places.
      CHECK(c.p == Approx(want.p).epsilon(2e-4).margin(1e-12 * whole));
      CHECK(c.onset == i);
      if (want.p < 1e-9 * whole) continue;
      CHECK(c.m == Approx(want.m).epsilon(1e-4).margin(1e-3));
      CHECK(c.vm == Approx(want.vm).epsilon(1e-3).margin(1e-3));
      CHECK(c.d == Approx(want.d).epsilon(1e-4).margin(1e-5));
      CHECK(c.vd == Approx(want.vd).epsilon(1e-3).margin(1e-7));
      CHECK(c.cmd == Approx(want.cmd).epsilon(1e-3).margin(1e-3));
    }
  }
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

TEST_CASE("slow duty ahead: mean and spread of the time to come are those of many walks") {
  // Sums over small steps of x' = a x + noise, from a state that is known to some extent.
  const double season = 0.1, days = 60, step = 0.5, a = std::exp(-step / washout::kSeasonDays);
  WashoutStep known;
  known.slow_duty = 0.12;
  known.slow_duty_sd = 0.05;
  known.slow_duty_cov = -0.002;
  const washout::SlowAhead ahead = washout::slow_ahead(&known, season, days);
  double mean = 0, from_start = 0, variance = 0;  // of the mean of the steps: exact, by its weights
  const int n = static_cast<int>(days / step);
  for (int i = 1; i <= n; ++i) mean += known.slow_duty * std::pow(a, i) / n;
  for (int i = 1; i <= n; ++i) from_start += std::pow(a, i) / n;
  for (int i = 1; i <= n; ++i) {
    const double weight = (1 - std::pow(a, n - i + 1)) / (1 - a) / n;  // of the i-th noise in the mean
    variance += weight * weight * (1 - a * a) * season * season;
  }
  variance += std::pow(from_start * known.slow_duty_sd, 2);
  CHECK(ahead.mean == Approx(mean).epsilon(0.01));
  CHECK(ahead.sd == Approx(std::sqrt(variance)).epsilon(0.01));
  CHECK(ahead.cov == Approx(from_start * known.slow_duty_cov).epsilon(0.01));

  const washout::SlowAhead now = washout::slow_ahead(&known, season, 0),
                           never = washout::slow_ahead(nullptr, season, 0);
  CHECK(now.mean == Approx(known.slow_duty).epsilon(1e-4));
  CHECK(now.sd == Approx(known.slow_duty_sd).epsilon(1e-3));
  CHECK(never.mean == 0);
  CHECK(never.sd == Approx(season).epsilon(1e-3));
  CHECK(washout::slow_ahead(&known, season, 36500).sd < 0.2 * season);  // a mean of many seasons
  CHECK(washout::joint_sd(0.1, now) < std::hypot(0.1, now.sd));         // one knowledge, counted once
}
