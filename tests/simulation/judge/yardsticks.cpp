#include "analysis/control_charts.hpp"
#include "analysis/trend.hpp"
#include "oracle.hpp"
#include "tables.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>

#include <fmt/format.h>

namespace shaftlog::judge {

using world::Fault;
using world::FaultKind;
using world::MadeVessel;
using world::ShaftTruth;

namespace {

enum class Method : std::uint8_t { twice_first_six, shewhart, ewma, cusum, mann_kendall };
constexpr std::size_t kMethods = 5;
constexpr const char* kMethodNames[] = {"rate over first six", "Shewhart", "EWMA 0.2", "tabular CUSUM", "Mann-Kendall"};
constexpr std::size_t kBaseline = 8;  // values from which mean and spread are taken

/// The value that a method holds against its limit, after each value of the series; 0 while it cannot say.
/// \param sign 1 for a rise, -1 for a fall
std::vector<double> path(const std::vector<double>& x, Method method, double sign) {
  std::vector<double> out(x.size(), 0.0);
  const auto baseline = [&](std::size_t n) {
    double sum = 0;
    for (std::size_t i = 0; i < n; ++i) sum += x[i];
    return sum / static_cast<double>(n);
  };
  if (method == Method::twice_first_six) {
    if (x.size() < 7) return out;
    const double mean = std::max(1e-9, baseline(6));
    for (std::size_t i = 6; i < x.size(); ++i) out[i] = sign > 0 ? x[i] / mean : 2 - x[i] / mean;
    return out;
  }
  if (method == Method::mann_kendall) {
    std::vector<double> t;
    for (std::size_t i = 0; i < x.size(); ++i) {
      t.push_back(static_cast<double>(i));
      if (i >= 5) out[i] = sign * mann_kendall(t, std::span{x}.first(i + 1)).z;
    }
    return out;
  }
  if (x.size() <= kBaseline) return out;
  const IndividualsChart chart = individuals_chart(std::span{x}.first(kBaseline));
  const double mean = baseline(kBaseline), sd = std::max(chart.sigma, 0.02 * std::abs(mean) + 1e-9);
  double sum = 0, smooth = 0;
  for (std::size_t i = kBaseline; i < x.size(); ++i) {
    const double z = sign * (x[i] - mean) / sd;
    sum = std::max(0.0, sum + z - 0.5);
    smooth = 0.2 * z + 0.8 * smooth;
    out[i] = method == Method::shewhart ? z : method == Method::ewma ? smooth / std::sqrt(0.2 / 1.8) : sum;
  }
  return out;
}

struct Subject {
  std::vector<Instant> at;
  std::vector<double> value;
  double years = 0;
};

// A person who keeps a chart by hand adds up what is too short to say anything.
Subject rates_of(const MadeVessel& v, ShaftId shaft) {
  constexpr double kShortest_h = 40;
  Subject out;
  double cm3 = 0, run = 0;
  for (const FilledInterval& i : filled_intervals(v, shaft)) {
    cm3 += i.taken_cm3 + i.delivered_cm3;
    run += i.run_h;
    if (run < kShortest_h) continue;
    out.at.push_back(i.at);
    out.value.push_back(cm3 / run);
    cm3 = run = 0;
  }
  out.years = days_between(v.truth.first, v.truth.last) / 365.25;
  return out;
}

Subject ratios_of(const MadeVessel& v, LubricatorId lubricator) {
  const double shortest_cm3 = 0.08 * v.truth.of(lubricator).reservoir_cm3;
  Subject out;
  double used = 0, due = 0;
  for (const Balance& b : balances(v, lubricator)) {
    used += b.used_cm3;
    due += b.due_cm3;
    if (due < shortest_cm3) continue;
    out.at.push_back(b.at);
    out.value.push_back(used / due);
    used = due = 0;
  }
  out.years = days_between(v.truth.first, v.truth.last) / 365.25;
  return out;
}

/// Places at which the path passes the limit from below.
std::vector<std::size_t> crossings(const std::vector<double>& path, double limit) {
  std::vector<std::size_t> out;
  for (std::size_t i = 0; i < path.size(); ++i) {
    if (path[i] > limit && (i == 0 || path[i - 1] <= limit)) out.push_back(i);
  }
  return out;
}

double tune(const std::vector<std::vector<double>>& paths, double years, double per_100_years) {
  double low = 0, high = 1000;
  for (int i = 0; i < 60; ++i) {
    const double mid = 0.5 * (low + high);
    std::size_t n = 0;
    for (const auto& p : paths) n += crossings(p, mid).size();
    (100 * static_cast<double>(n) > per_100_years * years ? low : high) = mid;
  }
  return high;
}

struct Row {
  std::string name;
  int faults = 0, found = 0;
  std::vector<double> records;
};

std::string told(const std::vector<Row>& rows, std::string_view title, std::string* csv) {
  std::string out = fmt::format("{:<34}{:>8}{:>8}{:>9}{:>17}\n", title, "faults", "found", "share", "median records");
  for (const Row& r : rows) {
    const double share = 100.0 * r.found / std::max(1, r.faults);
    out +=
        fmt::format("  {:<32}{:>8}{:>8}{:>8.0f}%{:>17.1f}\n", r.name, r.faults, r.found, share, median_of(r.records));
    put_csv(csv, title, r.name, "share_pct", share);
    put_csv(csv, title, r.name, "median_records", median_of(r.records));
  }
  return out;
}

}  // namespace

std::string table_of_yardsticks(const std::vector<MadeVessel>& fleet, const std::vector<MadeVessel>& healthy,
                                const Replay& replay, const Limits& limits, double washout_per_100_years,
                                double low_per_100_years, std::string* csv) {
  std::string out;
  struct Sort {
    const char* title;
    double sign, rate;
    std::vector<FaultKind> kinds;
  };
  const std::array<Sort, 3> sorts{Sort{"washout step", 1, washout_per_100_years, {FaultKind::step}},
                                  Sort{"washout wear", 1, washout_per_100_years, {FaultKind::wear}},
                                  Sort{"delivery low",
                                       -1,
                                       low_per_100_years,
                                       {FaultKind::not_cycling, FaultKind::low_delivery, FaultKind::stuck_device}}};
  for (const Sort& sort : sorts) {
    const bool by_shaft = world::is_of_shaft(sort.kinds.front());
    std::vector<Subject> usual;
    double years = 0;
    for (const MadeVessel& v : healthy) {
      if (by_shaft) {
        for (const ShaftTruth& s : v.truth.shafts)
          if (s.is_greased) usual.push_back(rates_of(v, s.shaft));
      } else {
        for (const auto& l : v.truth.lubricators) usual.push_back(ratios_of(v, l.lubricator));
      }
    }
    for (const Subject& s : usual) years += s.years;
    std::vector<Row> rows;
    std::array<double, kMethods> limit{};
    for (std::size_t m = 0; m < kMethods; ++m) {
      std::vector<std::vector<double>> paths;
      for (const Subject& s : usual) paths.push_back(path(s.value, static_cast<Method>(m), sort.sign));
      limit[m] = tune(paths, years, sort.rate);
      rows.push_back({fmt::format("{} (limit {:.2f})", kMethodNames[m], limit[m]), 0, 0, {}});
    }
    rows.push_back({"Shaftlog", 0, 0, {}});
    rows.push_back({"likelihood ratio, all known", 0, 0, {}});
    for (std::size_t i = 0; i < fleet.size(); ++i) {
      const MadeVessel& v = fleet[i];
      for (std::size_t j = 0; j < v.truth.faults.size(); ++j) {
        const Fault& f = v.truth.faults[j];
        if (std::find(sort.kinds.begin(), sort.kinds.end(), f.kind) == sort.kinds.end()) continue;
        const Instant end = std::min(f.end, v.truth.last);
        const auto count = [&](Row& row, std::optional<Instant> when) {
          ++row.faults;
          if (!when) return;
          ++row.found;
          row.records.push_back(records_since_onset(v, f, *when));
        };
        const Subject s = by_shaft ? rates_of(v, f.shaft) : ratios_of(v, f.lubricator);
        for (std::size_t m = 0; m < kMethods; ++m) {
          std::optional<Instant> when;
          for (const std::size_t k : crossings(path(s.value, static_cast<Method>(m), sort.sign), limit[m])) {
            if (!when && s.at[k] >= f.onset && s.at[k] <= end) when = s.at[k];
          }
          count(rows[m], when);
        }
        const Met met = meet(v, replay.vessels[i], j);
        count(rows[kMethods], met.is_found ? std::optional{met.told} : std::nullopt);
        count(rows[kMethods + 1], limit_finds(v, f, limits));
      }
    }
    out += told(rows, fmt::format("{} (at {:.1f} false a 100 years)", sort.title, sort.rate), csv);
  }
  return out;
}

}  // namespace shaftlog::judge
