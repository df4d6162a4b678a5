#pragma once

#include "fleet.hpp"

#include <cstdint>
#include <string>
#include <vector>

namespace shaftlog::demo {

using Minute = std::int64_t;  ///< minutes since the first day's midnight, on the clock the ship writes

/// The columns every log file ends with.
struct Note {
  std::string id, recorded_at, by, remark, replaces, withdraws, reason;
};
/// One row of a log file: its own cells in the file's order, the moment left out ({} in its place).
struct Row {
  std::string file, vessel;
  Minute at = 0;
  std::vector<std::string> cells;
  Note note;
};

/// "2024-05-01T08:10" and the ship's clock behind it.
std::string format_minute(Minute at, const std::string& clock);

/// What the crew wrote over the three years; in order of time within each file.
std::vector<Row> simulate(const Ship& ship, std::uint64_t seed);

/// The slips of the pen aboard Quillmark, put into what was rightly written.
void make_slips(std::vector<Row>& rows);

}  // namespace shaftlog::demo
