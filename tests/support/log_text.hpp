#pragma once

#include "support/temp_db.hpp"

#include <filesystem>
#include <fstream>
#include <map>
#include <sstream>
#include <string>

namespace shaftlog::test {

inline void write_text(const std::filesystem::path& path, std::string_view text) {
  std::filesystem::create_directories(path.parent_path());
  std::ofstream{path, std::ios::binary} << text;
}

inline std::string read_text(const std::filesystem::path& path) {
  std::ifstream in{path, std::ios::binary};
  std::ostringstream out;
  out << in.rdbuf();
  return out.str();
}

/// Every file of a folder with its bytes.
inline std::map<std::string, std::string> read_folder(const std::filesystem::path& folder) {
  std::map<std::string, std::string> out;
  for (const auto& item : std::filesystem::directory_iterator{folder}) {
    out[item.path().filename().string()] = read_text(item.path());
  }
  return out;
}

/// The register that the log files of these tests lean on.
inline void write_register(const std::filesystem::path& folder) {
  write_text(folder / "vessels.csv", "vessel,name,time_zone\nT-01,Test One,Europe/Lisbon\nT-02,Test Two,UTC\n");
  write_text(folder / "greases.csv", "grease,thickener,density_g_cm3\nG-1,lithium_complex,0.92\nG-2,calcium,1\n");
  write_text(folder / "guns.csv", "vessel,gun,cm3_per_stroke,calibrated_on\nT-01,gun1,1.3,2026-01-10\n");
  write_text(folder / "lubricators.csv",
             "vessel,lubricator,reservoir_cm3,grease\nT-01,lub1,5000,G-1\nT-02,lub1,4000,G-1\n");
  write_text(
      folder / "shafts.csv",
      "vessel,shaft,cavity_cm3,grease,from\nT-01,port,400,G-1,\nT-01,stbd,400,G-1,\nT-01,stbd,420,G-2,2026-02-01\n"
      "T-02,port,600,G-1,\n");
  write_text(folder / "feeds.csv",
             "vessel,lubricator,shaft,from,dose_cm3,cycle_min\nT-01,lub1,port,2026-01-01,0.25,15\n");
}

}  // namespace shaftlog::test
