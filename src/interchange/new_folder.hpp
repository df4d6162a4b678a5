#pragma once

#include "interchange/new_file.hpp"

#include <vector>

namespace shaftlog {

/// Lies in a folder while its files are being replaced; a folder that holds it is not read.
inline constexpr const char* kUnfinishedName = "export-unfinished.txt";

/// A set of files that is there whole or not at all. A folder that is not there yet is made beside its name and
/// renamed. Into one that is there the files are renamed one by one, which no system does at once: a file says so
/// meanwhile, so that a crash leaves no mix of old and new that could be taken for a whole.
class NewFolder {
 public:
  /// \throws Error{conflict} `folder` is no folder; Error{io}
  explicit NewFolder(std::filesystem::path folder);
  NewFolder(const NewFolder&) = delete;
  NewFolder& operator=(const NewFolder&) = delete;
  ~NewFolder();  ///< removes what was written unless kept

  [[nodiscard]] bool is_empty() const noexcept { return is_empty_; }
  /// Where the files are to be made.
  [[nodiscard]] const std::filesystem::path& place() const noexcept { return scratch_.empty() ? folder_ : scratch_; }
  /// Gives the files, which were made in place() and brought to the disk, their names. \throws Error{conflict},
  /// Error{io}
  void keep(std::vector<NewFile>& files);

 private:
  std::filesystem::path folder_, scratch_;  // scratch_: empty when the folder is there already
  bool is_empty_ = true;
};

}  // namespace shaftlog
