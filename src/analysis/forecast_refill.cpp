#include "analysis/forecast.hpp"

#include <algorithm>
#include <array>
#include <chrono>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <functional>
#include <optional>
#include <utility>
#include <vector>

namespace shaftlog {
namespace {

constexpr int kWeeks = 78;  // 18 months; beyond that nothing is said
constexpr int kBlock = 8;   // weeks replayed together: voyages and dockings last longer than one week
constexpr std::size_t kYear = 52, kRecent = 4;
constexpr double kUseWidth = 0.3, kSeasonWidth = 5;  // within which a past week is like today: of usual use, weeks
constexpr double kUnlike = 0.05;                     // what a week counts that is not
constexpr double kNewTrade = 0.11;
constexpr double kNever = 1e9;
constexpr double kFullMark = 1.0;
constexpr double kUsualSd = 0.04;      // of a ratio about which nothing is known
constexpr double kStandsStill = 0.05;  // ratio below which nothing is delivered

/// Middle of each ninth of a normal law: nine equally likely values stand for it (quantiles at 1/18, 3/18, ...).
constexpr std::array<double, 9> kNinths{-1.5932, -0.9674, -0.5895, -0.2822, 0.0, 0.2822, 0.5895, 0.9674, 1.5932};

double sd_of(const Estimate& e) { return std::max(0.0, e.high - e.low) / (2 * 1.6449); }

struct Use {
  std::vector<double> weekly_cm3;  // past weeks, oldest first
};

/// Dose called for in each past week by the present settings [cm3], so that a changed dose does not speak for today.
Use past_use(const Lubricator& lubricator, const Schedule& schedule, const VesselLog& log,
             const std::map<ShaftId, HoursCurve>& hours, Instant as_of) {
  Use use;
  std::size_t weeks = 0;
  std::vector<std::pair<const std::vector<double>*, double>> fed;  // weekly use [h/d], dose [cm3/h]
  for (const ShaftId shaft : schedule.shafts_fed(lubricator.id, as_of)) {
    const auto h = hours.find(shaft);
    if (h == hours.end() || h->second.weekly_use().empty()) continue;
    const Feed* held = nullptr;
    for (const Feed& f : log.feeds)
      if (f.lubricator == lubricator.id && f.shaft == shaft && (!f.from || f.from->utc <= as_of)) held = &f;
    if (!held || held->cycle_s <= 0) continue;
    fed.emplace_back(&h->second.weekly_use(), in_cm3(held->dose) * 3600.0 / static_cast<double>(held->cycle_s));
    weeks = std::max(weeks, h->second.weekly_use().size());
  }
  use.weekly_cm3.assign(weeks, 0.0);
  for (const auto& [weekly, per_h] : fed)
    for (std::size_t k = 0; k < weekly->size(); ++k)  // newest weeks stand for the same time
      use.weekly_cm3[weeks - 1 - k] += (*weekly)[weekly->size() - 1 - k] * 7 * per_h;
  return use;
}

/// How much the time to come may resemble what followed each past week: by the use of the four weeks before it against
/// that of the last four, and by the time of the year.
std::vector<double> likeness(const std::vector<double>& weekly) {
  const std::size_t n = weekly.size();
  double all = 0;
  for (const double u : weekly) all += u;
  const double usual = std::max(1e-9, all / static_cast<double>(n));
  const auto before = [&](std::size_t end) {
    double sum = 0;
    const std::size_t from = end > kRecent ? end - kRecent : 0;
    for (std::size_t k = from; k < end; ++k) sum += weekly[k];
    return end > from ? sum / static_cast<double>(end - from) / usual : 1.0;
  };
  const double now = before(n);
  std::vector<double> w(n);
  for (std::size_t k = 0; k < n; ++k) {
    const double off = (before(k) - now) / kUseWidth;
    const auto phase = static_cast<double>((n - k) % kYear);
    const double season = std::min(phase, static_cast<double>(kYear) - phase) / kSeasonWidth;
    w[k] = (kUnlike + std::exp(-0.5 * off * off)) * (n > kYear ? kUnlike + std::exp(-0.5 * season * season) : 1.0);
  }
  return w;
}

/// Use at ratio 1 cumulated over the weeks to come, as it went on from week `start`; where the past ends it goes on
/// with the same time of the year, or else with blocks in a fixed scattered order: the same answer on every run.
std::vector<double> replay(const std::vector<double>& weekly, std::size_t start) {
  const std::size_t n = weekly.size();
  std::vector<double> used{0.0};
  std::uint64_t state = 0x9E3779B97F4A7C15ULL * (start + 1);
  std::size_t at = start;
  int left = 0;  // weeks of the present block, once the past has ended
  bool has_ended = false;
  for (std::size_t w = 0; w < static_cast<std::size_t>(kWeeks); ++w) {
    if (at >= n || (has_ended && left == 0)) {
      has_ended = true;
      state = state * 6364136223846793005ULL + 1442695040888963407ULL;
      const auto chance = static_cast<std::size_t>(state >> 33);
      if (n > kYear) {  // the same time of the year, four weeks more or less
        at = n + w % kYear + chance % 9 - 4;
        while (at >= n) at -= kYear;
      } else {
        at = chance % n;
      }
      left = kBlock;
    }
    used.push_back(used.back() + weekly[at]);
    ++at;
    --left;
  }
  return used;
}

/// When a level that was `x` at `read` [cm3] met the low mark; as_of if it has not.
Instant met_low_mark(double x, double low_mark, const std::function<double(Instant)>& used_by, Instant read,
                     Instant as_of) {
  if (x <= low_mark) return read;
  if (x - used_by(as_of) > low_mark) return as_of;
  Instant above = read, below = as_of;
  while (below - above > std::chrono::minutes{10}) {
    const Instant middle = above + (below - above) / 2;
    (x - used_by(middle) > low_mark ? above : below) = middle;
  }
  return below;
}

/// Since when all of the shafts are known to rest; empty: one of them may run.
std::optional<Instant> rest_of_all(const std::vector<ShaftId>& shafts, const std::map<ShaftId, HoursCurve>& hours,
                                   Instant as_of) {
  std::optional<Instant> since;
  for (const ShaftId shaft : shafts) {
    const auto h = hours.find(shaft);
    const std::optional<Instant> own = h == hours.end() ? std::nullopt : h->second.rests_since(as_of);
    if (!own) return std::nullopt;
    since = std::max(since.value_or(*own), *own);
  }
  return since;
}

/// Relative sd of a use over weeks to come that no past week tells of: a short past is a poor guide.
double pattern_sd(std::size_t weeks) { return std::hypot(kNewTrade, 0.6 / std::sqrt(static_cast<double>(weeks))); }

}  // namespace

NextRefill forecast_refill(const VesselLog& log, const Lubricator& lubricator, const DeliveryResult& delivery,
                           const Schedule& schedule, const std::map<ShaftId, HoursCurve>& hours, Instant as_of) {
  NextRefill next;
  const LubricatorSetting* setting = setting_at(lubricator.settings, as_of);
  if (!setting || in_cm3(setting->reservoir) <= 0 || !delivery.level_pct) return next;
  const double full = in_cm3(setting->reservoir);
  const double low_mark = setting->low_level ? in_cm3(*setting->low_level) : 0.1 * full;
  next.amount_cm3 = Estimate{kFullMark * full - low_mark, 0, 0};
  const double repeat = full * 0.01 * std::max(0.7, delivery.level_sd_pct);  // of one reading, at either mark
  next.amount_cm3->low = std::max(0.0, next.amount_cm3->value - 1.6449 * std::sqrt(2.0) * repeat);
  next.amount_cm3->high = next.amount_cm3->value + 1.6449 * std::sqrt(2.0) * repeat;

  const double level = delivery.level_pct->value / 100 * full, level_sd = sd_of(*delivery.level_pct) / 100 * full;
  if (level <= low_mark) {
    const double ratio = delivery.delivery_ratio ? delivery.delivery_ratio->value : 1.0;
    const Instant read = delivery.level_read;
    const auto used_by = [&](Instant t) { return ratio * doses_cm3(schedule, delivery, {}, read, t); };
    // A level is told no lower than 0; by the balance it may be.
    const double then = delivery.level_then_pct / 100 * full, by_balance = then - used_by(as_of);
    const double sd = std::max(0.0, delivery.level_pct->high / 100 * full - by_balance) / 1.6449;
    // What that error has beyond the reading's came with the use, and was less when the mark was met.
    const double used = used_by(as_of),
                 of_use = used > 0 ? std::sqrt(std::max(0.0, sd * sd - repeat * repeat)) / used : 0;
    const auto met = [&](double z) {
      const double less = std::max(0.05, 1 - z * of_use);
      return met_low_mark(
          then + z * repeat, low_mark, [&](Instant t) { return less * used_by(t); }, read, as_of);
    };
    next.p10 = met(-1.2816);
    next.p50 = met(0);
    next.p90 = met(1.2816);
    // What it takes now; the error of the full mark beside that of the level.
    const Estimate& pct = *delivery.level_pct;
    const double mark = 1.6449 * repeat, to_full = kFullMark * full;
    next.amount_cm3 = Estimate{to_full - level, to_full - std::hypot(pct.high / 100 * full - level, mark) - level,
                               to_full - level + std::hypot(level - pct.low / 100 * full, mark)};
    next.amount_cm3->low = std::max(0.0, next.amount_cm3->low);
    next.amount_cm3->high = std::min(next.amount_cm3->high, to_full + mark);
    return next;
  }
  const std::vector<double> weekly = past_use(lubricator, schedule, log, hours, as_of).weekly_cm3;
  if (weekly.empty()) return next;

  // The ratio of the product with the cycle ratio: the weeks replayed are of hours, not of counted cycles.
  double ratio = delivery.delivery_ratio ? delivery.delivery_ratio->value : 1.0;
  double ratio_sd = delivery.delivery_ratio ? sd_of(*delivery.delivery_ratio) : kUsualSd;
  if (delivery.cycle_ratio) {
    ratio_sd = std::hypot(ratio_sd * delivery.cycle_ratio->value, ratio * sd_of(*delivery.cycle_ratio));
    ratio *= delivery.cycle_ratio->value;
  }
  // While nothing is used nobody knows when the low mark is met; said is what holds once it is set going again.
  const std::vector<Span>& stands = schedule.standstills(lubricator.id);
  if (!stands.empty() && stands.back().to >= as_of && stands.back().from < as_of)
    next.stands_since = stands.back().from;
  else if (ratio < kStandsStill)
    next.stands_since = delivery.cycles_low ? delivery.cycles_low->began.estimate
                        : delivery.low      ? delivery.low->began.estimate
                                            : as_of;
  else
    next.stands_since = rest_of_all(schedule.shafts_fed(lubricator.id, as_of), hours, as_of);
  if (next.stands_since && ratio < kStandsStill) ratio = 1, ratio_sd = kUsualSd;

  // Every past week starts one replay, and those count most that were like today: a use like that of late, the same
  // time of the year. Each is combined with nine levels and nine ratios.
  const std::vector<double> alike = likeness(weekly);
  ratio_sd = std::hypot(ratio_sd, ratio * pattern_sd(weekly.size()));
  std::vector<std::pair<double, double>> days;  // until the low mark, weight
  for (std::size_t start = 0; start < weekly.size(); ++start) {
    const std::vector<double> used = replay(weekly, start);
    for (const double zl : kNinths)
      for (const double zr : kNinths) {
        const double free = level + zl * level_sd - low_mark;
        const double r = std::max(0.0, ratio + zr * ratio_sd);
        double d = kNever;
        if (free <= 0) {
          d = 0;
        } else if (r * used.back() >= free) {
          const auto hit =
              static_cast<std::size_t>(std::lower_bound(used.begin(), used.end(), free / r) - used.begin());
          const double part = (free / r - used[hit - 1]) / (used[hit] - used[hit - 1]);
          d = 7 * (static_cast<double>(hit - 1) + part);
        }
        days.emplace_back(d, alike[start]);
      }
  }
  std::sort(days.begin(), days.end());
  double all = 0;
  for (const auto& [d, w] : days) all += w;
  const auto quantile = [&](double p) -> std::optional<Instant> {
    double below = 0;
    for (const auto& [d, w] : days) {
      below += w;
      if (below < p * all) continue;
      if (d > 7.0 * kWeeks) return std::nullopt;
      return as_of + std::chrono::seconds{std::llround(d * 86400)};
    }
    return std::nullopt;
  };
  next.p10 = quantile(0.10);
  next.p50 = quantile(0.50);
  next.p90 = quantile(0.90);
  return next;
}

}  // namespace shaftlog
