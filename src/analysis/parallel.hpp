#pragma once

#include <algorithm>
#include <atomic>
#include <condition_variable>
#include <cstddef>
#include <exception>
#include <map>
#include <mutex>
#include <thread>
#include <utility>
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

/// take(make(i)) for 0 <= i < n: `make` on up to `threads` threads, `take` in order and one at a time. No more than
/// four results a thread wait for their turn. The first exception of either leaves; nothing is taken after it.
template <class Make, class Take>
void in_order(std::size_t n, unsigned threads, const Make& make, const Take& take) {
  constexpr std::size_t kAhead = 4;
  using Made = decltype(make(std::size_t{}));
  std::mutex mutex;
  std::condition_variable moved;
  std::map<std::size_t, Made> waiting;
  std::size_t next = 0, turn = 0;
  bool is_taking = false;
  std::exception_ptr failed;
  const std::size_t crew_size = std::max<std::size_t>(1, std::min<std::size_t>(threads, n));
  const auto run = [&] {
    std::unique_lock lock{mutex};
    try {
      for (;;) {
        moved.wait(lock, [&] { return failed || next >= n || next < turn + kAhead * crew_size; });
        if (failed || next >= n) return;
        const std::size_t i = next++;
        lock.unlock();
        Made made = make(i);
        lock.lock();
        waiting.emplace(i, std::move(made));
        // Whoever finds the next one in turn takes all that follow; the others go on making meanwhile.
        if (is_taking) continue;
        is_taking = true;
        while (!failed && !waiting.empty() && waiting.begin()->first == turn) {
          Made first = std::move(waiting.begin()->second);
          waiting.erase(waiting.begin());
          lock.unlock();
          take(std::move(first));
          lock.lock();
          ++turn;
          moved.notify_all();
        }
        is_taking = false;
      }
    } catch (...) {
      if (!lock.owns_lock()) lock.lock();
      if (!failed) failed = std::current_exception();
      moved.notify_all();
    }
  };
  std::vector<std::jthread> crew;
  for (std::size_t t = 1; t < crew_size; ++t) crew.emplace_back(run);
  run();
  crew.clear();
  if (failed) std::rethrow_exception(failed);
}

}  // namespace shaftlog
