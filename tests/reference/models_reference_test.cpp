// This project's own models on cases that reduce to known ones; the same cases stand in recompute/16_models.py.
#include "analysis/advise.hpp"
#include "analysis/delivery.hpp"
#include "analysis/inspections.hpp"
#include "analysis/rate_rise.hpp"
#include "analysis/washout_cell.hpp"
#include "reference/reference.hpp"

#include <array>
#include <cmath>

#include <catch2/catch.hpp>
#include <fmt/format.h>

using namespace shaftlog;
using namespace shaftlog::reference;

namespace {

const Instant kStart = from_unix(1700000000);
Instant day(double d) { return kStart + std::chrono::seconds{std::llround(d * 86400)}; }

WashoutPrior prior_of(double season) {
  WashoutPrior p;
  p.fill_sd_cm3 = 8;
  p.relative_sd = 0;
  p.duty_sd = 0.10;
  p.season_sd = season;
  return p;
}

/// ln of the weight that is left of one hypothesis with the rate `w`. \param slips as the product takes them
double log_likelihood(const std::vector<GreasingInterval>& intervals, const WashoutPrior& prior, double w) {
  washout::Cell cell = washout::start(true, washout::kNoCapacity, prior);
  for (const GreasingInterval& g : intervals) {
    washout::Reading r = washout::reading_of(g, prior, washout::kNoCapacity);
    r.outlier_share = 0;
    washout::pass(cell, w, r);
  }
  return std::log(cell.p);
}

void put_washout(Answers& a) {
  {
    constexpr std::array<double, 8> hours{260, 310, 240, 330, 290, 270, 350, 300};
    constexpr std::array<double, 8> taken{74, 95, 66, 97, 90, 84, 101, 92}, days{20, 25, 18, 30, 22, 21, 28, 24};
    std::vector<GreasingInterval> all;
    double t = 0;
    for (std::size_t i = 0; i < hours.size(); ++i) {
      GreasingInterval g;
      g.from = day(t);
      g.at = day(t += days[i]);
      g.run_h = hours[i];
      g.taken_cm3 = taken[i];
      all.push_back(g);
    }
    const WashoutPrior prior = prior_of(0.09);
    const Into put{a, "washout_gaussian", ""};
    for (const double w : {0.27, 0.30, 0.33})
      put(fmt::format("log_likelihood_{:.2f}", w), log_likelihood(all, prior, w));
    const auto fit = washout::fit_constant(all, true, washout::kNoCapacity, prior, prior.sd_log_w);
    put("posterior_mean_log_w", fit.mean_log_w);
    put("posterior_sd_log_w", fit.sd_log_w);
    // With even duty ln of the likelihood is a parabola of the rate: its top and width are the generalised least
    // squares'.
    WashoutPrior even = prior_of(0);
    even.duty_sd = 0;
    constexpr double step = 0.01, middle = 0.30;
    const double below = log_likelihood(all, even, middle - step), at = log_likelihood(all, even, middle),
                 above = log_likelihood(all, even, middle + step), bend = (above - 2 * at + below) / (step * step);
    put("gls_rate", middle - (above - below) / (2 * step) / bend);
    put("gls_se", std::sqrt(-1 / bend));
  }
  {
    constexpr std::array<double, 6> hours{300, 260, 340, 280, 310, 295}, taken{40, 82, 65, 30, 96, 55};
    constexpr std::array<bool, 6> is_exact{false, true, false, false, true, false};
    std::vector<GreasingInterval> all;
    for (std::size_t i = 0; i < hours.size(); ++i) {
      GreasingInterval g;
      g.from = day(40.0 * static_cast<double>(i));
      g.at = day(40.0 * static_cast<double>(i) + 30);
      g.run_h = hours[i];
      g.taken_cm3 = taken[i];
      g.ended = is_exact[i] ? Ended::pressure : Ended::limit;
      all.push_back(g);
      GreasingInterval packed;  // full again, so that the next stands by itself
      packed.from = g.at;
      packed.at = day(40.0 * static_cast<double>(i) + 40);
      packed.taken_cm3 = 10;
      packed.ended = Ended::packed;
      all.push_back(packed);
    }
    const WashoutPrior prior = prior_of(0);
    const Into put{a, "washout_tobit", ""};
    for (const double w : {0.15, 0.25, 0.35})
      put(fmt::format("log_likelihood_{:.2f}", w), log_likelihood(all, prior, w));
    const auto fit = washout::fit_constant(all, true, washout::kNoCapacity, prior, prior.sd_log_w);
    put("posterior_mean_log_w", fit.mean_log_w);
    put("posterior_sd_log_w", fit.sd_log_w);
  }
  struct Clipped {
    const char* name;
    double mean, var, capacity, amount;
  };
  for (const Clipped& c : {Clipped{"near_empty", 95, 225, 100, 98}, Clipped{"over_covered", -5, 144, 400, 3},
                           Clipped{"both_ends", 40, 2500, 90, 60}}) {
    washout::Reading r;
    r.capacity = c.capacity;
    r.amount = c.amount;
    r.is_known = true;
    r.outlier_share = 0;
    r.fill_var = 64;
    r.relative_sd = 0.06;
    washout::Ahead ahead;
    ahead.mean = c.mean;
    ahead.var = c.var;
    washout::Cell cell;
    cell.p = 1;
    washout::leave_ahead(cell, ahead, r);
    a.put("washout_clipped", "", c.name, cell.p);
  }
}

void put_delivery(Answers& a) {
  constexpr std::array<double, 11> level{92.00, 87.60, 84.90, 80.70, 77.00, 73.80, 69.10, 66.20, 62.00, 58.70, 55.30};
  constexpr LubricatorId pump{1};
  VesselLog log;
  Lubricator l;
  l.id = pump;
  l.settings.push_back({std::nullopt, cm3(5000), std::nullopt, {}});
  log.lubricators.push_back(l);
  std::map<ShaftId, HoursCurve> hours;
  std::vector<HoursCurve::Point> points;
  for (std::size_t i = 0; i < level.size(); ++i)  // always running, so that the hours are beyond doubt
    points.push_back({day(2.0 * static_cast<double>(i)), 48.0 * static_cast<double>(i)});
  for (std::uint32_t s = 1; s <= 4; ++s) {
    log.feeds.push_back({pump, ShaftId{s}, std::nullopt, Volume::from_base(250), 900});
    hours[ShaftId{s}] = HoursCurve{points};
  }
  for (std::size_t i = 0; i < level.size(); ++i) {
    Logged<LevelReading> r;
    r.id.bytes[15] = static_cast<std::uint8_t>(i + 1);
    r.at = day(2.0 * static_cast<double>(i));
    r.lubricator = pump;
    r.what = LevelReading{Level::from_base(std::llround(level[i] * 100))};
    log.levels.push_back(r);
  }
  const Instant end = day(20);
  const Schedule schedule{log, hours, end};
  REQUIRE(schedule.expected_cm3(pump, kStart, day(2)) == Approx(192));
  const DeliveryResult r = balance_delivery(log, log.lubricators[0], schedule, end);
  REQUIRE(r.delivery_ratio);
  const Into put{a, "delivery_one_ratio", ""};
  put("median", r.delivery_ratio->value);
  put("low", r.delivery_ratio->low);
  put("high", r.delivery_ratio->high);
  put("least_squares", r.delivery_ratio->value);
}

void put_alarms(Answers& a) {
  const Data data{"submarine_diesels.csv"};
  std::vector<double> events;
  for (std::size_t i = 0; i < data.text("engine").size(); ++i)
    if (data.text("engine")[i] == "a") events.push_back(data.numbers("hours")[i]);
  const RateWatch w = watch_rate(events, 0, 25518);
  REQUIRE(w.standing);
  const Into put{a, "alarm_rise", ""};
  const auto three = [&](const std::string& name, const Estimate& e) {
    put(name + "_median", e.value);
    put(name + "_low", e.low);
    put(name + "_high", e.high);
  };
  three("factor", w.standing->factor);
  three("began_h", w.standing->began_h);
  double bursts = 1;
  for (std::size_t i = 1; i < events.size(); ++i) bursts += events[i] - events[i - 1] > kBurst_h ? 1 : 0;
  put("bursts", bursts);
}

void put_inspections(Answers& a) {
  const Into put{a, "inspections", ""};
  put("tea_3_of_4", hypergeometric_at_least(3, 4, 4, 8));
  put("tea_4_of_4", hypergeometric_at_least(4, 4, 4, 8));
  put("twins", hypergeometric_at_least(10, 13, 12, 30));
  constexpr std::array<double, 7> iron{21.0, 24, 19.5, 26, 22.5, 20.2, 25.1};
  put("limit_of_4", next_value_limit(std::span{iron}.first(4)).value());
  put("limit_of_7", next_value_limit(iron).value());
  constexpr std::array<double, 7> days{0, 91, 180, 274, 365, 455, 546}, rise{21, 24, 23, 27, 31, 30, 38};
  VesselLog log;
  log.vessel.time_zone = "UTC";
  log.shafts.push_back({ShaftId{1}, {}, "port", {ShaftSetting{}}});
  for (std::size_t i = 0; i < days.size(); ++i) {
    Logged<Inspection> s;
    s.id.bytes[0] = static_cast<std::uint8_t>(i + 1);
    s.shaft = ShaftId{1};
    s.at = day(days[i]);
    s.what.iron_ppm_milli = std::llround(rise[i] * 1000);
    log.inspections.push_back(s);
  }
  const InspectionTrends t = inspection_trends(log, ShaftId{1}, day(600));
  REQUIRE(t.measures.size() == 1);
  put("slope_per_year", t.measures[0].per_year.value());
  put("p_rising", t.measures[0].p_rising.value());
}

void put_advice(Answers& a) {
  CavityLoss c;
  c.capacity_cm3 = 400;
  c.reserve_pct = 20;
  c.washout_cm3_per_h = {0.30, 0.25, 0.36};
  const Into put{a, "advice", ""};
  for (const double h : {700.0, 900.0, 1100.0}) put(fmt::format("by_hand_{:.0f}", h), p_above_reserve(c, h));
  put("longest_by_hand", longest_interval_h(c, 0.95).value());
  c.dose_cm3_per_h = 0.20;
  const double half = 0.06 * 1.6448536269514722;
  c.ratio = {0.9, 0.9 - half, 0.9 + half};
  put("dosed_2000", p_above_reserve(c, 2000));
}

void put_sisters(Answers& a) {
  const Answers trials{"10_shrinkage.csv"};
  const auto trial = [&](const std::string& quantity) {
    for (const Row& r : trials.rows())
      if (r.check == "random_effects" && r.dataset == "bcg.csv" && r.quantity == quantity) return std::stod(r.value);
    throw std::runtime_error{quantity + " is not there"};
  };
  std::vector<OwnLoss> shafts;
  for (std::uint32_t i = 1; i <= 13; ++i)
    shafts.push_back({VesselId{1}, ShaftId{i}, fmt::format("ship/fin_{:02}", i), "group", "fin",
                      trial(fmt::format("yi_{}", i)), std::sqrt(trial(fmt::format("vi_{}", i)))});
  const Into put{a, "sisters", "bcg.csv"};
  for (const PeerLoss& p : compare_losses(shafts)) {
    const auto i = p.shaft.value;
    put(fmt::format("shrunk_{}", i), p.shrunk_cm3_per_h.value);
    put(fmt::format("p_{}", i), p.p);
    put(fmt::format("adjusted_p_{}", i), p.adjusted_p);
  }
}

}  // namespace

TEST_CASE("reference: own models on cases that reduce to known ones", "[reference][models]") {
  Answers a{"16_models.csv"};
  put_washout(a);
  put_delivery(a);
  put_alarms(a);
  put_inspections(a);
  put_advice(a);
  put_sisters(a);
  a.compare();
}
