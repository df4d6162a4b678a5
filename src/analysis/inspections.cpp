#include "analysis/inspections.hpp"

#include "analysis/prediction.hpp"
#include "analysis/review_context.hpp"
#include "analysis/trend.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <numeric>

#include <fmt/format.h>

namespace shaftlog {
namespace {

constexpr double kYear_d = 365.25;
constexpr double kWaterLimit_pct = 2.0;
constexpr double kRise = 1.5;
constexpr std::size_t kLeastForTrend = 4;

struct Measure {
  std::string_view name, unit;
  std::optional<std::int64_t> Inspection::*value;
  std::optional<std::int64_t> ShaftSetting::*limit;
  double scale;  // base units to one of `unit`
};
constexpr std::array<Measure, 3> kMeasures{{
    {"water", "%", &Inspection::water_ppm, &ShaftSetting::water_limit_ppm, 10000},
    {"iron", "ppm", &Inspection::iron_ppm_milli, &ShaftSetting::iron_limit_ppm_milli, 1000},
    {"clearance", "mm", &Inspection::clearance_um, &ShaftSetting::clearance_limit_um, 1000},
}};

std::optional<Instant> renewed(const VesselLog& log, ShaftId shaft, Instant as_of) {
  std::optional<Instant> since;
  for (const Logged<Work>& w : log.work) {
    const bool renews = w.what.work == WorkKind::seal_replaced || w.what.work == WorkKind::bearing_replaced ||
                        w.what.work == WorkKind::purged;
    if (w.shaft == shaft && renews && w.at <= as_of) since = std::max(since.value_or(w.at), w.at);
  }
  return since;
}

std::optional<InspectionLimit> limit_of(const VesselLog& log, ShaftId shaft, Instant as_of, const Measure& m,
                                        const std::vector<double>& values) {
  const auto row = std::find_if(log.shafts.begin(), log.shafts.end(), [&](const Shaft& s) { return s.id == shaft; });
  const ShaftSetting* set = row == log.shafts.end() ? nullptr : setting_at(row->settings, as_of);
  if (set != nullptr && (set->*m.limit)) {
    return InspectionLimit{static_cast<double>(*(set->*m.limit)) / m.scale, LimitKind::registered};
  }
  if (m.name == "water") return InspectionLimit{kWaterLimit_pct, LimitKind::common};
  const std::span<const double> earlier{values.data(), values.size() - 1};
  if (const auto limit = next_value_limit(earlier)) return InspectionLimit{*limit, LimitKind::statistical};
  return std::nullopt;
}

std::string_view words_of(LimitKind k) {
  switch (k) {
    case LimitKind::registered:
      return "the limit registered for this shaft";
    case LimitKind::common:
      return "common practice, no published limit";
    case LimitKind::statistical:
      break;
  }
  return "what its own earlier values would pass once in 1000; statistical, not a limit of wear";
}

std::string sentence(const InspectionTrend& t, const Zone& zone) {
  const InspectionPoint& last = t.points.back();
  const std::size_t n = t.points.size();
  std::string out =
      fmt::format("{} is {} {} on {}", t.measure, figure_text(last.value), t.unit, format_day(last.at, zone));
  if (t.is_rising) {
    out += fmt::format(", up from {} over {} inspections", figure_text(*t.before), n);
  } else if (n == 1) {
    out += ", the only sample";
  } else if (n < kLeastForTrend) {
    out += fmt::format(", {} samples: too few for a trend", n);
  } else {
    out += fmt::format(", no lasting rise over {} inspections", n);
  }
  // What chance alone does to so few says more than a rounded probability.
  if (n == 3 && t.points[0].value < t.points[1].value && t.points[1].value < t.points[2].value) {
    out += "; three in rising order happen by chance once in 6";
  } else if (t.p_rising && n >= kLeastForTrend) {
    out += fmt::format("; such an order by chance {} {} of 100{}", *t.p_rising < 0.0005 ? "in less than" : "in",
                       *t.p_rising < 0.0005 ? "0.1" : figure_text(100 * *t.p_rising), t.p_is_exact ? "" : " (about)");
  }
  if (t.is_over_limit) {
    out += fmt::format("; above {} {} ({})", figure_text(t.limit->value), t.unit, words_of(t.limit->kind));
  } else if (t.limit && t.limit->kind != LimitKind::statistical) {
    out += fmt::format("; below {} {} ({})", figure_text(t.limit->value), t.unit, words_of(t.limit->kind));
  }
  if (t.limit_reached) {
    out += fmt::format(
        ", which it reaches about {}{} at the rate since {}, {} {} a year", format_day(*t.limit_reached, zone),
        t.limit_earliest ? fmt::format(", at the earliest {},", format_day(*t.limit_earliest, zone)) : "",
        format_day(t.points[t.slope_from].at, zone),
        figure_text(Estimate{*t.per_year, t.per_year_limits.low, t.per_year_limits.high}, ""), t.unit);
  }
  return out;
}

std::optional<InspectionTrend> trend_of(const VesselLog& log, ShaftId shaft, Instant since, Instant as_of,
                                        const Measure& m) {
  InspectionTrend t;
  t.measure = m.name;
  t.unit = m.unit;
  t.per_year_limits = {-std::numeric_limits<double>::infinity(), std::numeric_limits<double>::infinity()};
  std::vector<double> days, values;
  for (const Logged<Inspection>& i : log.inspections) {
    if (i.shaft != shaft || i.at < since || i.at > as_of || !(i.what.*m.value)) continue;
    t.points.push_back({i.id, i.at, static_cast<double>(*(i.what.*m.value)) / m.scale});
    days.push_back(days_between(t.points.front().at, i.at));
    values.push_back(t.points.back().value);
  }
  if (t.points.empty()) return std::nullopt;
  const double last = values.back();
  const std::size_t n = values.size();
  if (n >= 3) {
    const MannKendall rank = mann_kendall(days, values);
    t.p_is_exact = rank.p_rising_exact.has_value();
    // The continuity correction makes the approximation err on the careful side.
    t.p_rising = t.p_is_exact ? *rank.p_rising_exact : normal_tail(rank.z);
  }
  if (n >= kLeastForTrend) {
    t.before = median(std::span<const double>{values.data(), n - 2});
    t.is_rising = *t.p_rising <= 0.05 && last > kRise * *t.before && last > 0;
  }
  if (days.back() > 0) {
    // Level years before the rise say nothing of how fast it goes on.
    if (t.is_rising) t.slope_from = rise_from(days, values);
    const TheilSen slope = theil_sen(std::span{days}.subspan(t.slope_from), std::span{values}.subspan(t.slope_from));
    t.per_year = slope.slope * kYear_d;
    t.per_year_limits = {slope.limits.low * kYear_d, slope.limits.high * kYear_d};
  }
  t.limit = limit_of(log, shaft, as_of, m, values);
  t.is_over_limit = t.limit && last > t.limit->value;
  if (t.is_rising && t.limit && !t.is_over_limit && t.limit->kind != LimitKind::statistical && *t.per_year > 0) {
    const auto reached = [&](double per_year) {
      const double days_to = (t.limit->value - last) / per_year * kYear_d;
      return t.points.back().at + std::chrono::seconds{static_cast<std::int64_t>(days_to * 86400)};
    };
    if ((t.limit->value - last) / *t.per_year < 10) {
      t.limit_reached = reached(*t.per_year);
      if (std::isfinite(t.per_year_limits.high)) t.limit_earliest = reached(t.per_year_limits.high);
    }
  }
  t.says = sentence(t, Zone{log.vessel.time_zone});
  return t;
}

PurgeTrend purge_of(const VesselLog& log, ShaftId shaft, Instant since, Instant as_of) {
  PurgeTrend p;
  const Instant year = as_of - std::chrono::days{365};
  for (const Logged<Greasing>& g : log.greasings) {
    if (g.shaft != shaft || g.what.ended == Ended::not_done || g.at < since || g.at > as_of) continue;
    const bool is_late = g.at >= year;
    if (!g.what.purge) {
      p.not_noted += is_late ? 1 : 0;
      continue;
    }
    ++(is_late ? p.looked : p.looked_before);
    if (*g.what.purge == Purge::dark) ++(is_late ? p.dark : p.dark_before);
    if (*g.what.purge != Purge::water) continue;
    ++(is_late ? p.water : p.water_before);
    if (!is_late) continue;
    if (p.water == 2) p.second_water = g.at;
    p.water_records.insert(p.water_records.begin(), g.id);
  }
  if (p.looked > 0 && p.looked_before > 0) {
    p.p_more_water = hypergeometric_at_least(p.water, p.looked, p.water + p.water_before, p.looked + p.looked_before);
  }
  if (p.looked == 0) {
    p.says = "nobody noted what came out at the seal in the last year";
    return p;
  }
  // Where nobody looked, nothing is known: those greasings are neither with nor without water.
  p.says =
      p.not_noted == 0
          ? fmt::format("water came out at the seal at {} of {} greasings in the last year", p.water, p.looked)
          : fmt::format("of {} greasings in the last year {} noted what came out at the seal, water at {} of these",
                        p.looked + p.not_noted, p.looked, p.water);
  if (p.dark > 0) p.says += fmt::format(", dark grease at {}", p.dark);
  if (p.looked_before > 0)
    p.says += fmt::format("; before that water at {} of the {} where it was noted", p.water_before, p.looked_before);
  if (p.p_more_water && p.water > 0 && p.looked_before > 0) {
    p.says += fmt::format(" (so uneven by chance in {} of 100)", figure_text(100 * *p.p_more_water));
  }
  return p;
}

}  // namespace

double hypergeometric_at_least(int k, int n, int marked, int all) {
  const auto log_choose = [](int a, int b) { return log_gamma(a + 1.0) - log_gamma(b + 1.0) - log_gamma(a - b + 1.0); };
  double p = 0;
  for (int i = std::max({k, 0, n - (all - marked)}); i <= std::min(n, marked); ++i) {
    p += std::exp(log_choose(marked, i) + log_choose(all - marked, n - i) - log_choose(all, n));
  }
  return std::min(p, 1.0);
}

std::size_t rise_from(std::span<const double> x, std::span<const double> y) {
  const std::size_t n = x.size();
  if (n <= kLeastInRise) return 0;
  const auto mean_of = [](std::span<const double> v) {
    return std::accumulate(v.begin(), v.end(), 0.0) / static_cast<double>(v.size());
  };
  const double mean_y = mean_of(y);
  double syy = 0;
  for (const double v : y) syy += (v - mean_y) * (v - mean_y);
  // y = level up to x[k], level + slope (x - x[k]) after it. With k = 0 that is a straight line.
  const auto rest = [&](std::size_t k) {
    std::vector<double> after(n);
    for (std::size_t i = 0; i < n; ++i) after[i] = std::max(0.0, x[i] - x[k]);
    const double mean_x = mean_of(after);
    double sxx = 0, sxy = 0;
    for (std::size_t i = 0; i < n; ++i) {
      sxx += (after[i] - mean_x) * (after[i] - mean_x);
      sxy += (after[i] - mean_x) * (y[i] - mean_y);
    }
    return sxx > 0 && sxy > 0 ? std::max(0.0, syy - sxy * sxy / sxx) : syy;
  };
  const double line = rest(0);
  if (line <= 1e-9 * syy) return 0;  // nothing but rounding is left to explain
  const std::size_t last = n - kLeastInRise;
  std::size_t best = 0;
  double least = line;
  for (std::size_t k = 1; k <= last; ++k)
    if (const double r = rest(k); r < least) {
      least = r;
      best = k;
    }
  if (best == 0) return 0;
  if (!(least > 0)) return best;
  // Looked for at `last` places, so each may take its share of the chance only.
  constexpr double kChance = 0.05;
  const double dof = static_cast<double>(n) - 3;
  const double p = f_tail((line - least) / (least / dof), 1, dof);
  return p * static_cast<double>(last) <= kChance ? best : 0;
}

std::optional<double> next_value_limit(std::span<const double> x) {
  if (x.size() < kLeastForTrend) return std::nullopt;
  const bool is_log = std::all_of(x.begin(), x.end(), [](double v) { return v > 0; });
  std::vector<double> y{x.begin(), x.end()};
  if (is_log) std::transform(y.begin(), y.end(), y.begin(), [](double v) { return std::log(v); });
  const Description d = describe(y);
  if (!(d.sd > 0)) return std::nullopt;
  const double n = static_cast<double>(y.size());
  const double limit = d.mean + t_quantile(0.999, n - 1) * d.sd * std::sqrt(1 + 1 / n);
  return is_log ? std::exp(limit) : limit;
}

InspectionTrends inspection_trends(const VesselLog& log, ShaftId shaft, Instant as_of) {
  InspectionTrends out;
  out.since = renewed(log, shaft, as_of);
  const Instant since = out.since.value_or(Instant{});
  for (const Measure& m : kMeasures) {
    if (auto t = trend_of(log, shaft, since, as_of, m)) out.measures.push_back(std::move(*t));
  }
  out.purge = purge_of(log, shaft, since, as_of);
  return out;
}

// --- findings --------------------------------------------------------------------------------------------------------

namespace {

void report_trend(const ReviewContext& c, ShaftId shaft, const InspectionTrend& t, std::vector<Finding>& found) {
  if (!t.is_over_limit && !t.is_rising) return;
  const FindingKind kind = t.measure == "water" ? FindingKind::water_ingress : FindingKind::wear_sign;
  const InspectionPoint& last = t.points.back();
  Finding f = start_finding(c, kind, shaft, {}, t.measure);
  f.first_seen = last.at;
  for (std::size_t i = t.points.size(); i-- > 0;) {
    const double v = t.points[i].value;
    if (!(t.is_over_limit && v > t.limit->value) && !(t.is_rising && v > kRise * *t.before)) break;
    f.first_seen = t.points[i].at;
  }
  f.began = When{f.first_seen, t.points.front().at, f.first_seen};
  for (auto it = t.points.rbegin(); it != t.points.rend() && f.evidence.size() < 5; ++it) {
    f.evidence.push_back(it->record);
  }
  add_figure(f, std::string{t.measure}, last.value, std::string{t.unit});
  if (t.per_year && std::isfinite(t.per_year_limits.low) && std::isfinite(t.per_year_limits.high)) {
    add_figure(f, "per_year", Estimate{*t.per_year, t.per_year_limits.low, t.per_year_limits.high},
               fmt::format("{}/year", t.unit));
  }
  if (t.limit) add_figure(f, "limit", t.limit->value, std::string{t.unit});
  const double z = t.p_rising ? -normal_quantile(std::clamp(*t.p_rising, 1e-15, 1.0)) : 0;
  const double beyond = t.is_over_limit && t.limit->value > 0 ? 3.0 * last.value / t.limit->value : 0.0;
  add_strength(f, std::max(std::max(z, 0.0), beyond));
  f.summary = t.says;
  f.urgency = t.is_over_limit && t.is_rising ? Urgency::plan : Urgency::watch;
  explain(f, {t.is_rising ? "slow_rise" : "over_limit"}, {});
  found.push_back(std::move(f));
}

}  // namespace

void find_inspections(const ReviewContext& c, std::vector<Finding>& found) {
  for (const Shaft& shaft : c.log.shafts) {
    const InspectionTrends trends = inspection_trends(c.log, shaft.id, c.as_of);
    for (const InspectionTrend& t : trends.measures) {
      const std::size_t before = found.size();
      report_trend(c, shaft.id, t, found);
      const bool is_rivalled = found.size() > before && trends.purge.water >= 2 && t.measure == "water";
      if (is_rivalled) found.back().summary += "; " + trends.purge.says;
    }
    // Where no sample speaks, what came out at the seal does.
    const PurgeTrend& p = trends.purge;
    const bool is_told = has_finding(found, FindingKind::water_ingress, shaft.id, {});
    if (is_told || p.water < 2 || p.water * 3 < p.looked) continue;
    Finding f = start_finding(c, FindingKind::water_ingress, shaft.id, {}, "purge");
    f.first_seen = p.second_water;
    f.evidence = p.water_records;
    add_figure(f, "greasings_with_water", p.water, "1");
    add_strength(f, 2.0 * p.water);
    f.summary = p.says;
    f.urgency = Urgency::watch;
    explain(f, {"water_seen"}, {});
    found.push_back(std::move(f));
  }
}

}  // namespace shaftlog
