#include "analysis/forecast.hpp"

#include <algorithm>
#include <array>
#include <chrono>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <utility>
#include <vector>

namespace shaftlog {
namespace {

constexpr int kWeeks = 78;         // 18 months; beyond that nothing is said
constexpr std::size_t kBlock = 4;  // weeks replayed together: voyages and dockings last longer than one week
constexpr double kFullMark = 1.0;

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
  const bool is_below = level <= low_mark;
  if (is_below) {
    next.p10 = next.p50 = next.p90 = as_of;
    return next;
  }
  const std::vector<double> weekly = past_use(lubricator, schedule, log, hours, as_of).weekly_cm3;
  if (weekly.empty()) return next;

  // The ratio of the product with the cycle ratio: the weeks replayed are of hours, not of counted cycles.
  double ratio = delivery.delivery_ratio ? delivery.delivery_ratio->value : 1.0;
  double ratio_sd = delivery.delivery_ratio ? sd_of(*delivery.delivery_ratio) : 0.04;
  if (delivery.cycle_ratio) {
    ratio_sd = std::hypot(ratio_sd * delivery.cycle_ratio->value, ratio * sd_of(*delivery.cycle_ratio));
    ratio *= delivery.cycle_ratio->value;
  }
  const std::vector<Span>& stands = schedule.standstills(lubricator.id);
  const bool stands_now = !stands.empty() && stands.back().to >= as_of && stands.back().from < as_of;
  if (stands_now) return next;  // nothing is used until somebody sets it going, and nobody knows when

  // Every past week starts one replay: from there in blocks of kBlock weeks, the blocks taken in a fixed scattered
  // order, so that the answer is the same on every run. Each is combined with nine levels and nine ratios.
  const std::size_t n = weekly.size();
  std::vector<double> days;
  for (std::size_t start = 0; start < n; ++start) {
    std::vector<double> used{0.0};  // at ratio 1, after each week
    std::uint64_t state = 0x9E3779B97F4A7C15ULL * (start + 1);
    std::size_t at = start;
    for (int w = 0; w < kWeeks; ++w) {
      if (w > 0 && static_cast<std::size_t>(w) % kBlock == 0) {
        state = state * 6364136223846793005ULL + 1442695040888963407ULL;
        at = static_cast<std::size_t>((state >> 33) % n);
      }
      used.push_back(used.back() + weekly[at % n]);
      ++at;
    }
    for (const double zl : kNinths)
      for (const double zr : kNinths) {
        const double free = level + zl * level_sd - low_mark;
        const double r = std::max(0.0, ratio + zr * ratio_sd);
        if (free <= 0) {
          days.push_back(0);
          continue;
        }
        if (r * used.back() < free) {
          days.push_back(1e9);
          continue;
        }
        const auto hit = static_cast<std::size_t>(std::lower_bound(used.begin(), used.end(), free / r) - used.begin());
        const double part = (free / r - used[hit - 1]) / (used[hit] - used[hit - 1]);
        days.push_back(7 * (static_cast<double>(hit - 1) + part));
      }
  }
  std::sort(days.begin(), days.end());
  const auto quantile = [&](double p) -> std::optional<Instant> {
    const double d = days[std::min(days.size() - 1, static_cast<std::size_t>(p * static_cast<double>(days.size())))];
    if (d > 7.0 * kWeeks) return std::nullopt;
    return as_of + std::chrono::seconds{std::llround(d * 86400)};
  };
  next.p10 = quantile(0.10);
  next.p50 = quantile(0.50);
  next.p90 = quantile(0.90);
  return next;
}

}  // namespace shaftlog
