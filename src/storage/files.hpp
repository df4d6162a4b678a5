#pragma once

#include <filesystem>
#include <string>
#include <vector>

namespace shaftlog {

/// A name beside `final_name` for a file that is still being written; no file of that name is there.
std::filesystem::path scratch_name(const std::filesystem::path& final_name);
/// Such files of programs that do not run any more, and packs half written, in a folder; by name. Of a program on
/// another computer this one cannot tell whether it runs.
std::vector<std::filesystem::path> find_left(const std::filesystem::path& folder);
/// Gives a finished file its name and makes that last through a loss of power; never overwrites.
/// \throws Error{conflict} if something has taken the name meanwhile, Error{io}
void publish(const std::filesystem::path& scratch, const std::filesystem::path& final_name);
/// Puts a finished file in the place of another, which keeps living as `aside`: at every moment one whole file stands
/// under the name. Lasts through a loss of power. \throws Error{io}
void replace(const std::filesystem::path& scratch, const std::filesystem::path& final_name,
             const std::filesystem::path& aside);
/// Refuses a name under which anything is already, or beside which another database left its journal.
void require_free(const std::filesystem::path& path);

/// Removes a scratch file and its journals unless kept.
class ScratchFile {
 public:
  explicit ScratchFile(const std::filesystem::path& final_name) : path_{scratch_name(final_name)} {}
  ScratchFile(const ScratchFile&) = delete;
  ScratchFile& operator=(const ScratchFile&) = delete;
  ~ScratchFile();
  [[nodiscard]] const std::filesystem::path& path() const noexcept { return path_; }

 private:
  std::filesystem::path path_;
};

}  // namespace shaftlog
