#pragma once

#include "base/time.hpp"
#include "base/uuid.hpp"
#include "domain/ids.hpp"

#include <string>
#include <unordered_map>
#include <vector>

namespace shaftlog {

/// Somebody who answers for a ship's log, the chief engineer, has looked at one record and found it right. Of that
/// record only: a correction of it is another record and not verified yet. Never changed, never taken back.
struct Verification {
  Uuid id;
  Uuid record;
  VesselId vessel;  ///< of the record
  Stamp at;         ///< when it was said
  std::string by;   ///< who; never empty
  friend bool operator==(const Verification&, const Verification&) = default;
};

/// By record, the first one first; a record that is not in it is not verified.
using VerifiedRecords = std::unordered_map<Uuid, std::vector<Verification>>;

}  // namespace shaftlog
