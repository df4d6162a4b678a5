#pragma once

#include "base/time.hpp"
#include "base/uuid.hpp"
#include "domain/record.hpp"

#include <cstdint>
#include <filesystem>
#include <map>
#include <optional>
#include <string>
#include <vector>

namespace shaftlog {

/// A record that was in the damaged file and is not in the new one; what is known of it comes from its own row, from
/// its content or from the file's indexes. Empty: not known.
struct LostRecord {
  enum class Why : std::uint8_t {
    row,      ///< its row cannot be read
    content,  ///< what it says cannot be read
    owner,    ///< its vessel, shaft or lubricator is lost
    changed   ///< it breaks the log's own rules, so it cannot have been written like this
  };
  Why why = Why::row;
  std::optional<Uuid> id;
  std::optional<Kind> kind;
  std::string vessel;  ///< code; empty: not known
  std::optional<Instant> at;
};

struct RecoveredTable {
  std::string name;
  std::int64_t kept = 0, from_backup = 0;  ///< of those kept: rows that only the backup had
  std::int64_t lost = 0;                   ///< rows whose number is missing among those kept, or that were left out
  bool is_least = false;                   ///< more may be lost: rows may have followed the last that can be read
};

struct RecoverResult {
  std::int64_t pages = 0, unreadable_pages = 0, undecided_pages = 0;
  std::vector<RecoveredTable> tables;         ///< those that hold or should hold rows
  std::int64_t records = 0, from_backup = 0;  ///< of these: records that only the backup had
  std::vector<LostRecord> lost;               ///< records of which something is known
  std::int64_t lost_unknown = 0;              ///< records of which only their missing number tells
  bool is_least = false;                      ///< newer records may be lost without a trace
  /// Fields emptied because what they referred to is lost, by "table.column".
  std::map<std::string, std::int64_t> emptied;
  std::vector<Uuid> dangling;       ///< records kept that correct or withdraw one that is not there
  std::vector<std::string> notes;   ///< about the file as a whole, a sentence each
  std::vector<std::string> faults;  ///< that `check` finds in the new file
  [[nodiscard]] bool is_whole() const noexcept;
};

/// Saves every row of a damaged database that can be read into a new one, reading its pages without SQLite and without
/// touching it. \param backup an earlier copy of the same file that lends what the damage took; optional
/// \throws Error{conflict} `to` exists, the backup is of another file, or the file changed meanwhile;
/// Error{damaged} nothing of a log can be read in it; Error{not_found}, Error{io}, Error{schema_too_new}
RecoverResult recover(const std::filesystem::path& damaged, const std::filesystem::path& to,
                      const std::optional<std::filesystem::path>& backup);

}  // namespace shaftlog
