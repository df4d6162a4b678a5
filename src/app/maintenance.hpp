#pragma once

#include "storage/database.hpp"

#include <filesystem>
#include <string_view>

namespace shaftlog {

/// Of this program, as CMake's project states it.
std::string_view program_version() noexcept;

// Thin names for what storage does, so that the shells above need no storage. Errors as there.
Database make_database(const std::filesystem::path& file);
Database open_to_read(const std::filesystem::path& file);
Database open_to_write(const std::filesystem::path& file);
CheckResult check_database(const std::filesystem::path& file);
UpgradeResult upgrade_database(const std::filesystem::path& file, const Clock& clock);

/// Copies the file while others may write. \param to a file; or a folder, in which the copy is named after the database
/// and the moment: "shaftlog-20260314T081005Z.db" \return where the copy is
std::filesystem::path backup_database(const std::filesystem::path& file, const std::filesystem::path& to,
                                      const Clock& clock);

}  // namespace shaftlog
