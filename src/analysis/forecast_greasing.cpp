#include "analysis/forecast.hpp"
#include "analysis/washout_cell.hpp"

#include <algorithm>
#include <cmath>
#include <numeric>
#include <utility>
#include <vector>

namespace shaftlog {
namespace {

struct UseAhead {
  double mean = 0, sd = 0;  ///< running hours per day
};
/// The past two years hold few seasons and dockings: so much wider. Tuned on simulated ships.
constexpr double kUnseen = 1.4;

/// Use over the next `days`: that of the recent weeks, drawn towards the ship's usual use as far as it was in the past,
/// and how far off that was. Season, idle time and dockings are in it.
UseAhead use_ahead(const HoursCurve& hours, double days) {
  constexpr std::size_t kRecentWeeks = 13;
  constexpr double kFewest = 6;
  const std::vector<double>& weekly = hours.weekly_use();  // oldest first
  const double recent = hours.use_h_per_day();
  const double usual = 0.35 * recent;  // sd for a ship with a short past; common practice, no source
  const auto ahead = static_cast<std::size_t>(std::clamp(std::round(days / 7), 1.0, 26.0));
  if (weekly.size() < kRecentWeeks + ahead) return {recent, usual};
  const auto mean = [&](std::size_t from, std::size_t count) {
    return std::accumulate(weekly.begin() + static_cast<std::ptrdiff_t>(from),
                           weekly.begin() + static_cast<std::ptrdiff_t>(from + count), 0.0) /
           static_cast<double>(count);
  };
  std::vector<std::pair<double, double>> past;  // use of the recent weeks then, and of those that followed
  for (std::size_t i = kRecentWeeks; i + ahead <= weekly.size(); ++i)
    past.emplace_back(mean(i - kRecentWeeks, kRecentWeeks), mean(i, ahead));
  const double middle = mean(0, weekly.size());
  double xx = 0, xy = 0;
  for (const auto& [x, y] : past) {
    xx += (x - middle) * (x - middle);
    xy += (x - middle) * (y - middle);
  }
  // Windows overlap: the past weighs as so many that do not. Without one, use goes on as it is.
  const double apart = static_cast<double>(past.size()) / static_cast<double>(kRecentWeeks);
  const double kept = xx > 0 ? std::clamp((apart * xy / xx + kFewest) / (apart + kFewest), -0.5, 1.0) : 1.0;
  double sum = 0;
  for (const auto& [x, y] : past) sum += std::pow(y - middle - kept * (x - middle), 2);
  const auto n = static_cast<double>(past.size());
  return {std::max(0.0, middle + kept * (recent - middle)), std::sqrt((kFewest * usual * usual + sum) / (kFewest + n))};
}

/// By how much past amounts left what had been expected of them, as a multiple of what was allowed for. Some 12 of the
/// usual count too; what lies beyond three is a slip or a change.
double miss_of(const WashoutResult& washout, const ShaftHistory& history) {
  const double kUsual = history.is_automatic ? 1.0 : 1.25;  // tuned on simulated ships
  constexpr double kFewest = 12, kClip = 3;
  double n = kFewest, sum = kFewest * kUsual * kUsual;
  for (std::size_t i = 0; i < washout.steps.size() && i < history.intervals.size(); ++i) {
    const GreasingInterval& g = history.intervals[i];
    if (g.ended != Ended::pressure || !g.taken_cm3 || g.is_doubtful || washout.steps[i].is_path_suspect) continue;
    sum += std::pow(std::clamp(washout.steps[i].surprise, -kClip, kClip), 2);
    n += 1;
  }
  return std::clamp(std::sqrt(sum / n), 0.8, 1.6);
}

}  // namespace

NextGreasing forecast_greasing(const VesselLog& log, const Shaft& shaft, const HoursCurve& hours,
                               const ShaftHistory& history, const WashoutResult& washout, const WashoutPrior& prior,
                               const Delivered& delivered, Instant as_of) {
  NextGreasing next;
  std::optional<Instant> from;
  for (const Logged<Greasing>& g : log.greasings) {  // sorted by time
    if (g.shaft != shaft.id || g.at > as_of || g.what.ended == Ended::not_done) continue;
    from = g.at;
    next.last = g.id;
  }
  if (!from && !hours.is_empty() && hours.first() <= as_of) from = hours.first();
  if (!from) return next;

  const ShaftSetting* setting = setting_at(shaft.settings, as_of);
  const double use = hours.is_empty() ? 0 : hours.use_h_per_day();
  const double run = hours.is_empty() ? 0 : hours.run_h(*from, as_of);
  if (setting && setting->interval && !hours.is_empty()) {
    const double left = in_h(*setting->interval) - run;
    next.due_in_h = left;
    if (left < 0) next.overdue_h = -left;
    // Looked up backwards on the curve when it is past, by recent use when it is to come; of a shaft that rests nobody
    // knows the day.
    if (left <= 0)
      next.due_at = hours.time_of(hours.hours_at(*from) + in_h(*setting->interval)).value_or(as_of);
    else if (use > 0 && left / use < 36500 && !hours.rests_since(as_of))
      next.due_at = as_of + std::chrono::seconds{static_cast<std::int64_t>(left / use * 86400)};
  }
  if (setting && setting->interval_days) {
    const Instant day = *from + std::chrono::hours{24 * static_cast<std::int64_t>(*setting->interval_days)};
    if (day < as_of) next.overdue_days = days_between(day, as_of);
    if (!next.due_at || day < *next.due_at) next.due_at = day;
    next.due_by_days = day;
  }
  next.is_overdue = next.overdue_h || next.overdue_days;

  if (!washout.washout_cm3_per_h || hours.is_empty()) return next;
  // What the cavity lacked after the last greasing that the washout was followed to, and the loss since.
  const Instant since = history.intervals.empty() ? *from : history.intervals.back().at;
  const double m = washout.steps.empty() ? 0 : washout.steps.back().missing_after_cm3;
  const double m_sd = washout.steps.empty() ? prior.fill_sd_cm3 : washout.steps.back().missing_after_sd;
  const Instant at = next.due_at ? std::max(*next.due_at, as_of) : as_of;
  const double days = days_between(as_of, at);
  const UseAhead ahead = use_ahead(hours, days);
  const double more = ahead.mean * days;
  const double so_far = since <= as_of ? hours.run_h(since, as_of) : 0;
  const double given = delivered && since < as_of ? std::max(0.0, delivered(since, as_of)) : 0;
  const double total_h = so_far + more;
  const double total_given = so_far > 1 ? given * total_h / so_far : given;
  const Estimate w = *washout.washout_cm3_per_h;
  const double w_sd = (std::log(std::max(w.high, 1e-9)) - std::log(std::max(w.low, 1e-9))) / 3.29;
  const washout::SlowAhead slow = washout::slow_ahead(washout.steps.empty() ? nullptr : &washout.steps.back(),
                                                      prior.season_sd, days_between(since, at));
  const double miss = miss_of(washout, history);
  const double sd = std::hypot(washout::joint_sd(w_sd, slow), miss * prior.duty_sd, washout::untold_sd(history));
  const double capacity = history.cavity_cm3.value_or(washout::kNoCapacity);
  const double rate = w.value * std::exp(slow.mean), loss = rate * total_h, mean = m + loss - total_given;
  const double hours_sd = std::hypot(since < as_of ? hours.run_sd_h(since, as_of) : 0.0, kUnseen * ahead.sd * days);
  const double net = total_h > 1 ? std::max(0.0, rate - total_given / total_h) : rate;
  const double read_sd =
      std::sqrt(std::pow(net * hours_sd, 2) + miss * miss *
                                                  (m_sd * m_sd + prior.fill_sd_cm3 * prior.fill_sd_cm3 +
                                                   std::pow(prior.relative_sd * std::clamp(mean, 0.0, capacity), 2)));
  const auto clip = [&](double x) { return std::clamp(x, 0.0, capacity); };
  // What the doses bring beyond the loss goes to sea: the cavity is full then, to the repeatability of "full".
  const double high = std::max(mean + std::hypot(1.645 * read_sd, loss * std::expm1(1.645 * sd)),
                               1.645 * std::hypot(prior.fill_sd_cm3, std::sqrt(washout::kRoundingVariance)));
  next.expected_cm3 =
      Estimate{clip(mean), clip(mean - std::hypot(1.645 * read_sd, loss * -std::expm1(-1.645 * sd))), clip(high)};
  return next;
}

}  // namespace shaftlog
