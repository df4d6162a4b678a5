// import_bench make FOLDER ROWS    writes a log folder of mixed records, always the same for the same number
// import_bench import FOLDER DB    imports it into a new database
// import_bench measure COMMAND...  runs a command, prints its wall time [s], processor time [s] and peak memory [MiB]
#include "app/import.hpp"
#include "storage/log_repository.hpp"

#include <chrono>
#include <cstdint>
#include <cstdio>
#include <cstdlib>
#include <exception>
#include <fstream>
#include <random>
#include <string>
#include <string_view>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>
#include <vector>

#include <fmt/format.h>

namespace {

using namespace shaftlog;

constexpr int kVessels = 40, kShafts = 4;

/// A moment between 2016 and 2025, told to the minute, on the vessel's clock.
std::string moment(std::mt19937_64& random) {
  const auto minute = static_cast<std::int64_t>(random() % 5'258'880);
  std::string text = format_utc(from_unix(1'451'606'400 + minute * 60));
  return text.substr(0, 16);
}

std::uint64_t below(std::mt19937_64& random, std::uint64_t n) { return random() % n; }

void make(const std::filesystem::path& folder, std::uint64_t rows) {
  std::filesystem::create_directories(folder);
  std::mt19937_64 random{20'240'229};
  const auto open = [&](const char* name, const char* header) {
    std::ofstream out{folder / name, std::ios::binary};
    out << header << '\n';
    return out;
  };
  auto vessels = open("vessels.csv", "vessel,name,time_zone");
  auto greases = open("greases.csv", "grease,thickener,density_g_cm3");
  auto guns = open("guns.csv", "vessel,gun,cm3_per_stroke");
  auto lubricators = open("lubricators.csv", "vessel,lubricator,reservoir_cm3,grease");
  auto shafts = open("shafts.csv", "vessel,shaft,cavity_cm3,grease");
  greases << "li_cx_2,lithium_complex,0.92\n";
  for (int v = 0; v < kVessels; ++v) {
    const auto code = fmt::format("V{:02}", v);
    vessels << code << ",Vessel " << v << (v % 2 == 0 ? ",Europe/Lisbon\n" : ",Asia/Singapore\n");
    guns << code << ",gun1,1.3\n";
    lubricators << code << ",lub1,5000,li_cx_2\n";
    for (int s = 0; s < kShafts; ++s) shafts << code << ",s" << s << ",400,li_cx_2\n";
  }
  auto hours = open("hours.csv", "vessel,shaft,at,meter_h,by");
  auto cycles = open("cycles.csv", "vessel,lubricator,at,count,by");
  auto levels = open("levels.csv", "vessel,lubricator,at,level_pct,by");
  auto refills =
      open("refills.csv", "vessel,lubricator,at,amount,unit,level_before_pct,level_after_pct,batch,by,remark");
  auto greasings = open("greasings.csv", "vessel,shaft,at,amount,unit,gun,ended,purge,by,remark");
  auto alarms = open("alarms.csv", "vessel,lubricator,raised_at,cleared_at,alarm");
  auto inspections = open("inspections.csv", "vessel,shaft,at,water_pct,iron_ppm");
  constexpr const char* kPeople[] = {"2/E", "3/E", "oiler", "C/E"};
  constexpr const char* kAlarms[] = {"low_level", "no_pressure", "high_pressure", "cycle_fault"};
  for (std::uint64_t i = 0; i < rows; ++i) {
    const auto vessel = fmt::format("V{:02}", below(random, kVessels));
    const auto shaft = fmt::format("s{}", below(random, kShafts));
    const auto at = moment(random);
    const char* by = kPeople[below(random, 4)];
    const auto kind = below(random, 100);
    if (kind < 40) {
      hours << fmt::format("{},{},{},{}.{},{}\n", vessel, shaft, at, below(random, 90'000), below(random, 10), by);
    } else if (kind < 55) {
      cycles << fmt::format("{},lub1,{},{},{}\n", vessel, at, below(random, 900'000), by);
    } else if (kind < 70) {
      levels << fmt::format("{},lub1,{},{},{}\n", vessel, at, below(random, 101), by);
    } else if (kind < 74) {
      refills << fmt::format("{},lub1,{},2.{},kg,{},95,B{},{},\"pail opened, rest kept\"\n", vessel, at,
                             below(random, 10), below(random, 60), below(random, 4'000), by);
    } else if (kind < 92) {
      greasings << fmt::format("{},{},{},{},strokes,gun1,pressure,clean,{},\n", vessel, shaft, at, below(random, 150),
                               by);
    } else if (kind < 98) {
      alarms << fmt::format("{},lub1,{},,{}\n", vessel, at, kAlarms[below(random, 4)]);
    } else {
      inspections << fmt::format("{},{},{},0.{:02},{}\n", vessel, shaft, at, below(random, 100), below(random, 90));
    }
  }
}

int import(const std::filesystem::path& folder, const std::filesystem::path& file) {
  auto db = Database::create(file);
  ImportOptions options;
  options.folder = folder;
  const SystemClock clock;
  const auto result = import_folder(db, clock, options);
  std::uint64_t rows = 0, added = 0;
  for (const ImportedFile& f : result.files) rows += f.rows, added += f.added;
  for (const Fault& f : result.faults) fmt::print(stderr, "{}\n", f.text());
  return result.is_kept && added == rows ? 0 : 1;
}

int measure(char** command) {
  const auto start = std::chrono::steady_clock::now();
  const pid_t child = ::fork();
  if (child == 0) {
    ::execvp(command[0], command);
    std::perror(command[0]);
    ::_exit(127);
  }
  int status = 0;
  struct ::rusage used {};
  if (child < 0 || ::wait4(child, &status, 0, &used) != child || !WIFEXITED(status) || WEXITSTATUS(status) != 0)
    return 1;
  const std::chrono::duration<double> wall = std::chrono::steady_clock::now() - start;
  const double processor = static_cast<double>(used.ru_utime.tv_sec + used.ru_stime.tv_sec) +
                           static_cast<double>(used.ru_utime.tv_usec + used.ru_stime.tv_usec) / 1e6;
  fmt::print("{:.2f} {:.2f} {:.0f}\n", wall.count(), processor, static_cast<double>(used.ru_maxrss) / 1024);
  return 0;
}

}  // namespace

int main(int argc, char** argv) {
  try {
    const std::string_view what = argc > 1 ? argv[1] : "";
    if (what == "make" && argc == 4) {
      make(argv[2], std::strtoull(argv[3], nullptr, 10));
      return 0;
    }
    if (what == "import" && argc == 4) return import(argv[2], argv[3]);
    if (what == "measure" && argc > 2) return measure(argv + 2);
    fmt::print(stderr, "expected make FOLDER ROWS, import FOLDER DB or measure COMMAND...\n");
    return 2;
  } catch (const std::exception& e) {
    fmt::print(stderr, "{}\n", e.what());
    return 1;
  }
}
