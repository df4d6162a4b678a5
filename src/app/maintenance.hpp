#pragma once

#include "storage/clocks.hpp"
#include "storage/database.hpp"
#include "storage/restore.hpp"
#include "storage/salvage/recover.hpp"

#include <filesystem>
#include <string_view>
#include <vector>

namespace shaftlog {

/// Of this program, as CMake's project states it.
std::string_view program_version() noexcept;

// Thin names for what storage does, so that the shells above need no storage. Errors as there.
Database make_database(const std::filesystem::path& file);
Database open_to_read(const std::filesystem::path& file);
Database open_to_write(const std::filesystem::path& file);
/// What is no fault of the file: what a clock has to do with it, and what lies beside it.
struct FileCheck : CheckResult {
  RecordedLater later;
  std::vector<std::filesystem::path> left;  ///< half-written files of programs that were killed; nothing reads them
};
FileCheck check_database(const std::filesystem::path& file, const Clock& clock);
UpgradeResult upgrade_database(const std::filesystem::path& file, const Clock& clock);

RecoverResult recover_database(const std::filesystem::path& damaged, const std::filesystem::path& to,
                               const std::optional<std::filesystem::path>& backup);

RestoreResult restore_database(const std::filesystem::path& backup, const std::filesystem::path& file,
                               const Clock& clock, bool is_dry_run);

struct BackupResult {
  std::filesystem::path copy;
  std::vector<std::filesystem::path> removed;  ///< older ones, oldest first
};
/// Copies the file while others may write. \param to a file; or a folder, in which the copy is named after the database
/// and the moment: "shaftlog-20260314T081005Z.db" \param keep of a folder's copies of this database only so many stay,
/// the newest and the one just made; others are removed once the new one has passed its check. \throws Error{usage}
/// `keep` below 1, or `to` is no folder
BackupResult backup_database(const std::filesystem::path& file, const std::filesystem::path& to, const Clock& clock,
                             std::optional<std::int64_t> keep = {});

}  // namespace shaftlog
