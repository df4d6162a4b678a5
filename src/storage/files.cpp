#include "storage/files.hpp"

#include "base/error.hpp"

#include <algorithm>
#include <atomic>
#include <cerrno>
#include <charconv>
#include <csignal>
#include <cstdio>
#include <cstring>
#include <fcntl.h>
#include <unistd.h>

#include <fmt/format.h>

namespace shaftlog {
namespace {

namespace fs = std::filesystem;

[[noreturn]] void throw_errno(const fs::path& path, const char* what, int code) {
  throw Error{Errc::io, fmt::format("{}: {} ({})", path.string(), what, std::strerror(code))};
}

void sync_path(const fs::path& path, int flags) {
  const int fd = ::open(path.c_str(), flags | O_CLOEXEC);
  if (fd < 0) throw_errno(path, "cannot be opened", errno);
  const int rc = ::fsync(fd);
  const int code = errno;
  ::close(fd);
  // A file system without the notion (EINVAL) keeps what it keeps.
  if (rc != 0 && code != EINVAL) throw_errno(path, "could not be brought to the disk", code);
}

fs::path folder_of(const fs::path& path) {
  const fs::path parent = path.parent_path();
  return parent.empty() ? fs::path{"."} : parent;
}

}  // namespace

fs::path scratch_name(const fs::path& final_name) {
  static std::atomic<unsigned> counter{0};
  fs::path name;
  std::error_code ignored;
  do {
    name = folder_of(final_name) /
           fmt::format(".{}.{}-{}.part", final_name.filename().string(), ::getpid(), counter.fetch_add(1));
  } while (fs::exists(fs::symlink_status(name, ignored)));
  return name;
}

namespace {

/// Whether a name is one of scratch_name(), its journal's or a pack's under way, and nobody is at work on it.
bool is_left(std::string name) {
  if (!name.starts_with(".")) return false;
  for (const char* suffix : {"-wal", "-shm", "-journal"}) {
    if (name.ends_with(suffix)) name.resize(name.size() - std::strlen(suffix));
  }
  if (!name.ends_with(".part")) return false;
  name.resize(name.size() - std::strlen(".part"));
  if (name.ends_with(".pack")) return true;
  const auto dot = name.rfind('.');
  const auto hyphen = name.find('-', dot);
  if (dot == 0 || hyphen == std::string::npos) return false;
  const auto number = [&name](std::size_t from, std::size_t to) -> pid_t {
    pid_t n = 0;
    const auto [end, code] = std::from_chars(name.data() + from, name.data() + to, n);
    return code == std::errc{} && end == name.data() + to ? n : -1;
  };
  const pid_t program = number(dot + 1, hyphen);
  if (program <= 0 || number(hyphen + 1, name.size()) < 0) return false;
  return ::kill(program, 0) != 0 && errno == ESRCH;
}

}  // namespace

std::vector<fs::path> find_left(const fs::path& folder) {
  std::vector<fs::path> out;
  std::error_code code;
  for (const auto& entry : fs::directory_iterator{folder.empty() ? fs::path{"."} : folder, code}) {
    if (is_left(entry.path().filename().string())) out.push_back(folder / entry.path().filename());
  }
  std::sort(out.begin(), out.end());
  return out;
}

void publish(const fs::path& scratch, const fs::path& final_name) {
  sync_path(scratch, O_RDONLY);
  if (::renameat2(AT_FDCWD, scratch.c_str(), AT_FDCWD, final_name.c_str(), RENAME_NOREPLACE) != 0) {
    if (errno == EEXIST) {
      throw Error{Errc::conflict, fmt::format("{}: is there already; nothing was overwritten", final_name.string())};
    }
    if (errno != EINVAL && errno != ENOSYS) throw_errno(final_name, "cannot be made", errno);
    // The file system cannot rename without replacing: look first, at the price of a short gap.
    require_free(final_name);
    if (::rename(scratch.c_str(), final_name.c_str()) != 0) throw_errno(final_name, "cannot be made", errno);
  }
  sync_path(folder_of(final_name), O_RDONLY | O_DIRECTORY);
}

void replace(const fs::path& scratch, const fs::path& final_name, const fs::path& aside) {
  sync_path(scratch, O_RDONLY);
  if (::link(final_name.c_str(), aside.c_str()) != 0) throw_errno(aside, "cannot be made; nothing was replaced", errno);
  sync_path(folder_of(final_name), O_RDONLY | O_DIRECTORY);
  if (::rename(scratch.c_str(), final_name.c_str()) != 0) throw_errno(final_name, "cannot be replaced", errno);
  sync_path(folder_of(final_name), O_RDONLY | O_DIRECTORY);
}

void require_free(const fs::path& path) {
  std::error_code code;
  if (path.filename().empty()) throw Error{Errc::conflict, fmt::format("{}: is not a name for a file", path.string())};
  const fs::file_status folder = fs::status(folder_of(path), code);
  if (!fs::is_directory(folder)) {
    throw Error{Errc::io,
                fmt::format("{}: cannot be made: there is no folder {}", path.string(), folder_of(path).string())};
  }
  if (fs::exists(fs::symlink_status(path, code))) {
    throw Error{Errc::conflict, fmt::format("{}: is there already; nothing was overwritten", path.string())};
  }
  for (const char* suffix : {"-wal", "-shm", "-journal"}) {
    const fs::path left = path.string() + suffix;
    // SQLite would take such a journal for the new file's own.
    if (fs::exists(fs::symlink_status(left, code))) {
      throw Error{Errc::conflict,
                  fmt::format("{}: was left by another database of this name; move it away first", left.string())};
    }
  }
}

ScratchFile::~ScratchFile() {
  for (const char* suffix : {"", "-wal", "-shm", "-journal"}) {
    std::error_code ignored;
    fs::remove(path_.string() + suffix, ignored);
  }
}

}  // namespace shaftlog
