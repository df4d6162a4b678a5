#include "analysis/outcome.hpp"

#include "analysis/alarms.hpp"
#include "analysis/event_rates.hpp"
#include "analysis/review_context.hpp"

#include <algorithm>
#include <array>
#include <cmath>

#include <fmt/format.h>

namespace shaftlog {
namespace {

constexpr double kNormal95 = 1.6448536269514722;   // 90 % of a normal distribution lie within so many sd
constexpr auto kSameDay = std::chrono::hours{24};  // days are often all that is told of work
constexpr double kLossMargin = 0.25;               // what season and duty alone bring about (1 sd 0.13 of ln)

struct Looking {
  const VesselLog& log;
  const VesselDigest& d;
  const FoundBefore& found;
  Instant since, as_of;
  Zone zone;
  [[nodiscard]] std::string day(Instant t) const { return format_day(t, zone); }
};

std::string counted(int n, std::string_view one, std::string_view many) {
  return fmt::format("{} {}", n, n == 1 ? one : many);
}

std::string_view words_of(Verdict v) {
  switch (v) {
    case Verdict::too_early:
      return "too early to say";
    case Verdict::came_back:
      return "the numbers came back";
    case Verdict::partly:
      return "the numbers came back in part";
    case Verdict::not_back:
      return "the numbers have not come back";
    case Verdict::no_measure:
      break;
  }
  return "no figure tells";
}

/// Judges a factor over the baseline against the middle, on the scale of ratios, between 1 and what was found.
Verdict judge(const Estimate& factor, double found, double margin) {
  // Nothing at all was found below a quarter: what stood still is back when it does more than half.
  const double turn = std::sqrt(std::max(found, 0.25));
  if (found >= 1) {
    if (factor.high < turn) return factor.low > 1 + margin ? Verdict::partly : Verdict::came_back;
    return factor.low > turn ? Verdict::not_back : Verdict::too_early;
  }
  if (factor.low > turn) return factor.high < 1 - margin ? Verdict::partly : Verdict::came_back;
  return factor.high < turn ? Verdict::not_back : Verdict::too_early;
}

// --- washout ---------------------------------------------------------------------------------------------------------

/// The present rate of some neighbouring intervals of a history alone; nothing is borrowed from other shafts.
std::optional<Estimate> rate_of(const ShaftHistory& h, std::size_t first, std::size_t end) {
  if (first >= end) return std::nullopt;
  ShaftHistory part = h;
  part.intervals.assign(h.intervals.begin() + static_cast<std::ptrdiff_t>(first),
                        h.intervals.begin() + static_cast<std::ptrdiff_t>(end));
  const Ended before = first == 0 ? Ended::stopped : h.intervals[first - 1].ended;
  part.first_is_full = first == 0 ? h.first_is_full : before == Ended::pressure || before == Ended::packed;
  WashoutPrior wide;
  wide.sd_log_w = 2;
  return fit_washout(part, wide).washout_cm3_per_h;
}

Estimate ratio_of(const Estimate& a, const Estimate& b) {
  const auto sd = [](const Estimate& e) {
    return std::log(std::max(e.high, 1e-9) / std::max(e.low, 1e-9)) / (2 * kNormal95);
  };
  const double value = std::max(a.value, 1e-9) / std::max(b.value, 1e-9);
  const double spread = std::exp(kNormal95 * std::hypot(sd(a), sd(b)));
  return {value, value / spread, value * spread};
}

Outcome washout_since(const Looking& at) {
  Outcome out;
  out.measure = "washout";
  out.unit = "cm3/h";
  const auto it = at.d.histories.find(at.found.shaft);
  if (it == at.d.histories.end()) return out;
  const ShaftHistory& h = it->second;
  const std::size_t n = h.intervals.size();
  // Baseline: up to where it began, from the last new seal or bearing before that.
  const Instant began = at.found.began.value_or(at.since);
  std::size_t base_end = 0, base_first = 0, after = 0, raised_end = 0;
  while (base_end < n && h.intervals[base_end].at <= began) ++base_end;
  for (std::size_t i = 0; i < base_end; ++i) {
    if (h.intervals[i].starts_baseline) base_first = i + 1;
  }
  while (after < n && h.intervals[after].from < at.since - kSameDay) ++after;
  while (raised_end < n && h.intervals[raised_end].at <= at.since) ++raised_end;
  out.records = static_cast<int>(n - after);
  double run = 0;
  for (std::size_t i = after; i < n; ++i) run += h.intervals[i].run_h;
  out.run_h = run;
  const std::optional<Estimate> found = rate_of(h, std::max(base_end, base_first), raised_end);
  out.baseline = rate_of(h, base_first, base_end);
  if (!out.baseline && found && at.found.value && *at.found.value > 0) {
    const double times =
        1 / *at.found.value;  // high from the first record on: the baseline is what the group led to expect
    out.baseline = Estimate{found->value * times, found->low * times, found->high * times};
  }
  out.verdict = Verdict::too_early;
  if (out.records == 0) {
    out.says = fmt::format("no greasing interval lies wholly after {} yet: too early to say", at.day(at.since));
    return out;
  }
  out.now = rate_of(h, after, n);
  const std::string over =
      fmt::format("{} over {} running hours since {}", counted(out.records, "greasing interval", "greasing intervals"),
                  figure_text(run), at.day(at.since));
  if (!out.now) {
    out.says = fmt::format("{}: they do not measure the loss: too early to say", over);
    return out;
  }
  if (!out.baseline) {
    out.verdict = Verdict::no_measure;
    out.says = fmt::format("{}: the washout is {}; no baseline is known to compare it with", over,
                           figure_text(*out.now, "cm3/h"));
    return out;
  }
  out.factor = ratio_of(*out.now, *out.baseline);
  out.found = at.found.value;
  if (!out.found && found) out.found = found->value / std::max(out.baseline->value, 1e-9);
  const double was = out.found.value_or(1);
  if (was > 1.05) out.verdict = judge(*out.factor, was, kLossMargin);
  out.says = fmt::format("{}: the washout is {}, {} times the baseline of {}", over, figure_text(*out.now, "cm3/h"),
                         figure_text(*out.factor, ""), figure_text(out.baseline->value));
  if (out.found) out.says += fmt::format("; it was {} times", figure_text(*out.found));
  return out;
}

// --- what left the reservoir, and cycles ---------------------------------------------------------------------------

Outcome ratio_since(const Looking& at) {
  Outcome out;
  out.measure = at.found.measure.empty() ? "delivery_ratio" : at.found.measure;
  out.unit = "1";
  out.verdict = Verdict::too_early;
  out.found = at.found.value;
  out.baseline = Estimate{1, 1, 1};
  const LubricatorId lubricator = at.found.lubricator;
  std::string over;
  if (out.measure == "cycle_ratio") {
    std::optional<Instant> first, last;
    for (const Logged<Cycles>& c : at.log.cycles) {
      if (c.lubricator != lubricator || c.at < at.since || c.at > at.as_of) continue;
      if (!first) first = c.at;
      last = c.at;
      ++out.records;
    }
    const auto counted_cycles = first ? at.d.schedule->counted_cycles(lubricator, *first, *last) : std::nullopt;
    const double called = first ? at.d.schedule->called_for_cycles(lubricator, *first, *last) : 0;
    if (out.records < 2 || !counted_cycles || called <= 0) {
      out.says = fmt::format("{} of the cycle counter since {}: too early to say",
                             counted(out.records, "reading", "readings"), at.day(at.since));
      return out;
    }
    const double cm3 = at.d.schedule->called_for_cm3(lubricator, *first, *last);
    const double relative = cm3 > 0 ? at.d.schedule->called_for_sd_cm3(lubricator, *first, *last) / cm3 : 0;
    const double ratio = *counted_cycles / called;
    const double half = kNormal95 * std::hypot(ratio * relative, 1 / called);  // a counter shows whole cycles
    out.now = Estimate{ratio, std::max(0.0, ratio - half), ratio + half};
    over = fmt::format("{} of the counter from {} to {}: {} of the cycles called for were made", out.records,
                       at.day(*first), at.day(*last), figure_text(*out.now, ""));
  } else {
    const auto it = at.d.delivery.find(lubricator);
    const auto unit = std::find_if(at.log.lubricators.begin(), at.log.lubricators.end(),
                                   [&](const Lubricator& l) { return l.id == lubricator; });
    if (it == at.d.delivery.end() || unit == at.log.lubricators.end()) return out;
    const LubricatorSetting* set = setting_at(unit->settings, at.as_of);
    double used = 0, expected = 0;
    for (const RatioStep& s : it->second.steps) {
      if (s.from < at.since - kSameDay || s.at > at.as_of) continue;
      used += s.used_cm3;
      expected += s.expected_cm3;
      ++out.records;
    }
    if (out.records == 0 || expected <= 0 || set == nullptr) {
      out.says = fmt::format("no two levels or refills lie after {} yet: too early to say", at.day(at.since));
      return out;
    }
    // Level errors telescope: those of the first and the last reading are left. 4 % of what was poured and called for.
    const double level = it->second.level_sd_pct / 100 * in_cm3(set->reservoir);
    const double half = kNormal95 * std::hypot(std::sqrt(2.0) * level, 0.04 * used) / expected;
    const double ratio = used / expected;
    out.now = Estimate{ratio, std::max(0.0, ratio - half), ratio + half};
    over = fmt::format("{} since {}: {} of the grease called for left the reservoir",
                       counted(out.records, "stretch between levels", "stretches between levels"), at.day(at.since),
                       figure_text(*out.now, ""));
  }
  out.factor = out.now;
  if (out.found) out.verdict = judge(*out.factor, *out.found, kRatioMargin);
  out.says = over;
  if (out.found) out.says += fmt::format("; it was {}", figure_text(*out.found));
  return out;
}

// --- alarms ----------------------------------------------------------------------------------------------------------

const HoursCurve* curve_for(const Looking& at) {
  const HoursCurve* best = nullptr;
  for (const auto& [id, hours] : at.d.hours) {
    const auto feeding = at.d.schedule->lubricators_of(id);
    const bool is_of_it = at.found.shaft.is_set()
                              ? id == at.found.shaft
                              : std::find(feeding.begin(), feeding.end(), at.found.lubricator) != feeding.end();
    if (!is_of_it || hours.curve.points().size() < 2) continue;
    if (best == nullptr || hours.total_h > best->hours_at(best->last())) best = &hours.curve;
  }
  return best;
}

bool is_of_subject(const AlarmEpisode& e, const FoundBefore& found) {
  return found.shaft.is_set() ? e.shaft == found.shaft : e.lubricator == found.lubricator && !e.shaft.is_set();
}

Outcome alarms_since(const Looking& at) {
  Outcome out;
  out.measure = "alarms_per_1000h";
  out.unit = "1/1000 h";
  out.verdict = Verdict::too_early;
  out.found = at.found.value;
  const HoursCurve* curve = curve_for(at);
  if (curve == nullptr) return out;
  const Instant began = std::clamp(at.found.began.value_or(at.since), curve->first(), at.since);
  std::int64_t before = 0;
  for (const AlarmEpisode& e : merge_alarms(at.log.alarms, at.as_of)) {
    if (!is_of_subject(e, at.found)) continue;
    if (e.raised >= curve->first() && e.raised < began) ++before;
    if (e.raised >= at.since) ++out.records;
  }
  const double h_before = curve->run_h(curve->first(), began);
  const double h_after = curve->run_h(std::max(curve->first(), at.since), at.as_of);
  out.run_h = h_after;
  if (h_before <= 0 || h_after <= 0) {
    out.says = fmt::format("no running hours since {}: too early to say", at.day(at.since));
    return out;
  }
  const auto rate = [](std::int64_t n, double h) {
    const Rate r = event_rate(n, h);
    return Estimate{1000 * r.rate, 1000 * r.limits.low, 1000 * r.limits.high};
  };
  out.baseline = rate(before, h_before);
  out.now = rate(out.records, h_after);
  out.says = fmt::format("{} in {} running hours since {}: {}, before it began {}",
                         counted(out.records, "alarm", "alarms"), figure_text(h_after), at.day(at.since),
                         figure_text(*out.now, "per 1000 h"), figure_text(out.baseline->value));
  if (before + out.records > 0) {
    const RateRatio r = compare_rates(out.records, h_after, before, h_before, 0.9);
    if (std::isfinite(r.ratio) && std::isfinite(r.limits.high)) {
      out.factor = Estimate{r.ratio, r.limits.low, r.limits.high};
      if (out.found && *out.found > 1) out.verdict = judge(*out.factor, *out.found, kLossMargin);
    } else if (std::isfinite(r.limits.low) && out.found && r.limits.low > std::sqrt(std::max(1.0, *out.found))) {
      out.verdict = Verdict::not_back;
    }
  }
  if (out.found) out.says += fmt::format("; it was {} times that", figure_text(*out.found));
  return out;
}

Outcome standing_since(const Looking& at) {
  Outcome out;
  out.measure = "alarm";
  out.verdict = Verdict::came_back;
  out.says = "the alarm stands no longer";
  for (const AlarmEpisode& e : merge_alarms(at.log.alarms, at.as_of)) {
    if (!is_of_subject(e, at.found) || (at.found.began && e.raised != *at.found.began)) continue;
    ++out.records;
    if (e.cleared) continue;
    out.verdict = Verdict::not_back;
    out.says = fmt::format("the alarm of {} still stands by the records", at.day(e.raised));
  }
  if (out.records == 0) {
    out.verdict = Verdict::no_measure;
    out.says = "the alarm is no longer in the log as it was";
  }
  return out;
}

// --- samples ---------------------------------------------------------------------------------------------------------

std::optional<double> sample_of(const Inspection& i, std::string_view measure) {
  if (measure == "water" && i.water_ppm) return static_cast<double>(*i.water_ppm) / 10000;
  if (measure == "iron" && i.iron_ppm_milli) return static_cast<double>(*i.iron_ppm_milli) / 1000;
  if (measure == "clearance" && i.clearance_um) return static_cast<double>(*i.clearance_um) / 1000;
  return std::nullopt;
}

Outcome samples_since(const Looking& at) {
  Outcome out;
  out.measure = at.found.measure;
  out.unit = at.found.measure == "water" ? "%" : at.found.measure == "iron" ? "ppm" : "mm";
  out.verdict = Verdict::too_early;
  out.found = at.found.value;
  std::vector<double> before, after;
  const Instant began = at.found.began.value_or(at.since);
  for (const Logged<Inspection>& i : at.log.inspections) {
    const auto v = i.shaft == at.found.shaft ? sample_of(i.what, out.measure) : std::nullopt;
    if (!v || i.at > at.as_of) continue;
    if (i.at < began) before.push_back(*v);
    if (i.at >= at.since) after.push_back(*v);
  }
  out.records = static_cast<int>(after.size());
  if (after.empty()) {
    out.says = fmt::format("no inspection shows {} since {}: too early to say", out.measure, at.day(at.since));
    return out;
  }
  out.now = Estimate{after.back(), after.back(), after.back()};
  std::sort(before.begin(), before.end());
  double base = 0;
  if (!before.empty()) {
    base = before[before.size() / 2];
    out.baseline = Estimate{base, base, base};
  }
  const double middle = (base + out.found.value_or(2 * base)) / 2;
  const auto below = std::count_if(after.begin(), after.end(), [&](double v) { return v < middle; });
  // One sample is one sample: it may have been drawn beside the spot.
  if (out.found && after.size() >= 2) {
    if (below == std::ssize(after)) out.verdict = Verdict::came_back;
    if (below == 0) out.verdict = Verdict::not_back;
  }
  out.says = fmt::format("{} since {}, the newest {} {}", counted(out.records, "sample", "samples"), at.day(at.since),
                         figure_text(after.back()), out.unit);
  if (!before.empty()) out.says += fmt::format("; the middle of those before was {}", figure_text(base));
  if (out.found) out.says += fmt::format("; {} when it was found", figure_text(*out.found));
  return out;
}

// --- what is done or not ---------------------------------------------------------------------------------------------

Outcome done_since(const Looking& at) {
  Outcome out;
  std::optional<Instant> last;
  const auto take = [&](Instant t) {
    ++out.records;
    last = t;
  };
  std::string_view what;
  switch (at.found.kind) {
    case FindingKind::starved:
    case FindingKind::greasing_overdue: {
      out.measure = "greasing";
      what = "greasing that filled the cavity";
      for (const Logged<Greasing>& g : at.log.greasings) {
        const bool fills = g.what.ended == Ended::pressure || g.what.ended == Ended::packed;
        if (g.shaft == at.found.shaft && fills && g.at >= at.since - kSameDay && g.at <= at.as_of) take(g.at);
      }
      break;
    }
    case FindingKind::refill_due:
      out.measure = "refill";
      what = "refill";
      for (const Logged<Refill>& r : at.log.refills) {
        if (r.lubricator == at.found.lubricator && r.at >= at.since - kSameDay && r.at <= at.as_of) take(r.at);
      }
      break;
    default:
      out.says = "no figure tells; whether it is still found is the answer";
      return out;
  }
  out.verdict = last ? Verdict::came_back : Verdict::too_early;
  out.says = last ? fmt::format("{} since {}, the last on {}", counted(out.records, what, std::string{what} + "s"),
                                at.day(at.since), at.day(*last))
                  : fmt::format("no {} is recorded since {}", what, at.day(at.since));
  return out;
}

Outcome look(const Looking& at) {
  switch (at.found.kind) {
    case FindingKind::abnormal_washout:
    case FindingKind::seal_wear:
    case FindingKind::less_grease_taken:
      return washout_since(at);
    case FindingKind::missed_cycles:
    case FindingKind::line_leak:
      return ratio_since(at);
    case FindingKind::alarm_rate:
      return alarms_since(at);
    case FindingKind::alarm_standing:
      return standing_since(at);
    case FindingKind::water_ingress:
    case FindingKind::wear_sign:
      if (!at.found.measure.empty()) return samples_since(at);
      break;
    default:
      break;
  }
  return done_since(at);
}

}  // namespace

std::string_view name_of(Verdict v) noexcept {
  constexpr std::array<std::string_view, 5> kWords{"too_early", "came_back", "partly", "not_back", "no_measure"};
  return kWords[static_cast<std::size_t>(v)];
}

const Figure* telling_figure(const Finding& f) noexcept {
  const auto find = [&f](std::initializer_list<std::string_view> names) -> const Figure* {
    for (const Figure& x : f.figures) {  // the first of them is the one it was found by
      if (std::find(names.begin(), names.end(), x.name) != names.end()) return &x;
    }
    return nullptr;
  };
  switch (f.kind) {
    case FindingKind::abnormal_washout:
    case FindingKind::seal_wear:
    case FindingKind::less_grease_taken:
    case FindingKind::alarm_rate:
      return find({"factor"});
    case FindingKind::missed_cycles:
    case FindingKind::line_leak:
      return find({"delivery_ratio", "cycle_ratio"});
    case FindingKind::water_ingress:
    case FindingKind::wear_sign:
      return find({"water", "iron", "clearance"});
    default:
      return nullptr;
  }
}

FoundBefore found_before(const Finding& f) {
  FoundBefore out{f.kind, f.shaft, f.lubricator, std::nullopt, {}, std::nullopt};
  if (f.began) out.began = f.began->estimate;
  if (const Figure* x = telling_figure(f); x != nullptr) {
    out.measure = x->name;
    out.value = x->estimate.value;
  }
  return out;
}

Outcome outcome_since(const VesselLog& log, const VesselDigest& d, const FoundBefore& found, Instant since,
                      Instant as_of) {
  Outcome out = look({log, d, found, since, as_of, Zone{log.vessel.time_zone}});
  out.since = since;
  if (out.says.empty()) out.says = "the records since cannot tell";
  const bool is_told = out.says.find(words_of(out.verdict)) != std::string::npos;
  if (out.verdict != Verdict::no_measure && !is_told) out.says += fmt::format(": {}", words_of(out.verdict));
  return out;
}

}  // namespace shaftlog
