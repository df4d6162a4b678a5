#include "interchange/new_folder.hpp"

#include "base/error.hpp"
#include "base/text.hpp"

#include <cerrno>
#include <cstdio>
#include <cstring>
#include <sys/stat.h>
#include <unistd.h>

#include <fmt/format.h>

namespace shaftlog {
namespace {

namespace fs = std::filesystem;

[[noreturn]] void fail(const fs::path& path, const char* what, const std::string& why) {
  throw Error{Errc::io, fmt::format("{}: {}: {}", shown(path.string(), 200), what, why)};
}

fs::path parent_of(const fs::path& folder) {
  const fs::path parent = folder.parent_path();
  return parent.empty() ? fs::path{"."} : parent;
}

}  // namespace

NewFolder::NewFolder(fs::path folder) : folder_{std::move(folder)} {
  if (!folder_.has_filename()) folder_ = folder_.parent_path();  // "out/"
  std::error_code ec;
  const auto status = fs::status(folder_, ec);
  if (fs::exists(status) && !fs::is_directory(status)) {
    throw Error{Errc::conflict, fmt::format("{}: is a file; expected a folder", shown(folder_.string(), 200))};
  }
  if (fs::is_directory(status)) {
    is_empty_ = fs::is_empty(folder_, ec);
    if (ec) fail(folder_, "cannot be read", ec.message());
    return;
  }
  fs::create_directories(parent_of(folder_), ec);
  if (ec) fail(folder_, "cannot be made", ec.message());
  for (int n = 0;; ++n) {
    fs::path beside = parent_of(folder_) / fmt::format(".{}.{}-{}.part", folder_.filename().string(), ::getpid(), n);
    if (::mkdir(beside.c_str(), 0777) == 0) {
      scratch_ = std::move(beside);
      return;
    }
    if (errno != EEXIST) fail(folder_, "cannot be made", std::strerror(errno));
  }
}

NewFolder::~NewFolder() {
  std::error_code ignored;
  if (!scratch_.empty()) fs::remove_all(scratch_, ignored);
}

void NewFolder::keep(std::vector<NewFile>& files) {
  const fs::path mark = folder_ / kUnfinishedName;
  if (scratch_.empty()) {
    NewFile unfinished{mark};
    unfinished.write("The files of this folder are of different exports. Export into it again.\n");
    unfinished.sync();
    unfinished.keep();
    sync_folder(folder_);
  }
  for (NewFile& file : files) file.keep();
  sync_folder(place());
  if (scratch_.empty()) {
    if (::unlink(mark.c_str()) != 0) fail(mark, "cannot be removed", std::strerror(errno));
    sync_folder(folder_);
    return;
  }
  // Over an empty folder that was made meanwhile it goes too.
  if (::rename(scratch_.c_str(), folder_.c_str()) != 0) {
    const int why = errno;
    if (why == ENOTEMPTY || why == EEXIST) {
      throw Error{Errc::conflict, fmt::format("{}: was made by another meanwhile; nothing was overwritten",
                                              shown(folder_.string(), 200))};
    }
    fail(folder_, "cannot be made", std::strerror(why));
  }
  scratch_.clear();
  sync_folder(parent_of(folder_));
}

}  // namespace shaftlog
