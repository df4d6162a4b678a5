#include "interchange/new_file.hpp"

#include "base/error.hpp"
#include "base/text.hpp"

#include <cerrno>
#include <cstring>
#include <fcntl.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>
#include <utility>

#include <fmt/format.h>

namespace shaftlog {
namespace {

[[noreturn]] void fail(const std::filesystem::path& path, const char* what) {
  const int why = errno;
  throw Error{Errc::io, fmt::format("{}: {}: {}", shown(path.string(), 200), what, std::strerror(why))};
}

std::filesystem::path beside(const std::filesystem::path& path) {
  std::filesystem::path out = path;
  out.replace_filename("." + path.filename().string() + ".part");
  return out;
}

}  // namespace

NewFile::NewFile(std::filesystem::path path, std::filesystem::path called)
    : path_{std::move(path)}, beside_{beside(path_)}, called_{called.empty() ? path_ : std::move(called)} {
  // One at a time: two programs that make the same file would write into one another's. What a killed one left is
  // written over.
  for (;;) {
    fd_ = ::open(beside_.c_str(), O_WRONLY | O_CREAT | O_CLOEXEC | O_NOFOLLOW, 0666);
    if (fd_ < 0) fail(called_, "cannot be written");
    if (::flock(fd_, LOCK_EX | LOCK_NB) != 0 && errno == EWOULDBLOCK) {
      ::close(fd_);
      throw Error{Errc::busy, fmt::format("{}: another program is writing it; try again in a moment",
                                          shown(called_.string(), 200))};
    }
    struct ::stat opened {};
    struct ::stat named {};
    const bool is_ours = ::fstat(fd_, &opened) == 0 && ::lstat(beside_.c_str(), &named) == 0 &&
                         opened.st_ino == named.st_ino && opened.st_dev == named.st_dev;
    if (is_ours) break;
    ::close(fd_);  // it got its name, or was removed, before the lock was ours
  }
  if (::ftruncate(fd_, 0) == 0) return;
  const int why = errno;
  ::close(fd_);
  ::unlink(beside_.c_str());
  errno = why;
  fail(called_, "cannot be written");
}

NewFile::NewFile(NewFile&& other) noexcept
    : path_{std::move(other.path_)},
      beside_{std::move(other.beside_)},
      called_{std::move(other.called_)},
      fd_{std::exchange(other.fd_, -1)},
      done_{std::exchange(other.done_, true)} {}

NewFile::~NewFile() {
  if (!done_) ::unlink(beside_.c_str());
  if (fd_ >= 0) ::close(fd_);
}

void NewFile::write(std::string_view text) {
  while (!text.empty()) {
    const ssize_t n = ::write(fd_, text.data(), text.size());
    if (n < 0) {
      if (errno == EINTR) continue;
      fail(called_, "cannot be written");
    }
    text.remove_prefix(static_cast<std::size_t>(n));
  }
}

void NewFile::sync() {
  if (::fsync(fd_) != 0) fail(called_, "cannot be brought to the disk");
}

void NewFile::keep() {
  // Renamed while it is locked: nobody can take hold of it before it has its name.
  if (::rename(beside_.c_str(), path_.c_str()) != 0) fail(called_, "cannot be written");
  done_ = true;
  if (::close(std::exchange(fd_, -1)) != 0) fail(called_, "cannot be written");
}

void sync_folder(const std::filesystem::path& folder) {
  const int fd = ::open(folder.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC);
  if (fd < 0) fail(folder, "cannot be opened");
  const bool is_synced = ::fsync(fd) == 0;
  const int why = errno;
  ::close(fd);
  errno = why;
  if (!is_synced && why != EINVAL)
    fail(folder, "cannot be brought to the disk");  // some file systems know no such sync
}

}  // namespace shaftlog
