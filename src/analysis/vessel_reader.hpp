#pragma once

#include "analysis/review.hpp"

#include <cstddef>
#include <functional>
#include <memory>
#include <mutex>
#include <utility>

namespace shaftlog {

/// Loads the logs of a fleet for several threads: one at a time, and digests them beside one another.
class VesselReader {
 public:
  using Load = std::function<VesselLog(std::size_t)>;
  VesselReader(Load load, Instant as_of) : load_{std::move(load)}, as_of_{as_of} {}

  /// Anything else that is read where the logs come from.
  template <class Read>
  auto alone(const Read& what) {
    const std::lock_guard lock{one_reads_};
    return what();
  }

  [[nodiscard]] std::unique_ptr<ReadVessel> read(std::size_t i, bool with_detail) {
    auto v = std::make_unique<ReadVessel>();
    v->log = alone([&] { return load_(i); });
    v->digest = digest(v->log, as_of_, with_detail);
    return v;
  }

 private:
  Load load_;
  Instant as_of_;
  std::mutex one_reads_;
};

}  // namespace shaftlog
