// review_bench make FOLDER SHAFTS YEARS   writes the log folder of a fleet, always the same for the same numbers
// review_bench measure COMMAND...         runs a command, prints its wall time [s], processor time [s], peak memory
// [MiB]
//                                         and exit code; what the command prints is thrown away
#include "random.hpp"

#include <algorithm>
#include <chrono>
#include <cstdio>
#include <cstdlib>
#include <exception>
#include <fcntl.h>
#include <filesystem>
#include <fstream>
#include <string>
#include <string_view>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>
#include <vector>

#include <fmt/format.h>

namespace {

using shaftlog::demo::exp_of;
using shaftlog::demo::Random;

constexpr int kShaftsPerVessel = 4;
constexpr int kMendedAfter_days = 400;
constexpr double kDoseCm3 = 0.25, kCycleMin = 20, kReservoirCm3 = 5000, kFillErrorCm3 = 8;

std::string day_text(std::chrono::sys_days day) {
  const std::chrono::year_month_day date{day};
  return fmt::format("{:04}-{:02}-{:02}", static_cast<int>(date.year()), static_cast<unsigned>(date.month()),
                     static_cast<unsigned>(date.day()));
}

struct ShaftTruth {
  std::string code;
  double loss = 0, rate = 0, meter_h = 0, missing = 0, growth = 0, step = 1;
  int next_greasing = 0, shift_from = 0;
};

class Folder {
 public:
  explicit Folder(const std::filesystem::path& folder) : folder_{folder} {
    std::filesystem::create_directories(folder);
  }
  std::ofstream open(const char* name, const char* header) const {
    std::ofstream out{folder_ / name, std::ios::binary};
    out << header << '\n';
    return out;
  }

 private:
  std::filesystem::path folder_;
};

void make(const Folder& folder, int shaft_count, int years) {
  auto vessels = folder.open("vessels.csv", "vessel,name,time_zone,group");
  auto greases = folder.open("greases.csv", "grease,thickener,density_g_cm3");
  auto guns = folder.open("guns.csv", "vessel,gun,cm3_per_stroke");
  auto lubricators = folder.open("lubricators.csv", "vessel,lubricator,reservoir_cm3,grease,from");
  auto shafts = folder.open("shafts.csv", "vessel,shaft,cavity_cm3,interval_h,interval_days,grease,from");
  auto feeds = folder.open("feeds.csv", "vessel,lubricator,shaft,from,dose_cm3,cycle_min");
  auto hours = folder.open("hours.csv", "vessel,shaft,at,meter_h,by");
  auto cycles = folder.open("cycles.csv", "vessel,lubricator,at,count,by");
  auto levels = folder.open("levels.csv", "vessel,lubricator,at,level_pct,by");
  auto refills = folder.open("refills.csv", "vessel,lubricator,at,amount,unit,level_before_pct,level_after_pct,by");
  auto greasings = folder.open("greasings.csv", "vessel,shaft,at,amount,unit,gun,ended,purge,by");
  auto alarms = folder.open("alarms.csv", "vessel,lubricator,raised_at,cleared_at,alarm");
  auto work = folder.open("work.csv", "vessel,shaft,at,work");
  greases << "li_cx_2,lithium_complex,0.92\n";
  constexpr const char* kZones[] = {"Europe/Lisbon", "Asia/Singapore", "America/Halifax", "Pacific/Auckland"};
  constexpr const char* kPeople[] = {"2/E", "oiler", "3/E"};
  const int last_day = years * 365;
  // Every log ends on one day, so that none is dated after it was recorded.
  using namespace std::chrono;
  const sys_days first = sys_days{2026y / September / 30} - days{last_day - 1};
  const auto moment = [&](int day, int minute) {  // as the ship's clock shows it
    return fmt::format("{}T{:02}:{:02}", day_text(first + days{day}), minute / 60, minute % 60);
  };
  const std::string before = day_text(first - days{30});
  Random random{20'211'001};
  for (int v = 0; v * kShaftsPerVessel < shaft_count; ++v) {
    const std::string ship = fmt::format("ship_{:03}", v + 1);
    const bool is_automatic = v % 3 == 0;
    const double hours_per_day = 6 + 5 * random.uniform();
    const int docked = 200 + random.whole(0, std::max(1, last_day - 400));
    vessels << fmt::format("{},Ship {},{},class_{}\n", ship, v + 1, kZones[v % 4], v % 5);
    guns << ship << ",gun1,1.3\n";
    if (is_automatic) lubricators << fmt::format("{},lub1,{:.0f},li_cx_2,{}\n", ship, kReservoirCm3, before);
    std::vector<ShaftTruth> fleet(
        static_cast<std::size_t>(std::min(kShaftsPerVessel, shaft_count - v * kShaftsPerVessel)));
    for (std::size_t i = 0; i < fleet.size(); ++i) {
      ShaftTruth& s = fleet[i];
      s.code = fmt::format("shaft_{}", i + 1);
      s.loss = (is_automatic ? 0.6 : 0.25) * exp_of(0.3 * random.normal());
      s.meter_h = 500 + 4000 * random.uniform();
      s.next_greasing = random.whole(3, 24);
      s.shift_from = random.chance(0.15) ? random.whole(200, last_day) : last_day + 1;
      (random.chance(0.5) ? s.step : s.growth) = random.chance(0.5) ? 2.0 : 1.6;
      if (s.growth > 1) s.growth = 0.2;
      shafts << fmt::format("{},{},{},,35,li_cx_2,{}\n", ship, s.code, is_automatic ? 600 : 400, before);
      if (is_automatic) feeds << fmt::format("{},lub1,{},{},{},{}\n", ship, s.code, before, kDoseCm3, kCycleMin);
    }
    double level = 0.8 * kReservoirCm3, count = 1000, common = 1, worn_h = 0;
    for (int day = 0; day < last_day; ++day) {
      const bool at_sea = day < docked || day >= docked + 14;
      const char* by = kPeople[(day / 70) % 3];
      if (day == docked) work << fmt::format("{},,{},docked\n", ship, moment(day, 600));
      if (day == docked + 14) work << fmt::format("{},,{},undocked\n", ship, moment(day, 600));
      if (day % 7 == 0) common = exp_of(0.08 * random.normal());
      const double run = at_sea && random.chance(0.9) ? hours_per_day * (0.7 + 0.6 * random.uniform()) : 0;
      worn_h += run;
      for (std::size_t i = 0; i < fleet.size(); ++i) {
        ShaftTruth& s = fleet[i];
        if (day % 7 == static_cast<int>(i) % 2)
          hours << fmt::format("{},{},{},{:.1f},{}\n", ship, s.code, moment(day, 480 + random.whole(0, 30)), s.meter_h,
                               by);
        if (day == s.shift_from + kMendedAfter_days) {
          work << fmt::format("{},{},{},seal_replaced\n", ship, s.code, moment(day, 600));
          s.shift_from = last_day + 1;
        }
        const bool is_shifted = day >= s.shift_from;
        if (!is_shifted) s.rate = s.loss;
        if (is_shifted) s.rate = day == s.shift_from ? s.loss * s.step : s.rate * exp_of(s.growth * run / 1000);
        s.meter_h += run;
        s.missing += run * s.rate * common - (is_automatic ? run * kDoseCm3 * 60 / kCycleMin : 0);
        s.missing = std::clamp(s.missing, 0.0, is_automatic ? 600.0 : 400.0);
        if (day < s.next_greasing || !at_sea) continue;
        const double packed = kFillErrorCm3 * random.normal();
        const double taken = std::max(0.0, (s.missing + packed) * (1 + 0.04 * random.normal()));
        const bool is_stopped = random.chance(0.03);
        greasings << fmt::format("{},{},{},{:.0f},strokes,gun1,{},,{}\n", ship, s.code,
                                 moment(day, 840 + random.whole(0, 90)), (is_stopped ? 0.5 : 1.0) * taken / 1.3,
                                 is_stopped ? "stopped" : "pressure", by);
        s.missing = is_stopped ? s.missing - 0.5 * taken : -packed;
        s.next_greasing = day + random.whole(14, 28);
      }
      if (!is_automatic) continue;
      count += run * 60 / kCycleMin;
      level -= run * 60 / kCycleMin * kDoseCm3 * static_cast<double>(fleet.size());
      const double seen = std::clamp(100 * level / kReservoirCm3 + 1.5 * random.normal(), 0.0, 100.0);
      if (day % 7 == 3) {
        levels << fmt::format("{},lub1,{},{:.0f},{}\n", ship, moment(day, 500), seen, by);
        cycles << fmt::format("{},lub1,{},{:.0f},{}\n", ship, moment(day, 505), count, by);
      }
      if (level < 0.35 * kReservoirCm3) {
        const double after = level + 2.5 / 0.92 * 1000;
        refills << fmt::format("{},lub1,{},2.5,kg,{:.0f},{:.0f},{}\n", ship, moment(day, 700),
                               100 * level / kReservoirCm3, 100 * after / kReservoirCm3, by);
        level = after;
      }
      if (random.chance(0.02)) {
        const int raised = random.whole(0, 1200);
        alarms << fmt::format("{},lub1,{},{},no_pressure\n", ship, moment(day, raised),
                              moment(day, raised + random.whole(5, 200)));
      }
    }
  }
}

int measure(char** command) {
  const auto start = std::chrono::steady_clock::now();
  const pid_t child = ::fork();
  if (child == 0) {
    const int nowhere = ::open("/dev/null", O_WRONLY);
    ::dup2(nowhere, STDOUT_FILENO);
    ::execvp(command[0], command);
    std::perror(command[0]);
    ::_exit(127);
  }
  int status = 0;
  struct ::rusage used {};
  if (child < 0 || ::wait4(child, &status, 0, &used) != child || !WIFEXITED(status)) return 1;
  const std::chrono::duration<double> wall = std::chrono::steady_clock::now() - start;
  const double processor = static_cast<double>(used.ru_utime.tv_sec + used.ru_stime.tv_sec) +
                           static_cast<double>(used.ru_utime.tv_usec + used.ru_stime.tv_usec) / 1e6;
  fmt::print("{:.3f} {:.3f} {:.0f} {}\n", wall.count(), processor, static_cast<double>(used.ru_maxrss) / 1024,
             WEXITSTATUS(status));
  return 0;
}

}  // namespace

int main(int argc, char** argv) {
  try {
    const std::string_view what = argc > 1 ? argv[1] : "";
    if (what == "make" && argc == 5) {
      make(Folder{argv[2]}, std::atoi(argv[3]), std::atoi(argv[4]));
      return 0;
    }
    if (what == "measure" && argc > 2) return measure(argv + 2);
    fmt::print(stderr, "expected make FOLDER SHAFTS YEARS or measure COMMAND...\n");
    return 2;
  } catch (const std::exception& e) {
    fmt::print(stderr, "{}\n", e.what());
    return 1;
  }
}
