#pragma once

#include "base/time.hpp"
#include "base/uuid.hpp"
#include "domain/ids.hpp"

#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <string_view>

namespace shaftlog {

// What people do about a finding. The finding itself is computed and never kept; what is said of it here is.

enum class FindingAct : std::uint8_t { taken, noted, closed, reopened };

/// What a finding said when the remark was made, to be read when it is not found any more. Empty: it was not found
/// then.
struct FindingThen {
  std::string urgency, summary;
  std::optional<Instant> first_seen, began;
  std::string measure;                    ///< name of the figure by which it is seen whether the numbers came back
  std::optional<std::int64_t> value_ppm;  ///< that figure, in millionths of its unit; set exactly when measure is
  friend bool operator==(const FindingThen&, const FindingThen&) = default;
};

/// One remark. Never changed; another one follows.
struct FindingRemark {
  Uuid id;
  Uuid finding;
  std::string kind;  ///< of the finding, as in its JSON
  VesselId vessel;
  ShaftId shaft;            ///< not set: the finding is not about a shaft
  LubricatorId lubricator;  ///< not set: nor about a lubricator
  FindingAct did = FindingAct::noted;
  std::string says;   ///< the note, what was done, why it is open again; may be empty only when taken
  Stamp at;           ///< when it was done
  Stamp recorded_at;  ///< when it was written down
  std::string by;     ///< who; empty: not said
  FindingThen then;
};

enum class FindingStatus : std::uint8_t { open, in_hand, closed };

/// Where a finding stands by its remarks.
struct FindingState {
  FindingStatus status = FindingStatus::open;
  Stamp since;       ///< of the remark that made it so; not set while it is open and nobody reopened it
  std::string by;    ///< who has it in hand, closed or reopened it
  std::string says;  ///< what was done, why it is open again
  int notes = 0;     ///< remarks of any kind
};
/// The last remark recorded decides: what was done may have been done before the remark that was recorded before it.
/// \param remarks of one finding, sorted by is_before()
FindingState state_of(std::span<const FindingRemark> remarks);
/// The order in which remarks are read: by (recorded_at, id).
bool is_before(const FindingRemark& a, const FindingRemark& b) noexcept;

std::string_view name_of(FindingAct a) noexcept;
std::string_view name_of(FindingStatus s) noexcept;
std::optional<FindingAct> parse_finding_act(std::string_view word) noexcept;

}  // namespace shaftlog
