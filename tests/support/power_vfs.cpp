#include "support/power_vfs.hpp"

#include "support/pass_through_vfs.hpp"

#include <algorithm>
#include <cstring>
#include <filesystem>
#include <fstream>
#include <map>
#include <random>
#include <sqlite3.h>
#include <string>
#include <vector>

namespace shaftlog::test {
namespace {

constexpr std::int64_t kSector = 512;

/// What the disk would still hold of one file.
struct Unsynced {
  std::int64_t durable_size = 0;
  std::map<std::int64_t, std::string> before;  ///< by sector: its content at the last sync, as much as there was
};

struct State {
  sqlite3_vfs* real = nullptr;
  bool armed = false, failed = false;
  std::int64_t left = 0;
  std::map<std::string, Unsynced> files;
};
State state;  // SQLite calls plain functions

struct File {
  sqlite3_file base;
  sqlite3_file* real;
  std::string* name;
};
File* ours(sqlite3_file* f) { return reinterpret_cast<File*>(f); }
sqlite3_file* real_of(sqlite3_file* f) { return ours(f)->real; }
const sqlite3_io_methods& methods_of(sqlite3_file* f) { return *real_of(f)->pMethods; }

/// \return whether the power has failed, before or by this operation
bool is_off() {
  if (state.failed) return true;
  if (state.armed && --state.left <= 0) state.failed = true;
  return state.failed;
}

std::int64_t size_of(sqlite3_file* f) {
  sqlite3_int64 size = 0;
  methods_of(f).xFileSize(real_of(f), &size);
  return size;
}

Unsynced& unsynced_of(sqlite3_file* f) {
  const auto [it, is_new] = state.files.try_emplace(*ours(f)->name);
  if (is_new) it->second.durable_size = size_of(f);
  return it->second;
}

/// Keeps what the disk holds of [from, to) before it is written over.
void keep_before(sqlite3_file* f, std::int64_t from, std::int64_t to) {
  if (!state.armed) return;
  Unsynced& u = unsynced_of(f);
  for (std::int64_t sector = from / kSector; sector * kSector < to; ++sector) {
    if (u.before.contains(sector)) continue;
    const std::int64_t at = sector * kSector;
    const std::int64_t there = std::clamp<std::int64_t>(u.durable_size - at, 0, kSector);
    std::string content(static_cast<std::size_t>(there), '\0');
    if (there > 0) methods_of(f).xRead(real_of(f), content.data(), static_cast<int>(there), at);
    u.before.emplace(sector, std::move(content));
  }
}

int x_close(sqlite3_file* f) {
  const int rc = methods_of(f).xClose(real_of(f));
  delete ours(f)->name;
  return rc;
}
int x_read(sqlite3_file* f, void* to, int n, sqlite3_int64 at) {
  return state.failed ? SQLITE_IOERR_READ : methods_of(f).xRead(real_of(f), to, n, at);
}
int x_write(sqlite3_file* f, const void* from, int n, sqlite3_int64 at) {
  if (state.failed) return SQLITE_IOERR_WRITE;
  keep_before(f, at, at + n);
  const int rc = methods_of(f).xWrite(real_of(f), from, n, at);
  return is_off() ? SQLITE_IOERR_WRITE : rc;  // the last write may come through in part, as any other
}
int x_truncate(sqlite3_file* f, sqlite3_int64 size) {
  if (is_off()) return SQLITE_IOERR_TRUNCATE;
  keep_before(f, size, size_of(f));
  return methods_of(f).xTruncate(real_of(f), size);
}
int x_sync(sqlite3_file* f, int flags) {
  if (is_off()) return SQLITE_IOERR_FSYNC;
  if (state.armed) {
    Unsynced& u = unsynced_of(f);
    u.before.clear();
    u.durable_size = size_of(f);
  }
  // What the disk holds is kept account of here; the real sync would only take time.
  static_cast<void>(flags);
  return SQLITE_OK;
}
int x_size(sqlite3_file* f, sqlite3_int64* out) { return methods_of(f).xFileSize(real_of(f), out); }
int x_lock(sqlite3_file* f, int level) { return methods_of(f).xLock(real_of(f), level); }
int x_unlock(sqlite3_file* f, int level) { return methods_of(f).xUnlock(real_of(f), level); }
int x_reserved(sqlite3_file* f, int* out) { return methods_of(f).xCheckReservedLock(real_of(f), out); }
int x_control(sqlite3_file* f, int op, void* arg) { return methods_of(f).xFileControl(real_of(f), op, arg); }
int x_sector(sqlite3_file*) { return static_cast<int>(kSector); }
int x_traits(sqlite3_file*) { return 0; }  // promises nothing: no atomic, no ordered write
int x_shm_map(sqlite3_file* f, int page, int size, int extend, void volatile** out) {
  return methods_of(f).xShmMap(real_of(f), page, size, extend, out);
}
int x_shm_lock(sqlite3_file* f, int offset, int n, int flags) {
  return methods_of(f).xShmLock(real_of(f), offset, n, flags);
}
void x_shm_barrier(sqlite3_file* f) { methods_of(f).xShmBarrier(real_of(f)); }
int x_shm_unmap(sqlite3_file* f, int remove) { return methods_of(f).xShmUnmap(real_of(f), remove); }

const sqlite3_io_methods kMethods{2,          x_close,       x_read,      x_write,   x_truncate, x_sync,   x_size,
                                  x_lock,     x_unlock,      x_reserved,  x_control, x_sector,   x_traits, x_shm_map,
                                  x_shm_lock, x_shm_barrier, x_shm_unmap, nullptr,   nullptr};

int x_open(sqlite3_vfs*, const char* name, sqlite3_file* f, int flags, int* out_flags) {
  File* const file = ours(f);
  file->base.pMethods = nullptr;
  if (state.failed) return SQLITE_CANTOPEN;
  file->real = reinterpret_cast<sqlite3_file*>(file + 1);
  std::memset(file->real, 0, static_cast<std::size_t>(state.real->szOsFile));
  const int rc = state.real->xOpen(state.real, name, file->real, flags, out_flags);
  if (rc != SQLITE_OK) return rc;
  file->base.pMethods = &kMethods;
  file->name = new std::string{name == nullptr ? "" : name};
  return rc;
}
int x_delete(sqlite3_vfs*, const char* name, int sync_folder) {
  if (is_off()) return SQLITE_IOERR_DELETE;
  state.files.erase(name);
  return state.real->xDelete(state.real, name, sync_folder);
}

sqlite3_vfs vfs{};

}  // namespace

PowerVfs::PowerVfs() {
  state = State{};
  state.real = real_vfs();
  vfs = pass_through_vfs(state.real, "shaftlog-power", sizeof(File));
  vfs.xOpen = x_open;
  vfs.xDelete = x_delete;
  sqlite3_vfs_register(&vfs, /*makeDflt=*/1);
}

PowerVfs::~PowerVfs() {
  sqlite3_vfs_unregister(&vfs);
  sqlite3_vfs_register(state.real, /*makeDflt=*/1);
}

void PowerVfs::arm(std::int64_t nth) {
  state.files.clear();
  state.armed = true;
  state.failed = false;
  state.left = nth;
}

bool PowerVfs::settle(std::uint64_t seed) {
  const bool failed = state.failed;
  state.armed = state.failed = false;
  if (!failed) return false;
  std::mt19937_64 random{seed};
  for (const auto& [name, unsynced] : state.files) {
    std::error_code gone;
    const auto size = std::filesystem::file_size(name, gone);
    if (gone) continue;
    std::fstream file{name, std::ios::in | std::ios::out | std::ios::binary};
    // In some rounds all came through, in some nothing, in most a part.
    const auto chance = random() % 5;
    bool is_torn = false;
    for (const auto& [sector, before] : unsynced.before) {
      if (random() % 4 < chance) continue;
      std::string back = before;
      if (!is_torn && back.size() > 1 && random() % 3 == 0) {
        back.resize(back.size() / 2);  // its second half came through
        is_torn = true;
      }
      // A sector that was never written, within a file that has grown: the disk says noughts, or whatever was there.
      if (before.empty()) back.assign(kSector, random() % 2 == 0 ? '\0' : '\x5a');
      const auto end =
          std::min<std::int64_t>(sector * kSector + static_cast<std::int64_t>(back.size()),
                                 std::max<std::int64_t>(static_cast<std::int64_t>(size), unsynced.durable_size));
      back.resize(static_cast<std::size_t>(std::max<std::int64_t>(0, end - sector * kSector)));
      file.seekp(sector * kSector);
      file.write(back.data(), static_cast<std::streamsize>(back.size()));
    }
    file.close();
    // The file's length may have come through or not.
    if (random() % 2 == 0) std::filesystem::resize_file(name, static_cast<std::uintmax_t>(unsynced.durable_size));
    std::filesystem::remove(name + "-shm", gone);  // lived in memory
  }
  state.files.clear();
  return true;
}

}  // namespace shaftlog::test
