#include "analysis/plain.hpp"

#include "analysis/change_orders.hpp"
#include "analysis/change_point.hpp"
#include "analysis/control_charts.hpp"
#include "analysis/distributions.hpp"
#include "analysis/event_rates.hpp"
#include "analysis/face_value.hpp"
#include "analysis/least_squares.hpp"
#include "analysis/prediction.hpp"
#include "analysis/trend.hpp"
#include "analysis/wide.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numeric>
#include <span>

#include <fmt/format.h>

namespace shaftlog {
namespace {

constexpr double kRunLength = 370.4;  ///< values until a false signal, as of a chart with 3 sigma limits
constexpr double kWeight = 0.2, kReference = 0.5, kLevel = 0.05;

double mean_of(std::span<const double> x) {
  return std::accumulate(x.begin(), x.end(), 0.0) / static_cast<double>(x.size());
}

PlainSignal untold(PlainMethod m, std::string why) {
  PlainSignal s;
  s.method = m;
  s.untold = std::move(why);
  return s;
}

PlainSignal fixed_rule(std::span<const double> x, bool is_ratio) {
  PlainSignal s;
  s.method = PlainMethod::fixed_rule;
  s.statistic_is = "value / mean of the first six";
  s.limit = 2;
  const double mean = mean_of(x.first(kPlainBaseline));
  if (!(mean > 0)) return untold(s.method, "the first six are 0");
  double worst = 0;
  for (std::size_t i = kPlainBaseline; i < x.size(); ++i) {
    const double over = x[i] / mean, size = is_ratio ? std::max(over, 1 / std::max(over, 1e-9)) : over;
    if (size > worst) {
      worst = size;
      s.statistic = over;
    }
    if (!s.since && size > s.limit) {
      s.signals = true;
      s.since = i;
      s.is_up = over > 1;
    }
  }
  if (s.signals && !s.is_up) s.limit = 0.5;
  return s;
}

PlainSignal shewhart(std::span<const double> x, std::size_t first, double mean, double sigma) {
  PlainSignal s;
  s.method = PlainMethod::shewhart;
  s.statistic_is = "sigma from the mean";
  s.limit = 3;
  for (std::size_t i = first; i < x.size(); ++i) {
    const double z = (x[i] - mean) / sigma;
    if (std::abs(z) > std::abs(s.statistic)) s.statistic = z;
    if (!s.since && std::abs(z) > s.limit) {
      s.signals = true;
      s.since = i;
      s.is_up = z > 0;
    }
  }
  return s;
}

PlainSignal ewma(std::span<const double> x, std::size_t first, double mean, double sigma) {
  static const double width = ewma_width_for(kWeight, kRunLength);
  PlainSignal s;
  s.method = PlainMethod::ewma;
  s.statistic_is = "sigma of the weighted mean";
  s.limit = width;
  const EwmaChart chart = ewma_chart(x.subspan(first), mean, sigma, kWeight, width);
  for (std::size_t i = 0; i < chart.values.size(); ++i) {
    const double z = (chart.values[i] - mean) / (chart.high[i] - mean) * width;
    if (std::abs(z) > std::abs(s.statistic)) s.statistic = z;
  }
  if (chart.first_signal) {
    s.signals = true;
    s.since = first + *chart.first_signal;
    s.is_up = chart.values[*chart.first_signal] > mean;
  }
  return s;
}

PlainSignal cusum(std::span<const double> x, std::size_t first, double mean, double sigma) {
  static const double limit = cusum_limit_for(kReference, kRunLength);
  PlainSignal s;
  s.method = PlainMethod::cusum;
  s.statistic_is = "sum in sigma";
  s.limit = limit;
  const CusumChart chart = cusum_chart(x.subspan(first), mean, kReference * sigma, limit * sigma);
  for (std::size_t i = 0; i < chart.upper.size(); ++i) {
    if (chart.upper[i] / sigma > std::abs(s.statistic)) s.statistic = chart.upper[i] / sigma;
    if (chart.lower[i] / sigma > std::abs(s.statistic)) s.statistic = -chart.lower[i] / sigma;
  }
  if (chart.first_signal) {
    s.signals = true;
    s.since = first + *chart.first_signal;
    s.is_up = chart.upward;
  }
  return s;
}

/// \param has_slope on running hours, of which the slope is told
PlainSignal trend(std::span<const double> x, std::span<const double> hours, bool has_slope) {
  PlainSignal s;
  s.method = PlainMethod::mann_kendall;
  s.statistic_is = "p";
  s.limit = kLevel;
  const MannKendall test = mann_kendall(hours, x);
  s.statistic = test.p_two_sided_exact.value_or(test.p_two_sided);
  s.signals = s.statistic < s.limit;
  s.is_up = test.s > 0;
  if (!has_slope) return s;
  std::vector<double> sorted{x.begin(), x.end()};
  std::sort(sorted.begin(), sorted.end());
  const double median = 0.5 * (sorted[(sorted.size() - 1) / 2] + sorted[sorted.size() / 2]);
  if (median > 0) {
    const TheilSen line = theil_sen(hours, x);
    const double scale = 1e5 / median;
    s.slope_pct_per_1000h = Estimate{line.slope * scale, line.limits.low * scale, line.limits.high * scale};
  }
  return s;
}

/// How much of the squares about the mean the best single change takes away, 2 values at least on either side; of
/// eight orders of the same values.
/// \param x their deviations from the mean
/// \param places of the values, place by place, at each place those of all orders
/// \param weight of a split behind k values: 1 / k + 1 / (n - k)
SHAFTLOG_WIDE void put_best_splits(const double* x, const std::uint32_t* places, std::span<const double> weight,
                                   double* out) {
  std::array<double, kOrdersTogether> left{}, best{};
  for (std::size_t k = 1; k + 1 < weight.size(); ++k) {
    for (std::size_t o = 0; o < kOrdersTogether; ++o) left[o] += x[places[(k - 1) * kOrdersTogether + o]];
    if (k < 2) continue;
    for (std::size_t o = 0; o < kOrdersTogether; ++o) best[o] = std::max(best[o], left[o] * left[o] * weight[k]);
  }
  std::copy(best.begin(), best.end(), out);
}

// The largest ratio over all splits follows no table: its p is counted over orders of the same values.
PlainSignal change(std::span<const double> x) {
  PlainSignal s;
  s.method = PlainMethod::change_point;
  s.statistic_is = "p";
  s.limit = kLevel;
  const auto [least, most] = std::minmax_element(x.begin(), x.end());
  if (!(*most > *least)) return untold(s.method, "the values do not vary");
  const std::size_t n = x.size();
  const double mean = mean_of(x);
  std::vector<double> off(n), weight(n, 0.0);
  for (std::size_t i = 0; i < n; ++i) off[i] = x[i] - mean;
  for (std::size_t k = 1; k < n; ++k) weight[k] = 1 / static_cast<double>(k) + 1 / static_cast<double>(n - k);
  std::array<double, kOrdersTogether> best{};
  std::vector<std::uint32_t> as_it_is(n * kOrdersTogether);
  for (std::size_t i = 0; i < as_it_is.size(); ++i) as_it_is[i] = static_cast<std::uint32_t>(i / kOrdersTogether);
  put_best_splits(off.data(), as_it_is.data(), weight, best.data());
  const double seen = best[0];
  // A split of the same values in another order of summing is as large.
  const double as_seen = seen - 1e-12 * (seen + static_cast<double>(n) * mean * mean);
  std::size_t left = kChangeOrders;
  int as_large = 0;
  each_change_order(n, [&](std::span<const std::uint32_t> places) {
    put_best_splits(off.data(), places.data(), weight, best.data());
    const auto end = best.begin() + static_cast<std::ptrdiff_t>(std::min(left, kOrdersTogether));
    as_large += static_cast<int>(std::count_if(best.begin(), end, [&](double b) { return b >= as_seen; }));
    left -= std::min(left, kOrdersTogether);
  });
  s.statistic = (as_large + 1.0) / (static_cast<double>(kChangeOrders) + 1.0);
  s.signals = s.statistic < s.limit;
  const LevelShift shift = find_level_shift(x);
  s.is_up = shift.mean_after > shift.mean_before;
  if (s.signals) s.since = shift.at;
  return s;
}

/// \param run_h weights; empty: all the same
PlainSignal regression(std::span<const double> x, std::span<const double> at, std::span<const double> run_h,
                       bool has_slope) {
  PlainSignal s;
  s.method = PlainMethod::regression;
  s.statistic_is = "p";
  s.limit = kLevel;
  const auto [least, most] = std::minmax_element(x.begin(), x.end());
  if (!(*most > *least)) return untold(s.method, "the values do not vary");
  std::vector<double> weights{run_h.begin(), run_h.end()};
  if (!weights.empty()) {
    const double usual = median(run_h);  // the next value is that of a usual interval
    for (double& w : weights) w /= usual;
  }
  std::vector<double> since_first{at.begin(), at.end()};  // far from 0 it would be told badly from the constant
  for (double& t : since_first) t -= at.front();
  const LineFit line = fit_line(since_first, x, weights);
  s.statistic = line.p;
  s.signals = s.statistic < s.limit;
  s.is_up = line.slope > 0;
  const double last = since_first.back(), step = last / static_cast<double>(at.size() - 1);
  const Prediction next = predict(line, last + step);
  s.next = Estimate{next.fit, next.next.low, next.next.high};
  if (const double middle = median(x); has_slope && middle > 0) {
    const Interval limits = slope_limits(line);
    const double scale = 1e5 / middle;
    s.slope_pct_per_1000h = Estimate{line.slope * scale, limits.low * scale, limits.high * scale};
  }
  return s;
}

}  // namespace

std::string_view name_of(PlainMethod m) noexcept {
  constexpr std::array<std::string_view, 10> kWords{"fixed_rule",   "shewhart",   "ewma",   "cusum",   "mann_kendall",
                                                    "change_point", "regression", "halves", "laplace", "power_law"};
  return kWords[static_cast<std::size_t>(m)];
}

std::string_view name_of(PlainFigure f) noexcept {
  constexpr std::array<std::string_view, 3> kWords{"washout", "delivery_ratio", "hours_between_alarms"};
  return kWords[static_cast<std::size_t>(f)];
}

std::vector<PlainSignal> plain_signals(const std::vector<double>& values, const std::vector<double>& hours,
                                       bool is_ratio, const std::vector<double>& run_h) {
  constexpr std::array kAll{PlainMethod::fixed_rule, PlainMethod::shewhart,     PlainMethod::ewma,
                            PlainMethod::cusum,      PlainMethod::mann_kendall, PlainMethod::change_point,
                            PlainMethod::regression};
  std::vector<PlainSignal> out;
  if (values.size() < kPlainFewest) {
    for (const PlainMethod m : kAll)
      out.push_back(untold(m, fmt::format("too few values: {} of {}", values.size(), kPlainFewest)));
    return out;
  }
  const std::span<const double> x{values};
  std::vector<double> count(values.size());
  std::iota(count.begin(), count.end(), 0.0);
  out.push_back(fixed_rule(x, is_ratio));
  const IndividualsChart chart = individuals_chart(x.first(kPlainBaseline));
  if (chart.sigma > 1e-12 * std::max(1e-12, std::abs(chart.mean))) {
    out.push_back(shewhart(x, kPlainBaseline, chart.mean, chart.sigma));
    out.push_back(ewma(x, kPlainBaseline, chart.mean, chart.sigma));
    out.push_back(cusum(x, kPlainBaseline, chart.mean, chart.sigma));
  } else {
    for (const PlainMethod m : {PlainMethod::shewhart, PlainMethod::ewma, PlainMethod::cusum})
      out.push_back(untold(m, "the first six do not vary"));
  }
  const std::span<const double> at{hours.empty() ? count : hours};
  out.push_back(trend(x, at, !hours.empty()));
  out.push_back(change(x));
  out.push_back(regression(x, at, run_h, !hours.empty()));
  return out;
}

std::vector<PlainSignal> alarm_signals(const std::vector<double>& at_h, double watched_h) {
  std::vector<PlainSignal> out;
  if (at_h.size() < kPlainFewestAlarms) {
    for (const PlainMethod m : {PlainMethod::halves, PlainMethod::laplace, PlainMethod::power_law})
      out.push_back(untold(m, fmt::format("too few alarms: {} of {}", at_h.size(), kPlainFewestAlarms)));
    return out;
  }
  const std::array systems{WatchedSystem{watched_h, at_h}};
  const auto first = std::count_if(at_h.begin(), at_h.end(), [&](double t) { return t <= watched_h / 2; });
  const auto second = static_cast<std::ptrdiff_t>(at_h.size()) - first;
  PlainSignal halves;
  halves.method = PlainMethod::halves;
  halves.statistic_is = "p";
  halves.limit = kLevel;
  halves.statistic = compare_rates(second, watched_h / 2, first, watched_h / 2).p_two_sided;
  halves.signals = halves.statistic < kLevel;
  halves.is_up = second > first;
  out.push_back(std::move(halves));

  const TrendTest trend = trend_of_events(systems);
  PlainSignal laplace;
  laplace.method = PlainMethod::laplace;
  laplace.statistic_is = "z";
  laplace.limit = normal_quantile(1 - kLevel / 2);
  laplace.statistic = trend.laplace_z;
  laplace.signals = std::abs(laplace.statistic) > laplace.limit;
  laplace.is_up = trend.laplace_z > 0;
  out.push_back(std::move(laplace));

  PlainSignal law;
  law.method = PlainMethod::power_law;
  law.statistic_is = "p";
  law.limit = kLevel;
  law.statistic = std::min(1.0, 2 * std::min(trend.milhdbk_p_rising, trend.milhdbk_p_falling));
  law.signals = law.statistic < kLevel;
  law.is_up = trend.milhdbk_p_rising < trend.milhdbk_p_falling;
  if (at_h.front() < watched_h) {
    const PowerLaw fit = fit_power_law(systems);
    if (fit.shape_limits) law.shape = Estimate{fit.shape, fit.shape_limits->low, fit.shape_limits->high};
  }
  out.push_back(std::move(law));
  return out;
}

PlainSeries plain_washout(const ShaftHistory& history) {
  PlainSeries s;
  s.vessel = history.vessel;
  s.shaft = history.shaft;
  s.unit = std::string{"cm3/h"};
  s.baseline = static_cast<int>(kPlainBaseline);
  std::vector<double> middle, run_h;
  double run = 0;
  bool was_full = history.first_is_full;
  for (const GreasingInterval& i : history.intervals) {
    if (i.starts_baseline) {
      s.values.clear();
      s.at.clear();
      s.records.clear();
      middle.clear();
      run_h.clear();
      s.left_out = 0;
      run = 0;
    }
    run += i.run_h;
    const bool is_plain =
        was_full && !i.starts_baseline && i.ended == Ended::pressure && i.taken_cm3 && i.run_h > 0 && !i.is_doubtful;
    if (is_plain) {
      s.values.push_back((*i.taken_cm3 + i.delivered_cm3) / i.run_h);
      s.at.push_back(i.at);
      s.records.push_back(i.id);
      middle.push_back(run - i.run_h / 2);
      run_h.push_back(i.run_h);
    } else if (!i.starts_baseline) {
      ++s.left_out;
    }
    was_full = i.ended == Ended::pressure || i.ended == Ended::packed;
  }
  s.signals = plain_signals(s.values, middle, false, run_h);
  return s;
}

PlainSeries plain_delivery(VesselId vessel, const DeliveryResult& delivery) {
  PlainSeries s;
  s.vessel = vessel;
  s.lubricator = delivery.lubricator;
  s.figure = PlainFigure::delivery_ratio;
  s.unit = std::string{"1"};
  s.baseline = static_cast<int>(kPlainBaseline);
  for (const RatioStep& step : delivery.steps) {
    if (!(step.expected_cm3 > 0)) {
      ++s.left_out;
      continue;
    }
    s.values.push_back(step.used_cm3 / step.expected_cm3);
    s.at.push_back(step.at);
    s.records.push_back(step.record);
  }
  s.signals = plain_signals(s.values, {}, true);
  return s;
}

PlainSeries plain_alarms(VesselId vessel, const WatchedAlarms& watched) {
  PlainSeries s;
  s.vessel = vessel;
  s.shaft = watched.shaft;
  s.lubricator = watched.lubricator;
  s.figure = PlainFigure::between_alarms;
  s.unit = std::string{"h"};
  const double watched_h = watched.to_h - watched.from_h;
  std::vector<double> at_h;
  for (std::size_t i = 0; i < watched.episodes.size(); ++i) {
    const double t = watched.run_h[i] - watched.from_h;
    if (!(t > 0)) {
      ++s.left_out;
      continue;
    }
    s.values.push_back(at_h.empty() ? t : t - at_h.back());
    s.at.push_back(watched.episodes[i].raised);
    s.records.push_back(watched.episodes[i].records.front());
    at_h.push_back(std::min(t, watched_h));
  }
  s.signals = alarm_signals(at_h, watched_h);
  return s;
}

std::vector<PlainSeries> list_plain_series(const VesselLog& log, Instant as_of) {
  const VesselDigest d = digest_at_face_value(log, as_of);
  std::vector<PlainSeries> out;
  out.reserve(log.shafts.size() + log.lubricators.size());
  for (const Shaft& s : log.shafts) out.push_back(plain_washout(d.histories.at(s.id)));
  for (const Lubricator& l : log.lubricators) out.push_back(plain_delivery(d.vessel, d.delivery.at(l.id)));
  for (const WatchedAlarms& w : watch_alarms(log, d, merge_alarms(log.alarms, as_of), as_of))
    if (!w.episodes.empty()) out.push_back(plain_alarms(d.vessel, w));
  return out;
}

}  // namespace shaftlog
