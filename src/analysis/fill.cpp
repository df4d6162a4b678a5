#include "analysis/fill.hpp"

#include "analysis/washout_cell.hpp"
#include "base/error.hpp"

#include <algorithm>
#include <array>
#include <cmath>

#include <fmt/format.h>

namespace shaftlog {

namespace {

using washout::normal_cdf;

constexpr double kNeverH = 1e5;  ///< running hours that stand for "not in the life of the shaft"

/// Midpoints of equal shares of the standard normal: 5 %, 15 % ... 95 %.
constexpr std::array<double, 10> kNodes{-1.64485, -1.03643, -0.67449, -0.38532, -0.12566,
                                        0.12566,  0.38532,  0.67449,  1.03643,  1.64485};

/// What is known about one interval: the volume missing at its start and the rate in it.
struct Stretch {
  double m = 0, m_sd = 0;            ///< missing at the start [cm3]
  double log_w = 0;                  ///< median of ln(rate in the interval)
  double shared_sd = 0, own_sd = 0;  ///< of ln(rate): of the estimate, of this interval alone
  double least_w = 0;                ///< the rate was at least this: the cavity was found empty [cm3/h]
};

/// Missing volume after `run_h` hours and `delivered` cm3, 5, 50 and 95 % [cm3].
Estimate missing(const Stretch& s, double run_h, double delivered, double capacity) {
  const double sd = std::hypot(s.shared_sd, s.own_sd), w = std::max(std::exp(s.log_w), s.least_w);
  const double loss = w * run_h, mean = s.m + loss - delivered, reach = 1.645 * s.m_sd;
  const double up = std::hypot(reach, loss * std::expm1(1.645 * sd));
  const double w_low = std::max(std::exp(s.log_w - 1.645 * sd), s.least_w);
  const double down = std::hypot(reach, loss - w_low * run_h);
  const auto clip = [&](double x) { return std::clamp(x, 0.0, capacity); };
  return {clip(mean), clip(mean - down), clip(mean + up)};
}

Estimate fill_of(const Estimate& x, double capacity) {
  return {100 * (1 - x.value / capacity), 100 * (1 - x.high / capacity), 100 * (1 - x.low / capacity)};
}

/// Probability that more than `limit` is missing.
double p_beyond(const Stretch& s, double run_h, double delivered, double limit) {
  const double sd = std::max(0.01, std::hypot(s.shared_sd, s.own_sd));
  double p = 0;
  for (const double z : kNodes) {
    const double need = limit - (std::max(0.0, s.m + z * s.m_sd)) + delivered;
    if (need <= 0)
      p += 1;
    else if (run_h > 0)
      p += normal_cdf((s.log_w - std::log(need / run_h)) / sd);
  }
  return p / static_cast<double>(kNodes.size());
}

/// Running hours of the interval with more than `limit` missing; the rate of delivery is even over it.
double starved(double m, double w, double run_h, double delivered, double limit) {
  if (run_h <= 0) return 0;
  const double net = w - delivered / run_h;
  if (m >= limit) return net >= 0 ? run_h : std::min(run_h, (m - limit) / -net);
  if (net <= 0) return 0;
  return std::max(0.0, run_h - (limit - m) / net);
}

}  // namespace

std::optional<Instant> meets_reserve_at(double hours_to_reserve, double use_h_per_day, Instant as_of) {
  constexpr double kMost_days = 3660, kHardlyRuns_h_per_day = 0.05;
  if (use_h_per_day <= kHardlyRuns_h_per_day || hours_to_reserve / use_h_per_day >= kMost_days) return std::nullopt;
  return as_of + std::chrono::seconds{static_cast<std::int64_t>(hours_to_reserve / use_h_per_day * 86400)};
}

FillResult reconstruct_fill(const ShaftHistory& history, const WashoutResult& washout, const WashoutPrior& prior,
                            const HoursCurve& hours, const Delivered& delivered, double reserve_pct, Instant as_of,
                            std::optional<Instant> due) {
  if (!(reserve_pct >= 0 && reserve_pct <= 100))
    throw Error{Errc::bad_data, fmt::format("reserve: {} % found, 0 to 100 expected", reserve_pct)};
  washout::require_plain(history, prior);
  FillResult result;
  const auto& all = history.intervals;
  if (!history.cavity_cm3 || !washout.washout_cm3_per_h || all.empty() || washout.steps.size() != all.size())
    return result;
  const double capacity = *history.cavity_cm3, limit = capacity * (1 - reserve_pct / 100);
  const double slow_sd = prior.season_sd;

  std::size_t begins = 0;  // of the present baseline
  for (std::size_t i = 0; i + 1 < all.size(); ++i)
    if (all[i].starts_baseline) begins = i + 1;
  const auto rate_known_at = [&](std::size_t i) {
    const WashoutStep& step = washout.steps[i];
    const bool is_usual = i >= begins && step.p_step + step.p_wear < 0.5 && washout.baseline_cm3_per_h;
    return is_usual ? *washout.baseline_cm3_per_h : step.washout_cm3_per_h;
  };
  const auto sd_of = [](const Estimate& e) {
    return std::max(0.01, (std::log(std::max(e.high, 1e-9)) - std::log(std::max(e.low, 1e-9))) / 3.29);
  };

  std::vector<Stretch> stretches;
  double m = history.first_is_full ? 0 : 0.4 * capacity, m_sd = history.first_is_full ? prior.fill_sd_cm3 : m;
  for (std::size_t i = 0; i < all.size(); ++i) {
    const GreasingInterval& g = all[i];
    const WashoutStep& step = washout.steps[i];
    const Estimate w = rate_known_at(i);
    Stretch s{m, m_sd, std::log(std::max(w.value, 1e-9)), sd_of(w), std::hypot(prior.duty_sd, slow_sd), 0};
    if (g.run_h > 0 && g.taken_cm3 && !step.is_path_suspect && !g.is_doubtful && std::abs(step.surprise) < 6) {
      const double y = *g.taken_cm3, s2 = std::pow(prior.fill_sd_cm3, 2) + std::pow(prior.relative_sd * y, 2) + 1;
      const double noise = 1.645 * std::sqrt(s2);
      if (g.ended == Ended::limit || g.ended == Ended::stopped ||
          (g.ended == Ended::pressure && y > capacity - noise)) {
        s.least_w = std::max(0.0, (std::min(y, capacity) - noise / 2 - m + g.delivered_cm3) / g.run_h);
      } else if (g.ended == Ended::pressure && (g.delivered_cm3 <= 0 || y > noise)) {
        // The amount itself tells what this interval lost: combine it with the rate expected.
        const double measured = (y + step.missing_after_cm3 - m + g.delivered_cm3) / g.run_h;
        const double usual = std::exp(s.log_w), usual_var = std::pow(usual * std::hypot(s.shared_sd, s.own_sd), 2);
        const double measured_var = (s2 + m_sd * m_sd) / (g.run_h * g.run_h);
        const double k = usual_var / (usual_var + measured_var);
        const double both = std::max(usual + k * (measured - usual), 0.02 * usual);
        s.log_w = std::log(both);
        s.own_sd = std::sqrt((1 - k) * usual_var) / both;
        s.shared_sd = 0;  // what is left is of this interval alone
      }
    }
    stretches.push_back(s);
    constexpr int kParts = 4;
    for (int k = i == 0 ? 0 : 1; k <= kParts; ++k) {
      const double share = static_cast<double>(k) / kParts;
      const Instant at = g.from + std::chrono::seconds{
                                      static_cast<std::int64_t>(share * static_cast<double>((g.at - g.from).count()))};
      const double run = hours.is_empty() ? share * g.run_h : std::min(g.run_h, hours.run_h(g.from, at));
      const double part = g.run_h > 0 ? run / g.run_h : share;
      result.points.push_back({at, fill_of(missing(s, run, part * g.delivered_cm3, capacity), capacity), false});
    }
    m = step.missing_after_cm3;
    m_sd = step.missing_after_sd;
    const auto clip = [&](double x) { return std::clamp(x, 0.0, capacity); };
    result.points.push_back({g.at, fill_of({clip(m), clip(m - 1.645 * m_sd), clip(m + 1.645 * m_sd)}, capacity), true});
  }

  // The open interval, up to as_of.
  const Instant last = all.back().at;
  const double now_h = hours.is_empty() || as_of <= last ? 0 : hours.run_h(last, as_of);
  const double now_delivered = as_of > last && delivered ? std::max(0.0, delivered(last, as_of)) : 0;
  const Estimate now_w = *washout.washout_cm3_per_h;
  // The hours since the last reading are not known either.
  const double run_sd = hours.is_empty() || as_of <= last ? 0 : hours.run_sd_h(last, as_of);
  const washout::SlowAhead slow = washout::slow_ahead(&washout.steps.back(), slow_sd, days_between(last, as_of));
  const double rate_now = now_w.value * std::exp(slow.mean);
  const double net_now = now_h > 1 ? std::max(0.0, rate_now - now_delivered / now_h) : rate_now;
  const Stretch open{m,
                     std::hypot(m_sd, net_now * run_sd),
                     std::log(std::max(rate_now, 1e-9)),
                     washout::joint_sd(sd_of(now_w), slow),
                     std::hypot(prior.duty_sd, washout::untold_sd(history)),
                     0};
  const Estimate now = missing(open, now_h, now_delivered, capacity);
  if (as_of > last) {
    for (const double share : {0.25, 0.5, 0.75, 1.0}) {
      const Instant at =
          last + std::chrono::seconds{static_cast<std::int64_t>(share * static_cast<double>((as_of - last).count()))};
      const double run = hours.is_empty() ? 0 : hours.run_h(last, at);
      const double grease = delivered ? std::max(0.0, delivered(last, at)) : 0;
      const Estimate x = missing(open, run, grease, capacity);
      if (!result.starved_since && x.value > limit && now_h > 0) {
        const double net = std::exp(open.log_w) - now_delivered / now_h;
        const double reach_h = net > 0 ? std::max(0.0, (limit - m) / net) : 0;
        result.starved_since = hours.time_of(hours.hours_at(last) + reach_h).value_or(at);
      }
      result.points.push_back({at, fill_of(x, capacity), false});
    }
  }
  result.fill_pct = fill_of(now, capacity);

  // Hours below the reserve: the estimate of the rate is shared by all intervals, each interval's duty is its own. For
  // each value of the shared part the sum is taken as Gaussian over the others.
  std::array<double, kNodes.size()> mean{}, var{};
  for (std::size_t i = 0; i <= stretches.size(); ++i) {
    const Stretch& s = i < stretches.size() ? stretches[i] : open;
    const double run = i < stretches.size() ? all[i].run_h : now_h;
    const double grease = i < stretches.size() ? all[i].delivered_cm3 : now_delivered;
    if (i > 0 && i <= stretches.size() && all[i - 1].starts_baseline) mean = var = {};  // counted anew
    if (run <= 0) continue;
    if (starved(s.m + 2 * s.m_sd, std::exp(s.log_w + 2.5 * std::hypot(s.shared_sd, s.own_sd)), run, grease, limit) <= 0)
      continue;
    for (std::size_t k = 0; k < kNodes.size(); ++k) {
      double first = 0, second = 0;
      for (std::size_t j = 0; j < kNodes.size(); ++j) {
        const double w = std::max(s.least_w, std::exp(s.log_w + s.shared_sd * kNodes[k] + s.own_sd * kNodes[j]));
        const double start_m = std::max(0.0, s.m + s.m_sd * kNodes[(3 * j + 1) % kNodes.size()]);
        const double h = starved(start_m, w, run, grease, limit);
        first += h / static_cast<double>(kNodes.size());
        second += h * h / static_cast<double>(kNodes.size());
      }
      mean[k] += first;
      var[k] += std::max(0.0, second - first * first);
    }
  }
  std::vector<double> sums;
  for (std::size_t k = 0; k < kNodes.size(); ++k)
    for (const double z : kNodes) sums.push_back(std::max(0.0, mean[k] + z * std::sqrt(var[k])));
  std::sort(sums.begin(), sums.end());
  result.starved_h = StarvedHours{sums[5], 0.5 * (sums[49] + sums[50]), sums[94]};

  const double recent = delivered && history.is_automatic && now_h > 1 ? now_delivered / now_h
                        : history.is_automatic && all.back().run_h > 0 ? all.back().delivered_cm3 / all.back().run_h
                                                                       : 0;
  const auto reach = [&](double x, double w) {
    if (x >= limit) return 0.0;
    const double net = w - recent;
    return net > 1e-9 ? std::min(kNeverH, (limit - x) / net) : kNeverH;
  };
  const double sd = std::hypot(open.shared_sd, open.own_sd), w_now = std::exp(open.log_w);
  const Estimate to_reserve{reach(now.value, w_now), reach(now.high, w_now * std::exp(1.645 * sd)),
                            reach(now.low, w_now * std::exp(-1.645 * sd))};
  if (to_reserve.value < kNeverH) result.hours_to_reserve = to_reserve;
  result.p_below_now = p_beyond(open, now_h, now_delivered, limit);
  result.p_below_before_due = result.p_below_now;
  if (due && *due > as_of && !hours.is_empty()) {
    const double more = hours.use_h_per_day() * days_between(as_of, *due);
    const double then = p_beyond(open, now_h + more, now_delivered + recent * more, limit);
    result.p_below_before_due = std::max(result.p_below_now, then);
  }
  return result;
}

}  // namespace shaftlog
