#include "analysis/fill.hpp"

#include "base/error.hpp"

#include <cmath>
#include <limits>

#include <catch2/catch.hpp>

using namespace shaftlog;

namespace {

constexpr Instant kStart = from_unix(1700000000);
Instant after_h(double run_h) {  // 12 running hours a day
  return kStart + std::chrono::seconds{static_cast<std::int64_t>(run_h * 7200)};
}

HoursCurve even_hours(double until_h) {
  std::vector<HoursCurve::Point> points;
  for (double h = 0; h <= until_h + 1; h += until_h / 40) points.push_back({after_h(h), h, false, 0.1});
  return HoursCurve{points};
}

struct Case {
  ShaftHistory history;
  WashoutPrior prior;
  double total_h = 0;
  explicit Case(std::initializer_list<std::pair<double, double>> greasings) {
    history.cavity_cm3 = 400;
    history.first_is_full = true;
    prior.mean_log_w = std::log(0.25);
    prior.sd_log_w = 0.3;
    for (const auto& [run_h, taken] : greasings) {
      GreasingInterval g;
      g.from = after_h(total_h);
      total_h += run_h;
      g.at = after_h(total_h);
      g.run_h = run_h;
      g.taken_cm3 = taken;
      history.intervals.push_back(g);
    }
  }
  FillResult fill(double open_h = 0, std::optional<Instant> due = {}) const {
    return reconstruct_fill(history, fit_washout(history, prior), prior, even_hours(total_h + open_h + 1), {}, 20,
                            after_h(total_h + open_h), due);
  }
};

const std::initializer_list<std::pair<double, double>> kHealthy{{300, 74}, {300, 76}, {310, 77},
                                                                {290, 73}, {300, 75}, {300, 74}};

}  // namespace

TEST_CASE("fill: a cavity greased in time never starves", "[analysis][fill]") {
  const FillResult r = Case{kHealthy}.fill();
  REQUIRE(r.starved_h);
  CHECK(r.starved_h->most == 0);
  CHECK(r.fill_pct->value > 97);
  CHECK(r.p_below_now < 0.01);
  CHECK(r.hours_to_reserve->value == Approx(320 / 0.25).epsilon(0.05));
  CHECK(r.hours_to_reserve->low < 1200);
  CHECK(r.hours_to_reserve->high > 1350);
  for (const FillPoint& p : r.points) {
    CHECK(p.fill_pct.low <= p.fill_pct.value);
    CHECK(p.fill_pct.value <= p.fill_pct.high);
  }
}

TEST_CASE("fill: an emptied cavity starved for about 620 hours, with a range", "[analysis][fill]") {
  Case c{{{300, 74}, {300, 76}, {310, 77}, {290, 73}, {300, 75}, {300, 74}, {1900, 400}}};
  const FillResult r = c.fill();
  CHECK(r.starved_h->best == Approx(620).margin(60));
  CHECK(r.starved_h->least < 540);
  CHECK(r.starved_h->least > 300);
  CHECK(r.starved_h->most > 690);
  CHECK(r.starved_h->most < 1000);
  // Without any reserve it was empty for about 300 h, and perhaps hardly at all.
  const FillResult empty = reconstruct_fill(c.history, fit_washout(c.history, c.prior), c.prior, even_hours(c.total_h),
                                            {}, 0, after_h(c.total_h), {});
  CHECK(empty.starved_h->best == Approx(300).margin(60));
  CHECK(empty.starved_h->least < 200);
}

TEST_CASE("fill: the open interval is carried to the present and to the due day", "[analysis][fill]") {
  const Case c{kHealthy};
  const FillResult r = c.fill(1000, after_h(c.total_h + 2000));
  CHECK(r.fill_pct->value == Approx(100 * (1 - 250.0 / 400)).margin(4));
  CHECK(r.p_below_now < 0.2);
  CHECK(r.p_below_before_due > 0.9);
  CHECK_FALSE(r.starved_since);
  const FillResult late = c.fill(1500);
  CHECK(late.p_below_now > 0.75);
  REQUIRE(late.starved_since);
  CHECK(hours_between(after_h(c.total_h + 1280), *late.starved_since) == Approx(0).margin(200));
  CHECK(late.hours_to_reserve->value == 0);
  CHECK(late.starved_h->best == Approx(220).margin(60));
}

TEST_CASE("fill: an automatic dose above the loss keeps the cavity full", "[analysis][fill]") {
  Case c{{{300, 0}, {300, 0}, {300, 0}}};
  c.history.is_automatic = true;
  for (GreasingInterval& g : c.history.intervals) g.delivered_cm3 = 300;
  const FillResult r = c.fill();
  CHECK(r.starved_h->most == 0);
  CHECK_FALSE(r.hours_to_reserve);
}

TEST_CASE("fill: nothing is said where cavity or washout is not known", "[analysis][fill]") {
  Case unknown{kHealthy};
  unknown.history.cavity_cm3.reset();
  CHECK_FALSE(unknown.fill().fill_pct);
  CHECK_FALSE(unknown.fill().starved_h);
  Case empty{{}};
  empty.total_h = 100;
  CHECK_FALSE(empty.fill().fill_pct);
}

TEST_CASE("fill: a reserve that is no share is refused", "[analysis][fill]") {
  const Case c{kHealthy};
  for (const double bad : {-1.0, 101.0, std::numeric_limits<double>::quiet_NaN()})
    CHECK_THROWS_AS(reconstruct_fill(c.history, fit_washout(c.history, c.prior), c.prior, even_hours(c.total_h), {},
                                     bad, after_h(c.total_h), {}),
                    Error);
}
