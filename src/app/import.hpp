#pragma once

#include "base/time.hpp"
#include "interchange/fields.hpp"
#include "storage/database.hpp"

#include <cstdint>
#include <filesystem>
#include <functional>
#include <string>
#include <vector>

namespace shaftlog {

struct ImportProgress {
  std::string file;
  std::uint64_t rows = 0;  ///< read so far in all files
  std::uint64_t bytes_done = 0, bytes_total = 0;
};

struct ImportOptions {
  std::filesystem::path folder;              ///< a log folder, or
  std::vector<std::filesystem::path> files;  ///< single files of one, known by their names
  bool dry_run = false;                      ///< say what would happen, keep nothing
  bool keep_good = false;                    ///< keep the good lines and write the bad ones to `rejects_folder`
  std::filesystem::path rejects_folder;      ///< made when it is needed; must hold none of the files to be written
  bool update_register = false;              ///< let a register row replace one that says something else
  std::string by;                            ///< who changes the register
  std::size_t most_faults = 50;              ///< faults and warnings listed; the rest are counted
  std::function<void(const ImportProgress&)> progress;  ///< called now and then; may be empty
};

struct ImportedFile {
  std::string name;
  std::uint64_t rows = 0;
  std::uint64_t added = 0;
  std::uint64_t known = 0;     ///< were there already
  std::uint64_t replaced = 0;  ///< register rows that took the place of others
  std::uint64_t refused = 0;
};

struct ImportResult {
  std::vector<ImportedFile> files;
  std::vector<Fault> faults;
  std::uint64_t fault_count = 0;
  std::vector<Fault> warnings;
  std::uint64_t warning_count = 0;
  std::vector<std::string> register_changes;   ///< "shafts.csv line 3: shaft PORT of T-01", as many as were replaced
  std::vector<std::filesystem::path> rejects;  ///< files written
  bool is_kept = false;                        ///< false: nothing was changed (a fault without keep_good, or a dry run)
};

/// Reads a log folder or single files into the database in one transaction. With a fault and without keep_good nothing
/// is kept. A row that is there already adds nothing; an id that is there with other values is a fault.
/// \throws Error{usage} neither or both of folder and files, keep_good without rejects_folder;
/// Error{not_found, bad_data, io} the folder itself; Error{conflict} rejects that are in the way; Error{busy}
ImportResult import_folder(Database& db, const Clock& clock, const ImportOptions& options);

}  // namespace shaftlog
