#pragma once

#include <cstddef>
#include <sqlite3.h>
#include <stdexcept>

namespace shaftlog::test {

/// The system's own VFS, which those of the tests stand before.
inline sqlite3_vfs* real_vfs() {
  sqlite3_vfs* const real = sqlite3_vfs_find("unix");
  if (real == nullptr) throw std::runtime_error{"no unix VFS"};
  return real;
}

/// A VFS that hands everything to `real` but opening and removing files, which are left to be set.
/// \param file_bytes of the tests' own part of an open file; that of `real` comes behind it
inline sqlite3_vfs pass_through_vfs(sqlite3_vfs* real, const char* name, std::size_t file_bytes) {
  static sqlite3_vfs* to = nullptr;
  to = real;
  sqlite3_vfs vfs{};
  vfs.iVersion = 2;
  vfs.szOsFile = static_cast<int>(file_bytes) + real->szOsFile;
  vfs.mxPathname = real->mxPathname;
  vfs.zName = name;
  vfs.xAccess = [](sqlite3_vfs*, const char* file, int flags, int* out) { return to->xAccess(to, file, flags, out); };
  vfs.xFullPathname = [](sqlite3_vfs*, const char* file, int n, char* out) {
    return to->xFullPathname(to, file, n, out);
  };
  vfs.xRandomness = [](sqlite3_vfs*, int n, char* out) { return to->xRandomness(to, n, out); };
  vfs.xSleep = [](sqlite3_vfs*, int us) { return to->xSleep(to, us); };
  vfs.xCurrentTime = [](sqlite3_vfs*, double* out) { return to->xCurrentTime(to, out); };
  vfs.xGetLastError = [](sqlite3_vfs*, int n, char* out) { return to->xGetLastError(to, n, out); };
  vfs.xCurrentTimeInt64 = [](sqlite3_vfs*, sqlite3_int64* out) { return to->xCurrentTimeInt64(to, out); };
  return vfs;
}

}  // namespace shaftlog::test
