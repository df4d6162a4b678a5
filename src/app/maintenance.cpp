#include "app/maintenance.hpp"

#include <algorithm>

namespace shaftlog {

std::string_view program_version() noexcept { return SHAFTLOG_VERSION; }

Database make_database(const std::filesystem::path& file) { return Database::create(file); }
Database open_to_read(const std::filesystem::path& file) { return Database::open(file, Database::Mode::read_only); }
Database open_to_write(const std::filesystem::path& file) { return Database::open(file, Database::Mode::read_write); }

CheckResult check_database(const std::filesystem::path& file) {
  Database db = open_to_read(file);
  return check(db);
}

UpgradeResult upgrade_database(const std::filesystem::path& file, const Clock& clock) {
  return upgrade(file, clock.now_s());
}

std::filesystem::path backup_database(const std::filesystem::path& file, const std::filesystem::path& to,
                                      const Clock& clock) {
  Database db = open_to_read(file);
  std::filesystem::path target = to;
  std::error_code ignored;
  if (std::filesystem::is_directory(to, ignored)) {
    std::string moment = format_utc(clock.now_s());
    moment.erase(std::remove_if(moment.begin(), moment.end(), [](char c) { return c == '-' || c == ':'; }),
                 moment.end());
    target /= file.stem().string() + "-" + moment + file.extension().string();
  }
  backup(db, target);
  return target;
}

}  // namespace shaftlog
