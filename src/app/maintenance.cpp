#include "app/maintenance.hpp"

#include "app/keys.hpp"
#include "base/error.hpp"
#include "storage/files.hpp"

#include <algorithm>

#include <fmt/format.h>

namespace shaftlog {

std::string_view program_version() noexcept { return SHAFTLOG_VERSION; }

Database make_database(const std::filesystem::path& file) { return Database::create(file); }
Database open_to_read(const std::filesystem::path& file) { return Database::open(file, Database::Mode::read_only); }
Database open_to_write(const std::filesystem::path& file) { return Database::open(file, Database::Mode::read_write); }

FileCheck check_database(const std::filesystem::path& file, const Clock& clock) {
  Database db = open_to_read(file);
  FileCheck result{check(db), {}, find_left(file.parent_path())};
  // A copy without its key is none the worse; a key that is not this file's would sign nothing.
  std::error_code ignored;
  if (std::filesystem::exists(std::filesystem::symlink_status(key_file_of(file), ignored))) {
    try {
      signing_key(db);
    } catch (const Error& e) {
      if (e.code() == Errc::busy) throw;
      result.faults.emplace_back(e.what());
    }
  }
  if (result.faults.empty()) result.later = find_recorded_later(db, clock.now_s());
  return result;
}

UpgradeResult upgrade_database(const std::filesystem::path& file, const Clock& clock) {
  return upgrade(file, clock.now_s());
}

RecoverResult recover_database(const std::filesystem::path& damaged, const std::filesystem::path& to,
                               const std::optional<std::filesystem::path>& backup) {
  return recover(damaged, to, backup);
}

RestoreResult restore_database(const std::filesystem::path& backup, const std::filesystem::path& file,
                               const Clock& clock, bool is_dry_run) {
  return restore(backup, file, clock.now_s(), is_dry_run);
}

namespace {

namespace fs = std::filesystem;

/// Whether a name is the one a backup of `file` made into a folder has.
bool is_dated_copy(const fs::path& name, const fs::path& file) {
  const std::string text = name.filename().string();
  const std::string head = file.stem().string() + "-";
  const std::string tail = file.extension().string();
  constexpr std::string_view kShape = "00000000T000000Z";
  if (text.size() != head.size() + kShape.size() + tail.size() || !text.starts_with(head) || !text.ends_with(tail)) {
    return false;
  }
  return std::equal(kShape.begin(), kShape.end(), text.begin() + static_cast<std::ptrdiff_t>(head.size()),
                    [](char shape, char c) { return shape == '0' ? c >= '0' && c <= '9' : c == shape; });
}

/// Their names sort as their moments do. A clock set back must not cost the copy just made.
std::vector<fs::path> remove_older(const fs::path& folder, const fs::path& file, const fs::path& made,
                                   std::int64_t keep) {
  std::vector<fs::path> others;
  for (const auto& entry : fs::directory_iterator{folder}) {
    if (entry.is_regular_file() && is_dated_copy(entry.path(), file) && entry.path() != made) {
      others.push_back(entry.path());
    }
  }
  std::sort(others.begin(), others.end());
  const auto too_many = static_cast<std::int64_t>(others.size()) - (keep - 1);
  others.resize(static_cast<std::size_t>(std::max(std::int64_t{0}, too_many)));
  for (const fs::path& other : others) {
    std::error_code code;
    if (!fs::remove(other, code) && code) {
      throw Error{Errc::io, fmt::format("{}: cannot be removed ({}); the new copy {} is there", other.string(),
                                        code.message(), made.string())};
    }
  }
  return others;
}

}  // namespace

BackupResult backup_database(const fs::path& file, const fs::path& to, const Clock& clock,
                             std::optional<std::int64_t> keep) {
  std::error_code ignored;
  const bool is_folder = fs::is_directory(to, ignored);
  if (keep && *keep < 1) throw Error{Errc::usage, fmt::format("--keep: {} is below 1", *keep)};
  if (keep && !is_folder) {
    throw Error{Errc::usage, fmt::format("--keep: {} is not a folder; expected the folder of the copies", to.string())};
  }
  Database db = open_to_read(file);
  BackupResult result{to, {}};
  if (is_folder) {
    result.copy /= file.stem().string() + "-" + compact_utc(clock.now_s()) + file.extension().string();
  }
  backup(db, result.copy);
  if (keep) result.removed = remove_older(to, file, result.copy, *keep);
  return result;
}

}  // namespace shaftlog
