#pragma once

#include <filesystem>
#include <string_view>

namespace shaftlog {

/// A file that appears whole or not at all: written beside its name, brought to the disk, then renamed.
class NewFile {
 public:
  /// \param called the name that messages tell, where `path` is not the last one; empty: `path`
  /// \throws Error{busy} another program is making the same file; Error{io}
  explicit NewFile(std::filesystem::path path, std::filesystem::path called = {});
  NewFile(NewFile&& other) noexcept;
  NewFile& operator=(NewFile&&) = delete;
  NewFile(const NewFile&) = delete;
  NewFile& operator=(const NewFile&) = delete;
  ~NewFile();  ///< removes what was written unless kept

  void write(std::string_view text);  ///< \throws Error{io}
  void sync();                        ///< \throws Error{io}
  void keep();                        ///< renames; after sync(). \throws Error{io}

 private:
  std::filesystem::path path_, beside_, called_;
  int fd_ = -1;
  bool done_ = false;
};

/// Brings the names in a folder to the disk. \throws Error{io}
void sync_folder(const std::filesystem::path& folder);

}  // namespace shaftlog
