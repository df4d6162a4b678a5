#pragma once

#include "app/import.hpp"

#include <filesystem>
#include <functional>

namespace shaftlog {

/// Makes a new database at `file` and loads the demo fleet into it: invented ships, three years, one true story each.
/// When that fails nothing is left at `file`. \throws Error{conflict} if anything is there already; Error{io}
ImportResult load_demo(const std::filesystem::path& file, const Clock& clock,
                       const std::function<void(const ImportProgress&)>& progress);

/// Writes the demo fleet's log folder, to look at or to change. \throws Error{conflict} if one of its files is there
void write_demo_folder(const std::filesystem::path& folder);

/// The day to look at the demo fleet from: the one after its last records.
constexpr std::string_view kDemoDay = "2026-10-01";

}  // namespace shaftlog
