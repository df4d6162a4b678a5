#pragma once

#include <cstdint>

namespace shaftlog::test {

/// A layer between SQLite and the system's files that fails when told to. While one exists it is the default, so that
/// code under test uses it without knowing. One at a time, one thread.
class FaultVfs {
 public:
  enum class Fault {
    io_error,   ///< the operation fails
    disk_full,  ///< writes say that the disk is full, other operations fail
    die         ///< the process ends there and then, as by kill -9
  };
  FaultVfs();
  FaultVfs(const FaultVfs&) = delete;
  FaultVfs& operator=(const FaultVfs&) = delete;
  ~FaultVfs();

  /// From now on the n-th (from 1) write, sync, truncation, opening or removal fails; `for_good`: and all after it.
  void arm(std::int64_t nth, Fault fault, bool for_good);
  /// Everything works again. \return whether anything was made to fail
  bool disarm();
};

}  // namespace shaftlog::test
