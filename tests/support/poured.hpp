#pragma once

#include "domain/vessel_log.hpp"

namespace shaftlog::test {

/// A refill of so many cm3, with no levels.
inline Refill poured(std::int64_t volume_cm3) {
  Amount a;
  a.volume = cm3(volume_cm3);
  Refill r;
  r.amount = a;
  return r;
}

}  // namespace shaftlog::test
