#pragma once

#include <algorithm>
#include <atomic>
#include <cstddef>
#include <exception>
#include <mutex>
#include <thread>
#include <vector>

namespace shaftlog {

/// Runs work(i) for 0 <= i < n on up to `threads` threads; the first exception leaves. Each i writes its own result, so
/// the order does not matter.
template <class Work>
void in_parallel(std::size_t n, unsigned threads, const Work& work) {
  std::atomic<std::size_t> next{0};
  std::exception_ptr failed;
  std::mutex mutex;
  const auto run = [&] {
    for (std::size_t i = next++; i < n; i = next++) {
      try {
        work(i);
      } catch (...) {
        const std::lock_guard lock{mutex};
        if (!failed) failed = std::current_exception();
      }
    }
  };
  std::vector<std::jthread> crew;
  for (unsigned t = 1; t < std::min<std::size_t>(threads, n); ++t) crew.emplace_back(run);
  run();
  crew.clear();
  if (failed) std::rethrow_exception(failed);
}

}  // namespace shaftlog
