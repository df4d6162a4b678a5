#include "app/demo.hpp"

#include "app/maintenance.hpp"
#include "base/error.hpp"
#include "demo_files.hpp"

#include <cerrno>
#include <cstdlib>
#include <cstring>
#include <fstream>
#include <optional>

#include <fmt/format.h>

namespace shaftlog {

namespace {

/// A folder for a while.
class ScratchFolder {
 public:
  ScratchFolder() {
    std::string name = (std::filesystem::temp_directory_path() / "shaftlog-demo-XXXXXX").string();
    if (::mkdtemp(name.data()) == nullptr) throw Error{Errc::io, fmt::format("{}: {}", name, std::strerror(errno))};
    path_ = name;
  }
  ScratchFolder(const ScratchFolder&) = delete;
  ScratchFolder& operator=(const ScratchFolder&) = delete;
  ~ScratchFolder() {
    std::error_code ignored;
    std::filesystem::remove_all(path_, ignored);
  }
  [[nodiscard]] const std::filesystem::path& path() const noexcept { return path_; }

 private:
  std::filesystem::path path_;
};

}  // namespace

void write_demo_folder(const std::filesystem::path& folder) {
  std::error_code fault;
  std::filesystem::create_directories(folder, fault);
  if (fault) throw Error{Errc::io, fmt::format("{}: {}", folder.string(), fault.message())};
  for (const EmbeddedFile& f : demo_files()) {
    const std::filesystem::path path = folder / f.name;
    if (std::filesystem::exists(path)) throw Error{Errc::conflict, fmt::format("{} is there already", path.string())};
    std::ofstream out{path, std::ios::binary};
    out.write(f.text.data(), static_cast<std::streamsize>(f.text.size()));
    out.close();
    if (!out) throw Error{Errc::io, fmt::format("{} cannot be written", path.string())};
  }
}

ImportResult load_demo(const std::filesystem::path& file, const Clock& clock,
                       const std::function<void(const ImportProgress&)>& progress) {
  const ScratchFolder scratch;
  write_demo_folder(scratch.path());
  std::optional<Database> db{make_database(file)};  // what this makes is ours to remove again
  try {
    ImportOptions options;
    options.folder = scratch.path();
    options.by = "demo";
    options.progress = progress;
    ImportResult result = import_folder(*db, clock, options);
    if (!result.is_kept)
      throw Error{Errc::bad_data, result.faults.empty() ? "the demo fleet was not kept" : result.faults.front().text()};
    return result;
  } catch (...) {
    db.reset();
    for (const char* suffix : {"", "-wal", "-shm"}) {
      std::error_code ignored;
      std::filesystem::remove(file.string() + suffix, ignored);
    }
    throw;
  }
}

}  // namespace shaftlog
