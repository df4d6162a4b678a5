#pragma once

#include "analysis/washout.hpp"

#include <memory>

namespace shaftlog {

/// fit_fleet_prior() for a fleet of which one vessel at a time is at hand: of each shaft only what may be learnt from
/// is kept, some 2 kB. The answer is the same to the last bit, in whatever order the shafts come. Not for several
/// threads at once.
class FleetLessons {
 public:
  FleetLessons();
  ~FleetLessons();
  FleetLessons(const FleetLessons&) = delete;
  FleetLessons& operator=(const FleetLessons&) = delete;

  /// \param history of a shaft not heard yet
  /// \throws Error{bad_data} as fit_washout
  void hear(const ShaftHistory& history);
  /// \source docs/methods/washout.md
  [[nodiscard]] FleetPrior learn(unsigned threads);

 private:
  struct Memory;
  std::unique_ptr<Memory> memory_;
};

}  // namespace shaftlog
