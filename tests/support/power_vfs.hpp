#pragma once

#include <cstdint>

namespace shaftlog::test {

/// A layer between SQLite and the system's files that knows what has been brought to the disk. At the n-th operation
/// the power fails: nothing works any more, and of what was written to each file since its last sync every sector may
/// have come to the disk or not, in any order, one of them by half. While one exists it is the default. One thread.
class PowerVfs {
 public:
  PowerVfs();
  PowerVfs(const PowerVfs&) = delete;
  PowerVfs& operator=(const PowerVfs&) = delete;
  ~PowerVfs();

  /// From now on the n-th (from 1) write, sync or truncation is the last. What is on the disk now counts as synced.
  void arm(std::int64_t nth);
  /// Puts the files into the state in which they are found after the power came back, if it failed; `seed` decides
  /// which sectors came through. All connections must be closed. \return whether it failed
  bool settle(std::uint64_t seed);
};

}  // namespace shaftlog::test
