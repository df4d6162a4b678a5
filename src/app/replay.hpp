#pragma once

#include "analysis/replay.hpp"
#include "storage/database.hpp"

#include <chrono>
#include <functional>
#include <optional>
#include <string>
#include <vector>

namespace shaftlog {

struct ReplayRequest {
  Instant from{}, to{};             ///< the first step, and the last moment a step may have
  std::chrono::seconds every{};     ///< from step to step
  std::string vessel, group;        ///< empty: all. The fleet's prior is learnt from all vessels in any case
  std::string shaft;                ///< findings of this shaft and of the lubricators that feed it; needs `vessel`
  std::optional<FindingKind> kind;  ///< only findings that were of this kind at some step
  bool whenever_recorded = false;   ///< count a record from its own time on, however late it was written down
  unsigned threads = 0;             ///< 0: as many as the machine has
};

struct Replay {
  Register reg;
  std::vector<ReplayStep> steps;
  std::vector<FindingLife> lives;
  /// Records in force of the vessels asked for that had happened by the last step but were recorded after it: a log
  /// that was imported without its times of recording is unknown to every step.
  std::size_t recorded_later = 0;
  std::size_t recorded_by_then = 0;  ///< the others

  /// So many that the replay says little of what the records could have told.
  [[nodiscard]] bool is_mostly_later() const { return recorded_later * 20 > recorded_by_then + recorded_later; }
};

/// A review a step, each from what had happened and was recorded by then; the register is today's at every step.
/// \param progress called before each step with its number and how many there are; may be empty
/// \throws Error{not_found} for a vessel, group or shaft that is not registered; Error{usage} for a step that is not
/// above 0, an end before the beginning, more than kMostReplaySteps steps, or a shaft without its vessel
Replay replay(Database& db, const ReplayRequest& request,
              const std::function<void(std::size_t, std::size_t)>& progress = {});

constexpr std::size_t kMostReplaySteps = 4000;

/// All words of finding kinds, for "expected one of ...".
std::string words_of_finding_kind();

}  // namespace shaftlog
