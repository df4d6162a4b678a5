// Writes the demo fleet's log folder: make_demo FOLDER. Same program, same files, on every machine.

#include "fleet.hpp"
#include "simulate.hpp"

#include <cstdio>
#include <fstream>
#include <map>
#include <string>
#include <vector>

#include <fmt/format.h>

namespace shaftlog::demo {
namespace {

constexpr const char* kNoteColumns = "id,recorded_at,by,remark,replaces,withdraws,reason";

/// Columns of each log file after `vessel`; the moment's place is the one that Row holds as {}.
const std::map<std::string, std::string> kLogColumns{
    {"hours", "shaft,at,meter_h,meter,old_meter_h"},
    {"cycles", "lubricator,at,count,counter"},
    {"levels", "lubricator,at,level_pct"},
    {"refills", "lubricator,at,amount,unit,level_before_pct,level_after_pct,grease,batch"},
    {"greasings", "shaft,at,amount,unit,gun,ended,purge,grease"},
    {"alarms", "lubricator,shaft,raised_at,cleared_at,alarm"},
    {"work", "shaft,lubricator,at,work"},
    {"inspections", "shaft,at,water_pct,iron_ppm,clearance_mm"},
};

std::string quoted(const std::string& cell) {
  if (cell.find_first_of(",\"\n") == std::string::npos) return cell;
  std::string out = "\"";
  for (const char c : cell) {
    if (c == '"') out += '"';
    out += c;
  }
  return out + '"';
}

using Files = std::map<std::string, std::string>;

void write_register(const std::vector<Ship>& fleet, Files& files) {
  files["vessels"] = "vessel,name,imo,time_zone,group\n";
  files["greases"] =
      "grease,thickener,nlgi,density_g_cm3,sea_safe\n"
      "li_cx_2,lithium_complex,2,0.92,no\n"
      "ca_sulf_2,calcium_sulfonate,2,0.92,yes\n";
  files["guns"] = "vessel,gun,cm3_per_stroke,calibrated_on\n";
  files["lubricators"] = "vessel,lubricator,reservoir_cm3,low_level_cm3,grease,from\n";
  files["shafts"] =
      "vessel,shaft,position,cavity_cm3,interval_h,interval_days,reserve_pct,meter_rollover_h,grease,from\n";
  files["feeds"] = "vessel,lubricator,shaft,from,dose_cm3,cycle_min\n";
  for (const Ship& s : fleet) {
    files["vessels"] += fmt::format("{},{},,{},{}\n", s.code, s.name, s.zone, s.group);
    files["guns"] += fmt::format("{},{},{:.2f},2023-09-10\n", s.code, s.gun, s.cm3_per_stroke);
    if (s.gun_calibrated_again != kNever)
      files["guns"] += fmt::format("{},{},{:.2f},{:.10}\n", s.code, s.gun, s.cm3_per_stroke_then,
                                   format_minute(Minute{s.gun_calibrated_again} * 1440, ""));
    const Lubricator& lub = s.lubricator;
    if (!lub.code.empty())
      files["lubricators"] +=
          fmt::format("{},{},{:.0f},,{},2023-09-01\n", s.code, lub.code, lub.reservoir_cm3, s.grease);
    for (const Shaft& f : s.shafts) {
      const auto positive = [](int n) { return n > 0 ? fmt::format("{}", n) : std::string{}; };
      files["shafts"] +=
          fmt::format("{},{},{},{:.0f},{},{},,{},{},2023-09-01\n", s.code, f.code, quoted(f.position), f.cavity_cm3,
                      positive(f.interval_h), positive(f.interval_days), positive(f.rollover_h), s.grease);
      if (f.dose_cm3 > 0)
        files["feeds"] +=
            fmt::format("{},{},{},2023-09-01,{:.2f},{}\n", s.code, lub.code, f.code, f.dose_cm3, lub.cycle_min);
    }
  }
}

void write_rows(const Ship& ship, const std::vector<Row>& rows, Files& files) {
  for (const Row& r : rows) {
    std::string line = r.vessel;
    for (const std::string& cell : r.cells)
      line += "," + (cell == "{}" ? format_minute(r.at, ship.clock) : quoted(cell));
    const Note& n = r.note;
    for (const std::string* cell : {&n.id, &n.recorded_at, &n.by, &n.remark, &n.replaces, &n.withdraws, &n.reason})
      line += "," + quoted(*cell);
    files[r.file] += line + "\n";
  }
}

int run(const std::string& folder) {
  const std::vector<Ship> fleet = the_fleet();
  Files files;
  write_register(fleet, files);
  for (const auto& [file, columns] : kLogColumns) files[file] = fmt::format("vessel,{},{}\n", columns, kNoteColumns);
  std::uint64_t seed = 20231001;
  for (const Ship& ship : fleet) {
    std::vector<Row> rows = simulate(ship, seed++);
    if (ship.code == "quillmark") make_slips(rows);
    write_rows(ship, rows, files);
  }
  for (const auto& [name, text] : files) {
    const std::string path = folder + "/" + name + ".csv";
    std::ofstream out{path, std::ios::binary};
    out << text;
    out.close();
    if (!out) {
      fmt::print(stderr, "{}: cannot be written\n", path);
      return 4;
    }
  }
  return 0;
}

}  // namespace
}  // namespace shaftlog::demo

int main(int argc, char** argv) {
  if (argc != 2) {
    fmt::print(stderr, "usage: make_demo FOLDER\n");
    return 2;
  }
  return shaftlog::demo::run(argv[1]);
}
