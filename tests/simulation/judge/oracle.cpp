#include "oracle.hpp"

#include "simulation/world/dice.hpp"

#include <algorithm>
#include <cmath>
#include <set>

namespace shaftlog::judge {

using world::Fault;
using world::FaultKind;
using world::LubricatorTruth;
using world::MadeVessel;
using world::ShaftTruth;
using world::Slip;

namespace {

std::set<Uuid> slipped(const MadeVessel& v) {
  std::set<Uuid> out;
  for (const Slip& s : v.truth.slips) out.insert(s.records.begin(), s.records.end());
  return out;
}

double between(const MadeVessel& v, const std::vector<double>& series, Instant a, Instant b) {
  return v.truth.at(series, b) - v.truth.at(series, a);
}

double square(double x) { return x * x; }

Series of_washout(const MadeVessel& v, const Fault& fault) {
  const ShaftTruth& s = v.truth.of(fault.shaft);
  const std::vector<FilledInterval> intervals = filled_intervals(v, fault.shaft);
  Series out;
  struct Known {
    double usual_cm3, idle_cm3, run_h, delivered_cm3, free_cm3;
    double start_h;
  };
  std::vector<Known> known;
  for (const FilledInterval& i : intervals) {
    const double usual = v.truth.at(s.usual, i.from) * i.run_h;
    const double idle = s.idle_cm3_per_day * std::max(0.0, days_between(i.from, i.at) - i.run_h / 24);
    const double mean = std::clamp(usual + idle - i.delivered_cm3, 0.0, s.cavity_cm3);
    known.push_back({usual, idle, i.run_h, i.delivered_cm3, s.cavity_cm3, v.truth.at(s.hours, i.from)});
    out.from.push_back(i.from);
    out.at.push_back(i.at);
    out.known.push_back(i.known);
    out.residual.push_back(i.taken_cm3 / v.truth.bias_of(s, i.at) - mean);
    out.variance.push_back(2 * square(s.fill_sd_cm3) + square(usual) * (square(s.scatter_sd) + square(s.slow_sd)) +
                           square(s.reading_sd * mean) + square(i.round_cm3) / 12 + 1);
    const bool is_between = mean > 0 && mean < s.cavity_cm3;
    out.usual.push_back(is_between ? usual : 0.0);
    const std::size_t n = out.size();
    out.shared.push_back(n > 1 && out.at[n - 2] == i.from ? -square(s.fill_sd_cm3) : 0.0);
  }
  out.adds = [known, fault](std::size_t k, std::size_t i) {
    const Known& x = known[i];
    double factor = fault.size;
    if (fault.kind == FaultKind::wear) {
      factor = std::min(8.0, std::exp2((x.start_h + x.run_h / 2 - known[k].start_h) / fault.size));
    }
    const double rest = x.idle_cm3 - x.delivered_cm3;
    return std::clamp(factor * x.usual_cm3 + rest, 0.0, x.free_cm3) - std::clamp(x.usual_cm3 + rest, 0.0, x.free_cm3);
  };
  return out;
}

Series of_cycles(const MadeVessel& v, const Fault& fault) {
  const LubricatorTruth& l = v.truth.of(fault.lubricator);
  const std::set<Uuid> wrong = slipped(v);
  Series out;
  std::vector<double> called;
  const Logged<Cycles>* before = nullptr;
  for (const Logged<Cycles>& c : v.log.cycles) {
    if (c.lubricator != fault.lubricator || wrong.contains(c.id)) continue;
    // A day alone leaves the moment open by hours, in which the counter runs on.
    if (c.precision == Precision::day) continue;
    if (before != nullptr && c.at > before->at && !c.what.is_new_counter) {
      // Known standstills are left out of what is called for.
      const double scheduled = between(v, l.scheduled, before->at, c.at), due = between(v, l.due, before->at, c.at);
      const double n = between(v, l.called, before->at, c.at) * (scheduled > 0 ? due / scheduled : 1.0);
      called.push_back(n);
      out.from.push_back(before->at);
      out.at.push_back(c.at);
      out.known.push_back(std::max(before->recorded_at, c.recorded_at));
      out.residual.push_back(static_cast<double>(c.what.count - before->what.count) - n);
      out.variance.push_back(square(0.05 * n) + 9);
      out.usual.push_back(n);
      out.shared.push_back(0);
    }
    before = &c;
  }
  out.adds = [called, size = fault.size](std::size_t, std::size_t i) { return (size - 1) * called[i]; };
  return out;
}

Series of_content(const MadeVessel& v, const Fault& fault) {
  const LubricatorTruth& l = v.truth.of(fault.lubricator);
  double usual = 1;  // what leaves of what is due before any fault
  const double due_before = between(v, l.due, v.truth.first, fault.onset);
  if (due_before > 0) usual = std::clamp(between(v, l.left, v.truth.first, fault.onset) / due_before, 0.85, 1.15);
  Series out;
  std::vector<double> adds;
  for (const Balance& b : balances(v, fault.lubricator)) {
    double factor = fault.size;
    if (fault.kind == FaultKind::stuck_device) {
      double all = 0, own = 0;
      for (const Feed& f : v.log.feeds) {
        if (f.lubricator != fault.lubricator) continue;
        const double x = in_cm3(f.dose) * between(v, v.truth.of(f.shaft).hours, b.from, b.at);
        all += x;
        if (f.shaft == fault.shaft) own += x;
      }
      factor = all > 0 ? 1 - (1 - fault.size) * own / all : 1.0;
    }
    out.from.push_back(b.from);
    out.at.push_back(b.at);
    out.known.push_back(b.known);
    out.residual.push_back(b.used_cm3 - usual * b.due_cm3);
    out.variance.push_back(b.variance + b.error_from + b.error_at + square(0.02 * b.due_cm3) + 1);
    out.usual.push_back(usual * b.due_cm3);
    out.shared.push_back(b.joined ? -b.error_from : 0.0);
    adds.push_back((factor - 1) * usual * b.due_cm3);
  }
  out.adds = [adds](std::size_t, std::size_t i) { return adds[i]; };
  return out;
}

// Days with an alarm, a week at a time; a normal law of the right mean and spread stands for the count's own.
Series of_alarms(const MadeVessel& v, const Fault& fault) {
  const LubricatorTruth& l = v.truth.of(fault.lubricator);
  Series out;
  std::vector<double> means;
  std::size_t next = 0;
  const auto week = std::chrono::days{7};
  for (Instant t = v.truth.first; t + week <= v.truth.last; t += week) {
    std::set<std::int64_t> days;
    Instant known = t + week;
    for (; next < v.log.alarms.size() && v.log.alarms[next].at < t + week; ++next) {
      const Logged<Alarm>& a = v.log.alarms[next];
      if (a.what.alarm == AlarmKind::low_level || a.what.alarm == AlarmKind::empty || a.at < t) continue;
      known = std::max(known, a.recorded_at);
      days.insert(std::chrono::floor<std::chrono::days>(a.at).time_since_epoch().count());
    }
    const double mean = l.alarms_per_1000h / 1000 * run_between(v, fault, t, t + week);
    means.push_back(mean);
    out.from.push_back(t);
    out.at.push_back(t + week);
    out.known.push_back(known);
    out.residual.push_back(static_cast<double>(days.size()) - mean);
    // Between the spreads with and without the fault, so that a single week does not decide.
    const double mid = mean * std::sqrt(fault.size);
    out.variance.push_back(mid + mid * mid / l.alarm_shape + 0.02);
    out.usual.push_back(mean);
    out.shared.push_back(0);
  }
  out.adds = [means, size = fault.size](std::size_t, std::size_t i) { return (size - 1) * means[i]; };
  return out;
}

}  // namespace

std::vector<FilledInterval> filled_intervals(const MadeVessel& v, ShaftId shaft) {
  const std::set<Uuid> wrong = slipped(v);
  const ShaftTruth& s = v.truth.of(shaft);
  std::vector<FilledInterval> out;
  std::optional<Instant> full;
  double taken = 0;
  bool is_whole = true;
  Instant known{};
  for (const Logged<Greasing>& g : v.log.greasings) {
    if (g.shaft != shaft || g.what.ended == Ended::not_done) continue;
    known = std::max(known, g.recorded_at);
    if (wrong.contains(g.id) || !g.what.amount || !g.what.amount->volume) {
      is_whole = false;
    } else {
      taken += in_cm3(*g.what.amount->volume);
    }
    if (g.what.ended != Ended::pressure && g.what.ended != Ended::packed) continue;
    if (full && g.what.ended == Ended::pressure && is_whole) {
      FilledInterval i{*full, g.at, taken, between(v, s.hours, *full, g.at), between(v, s.delivered, *full, g.at), 0};
      const auto nano = g.what.amount->nano_cm3_per_unit;
      i.round_cm3 = nano ? std::min(25.0, static_cast<double>(*nano) / 1e9 * 5) : 5;
      if (g.what.amount->unit == Unit::kg) i.round_cm3 = 10;
      i.known = known;
      if (i.run_h > 1) out.push_back(i);
    }
    full = g.at;
    known = g.recorded_at;
    taken = 0;
    is_whole = true;
  }
  return out;
}

namespace {

// Doses due, days with an empty reservoir left out.
double due_with_grease(const MadeVessel& v, const LubricatorTruth& l, Instant a, Instant b) {
  double due = between(v, l.due, a, b);
  const auto day = [&](Instant t) { return static_cast<std::size_t>(std::max(0.0, days_between(v.truth.first, t))); };
  for (std::size_t d = day(a); d <= day(b) && d + 1 < l.level.size(); ++d) {
    if (l.level[d] > 1 && l.level[d + 1] > 1) continue;
    const Instant from = v.truth.first + std::chrono::days{d};
    due -= between(v, l.due, std::max(a, from), std::min(b, from + std::chrono::days{1}));
  }
  return std::max(0.0, due);
}

// A refill between two records, the days of which are left out, that nobody wrote down: one who knows all knows it.
bool has_lost_refill(const MadeVessel& v, const LubricatorTruth& l, Instant a, Instant b) {
  // The day that a ship far from UTC writes alone may stand for the one before.
  const Instant from = std::chrono::ceil<std::chrono::days>(a);
  const Instant to = std::chrono::floor<std::chrono::days>(b) - std::chrono::days{1};
  return to > from && between(v, l.level, from, to) + between(v, l.left, from, to) > 0.05 * l.reservoir_cm3;
}

// Which came first, the reading or the refill of that day, nobody can tell.
bool is_day_of_refill(const MadeVessel& v, const LubricatorTruth& l, Instant t) {
  const Instant day = std::chrono::floor<std::chrono::days>(t), next = day + std::chrono::days{1};
  return between(v, l.level, day, next) + between(v, l.left, day, next) > 0.02 * l.reservoir_cm3;
}

}  // namespace

std::vector<Balance> balances(const MadeVessel& v, LubricatorId lubricator) {
  const LubricatorTruth& l = v.truth.of(lubricator);
  const std::set<Uuid> wrong = slipped(v);
  const double error = square((square(l.level_sd_pct) + square(l.level_round_pct) / 12 > 0
                                   ? std::sqrt(square(l.level_sd_pct) + square(l.level_round_pct) / 12)
                                   : 1.0) /
                              100 * l.reservoir_cm3);
  struct Event {
    Instant at{};
    const LevelReading* level = nullptr;
    const Refill* refill = nullptr;
    Instant known{};
  };
  std::vector<Event> events;
  for (const auto& r : v.log.levels) {
    if (r.lubricator == lubricator && !wrong.contains(r.id)) events.push_back({r.at, &r.what, nullptr, r.recorded_at});
  }
  for (const auto& r : v.log.refills) {
    if (r.lubricator == lubricator && !wrong.contains(r.id)) events.push_back({r.at, nullptr, &r.what, r.recorded_at});
  }
  std::stable_sort(events.begin(), events.end(), [](const Event& a, const Event& b) { return a.at < b.at; });
  std::vector<Balance> out;
  struct Point {
    Instant at{};
    double content = 0, error = 0;
    Instant known{};
  };
  std::optional<Point> last;
  double poured = 0, poured_variance = 0;
  bool is_joined = false;
  Instant known{};
  const auto reach = [&](const Point& p) {
    if (last && p.at > last->at) {
      Balance b{last->at,
                p.at,
                last->content - p.content + poured,
                due_with_grease(v, l, last->at, p.at),
                poured_variance,
                last->error,
                p.error,
                is_joined,
                known};
      is_joined = !has_lost_refill(v, l, last->at, p.at);
      if (is_joined) out.push_back(b);
    } else {
      is_joined = false;
    }
    last = p;
    poured = poured_variance = 0;
    known = p.known;
  };
  const auto content = [&](const Level& level) { return in_pct(level) / 100 * l.reservoir_cm3; };
  for (const Event& e : events) {
    if (e.level == nullptr || !is_day_of_refill(v, l, e.at)) known = std::max(known, e.known);
    if (e.level != nullptr) {
      if (is_day_of_refill(v, l, e.at)) continue;
      reach({e.at, content(e.level->level), error, e.known});
      continue;
    }
    const Refill& r = *e.refill;
    const bool is_told = r.amount && r.amount->volume;
    if (r.before) reach({e.at, content(*r.before), error, e.known});
    if (is_told) {
      poured += in_cm3(*r.amount->volume);
      poured_variance += square(std::max(l.poured_sd, 0.01) * in_cm3(*r.amount->volume));
      if (!r.before && !r.after)
        reach({e.at, 0.988 * l.reservoir_cm3, square(0.012 * l.reservoir_cm3), e.known});  // the full mark
    } else if (r.after) {  // what was poured is told by the levels alone: a new start
      last = Point{e.at, content(*r.after), error, e.known};
      known = e.known;
      poured = poured_variance = 0;
      is_joined = false;
    }
  }
  return out;
}

Series series_of(const MadeVessel& vessel, const Fault& fault) {
  if (is_of_shaft(fault.kind)) return of_washout(vessel, fault);
  if (fault.kind == FaultKind::alarm_rate) return of_alarms(vessel, fault);
  if (fault.kind == FaultKind::not_cycling && vessel.truth.of(fault.lubricator).has_counter)
    return of_cycles(vessel, fault);
  return of_content(vessel, fault);
}

namespace {

// Cholesky factors of the tridiagonal covariance: whitened values have variance d.
struct Whitened {
  std::vector<double> d, gain, white, usual;
};

Whitened whiten(const Series& s) {
  const std::size_t n = s.size();
  Whitened w{std::vector<double>(n), std::vector<double>(n), std::vector<double>(n), std::vector<double>(n)};
  for (std::size_t i = 0; i < n; ++i) {
    w.gain[i] = i > 0 ? s.shared[i] / w.d[i - 1] : 0.0;
    w.d[i] = std::max(1e-6, s.variance[i] - w.gain[i] * s.shared[i]);
    w.white[i] = s.residual[i] - (i > 0 ? w.gain[i] * w.white[i - 1] : 0.0);
    w.usual[i] = (s.usual.empty() ? 0.0 : s.usual[i]) - (i > 0 ? w.gain[i] * w.usual[i - 1] : 0.0);
  }
  return w;
}

}  // namespace

std::vector<Signal> signals(std::span<const Series> ways, double threshold) {
  struct Way {
    Whitened w;
    std::vector<double> sum, with_usual, carry;
    double usual_residual = 0, usual_usual = 0, best = 0;
    std::size_t begins = 0;
  };
  const std::size_t n = ways.front().size();
  std::vector<Signal> out;
  std::vector<Way> all;
  for (const Series& s : ways) {
    const std::vector<double> zeros(n, 0.0);
    all.push_back({whiten(s), zeros, zeros, zeros});
  }
  std::size_t start = 0;
  for (std::size_t i = 0; i < n; ++i) {
    const Way* likeliest = &all.front();
    for (std::size_t m = 0; m < all.size(); ++m) {
      Way& way = all[m];
      way.usual_residual += way.w.usual[i] * way.w.white[i] / way.w.d[i];
      way.usual_usual += square(way.w.usual[i]) / way.w.d[i];
      // The usual rate is integrated out: a direction in which the residuals vary by its spread more.
      const double spread = square(ways[m].usual_sd), learnt = spread / (1 + spread * way.usual_usual);
      way.best = 0;
      way.begins = i;
      for (std::size_t k = start; k <= i; ++k) {
        const double adds = ways[m].adds(k, i) - (i > k ? way.w.gain[i] * way.carry[k] : 0.0);
        way.carry[k] = adds;
        way.sum[k] += (adds * way.w.white[i] - adds * adds / 2) / way.w.d[i];
        way.with_usual[k] += adds * way.w.usual[i] / way.w.d[i];
        const double ratio =
            way.sum[k] - learnt * (way.with_usual[k] * way.usual_residual - square(way.with_usual[k]) / 2);
        if (ratio > way.best) {
          way.best = ratio;
          way.begins = k;
        }
      }
      if (way.best > likeliest->best) likeliest = &way;
    }
    double sum = 0;
    for (const Way& way : all) sum += std::exp(way.best - likeliest->best);
    if (likeliest->best + std::log(sum / static_cast<double>(all.size())) > threshold) {
      const auto& known = ways.front().known;
      const auto first = known.begin() + static_cast<std::ptrdiff_t>(likeliest->begins);
      out.push_back({ways.front().at[i], *std::max_element(first, known.begin() + static_cast<std::ptrdiff_t>(i) + 1)});
      start = i + 1;
    }
  }
  return out;
}

std::vector<Signal> signals(const Series& series, double threshold) {
  return signals(std::span{&series, 1}, threshold);
}

namespace {

/// How far the usual rate of one subject may lie from what its like do, relative.
double spread_of_usual(FaultKind kind) {
  if (is_of_shaft(kind)) return 0.3;
  if (kind == FaultKind::alarm_rate) return 0.66;
  return 0.03;
}

/// Its series at five sizes of equal share, the usual rate not known.
std::vector<Series> ways_of(const MadeVessel& vessel, Fault fault) {
  constexpr std::size_t kWays = 5, kDraws = 100 * kWays;
  world::Dice dice = world::Dice::of(0x512e, static_cast<std::uint64_t>(fault.kind));
  std::vector<double> drawn;
  for (std::size_t i = 0; i < kDraws; ++i) drawn.push_back(world::draw_size(fault.kind, dice));
  std::sort(drawn.begin(), drawn.end());
  std::vector<Series> out;
  for (std::size_t i = 0; i < kWays; ++i) {
    fault.size = drawn[(2 * i + 1) * kDraws / (2 * kWays)];
    out.push_back(series_of(vessel, fault));
    out.back().usual_sd = spread_of_usual(fault.kind);
  }
  return out;
}

}  // namespace

double log_evidence(Series s, Instant until) {
  for (std::size_t i = 0; i < s.size(); ++i) {
    if (s.known[i] <= until) continue;
    s.variance[i] = 1e12;  // not in the log yet: says nothing
    s.shared[i] = 0;
    if (i + 1 < s.size()) s.shared[i + 1] = 0;
  }
  const Whitened w = whiten(s);
  double top = 0, total = 0, days = 0;  // total: in units of exp(top)
  for (std::size_t k = 0; k < s.size() && s.from[k] < until; ++k) {
    double sum = 0, carry = 0;
    for (std::size_t i = k; i < s.size(); ++i) {
      const double adds = s.adds(k, i) - (i > k ? w.gain[i] * carry : 0.0);
      carry = adds;
      sum += (adds * w.white[i] - adds * adds / 2) / w.d[i];
    }
    const double lasts = days_between(s.from[k], s.at[k]);
    days += lasts;
    if (sum > top) {
      total *= std::exp(top - sum);
      top = sum;
    }
    total += lasts * std::exp(sum - top);
  }
  return days > 0 ? top + std::log(total / days) : 0.0;
}

FaultKind likelier_kind(const MadeVessel& vessel, ShaftId shaft, Instant until) {
  constexpr int kSizes = 9;
  const auto evidence = [&](FaultKind kind, double least, double most) {
    std::vector<double> logs;
    for (int i = 0; i < kSizes; ++i) {
      const double size = least * std::pow(most / least, (i + 0.5) / kSizes);
      logs.push_back(log_evidence(series_of(vessel, Fault{kind, shaft, {}, {}, kLatest, size}), until));
    }
    const double top = *std::max_element(logs.begin(), logs.end());
    double sum = 0;
    for (const double x : logs) sum += std::exp(x - top);
    return top + std::log(sum);
  };
  return evidence(FaultKind::step, 1.5, 4) >= evidence(FaultKind::wear, 1500, 6000) ? FaultKind::step : FaultKind::wear;
}

Limits tune_limits(const std::vector<MadeVessel>& healthy, const double (&false_per_100_years)[kLimitKinds],
                   unsigned threads) {
  Limits out;
  // The heights tried, and how often each was passed; the last counts the years.
  constexpr std::size_t kGrid = 61, kCoarse = 31;
  const auto height = [](std::size_t g) { return 0.25 * static_cast<double>(g); };
  const auto coarse = [](std::size_t g) { return 0.5 * static_cast<double>(g); };
  for (std::size_t kind = 0; kind < kLimitKinds; ++kind) {
    std::vector<std::vector<double>> counted(healthy.size(), std::vector<double>(kGrid + 1, 0.0)), learner = counted;
    in_parallel(healthy.size(), threads, [&](std::size_t v) {
      const MadeVessel& vessel = healthy[v];
      world::Dice dice = world::Dice::of(0x5eed + kind, v);
      const double years = days_between(vessel.truth.first, vessel.truth.last) / 365.25;
      const auto watch = [&](Fault f) {
        f.kind = static_cast<FaultKind>(kind);
        f.onset = vessel.truth.last;
        f.size = world::draw_size(f.kind, dice);
        const auto count = [&](std::span<const Series> ways, std::vector<double>& to, std::size_t grid,
                               const auto& height_of) {
          to[kGrid] += years;
          for (std::size_t g = 0; g < grid; ++g) {
            const std::size_t n = signals(ways, height_of(g)).size();
            to[g] += static_cast<double>(n);
            if (n == 0) break;
          }
        };
        count(std::vector<Series>{series_of(vessel, f)}, counted[v], kGrid, height);
        count(ways_of(vessel, f), learner[v], kCoarse, coarse);
      };
      if (world::is_of_shaft(static_cast<FaultKind>(kind))) {
        for (const ShaftTruth& s : vessel.truth.shafts) {
          if (s.is_greased) watch(Fault{{}, s.shaft, {}, {}, kLatest, 1});
        }
      } else {
        for (const LubricatorTruth& l : vessel.truth.lubricators)
          watch(Fault{{}, vessel.log.feeds.front().shaft, l.lubricator, {}, kLatest, 1});
      }
    });
    const auto lowest = [&](const std::vector<std::vector<double>>& of, std::size_t grid, const auto& height_of) {
      double years = 0;
      for (const auto& c : of) years += c[kGrid];
      for (std::size_t g = 0; g < grid; ++g) {
        double n = 0;
        for (const auto& c : of) n += c[g];
        if (100 * n <= false_per_100_years[kind] * years) return height_of(g);
      }
      return height_of(grid - 1);
    };
    out.threshold[kind] = lowest(counted, kGrid, height);
    out.learner[kind] = lowest(learner, kCoarse, coarse);
  }
  return out;
}

namespace {

std::optional<Instant> first_in_time(const std::vector<Signal>& all, const MadeVessel& vessel, const Fault& fault) {
  const Instant end = std::min(fault.end, vessel.truth.last);
  for (const Signal& t : all) {
    if (t.at >= fault.onset && t.known <= end) return t.known;
  }
  return std::nullopt;
}

}  // namespace

std::optional<Instant> limit_finds(const MadeVessel& vessel, const Fault& fault, const Limits& limits) {
  const double threshold = limits.threshold[static_cast<std::size_t>(fault.kind)];
  return first_in_time(signals(series_of(vessel, fault), threshold), vessel, fault);
}

std::optional<Instant> learner_finds(const MadeVessel& vessel, const Fault& fault, const Limits& limits) {
  const double threshold = limits.learner[static_cast<std::size_t>(fault.kind)];
  return first_in_time(signals(ways_of(vessel, fault), threshold), vessel, fault);
}

}  // namespace shaftlog::judge
