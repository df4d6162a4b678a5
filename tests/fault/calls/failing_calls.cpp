// Loaded in front of the C library (LD_PRELOAD): the n-th call of the program that changes a file or brings it to the
// disk fails, or the program ends there and then, as by a power cut between two calls.
//   FAILING_CALL=N       which call, from 1
//   FAILING_HOW=WORD     die, die_half (a write gets half of its bytes out first), full or io
//   FAILING_STAYS=1      and all calls after it
//   FAILING_FIRED=FILE   is made when it happened
#include <cerrno>
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <dlfcn.h>
#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

namespace {

long env_number(const char* name) {
  const char* text = std::getenv(name);
  return text == nullptr ? 0 : std::atol(text);
}

template <class Function>
Function next(const char* name) {
  return reinterpret_cast<Function>(dlsym(RTLD_NEXT, name));
}

enum class How { none, die, die_half, full, io };

/// Counts a call. none: it goes through.
How count_call() {
  static const long at = env_number("FAILING_CALL");
  static const bool stays = env_number("FAILING_STAYS") != 0;
  static long n = 0;
  if (at == 0) return How::none;
  ++n;
  if (n != at && !(stays && n > at)) return How::none;
  if (n == at) {
    const char* mark = std::getenv("FAILING_FIRED");
    if (mark != nullptr) {
      const int fd = next<int (*)(const char*, int, ...)>("open")(mark, O_WRONLY | O_CREAT | O_CLOEXEC, 0600);
      if (fd >= 0) ::close(fd);
    }
  }
  const char* how = std::getenv("FAILING_HOW");
  if (how == nullptr || std::strcmp(how, "io") == 0) return How::io;
  if (std::strcmp(how, "full") == 0) return How::full;
  return std::strcmp(how, "die") == 0 ? How::die : How::die_half;
}

/// \return whether the call is to fail; errno says why. Of a full disk only what needs room fails.
bool fails(bool needs_room) {
  const How how = count_call();
  if (how == How::none || (how == How::full && !needs_room)) return false;
  if (how == How::die || how == How::die_half) ::_exit(99);
  errno = how == How::full ? ENOSPC : EIO;
  return true;
}

template <class Write>
ssize_t write_or_fail(int fd, size_t size, const Write& write) {
  if (fd < 3) return write(size);
  const How how = count_call();
  if (how == How::none) return write(size);
  if (how == How::die_half) write(size / 2);
  if (how == How::die || how == How::die_half) ::_exit(99);
  errno = how == How::full ? ENOSPC : EIO;
  return -1;
}

}  // namespace

extern "C" {

ssize_t write(int fd, const void* data, size_t size) {
  static const auto real = next<ssize_t (*)(int, const void*, size_t)>("write");
  return write_or_fail(fd, size, [&](size_t n) { return real(fd, data, n); });
}
ssize_t pwrite(int fd, const void* data, size_t size, off_t at) {
  static const auto real = next<ssize_t (*)(int, const void*, size_t, off_t)>("pwrite");
  return write_or_fail(fd, size, [&](size_t n) { return real(fd, data, n, at); });
}
ssize_t pwrite64(int fd, const void* data, size_t size, off64_t at) {
  static const auto real = next<ssize_t (*)(int, const void*, size_t, off64_t)>("pwrite64");
  return write_or_fail(fd, size, [&](size_t n) { return real(fd, data, n, at); });
}
int fsync(int fd) {
  static const auto real = next<int (*)(int)>("fsync");
  return fails(false) ? -1 : real(fd);
}
int fdatasync(int fd) {
  static const auto real = next<int (*)(int)>("fdatasync");
  return fails(false) ? -1 : real(fd);
}
int ftruncate(int fd, off_t size) {
  static const auto real = next<int (*)(int, off_t)>("ftruncate");
  return fails(true) ? -1 : real(fd, size);
}
int ftruncate64(int fd, off64_t size) {
  static const auto real = next<int (*)(int, off64_t)>("ftruncate64");
  return fails(true) ? -1 : real(fd, size);
}
int rename(const char* from, const char* to) {
  static const auto real = next<int (*)(const char*, const char*)>("rename");
  return fails(true) ? -1 : real(from, to);
}
int renameat2(int a, const char* from, int b, const char* to, unsigned flags) {
  static const auto real = next<int (*)(int, const char*, int, const char*, unsigned)>("renameat2");
  return fails(true) ? -1 : real(a, from, b, to, flags);
}
int link(const char* from, const char* to) {
  static const auto real = next<int (*)(const char*, const char*)>("link");
  return fails(true) ? -1 : real(from, to);
}
int unlink(const char* name) {
  static const auto real = next<int (*)(const char*)>("unlink");
  return fails(false) ? -1 : real(name);
}
int mkdir(const char* name, mode_t mode) {
  static const auto real = next<int (*)(const char*, mode_t)>("mkdir");
  return fails(true) ? -1 : real(name, mode);
}

}  // extern "C"
