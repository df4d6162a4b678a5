#include "tables.hpp"

#include "analysis/event_rates.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>

#include <fmt/format.h>

namespace shaftlog::judge {

using world::MadeVessel;

void put_csv(std::string* csv, std::string_view table, std::string_view row, std::string_view column, double value) {
  if (csv != nullptr) *csv += fmt::format("{},{},{},{:.6g}\n", table, row, column, value);
}

double median_of(std::vector<double> x) {
  if (x.empty()) return std::numeric_limits<double>::quiet_NaN();
  std::sort(x.begin(), x.end());
  const std::size_t n = x.size();
  return n % 2 == 1 ? x[n / 2] : (x[n / 2 - 1] + x[n / 2]) / 2;
}

std::string table_of_false(const std::vector<MadeVessel>& fleet, const Replay& replay, std::string* csv) {
  constexpr std::array<FindingKind, 9> kKinds{
      FindingKind::abnormal_washout, FindingKind::seal_wear,      FindingKind::less_grease_taken,
      FindingKind::missed_cycles,    FindingKind::line_leak,      FindingKind::alarm_rate,
      FindingKind::starved,          FindingKind::record_suspect, FindingKind::records_missing};
  const auto groups = group_rates(fleet);
  std::string out = fmt::format("{:<18}{:>8}{:>8}{:>8}{:>8}{:>10}  {:<17}{:>10}{:>8}\n", "kind", "right", "excused",
                                "false", "years", "per 100 y", "90 %", "reopened", "again");
  for (const FindingKind kind : kKinds) {
    int right = 0, excused = 0, wrong = 0, reopened = 0, again = 0;
    double years = 0;
    for (std::size_t i = 0; i < fleet.size(); ++i) {
      years += healthy_years(fleet[i], kind);
      const std::vector<Track>& tracks = replay.vessels[i].tracks;
      for (std::size_t k = 0; k < tracks.size(); ++k) {
        const Track& t = tracks[k];
        if (t.kind != kind) continue;
        reopened += t.reopened;
        // Another id for the subject soon after the last one went: the same matter under a new name.
        for (std::size_t j = 0; j < k && kind != FindingKind::record_suspect; ++j) {
          const Track& e = tracks[j];
          if (e.kind == kind && e.shaft == t.shaft && e.lubricator == t.lubricator && e.last_shown < t.shown &&
              e.last_shown + std::chrono::days{90} > t.shown) {
            ++again;
            break;
          }
        }
        switch (judge_track(fleet[i], t, groups).verdict) {
          case Verdict::right:
            ++right;
            break;
          case Verdict::excused:
            ++excused;
            break;
          case Verdict::wrong:
            ++wrong;
            break;
        }
      }
    }
    const Rate rate = event_rate(wrong, std::max(years, 1e-9));
    out += fmt::format("{:<18}{:>8}{:>8}{:>8}{:>8.0f}{:>10.2f}  {:<17}{:>10.2f}{:>8.2f}\n", name_of(kind), right,
                       excused, wrong, years, 100 * rate.rate,
                       fmt::format("{:.2f} to {:.2f}", 100 * rate.limits.low, 100 * rate.limits.high),
                       100 * reopened / std::max(years, 1e-9), 100 * again / std::max(years, 1e-9));
    put_csv(csv, "false", name_of(kind), "false_per_100_years", 100 * rate.rate);
    put_csv(csv, "false", name_of(kind), "low", 100 * rate.limits.low);
    put_csv(csv, "false", name_of(kind), "high", 100 * rate.limits.high);
    put_csv(csv, "false", name_of(kind), "years", years);
    put_csv(csv, "false", name_of(kind), "right", right);
    put_csv(csv, "false", name_of(kind), "excused", excused);
    put_csv(csv, "false", name_of(kind), "reopened_per_100_years", 100 * reopened / std::max(years, 1e-9));
    put_csv(csv, "false", name_of(kind), "again_per_100_years", 100 * again / std::max(years, 1e-9));
  }
  return out;
}

double false_per_100_years(const std::vector<MadeVessel>& fleet, const Replay& replay,
                           const std::vector<FindingKind>& kinds) {
  const auto groups = group_rates(fleet);
  double n = 0, years = 0;
  for (std::size_t i = 0; i < fleet.size(); ++i) {
    years += healthy_years(fleet[i], kinds.front());
    for (const Track& t : replay.vessels[i].tracks) {
      if (std::find(kinds.begin(), kinds.end(), t.kind) == kinds.end()) continue;
      n += judge_track(fleet[i], t, groups).verdict == Verdict::wrong ? 1 : 0;
    }
  }
  return 100 * n / std::max(years, 1e-9);
}

namespace {

/// Every fault of a kind in the fleet, and how it was met. \param f of (vessel, fault, met)
template <class F>
void each_met(const std::vector<MadeVessel>& fleet, const Replay& replay, world::FaultKind kind, F f) {
  for (std::size_t i = 0; i < fleet.size(); ++i) {
    const std::vector<world::Fault>& faults = fleet[i].truth.faults;
    for (std::size_t j = 0; j < faults.size(); ++j)
      if (faults[j].kind == kind) f(fleet[i], faults[j], meet(fleet[i], replay.vessels[i], j));
  }
}

}  // namespace

std::string table_of_faults(const std::vector<MadeVessel>& fleet, const Replay& replay, const Limits& limits,
                            std::string* csv) {
  std::string out =
      fmt::format("{:<13}{:>7}{:>8}{:>7}{:>7}{:>7}{:>7}{:>6}{:>7}{:>7}{:>7} |{:>8}{:>7}{:>7}{:>8} |{:>7}{:>7}\n",
                  "fault", "faults", "accused", "found", "observ", "found", "share", "kind", "at end", "limit",
                  "at end", "shaft", "delay", "limit", "target", "run h", "limit");
  std::string by_learner;
  for (std::size_t k = 0; k < kLimitKinds; ++k) {
    const auto kind = static_cast<world::FaultKind>(k);
    int n = 0, accused = 0, found_all = 0, observable = 0, found = 0, right_open = 0, right_last = 0, tellable = 0;
    int right_shaft = 0, limit_open = 0, limit_last = 0, learnt = 0, learnt_of_observable = 0;
    const bool is_of_loss = world::is_of_loss(kind);
    std::vector<double> records, hours, limit_records, limit_hours;
    each_met(fleet, replay, kind, [&](const MadeVessel& v, const world::Fault& f, const Met& m) {
      ++n;
      accused += m.was_accused ? 1 : 0;
      found_all += m.is_found ? 1 : 0;
      const auto limit = limit_finds(v, f, limits);
      const bool is_learnt = learner_finds(v, f, limits).has_value();
      learnt += is_learnt ? 1 : 0;
      learnt_of_observable += limit && is_learnt ? 1 : 0;
      if (limit) {
        ++observable;
        found += m.is_found ? 1 : 0;
        limit_records.push_back(records_since_onset(v, f, *limit));
        limit_hours.push_back(run_between(v, f, f.onset, *limit));
      }
      if (!m.is_found) return;
      right_open += m.right_kind_at_open ? 1 : 0;
      right_last += m.right_kind_at_last ? 1 : 0;
      if (is_of_loss) {
        limit_open += likelier_kind(v, f.shaft, m.told) == kind ? 1 : 0;
        limit_last += likelier_kind(v, f.shaft, m.last_word) == kind ? 1 : 0;
      }
      if (kind == world::FaultKind::stuck_device && m.has_greasings) {
        ++tellable;
        right_shaft += m.right_shaft_at_last ? 1 : 0;
      }
      if (limit) {
        records.push_back(m.records);
        hours.push_back(m.run_h);
      }
    });
    const auto share = [](int a, int b) { return b > 0 ? fmt::format("{:.0f}%", 100.0 * a / b) : std::string{"-"}; };
    const double target = 1.25 * median_of(limit_records) + 1;
    out += fmt::format(
        "{:<13}{:>7}{:>8}{:>7}{:>7}{:>7}{:>7}{:>6}{:>7}{:>7}{:>7} |{:>8}{:>7.1f}{:>7.1f}{:>8.1f} |{:>7.0f}{:>7.0f}\n",
        world::name_of(kind), n, accused, found_all, observable, found, share(found, observable),
        share(right_open, found_all), share(right_last, found_all), share(limit_open, is_of_loss ? found_all : 0),
        share(limit_last, is_of_loss ? found_all : 0), share(right_shaft, tellable), median_of(records),
        median_of(limit_records), target, median_of(hours), median_of(limit_hours));
    by_learner += fmt::format("{}{} {} of {} ({})", by_learner.empty() ? "" : ", ", world::name_of(kind),
                              learnt_of_observable, observable, learnt);
    const std::string_view row = world::name_of(kind);
    put_csv(csv, "faults", row, "learner_of_observable", learnt_of_observable);
    put_csv(csv, "faults", row, "learner", learnt);
    put_csv(csv, "faults", row, "faults", n);
    put_csv(csv, "faults", row, "found", found_all);
    put_csv(csv, "faults", row, "observable", observable);
    put_csv(csv, "faults", row, "found_of_observable", found);
    put_csv(csv, "faults", row, "right_kind_at_open", right_open);
    put_csv(csv, "faults", row, "right_kind_at_last", right_last);
    put_csv(csv, "faults", row, "right_kind_at_open_limit", limit_open);
    put_csv(csv, "faults", row, "right_kind_at_last_limit", limit_last);
    put_csv(csv, "faults", row, "median_records", median_of(records));
    put_csv(csv, "faults", row, "median_records_limit", median_of(limit_records));
    put_csv(csv, "faults", row, "target_records", target);
    put_csv(csv, "faults", row, "median_run_h", median_of(hours));
    put_csv(csv, "faults", row, "median_run_h_limit", median_of(limit_hours));
  }
  out += "found of the observable (in all) by one who must learn the usual rate and the size:\n  " + by_learner + '\n';
  return out;
}

std::string table_of_plain_faults(const std::vector<MadeVessel>& fleet, const Replay& replay, std::string* csv) {
  std::string out = fmt::format("{:<13}{:>7}{:>8}{:>7}{:>7} |{:>8}{:>7}{:>7}\n", "fault", "faults", "accused", "found",
                                "share", "records", "run h", "days");
  for (std::size_t k = kLimitKinds; k < world::kFaultKinds; ++k) {
    const auto kind = static_cast<world::FaultKind>(k);
    int n = 0, accused = 0;
    std::vector<double> records, hours, days;
    each_met(fleet, replay, kind, [&](const MadeVessel&, const world::Fault& f, const Met& m) {
      ++n;
      accused += m.was_accused ? 1 : 0;
      if (!m.is_found) return;
      records.push_back(m.records);
      hours.push_back(m.run_h);
      days.push_back(days_between(f.onset, m.told));
    });
    const std::string_view row = world::name_of(kind);
    out += fmt::format("{:<13}{:>7}{:>8}{:>7}{:>7} |{:>8.1f}{:>7.0f}{:>7.0f}\n", row, n, accused, records.size(),
                       n > 0 ? fmt::format("{:.0f}%", 100.0 * static_cast<double>(records.size()) / n) : "-",
                       median_of(records), median_of(hours), median_of(days));
    put_csv(csv, "plain_faults", row, "faults", n);
    put_csv(csv, "plain_faults", row, "found", static_cast<double>(records.size()));
    put_csv(csv, "plain_faults", row, "median_records", median_of(records));
    put_csv(csv, "plain_faults", row, "median_run_h", median_of(hours));
    put_csv(csv, "plain_faults", row, "median_days", median_of(days));
  }
  return out;
}

/// What was said of a shaft's loss from the onset of its fault to the end of it, and what one would say who knows more.
std::string words_on_loss(const MadeVessel& vessel, const VesselReplay& replay, const world::Fault& fault,
                          const Met& met) {
  std::string out;
  for (const Track& t : replay.tracks) {
    const bool is_of_loss = t.kind == FindingKind::abnormal_washout || t.kind == FindingKind::seal_wear;
    if (!is_of_loss || t.shaft != fault.shaft || t.last_shown < fault.onset || t.shown > fault.end) continue;
    for (const auto& [since, kind] : t.named) out += fmt::format("; {} {}", name_of(kind), format_day(since));
    out += fmt::format(" to {}", format_day(t.last_shown));
  }
  if (met.is_found)
    out +=
        fmt::format("; likelier at first {}, at last {}", world::name_of(likelier_kind(vessel, fault.shaft, met.told)),
                    world::name_of(likelier_kind(vessel, fault.shaft, met.last_word)));
  return out;
}

std::string list_of_misses(const std::vector<MadeVessel>& fleet, const Replay& replay, const Limits* limits) {
  const auto groups = group_rates(fleet);
  std::string out;
  for (std::size_t i = 0; i < fleet.size(); ++i) {
    const world::Truth& truth = fleet[i].truth;
    for (const Track& t : replay.vessels[i].tracks) {
      if (judge_track(fleet[i], t, groups).verdict != Verdict::wrong) continue;
      out += fmt::format("false {} {} shaft {} lub {} first_seen {} shown {} to {}: {}\n", fleet[i].log.vessel.code,
                         name_of(t.kind), t.shaft.value, t.lubricator.value, format_day(t.first_seen),
                         format_day(t.shown), format_day(t.last_shown), t.at_open.summary);
    }
    for (std::size_t j = 0; j < truth.faults.size(); ++j) {
      const world::Fault& f = truth.faults[j];
      const Met m = meet(fleet[i], replay.vessels[i], j);
      const std::string met = m.is_found ? fmt::format("found {} after {} records, {:.0f} h: {}", format_day(m.told),
                                                       m.records, m.run_h, name_of(m.track->kind))
                                         : std::string{"not found"};
      std::string who_knows;
      if (limits != nullptr && has_limit(f.kind)) {
        const auto limit = limit_finds(fleet[i], f, *limits);
        who_knows = limit ? "; limit " + format_day(*limit) : "; not observable";
      }
      const std::string words =
          world::is_of_loss(f.kind) ? words_on_loss(fleet[i], replay.vessels[i], f, m) : std::string{};
      out += fmt::format("fault {} {} shaft {} lub {} size {:.2f} {} to {}: {}{}{}{}\n", fleet[i].log.vessel.code,
                         world::name_of(f.kind), f.shaft.value, f.lubricator.value, f.size, format_day(f.onset),
                         f.end == kLatest ? "the end" : format_day(f.end), met,
                         m.was_accused ? " (accused before)" : "", who_knows, words);
    }
  }
  return out;
}

}  // namespace shaftlog::judge
