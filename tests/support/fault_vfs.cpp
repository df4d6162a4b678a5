#include "support/fault_vfs.hpp"

#include "support/pass_through_vfs.hpp"

#include <cstring>
#include <sqlite3.h>
#include <unistd.h>

namespace shaftlog::test {
namespace {

struct State {
  sqlite3_vfs* real = nullptr;
  bool armed = false, for_good = false, fired = false;
  std::int64_t left = 0;
  FaultVfs::Fault fault = FaultVfs::Fault::io_error;
};
State state;  // SQLite calls plain functions

/// True when this operation is one to fail.
bool fails() {
  if (!state.armed) return false;
  if (state.fired && !state.for_good) return false;
  if (!state.fired && --state.left > 0) return false;
  state.fired = true;
  if (state.fault == FaultVfs::Fault::die) ::_exit(9);
  return true;
}

struct File {
  sqlite3_file base;
  sqlite3_file* real;
};
sqlite3_file* real_of(sqlite3_file* file) { return reinterpret_cast<File*>(file)->real; }

int x_close(sqlite3_file* f) {
  return real_of(f)->pMethods == nullptr ? SQLITE_OK : real_of(f)->pMethods->xClose(real_of(f));
}
int x_read(sqlite3_file* f, void* to, int n, sqlite3_int64 at) {
  return real_of(f)->pMethods->xRead(real_of(f), to, n, at);
}
int x_write(sqlite3_file* f, const void* from, int n, sqlite3_int64 at) {
  if (fails()) return state.fault == FaultVfs::Fault::disk_full ? SQLITE_FULL : SQLITE_IOERR_WRITE;
  return real_of(f)->pMethods->xWrite(real_of(f), from, n, at);
}
int x_truncate(sqlite3_file* f, sqlite3_int64 size) {
  if (fails()) return SQLITE_IOERR_TRUNCATE;
  return real_of(f)->pMethods->xTruncate(real_of(f), size);
}
int x_sync(sqlite3_file* f, int flags) {
  if (fails()) return SQLITE_IOERR_FSYNC;
  return real_of(f)->pMethods->xSync(real_of(f), flags);
}
int x_size(sqlite3_file* f, sqlite3_int64* size) { return real_of(f)->pMethods->xFileSize(real_of(f), size); }
int x_lock(sqlite3_file* f, int level) { return real_of(f)->pMethods->xLock(real_of(f), level); }
int x_unlock(sqlite3_file* f, int level) { return real_of(f)->pMethods->xUnlock(real_of(f), level); }
int x_reserved(sqlite3_file* f, int* out) { return real_of(f)->pMethods->xCheckReservedLock(real_of(f), out); }
int x_control(sqlite3_file* f, int op, void* arg) { return real_of(f)->pMethods->xFileControl(real_of(f), op, arg); }
int x_sector(sqlite3_file* f) { return real_of(f)->pMethods->xSectorSize(real_of(f)); }
int x_traits(sqlite3_file* f) { return real_of(f)->pMethods->xDeviceCharacteristics(real_of(f)); }
int x_shm_map(sqlite3_file* f, int page, int size, int extend, void volatile** out) {
  return real_of(f)->pMethods->xShmMap(real_of(f), page, size, extend, out);
}
int x_shm_lock(sqlite3_file* f, int offset, int n, int flags) {
  return real_of(f)->pMethods->xShmLock(real_of(f), offset, n, flags);
}
void x_shm_barrier(sqlite3_file* f) { real_of(f)->pMethods->xShmBarrier(real_of(f)); }
int x_shm_unmap(sqlite3_file* f, int remove) { return real_of(f)->pMethods->xShmUnmap(real_of(f), remove); }

const sqlite3_io_methods kMethods{2,          x_close,       x_read,      x_write,   x_truncate, x_sync,   x_size,
                                  x_lock,     x_unlock,      x_reserved,  x_control, x_sector,   x_traits, x_shm_map,
                                  x_shm_lock, x_shm_barrier, x_shm_unmap, nullptr,   nullptr};

int x_open(sqlite3_vfs*, const char* name, sqlite3_file* f, int flags, int* out_flags) {
  auto* const file = reinterpret_cast<File*>(f);
  file->base.pMethods = nullptr;
  if (fails()) return SQLITE_CANTOPEN;
  file->real = reinterpret_cast<sqlite3_file*>(file + 1);
  std::memset(file->real, 0, static_cast<std::size_t>(state.real->szOsFile));
  const int rc = state.real->xOpen(state.real, name, file->real, flags, out_flags);
  if (rc == SQLITE_OK) file->base.pMethods = &kMethods;
  return rc;
}
int x_delete(sqlite3_vfs*, const char* name, int sync_folder) {
  if (fails()) return SQLITE_IOERR_DELETE;
  return state.real->xDelete(state.real, name, sync_folder);
}

sqlite3_vfs vfs{};

}  // namespace

FaultVfs::FaultVfs() {
  state = State{};
  state.real = real_vfs();
  vfs = pass_through_vfs(state.real, "shaftlog-fault", sizeof(File));
  vfs.xOpen = x_open;
  vfs.xDelete = x_delete;
  sqlite3_vfs_register(&vfs, /*makeDflt=*/1);
}

FaultVfs::~FaultVfs() {
  sqlite3_vfs_unregister(&vfs);
  sqlite3_vfs_register(state.real, /*makeDflt=*/1);
}

void FaultVfs::arm(std::int64_t nth, Fault fault, bool for_good) {
  state.armed = true;
  state.for_good = for_good;
  state.fired = false;
  state.left = nth;
  state.fault = fault;
}

bool FaultVfs::disarm() {
  state.armed = false;
  return state.fired;
}

}  // namespace shaftlog::test
