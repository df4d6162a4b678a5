#pragma once

#include "base/time.hpp"
#include "base/uuid.hpp"

#include <unordered_set>
#include <vector>

namespace shaftlog {

/// One correction or withdrawal, and what it is of.
struct Link {
  Uuid id;
  Uuid of;
  bool is_withdrawal = false;
  Instant recorded_at{};
};

/// Which of the records that `links` touch are not in force. A record and its corrections (and theirs) are one family,
/// of which at most one is in force: going from the correction recorded last to the first (ties: the greater id first),
/// each before what it corrects, the first that is not withdrawn. A withdrawal that is itself withdrawn does nothing.
/// A circle of corrections, which only a forged file can hold, is cut before the one recorded first.
std::unordered_set<Uuid> not_in_force(const std::vector<Link>& links);

}  // namespace shaftlog
