#pragma once

#include "analysis/washout.hpp"

#include <cstdint>
#include <memory>
#include <span>

namespace shaftlog {

/// A shaft's history, and a number that is another one whenever the history is.
struct LearntFrom {
  const ShaftHistory* history = nullptr;
  std::int64_t shaft = 0;  ///< tells it from the others of the fleet; the same each time
  std::uint64_t serial = 0;
};

/// fit_fleet_prior() for a fleet of which a few records change at a time. The answer is the same to the last bit; what
/// depends on nothing that changed is not fitted again: the errors rest on 120 blocks of 14 greasings, drawn by lot, a
/// shaft's place on its first twelve greasings that measure something.
class PriorLearner {
 public:
  PriorLearner();
  ~PriorLearner();
  PriorLearner(const PriorLearner&) = delete;
  PriorLearner& operator=(const PriorLearner&) = delete;

  /// \param fleet in any order; a shaft seen before under the same serial is not read again where it can be
  /// helped
  /// \throws Error{bad_data} as fit_washout; then as if it had not been asked
  /// \source docs/methods/washout.md
  [[nodiscard]] FleetPrior learn(std::span<const LearntFrom> fleet);

 private:
  struct Memory;
  std::unique_ptr<Memory> memory_;
};

/// Whether two priors are the same to the last bit.
bool is_same(const WashoutPrior& a, const WashoutPrior& b) noexcept;

}  // namespace shaftlog
