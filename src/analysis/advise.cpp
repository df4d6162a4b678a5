#include "analysis/advise.hpp"

#include "analysis/causes.hpp"
#include "analysis/review_context.hpp"
#include "base/figure.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numeric>

#include <fmt/format.h>

namespace shaftlog {
namespace {

// A matter that makes settings beside the point: the cause comes first.
bool is_cause(FindingKind k) {
  return k == FindingKind::abnormal_washout || k == FindingKind::seal_wear || k == FindingKind::less_grease_taken ||
         k == FindingKind::missed_cycles || k == FindingKind::line_leak || k == FindingKind::water_ingress ||
         k == FindingKind::wear_sign || k == FindingKind::grease_mixed;
}

bool feeds(const ShaftDetail& d, LubricatorId lubricator) {
  return std::find(d.lubricators.begin(), d.lubricators.end(), lubricator) != d.lubricators.end();
}

std::string spoken(std::string_view word) {
  std::string out{word};
  std::replace(out.begin(), out.end(), '_', ' ');
  return out;
}

std::vector<std::string> causes_of(const VesselReview& review, const ShaftDetail& d) {
  std::vector<std::string> out;
  for (const Finding& f : review.findings) {
    // A cause that several shafts share is said of each of them.
    const bool is_here = f.is_about(d.shaft) || (!f.shaft.is_set() && feeds(d, f.lubricator));
    if (is_here && is_cause(f.kind)) out.push_back(fmt::format("{} ({})", spoken(name_of(f.kind)), name_of(f.urgency)));
  }
  return out;
}

/// Share of what the settings call for that arrives, as it stands now.
Estimate arrives_of(const VesselReview& review, const ShaftDetail& d) {
  constexpr double kUsualSd = 0.04;
  Estimate out{1, 1 - 1.645 * kUsualSd, 1};
  for (const LubricatorState& l : review.lubricators) {
    if (!feeds(d, l.lubricator)) continue;
    Estimate r = l.delivery_ratio.value_or(out);
    if (l.cycle_ratio) {
      r.value *= l.cycle_ratio->value;
      r.low *= l.cycle_ratio->low;
      r.high *= l.cycle_ratio->high;
    }
    for (const Finding& f : review.findings) {
      if (f.kind != FindingKind::missed_cycles || f.lubricator != l.lubricator || !f.shaft.is_set()) continue;
      r = f.shaft == d.shaft ? Estimate{0, 0, 0} : out;  // the device is known: it is this one, or another
    }
    // What is beyond the doses leaks out before the bearing.
    out = {std::min(r.value, 1.0), std::clamp(r.low, 0.0, 1.0), std::min(r.high, 1.0)};
    out.low = std::min(out.low, out.value);
    out.high = std::max(out.high, out.value);
  }
  return out;
}

std::optional<double> hours_per_day(const HoursCurve& hours) {
  if (hours.is_empty() || hours.points().size() < 2) return std::nullopt;
  const std::vector<double>& weeks = hours.weekly_use();
  constexpr std::size_t kWeeks = 52;
  const std::size_t n = std::min(kWeeks, weeks.size());
  if (n < 8) return hours.use_h_per_day();
  return std::accumulate(weeks.end() - static_cast<std::ptrdiff_t>(n), weeks.end(), 0.0) / static_cast<double>(n);
}

std::optional<double> practised_h(const ShaftHistory& history) {
  constexpr std::size_t kMost = 8;
  std::vector<double> runs;
  for (auto i = history.intervals.rbegin(); i != history.intervals.rend() && runs.size() < kMost; ++i) {
    if (i->run_h > 0 && !i->is_doubtful) runs.push_back(i->run_h);
  }
  if (runs.size() < 2) return std::nullopt;
  std::sort(runs.begin(), runs.end());
  return runs[runs.size() / 2];
}

/// Two figures, towards the safe side: 1287 h is 1200, 0.2134 cm3 is 0.22.
double rounded_down(double x) {
  if (!(x > 0)) return 0;
  const double step = std::pow(10.0, std::floor(std::log10(x)) - 1);
  return std::floor(x / step + 1e-9) * step;
}
double rounded_up(double x) {
  if (!(x > 0)) return 0;
  const double step = std::pow(10.0, std::floor(std::log10(x)) - 1);
  return std::ceil(x / step - 1e-9) * step;
}

std::string interval_text(double h, const std::optional<double>& per_day) {
  std::string out = figure_text(h) + " h";
  if (per_day && *per_day > 0) out += fmt::format(" (about {:.0f} days)", std::floor(h / *per_day));
  return out;
}

std::string pct(double p) {
  if (p > 0.995) return "more than 99 %";
  if (p < 0.005) return "less than 1 %";
  return fmt::format("{:.0f} %", 100 * p);
}

/// \param days_since the last greasing
void say_interval(ShaftAdvice& a, double days_since) {
  const std::string reserve = fmt::format("{:.0f} %", a.reserve_pct);
  if (!a.present_h) {
    a.says.push_back(a.has_limit
                         ? fmt::format("no interval is registered or kept; greased at least every {} the cavity stays "
                                       "above its reserve of {} with 95 % probability",
                                       interval_text(rounded_down(*a.longest_h), a.hours_per_day), reserve)
                         : "no interval is registered or kept; the doses cover the loss");
    return;
  }
  const std::string now = a.registered_days
                              ? fmt::format("the registered interval of {} days (about {} h at its usual use)",
                                            *a.registered_days, figure_text(*a.present_h))
                              : fmt::format("{} interval of {}", a.registered_h ? "the registered" : "the usual",
                                            interval_text(*a.present_h, a.hours_per_day));
  if (*a.p_holds < kAdviceConfidence) {
    a.says.push_back(
        a.longest_h && *a.longest_h >= 1
            ? fmt::format("{} ends above the reserve of {} with a probability of {} only; grease every {} for 95 %",
                          now, reserve, pct(*a.p_holds), interval_text(rounded_down(*a.longest_h), a.hours_per_day))
            : fmt::format("{} ends above the reserve of {} with a probability of {} only, and no interval does better "
                          "than the repeatability of a greasing",
                          now, reserve, pct(*a.p_holds)));
    return;
  }
  a.says.push_back(
      fmt::format("{} ends above the reserve of {} with a probability of {}", now, reserve, pct(*a.p_holds)));
  if (a.is_overdue)
    a.says.push_back(
        fmt::format("but it is overdue now: {} h and {:.0f} days since the last greasing, {}",
                    figure_text(*a.since_last_h), std::floor(days_since),
                    a.p_now ? "which leaves it above the reserve with a probability of " + pct(*a.p_now)
                            : "and what is left is not known: no level and no count of late vouches for the doses"));
  if (a.p_practised && *a.p_practised < kAdviceConfidence)
    a.says.push_back(
        fmt::format("but the last greasings were {} apart, which ends above the reserve with a probability of "
                    "{} only: keep to the registered interval",
                    interval_text(*a.practised_h, a.hours_per_day), pct(*a.p_practised)));
  // Nobody is told to wait longer while something is wrong with the shaft.
  if (!a.causes_first.empty() || a.verdict == AdviceVerdict::keep_to_it ||
      (a.has_limit && *a.longest_h < 1.1 * *a.present_h))
    return;
  std::string more = a.has_limit
                         ? "the records would allow up to " + interval_text(rounded_down(*a.longest_h), a.hours_per_day)
                         : std::string{"the doses cover the loss, so the records set no limit"};
  if (a.registered_h) more += "; the registered interval stands all the same, unless the maker agrees to more";
  a.says.push_back(std::move(more));
}

std::string dose_text(const ShaftAdvice& a, double rate) {
  if (a.feeds.size() != 1) return figure_text(rounded_up(rate)) + " cm3/h in all";
  const FeedSetting& f = a.feeds.front();
  std::string out = fmt::format("{} cm3 a cycle of {} min", figure_text(rounded_up(rate * f.cycle_min / 60)),
                                plain_figure(f.cycle_min, 6));
  if (f.dose_cm3 > 0 && rate > 0)
    out += fmt::format(", or {} cm3 every {} min", figure_text(f.dose_cm3),
                       plain_figure(rounded_down(60 * f.dose_cm3 / rate), 6));
  return out;
}

void say_dose(ShaftAdvice& a) {
  const std::string mended = a.is_as_if_mended ? "once the doses arrive again, " : "";
  if (a.present_h) {
    if (!a.smallest_dose_cm3_per_h)
      a.says.push_back(mended + "no dose keeps the cavity above its reserve at the present interval");
    else if (*a.smallest_dose_cm3_per_h <= 0)
      a.says.emplace_back("with the manual greasings as they are the reserve would last without a dose");
    else
      a.says.push_back(fmt::format("{}the smallest dose that holds with the manual greasings is {}", mended,
                                   dose_text(a, *a.smallest_dose_cm3_per_h)));
  }
  if (a.smallest_alone_cm3_per_h)
    a.says.push_back(
        fmt::format("{}the smallest dose that does without manual greasings for a year is {}; set less "
                    "than the maker's dose only if the maker agrees",
                    mended, dose_text(a, *a.smallest_alone_cm3_per_h)));
}

std::string kg(const Estimate& cm3, double density) {
  const Estimate e{cm3.value * density / 1000, cm3.low * density / 1000, cm3.high * density / 1000};
  return figure_text(e, "kg");
}

void say_year(ShaftAdvice& a) {
  if (!a.year_now || !a.density_g_cm3) return;
  const YearOfGrease& y = *a.year_now;
  const double d = *a.density_g_cm3;
  std::string now = fmt::format(
      "a year at the present settings puts {}, about {:.0f} cm3, of grease in, and in the long run as much to sea",
      kg(y.to_sea_cm3, d), y.to_sea_cm3.value);
  if (y.surplus_cm3.value > 0.02 * y.to_sea_cm3.value)
    now += fmt::format(", of it {} dose beyond the loss", kg(y.surplus_cm3, d));
  if (y.below_reserve_h.high >= 1)
    now += fmt::format("; {} below the reserve are to be expected, about {:.0f} days of its present use",
                       figure_text(y.below_reserve_h, "h"), y.below_reserve_h.value / *a.hours_per_day);
  a.says.push_back(now);
  if (!a.year_advised) return;
  const double then = a.year_advised->to_sea_cm3.value, before = y.to_sea_cm3.value;
  if (std::abs(then - before) < 0.05 * before) return;
  a.says.push_back(fmt::format("with {}: {} to sea a year, {} {}", a.is_automatic ? "that dose" : "that interval",
                               kg(a.year_advised->to_sea_cm3, d), figure_text(std::abs(then - before) * d / 1000),
                               then < before ? "kg less" : "kg more"));
}

std::optional<double> density_of(const VesselLog& log, const Shaft& shaft, Instant as_of) {
  const ShaftSetting* s = setting_at(shaft.settings, as_of);
  if (s == nullptr) return std::nullopt;
  for (const Grease& g : log.greases) {
    if (g.id == s->grease && in_g_cm3(g.density) > 0) return in_g_cm3(g.density);
  }
  return std::nullopt;
}

std::vector<FeedSetting> feeds_of(const VesselLog& log, ShaftId shaft, Instant as_of) {
  std::vector<FeedSetting> out;
  const Feed* held = nullptr;
  const auto take = [&] {
    if (held != nullptr && held->cycle_s > 0 && in_cm3(held->dose) > 0)
      out.push_back({held->lubricator, in_cm3(held->dose), static_cast<double>(held->cycle_s) / 60});
  };
  for (const Feed& f : log.feeds) {  // sorted by lubricator, shaft, from
    if (f.shaft != shaft || (f.from && f.from->utc > as_of)) continue;
    if (held != nullptr && held->lubricator != f.lubricator) take();
    held = &f;
  }
  take();
  return out;
}

/// At back-pressure it takes a fraction of what it took: its loss of today is not known.
bool takes_less(const VesselReview& review, ShaftId shaft) {
  return std::any_of(review.findings.begin(), review.findings.end(),
                     [&](const Finding& f) { return f.kind == FindingKind::less_grease_taken && f.is_about(shaft); });
}

std::string reason_of(const ShaftAdvice& a, const VesselReview& review, const ShaftDetail& d) {
  if (!a.cavity_cm3) return "the capacity of the cavity is not registered";
  if (!a.hours_per_year) return "no two readings of its hour meter that can be used";
  if (*a.hours_per_year < 1) return "it has not run in the last year";
  if (d.history.intervals.empty()) return "no two manual greasings: nothing tells what it loses";
  if (!a.washout_cm3_per_h || a.intervals < kAdviceIntervals)
    return fmt::format("too few records: {} of at least {} intervals between greasings tell something about the loss",
                       a.intervals, kAdviceIntervals);
  if (takes_less(review, d.shaft))
    return "it takes a fraction of the grease it took; find out first whether the grease reaches the bearing, and keep "
           "to the interval until then";
  return "";
}

}  // namespace

std::string_view name_of(AdviceVerdict v) noexcept {
  constexpr std::array<std::string_view, 7> kWords{"unknown",           "keep",    "keep_to_it", "may_be_longer",
                                                   "dose_may_be_lower", "shorten", "raise_dose"};
  return kWords[static_cast<std::size_t>(v)];
}

std::vector<std::string> advice_cautions() {
  std::vector<std::string> out{
      "makers' instructions, class and flag decide on intervals and doses; this is what the records say, no more"};
  for (const char* key : {"injection", "over_pressure", "moving_fin", "pollution"})
    if (const std::string_view text = caution_text(key); !text.empty()) out.emplace_back(text);
  return out;
}

ShaftAdvice advise_shaft(const VesselLog& log, const VesselReview& review, const ShaftDetail& detail, Instant as_of) {
  const auto shaft =
      std::find_if(log.shafts.begin(), log.shafts.end(), [&](const Shaft& s) { return s.id == detail.shaft; });
  ShaftAdvice a;
  a.vessel = log.vessel.id;
  a.shaft = detail.shaft;
  a.causes_first = causes_of(review, detail);
  a.washout_cm3_per_h = detail.washout.washout_cm3_per_h;
  a.intervals = detail.washout.exact + detail.washout.censored;
  // A greasing that took a stroke or two of an oversupplied cavity measured the repeatability of "full", no more.
  a.is_mostly_bounded = detail.washout.censored > 0 && detail.washout.exact * 4 <= detail.washout.censored;
  a.cavity_cm3 = detail.history.cavity_cm3;
  a.reserve_pct = detail.reserve_pct;
  a.hours_per_day = hours_per_day(detail.hours);
  if (a.hours_per_day) a.hours_per_year = *a.hours_per_day * 365.25;
  a.density_g_cm3 = density_of(log, *shaft, as_of);
  a.feeds = feeds_of(log, detail.shaft, as_of);
  a.is_automatic = !a.feeds.empty();
  for (const FeedSetting& f : a.feeds) a.dose_cm3_per_h += f.dose_cm3 * 60 / f.cycle_min;
  if (a.is_automatic) a.arrives = arrives_of(review, detail);
  a.is_dose_vouched = !a.is_automatic || detail.fill.fill_pct.has_value();

  if (const ShaftSetting* s = setting_at(shaft->settings, as_of); s != nullptr) {
    if (s->interval) a.registered_h = in_h(*s->interval);
    if (s->interval_days && a.hours_per_day && *a.hours_per_day > 0) {
      const double h = *s->interval_days * *a.hours_per_day;
      if (!a.registered_h || h < *a.registered_h) {
        a.registered_h = h;
        a.registered_days = *s->interval_days;
      }
    }
  }
  a.practised_h = practised_h(detail.history);
  a.present_h = a.registered_h ? a.registered_h : a.practised_h;

  a.reason = reason_of(a, review, detail);
  if (!a.reason.empty()) {
    a.says.push_back("nothing can be advised: " + a.reason);
    return a;
  }
  CavityLoss c;
  c.capacity_cm3 = *a.cavity_cm3;
  c.reserve_pct = a.reserve_pct;
  c.washout_cm3_per_h = *a.washout_cm3_per_h;
  c.washout_cm3_per_h.low = std::max(c.washout_cm3_per_h.low, 1e-6);
  c.washout_cm3_per_h.value = std::max(c.washout_cm3_per_h.value, c.washout_cm3_per_h.low);
  c.washout_cm3_per_h.high = std::max(c.washout_cm3_per_h.high, c.washout_cm3_per_h.value);
  c.scatter_sd = std::hypot(detail.prior.duty_sd, detail.prior.season_sd);
  c.fill_sd_cm3 = detail.prior.fill_sd_cm3;
  c.dose_cm3_per_h = a.dose_cm3_per_h;
  c.ratio = a.arrives;

  a.longest_h = longest_interval_h(c, kAdviceConfidence);
  a.has_limit = a.longest_h.has_value();
  if (a.present_h) a.p_holds = p_above_reserve(c, *a.present_h);
  if (a.registered_h && a.practised_h && *a.practised_h > 1.1 * *a.registered_h)
    a.p_practised = p_above_reserve(c, *a.practised_h);
  a.since_last_h = detail.hours.run_h(detail.history.intervals.back().at, as_of);
  if (a.is_dose_vouched) a.p_now = p_above_reserve(c, *a.since_last_h);
  a.is_overdue = detail.next_greasing.is_overdue;
  if (a.is_automatic) {
    CavityLoss dosed = c;
    a.is_as_if_mended = a.arrives.high < 0.95;
    if (a.is_as_if_mended) dosed.ratio = {1, 1 - 1.645 * 0.04, 1};
    if (a.present_h) a.smallest_dose_cm3_per_h = smallest_dose_cm3_per_h(dosed, *a.present_h, kAdviceConfidence);
    a.smallest_alone_cm3_per_h = smallest_dose_cm3_per_h(dosed, *a.hours_per_year, kAdviceConfidence);
  }

  const bool holds = a.present_h ? *a.p_holds >= kAdviceConfidence : !a.has_limit;
  // Where manual greasings alone would do, the dose is held to what does without them: it is there to spare them.
  std::optional<double> least = a.smallest_dose_cm3_per_h;
  if (!least || *least <= 0) least = a.smallest_alone_cm3_per_h;
  if (holds)
    a.verdict = a.is_overdue                                                   ? AdviceVerdict::keep_to_it
                : a.p_practised && *a.p_practised < kAdviceConfidence          ? AdviceVerdict::keep_to_it
                : !a.causes_first.empty()                                      ? AdviceVerdict::keep
                : least && *least < 0.9 * a.dose_cm3_per_h                     ? AdviceVerdict::dose_may_be_lower
                : !a.has_limit || *a.longest_h > 1.1 * a.present_h.value_or(0) ? AdviceVerdict::may_be_longer
                                                                               : AdviceVerdict::keep;
  else
    a.verdict = least && *least > a.dose_cm3_per_h ? AdviceVerdict::raise_dose : AdviceVerdict::shorten;

  a.year_now = year_of_grease(c, a.present_h, *a.hours_per_year);
  CavityLoss advised = c;
  a.advised_h = a.present_h;
  if (a.is_automatic) {
    if (least && !a.is_as_if_mended && a.verdict != AdviceVerdict::shorten) a.advised_dose_cm3_per_h = *least;
    if (a.advised_dose_cm3_per_h) advised.dose_cm3_per_h = *a.advised_dose_cm3_per_h;
  } else if (!holds && a.longest_h && *a.longest_h >= 1) {
    a.advised_h = rounded_down(*a.longest_h);
  }
  if (a.advised_h != a.present_h || a.advised_dose_cm3_per_h)
    a.year_advised = year_of_grease(advised, a.advised_h, *a.hours_per_year);

  if (!a.causes_first.empty()) {
    std::string all;
    for (const std::string& cause : a.causes_first) all += (all.empty() ? "" : ", ") + cause;
    a.says.push_back("the cause comes first: " + all +
                     "; no setting mends it, and the figures are of the state as it is");
  }
  say_interval(a, days_between(detail.history.intervals.back().at, as_of));
  if (a.is_automatic) say_dose(a);
  if (a.is_mostly_bounded && a.is_automatic)
    a.says.push_back(fmt::format(
        "the doses covered the loss in {} of {} intervals: it is known to be below a bound only, and how far "
        "below is taken from the fleet; lower a dose in steps, if at all, with a manual greasing after each",
        detail.washout.censored, a.intervals));
  else if (a.is_mostly_bounded)
    a.says.push_back(fmt::format("{} of {} intervals do not measure the loss, they only bound it",
                                 detail.washout.censored, a.intervals));
  if (!a.is_dose_vouched)
    a.says.push_back(
        "no level, refill or counter reading of late says that the doses leave the reservoir: they are "
        "counted as called for");
  say_year(a);
  return a;
}

}  // namespace shaftlog
