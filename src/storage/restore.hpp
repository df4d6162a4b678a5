#pragma once

#include "domain/record.hpp"
#include "storage/database.hpp"

#include <filesystem>
#include <string>
#include <vector>

namespace shaftlog {

/// Records of one vessel and kind that the present file has and the backup has not.
struct LackingRecords {
  std::string vessel;
  Kind kind = Kind::hours;
  std::int64_t count = 0;
  Instant first, last;  ///< of their `at`
};

struct RestoreResult {
  std::vector<LackingRecords> lacking;  ///< by vessel and kind
  std::int64_t lacking_remarks = 0;     ///< on findings
  std::int64_t lacking_verifications = 0;
  std::int64_t lacking_changes = 0;  ///< register rows put right since
  std::int64_t records = 0;          ///< of the backup
  std::string unreadable;            ///< why the present file could not be compared; empty: it was
  bool is_present = false;           ///< whether there is a present file
  std::filesystem::path aside;       ///< where it is now; empty after a dry run, or when there was none
};

/// Puts a copy of `backup` in the place of `present`, which is kept under another name. At every moment one whole file
/// stands under the name; a crash can leave the old one there, or the new one with the old beside it.
/// \throws Error{damaged} the backup does not pass its check; Error{busy} another program has the present file open;
/// Error{not_found}, Error{schema_too_new}, Error{conflict} the backup is of an earlier schema, Error{io}
RestoreResult restore(const std::filesystem::path& backup, const std::filesystem::path& present, Instant now,
                      bool is_dry_run);

}  // namespace shaftlog
