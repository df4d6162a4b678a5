// Measures the whole review against ships with known truth. judge --help tells the options.
#include "base/error.hpp"
#include "simulation/world/world.hpp"
#include "tables.hpp"

#include <cstdio>
#include <exception>
#include <fstream>
#include <string>
#include <thread>

#include <CLI/CLI.hpp>
#include <fmt/format.h>

using namespace shaftlog;
using namespace shaftlog::judge;

namespace {

int run(int argc, char** argv) {
  world::WorldPlan plan;
  plan.vessels = 300;
  plan.seed = 1;
  plan.threads = std::max(1U, std::thread::hardware_concurrency());
  ReplayPlan how;
  std::string csv_file, folder;
  bool list = false;
  CLI::App app{"Replays the review over invented ships with known truth and prints how well it did."};
  app.add_option("--vessels", plan.vessels, "ships")->check(CLI::Range(1, 5000))->capture_default_str();
  app.add_option("--years", plan.years, "years")->check(CLI::Range(1.0, 30.0))->capture_default_str();
  app.add_option("--seed", plan.seed, "below 1000 to tune by, 1000 and above to judge by")->capture_default_str();
  app.add_option("--threads", plan.threads, "threads")->check(CLI::Range(1, 256))->capture_default_str();
  app.add_option("--step", how.step_days, "days between reviews")->check(CLI::Range(1, 365))->capture_default_str();
  app.add_option("--faults", plan.fault_share, "share of the ships with a fault")
      ->check(CLI::Range(0.0, 1.0))
      ->capture_default_str();
  app.add_option("--csv", csv_file, "also write the figures there: table,row,column,value");
  app.add_option("--write", folder, "write the log folder and truth.csv there and review nothing");
  app.add_flag("--list", list, "print each false finding, each fault and each slip that was not told");
  CLI11_PARSE(app, argc, argv);
  how.threads = plan.threads;
  const std::vector<world::MadeVessel> fleet = world::make_world(plan);
  if (!folder.empty()) {
    world::write_world(fleet, folder);
    return 0;
  }
  std::vector<Instant> shots;
  for (const double part : {0.5, 0.75, 1.0}) {
    shots.push_back(fleet.front().truth.last - std::chrono::days{static_cast<int>((1 - part) * plan.years * 365.25)});
  }
  const Replay r = replay(fleet, how, shots);
  std::size_t shafts = 0;
  for (const world::MadeVessel& m : fleet) shafts += m.log.shafts.size();
  std::string csv = "table,row,column,value\n";
  fmt::print("{} vessels, {} shafts, {} years, seed {}, step {} days: {} reviews in {:.0f} s\n\n", fleet.size(), shafts,
             plan.years, plan.seed, how.step_days, r.reviews, r.seconds);
  fmt::print("a. False findings\n{}\n", table_of_false(fleet, r, &csv));

  world::WorldPlan other = plan;  // healthy ships of another seed tell where limits must lie
  other.seed = plan.seed + 500000;
  other.fault_share = 0;
  other.vessels = std::max(plan.vessels, 200);
  const std::vector<world::MadeVessel> healthy = world::make_world(other);
  constexpr double kLeast = 0.5;  // below it the limits cannot be simulated
  const auto rate = [&](const std::vector<FindingKind>& kinds) {
    return std::max(kLeast, false_per_100_years(fleet, r, kinds));
  };
  const double washout = rate({FindingKind::abnormal_washout, FindingKind::seal_wear});
  const double low = rate({FindingKind::missed_cycles}), leak = rate({FindingKind::line_leak});
  const double alarms = rate({FindingKind::alarm_rate});
  const Limits limits =
      tune_limits(healthy, {washout / 2, washout / 2, low / 3, low / 3, low / 3, leak, alarms}, plan.threads);
  fmt::print("b. Faults found (delays in records and running hours are medians over what the limit could find)\n{}\n",
             table_of_faults(fleet, r, limits, &csv));
  fmt::print("   Faults of which no limit is computed (medians of those found)\n{}\n",
             table_of_plain_faults(fleet, r, &csv));
  fmt::print("c. Stated intervals (90 % unless said)\n{}\n", table_of_coverage(fleet, r, &csv));
  fmt::print("d. Slips of the pen\n{}\n", table_of_slips(fleet, r, &csv));
  fmt::print("e. Plain methods at the same rate of false findings\n{}\n",
             table_of_yardsticks(fleet, healthy, r, limits, washout, low, &csv));
  if (list) fmt::print("{}{}", list_of_misses(fleet, r, &limits), list_of_untold_slips(fleet, r));
  if (!csv_file.empty()) {
    std::ofstream out{csv_file, std::ios::binary};
    out << csv;
    out.close();
    if (!out) throw Error{Errc::io, csv_file + ": cannot be written"};
  }
  return 0;
}

}  // namespace

int main(int argc, char** argv) {
  try {
    return run(argc, argv);
  } catch (const std::exception& e) {
    fmt::print(stderr, "{}\n", e.what());
    return 1;
  }
}
