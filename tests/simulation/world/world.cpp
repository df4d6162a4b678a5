#include "world.hpp"

#include "ship.hpp"

#include <algorithm>
#include <atomic>
#include <stdexcept>
#include <thread>

namespace shaftlog::world {
namespace {

template <class Row, class Id>
const Row& row_of(const std::vector<Row>& rows, Id Row::*key, Id id) {
  for (const Row& r : rows) {
    if (r.*key == id) return r;
  }
  throw std::logic_error{"the truth knows no such subject"};
}

}  // namespace

std::string_view name_of(FaultKind k) noexcept {
  constexpr std::string_view kWords[] = {"step",      "wear",       "not_cycling",  "low_delivery", "stuck_device",
                                         "line_leak", "alarm_rate", "blocked_path", "left_off"};
  return kWords[static_cast<std::size_t>(k)];
}

std::string_view name_of(SlipKind k) noexcept {
  constexpr std::string_view kWords[] = {"factor_ten", "unit",      "swapped_shafts", "hour_digits", "wrong_year",
                                         "wrong_date", "duplicate", "unmarked_meter", "gun_changed"};
  return kWords[static_cast<std::size_t>(k)];
}

const ShaftTruth& Truth::of(ShaftId id) const { return row_of(shafts, &ShaftTruth::shaft, id); }
const LubricatorTruth& Truth::of(LubricatorId id) const {
  return row_of(lubricators, &LubricatorTruth::lubricator, id);
}

double Truth::at(const std::vector<double>& series, Instant t) const {
  const double day = std::clamp(days_between(first, t), 0.0, static_cast<double>(series.size() - 1));
  const auto below = static_cast<std::size_t>(day);
  const std::size_t above = std::min(below + 1, series.size() - 1);
  return series[below] + (day - static_cast<double>(below)) * (series[above] - series[below]);
}

MadeVessel make_vessel(const WorldPlan& plan, int index) {
  Dice dice = Dice::of(plan.seed, static_cast<std::uint64_t>(index) + 1);
  Ship ship = draw_ship(plan, index, dice);
  draw_faults(ship, plan, dice);
  if (ship.faults.empty()) {  // a stream of their own: the ships with other faults stay as they are
    constexpr std::uint64_t kRare = std::uint64_t{1} << 32;
    Dice rare = Dice::of(plan.seed, kRare + static_cast<std::uint64_t>(index));
    draw_rare_faults(ship, plan, rare);
  }
  return sail(std::move(ship), dice);
}

std::vector<MadeVessel> make_world(const WorldPlan& plan) {
  std::vector<MadeVessel> fleet(static_cast<std::size_t>(plan.vessels));
  std::atomic<int> next{0};
  const auto work = [&] {
    for (int i = next++; i < plan.vessels; i = next++) fleet[static_cast<std::size_t>(i)] = make_vessel(plan, i);
  };
  std::vector<std::jthread> crew;
  for (unsigned t = 1; t < plan.threads; ++t) crew.emplace_back(work);
  work();
  crew.clear();
  return fleet;
}

namespace {

template <class What>
void take(const std::vector<Logged<What>>& from, std::vector<Logged<What>>& to, Kind kind, Instant t, VesselLog& log) {
  to.reserve(from.size());
  for (const Logged<What>& r : from) {
    if (r.recorded_at > t) continue;
    if (r.at > t) {
      log.future.push_back({r.id, kind, r.at, r.recorded_at, r.shaft, r.lubricator});
    } else {
      to.push_back(r);
    }
  }
}

}  // namespace

VesselLog known_at(const VesselLog& log, Instant t) {
  VesselLog out;
  out.vessel = log.vessel;
  out.greases = log.greases;
  out.guns = log.guns;
  out.lubricators = log.lubricators;
  out.shafts = log.shafts;
  out.feeds = log.feeds;
  out.people = log.people;
  out.origins = log.origins;
  take(log.hours, out.hours, Kind::hours, t, out);
  take(log.cycles, out.cycles, Kind::cycles, t, out);
  take(log.levels, out.levels, Kind::level, t, out);
  take(log.refills, out.refills, Kind::refill, t, out);
  take(log.greasings, out.greasings, Kind::greasing, t, out);
  take(log.alarms, out.alarms, Kind::alarm, t, out);
  take(log.work, out.work, Kind::work, t, out);
  take(log.inspections, out.inspections, Kind::inspection, t, out);
  for (Logged<Alarm>& a : out.alarms) {
    if (a.what.cleared && a.what.cleared->utc > t) a.what.cleared.reset();
  }
  std::sort(out.future.begin(), out.future.end(),
            [](const FutureRecord& a, const FutureRecord& b) { return a.at != b.at ? a.at < b.at : a.id < b.id; });
  return out;
}

}  // namespace shaftlog::world
