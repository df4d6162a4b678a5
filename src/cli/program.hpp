#pragma once

#include "base/time.hpp"
#include "cli/command.hpp"

#include <filesystem>
#include <memory>
#include <optional>
#include <string>
#include <vector>

namespace shaftlog {

/// What every command is given: the file, the clock, who is typing.
struct Surroundings {
  std::optional<std::string> db;  ///< --db
  SystemClock clock;

  /// --db, else SHAFTLOG_DB, else ./shaftlog.db
  [[nodiscard]] std::filesystem::path database() const;
  /// SHAFTLOG_BY, else the login name; empty when there is none
  [[nodiscard]] static std::string by();
  /// The name that --by gives, else by(). \throws Error{usage} an empty one
  [[nodiscard]] static std::string by(const std::optional<std::string>& given);
};

// One function a group of commands; each adds its own to the tree.
void add_maintenance_commands(Command& root, const Surroundings& around);
void add_safety_commands(Command& root, const Surroundings& around);
void add_exchange_commands(Command& root, const Surroundings& around);
void add_pack_commands(Command& root, const Surroundings& around);
void add_key_commands(Command& root, const Surroundings& around);
void add_side_command(Command& root, const Surroundings& around);
void add_verify_command(Command& root, const Surroundings& around);
void add_log_commands(Command& root, const Surroundings& around);
void add_entry_commands(Command& root, const Surroundings& around);
void add_review_commands(Command& root, const Surroundings& around);
void add_report_commands(Command& root, const Surroundings& around);
void add_sheet_command(Command& root, const Surroundings& around);
void add_replay_command(Command& root, const Surroundings& around);
void add_advise_command(Command& root, const Surroundings& around);
void add_history_commands(Command& root, const Surroundings& around);
void add_finding_commands(Command& root, const Surroundings& around);
void add_account_commands(Command& root, const Surroundings& around);
void add_shell_commands(Command& root);

/// Everything `shaftlog` can do from a command line.
std::unique_ptr<Command> make_commands(Surroundings& around);

/// Reads the words, does what they say, and answers the exit code. Never throws.
/// \param extend adds commands of another shell (main.cpp joins them); may be empty
int run_program(const std::vector<std::string>& words,
                const std::function<void(Command& root, const Surroundings& around)>& extend = {});

}  // namespace shaftlog
