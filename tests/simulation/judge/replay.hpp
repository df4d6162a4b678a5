#pragma once

#include "analysis/review.hpp"
#include "simulation/world/world.hpp"

#include <functional>
#include <map>
#include <optional>
#include <utility>
#include <vector>

// The whole review over time, as the ship and the office would have seen it: only what was recorded by then, with a
// fleet prior learnt from what was known by then.

namespace shaftlog::judge {

struct ReplayPlan {
  int step_days = 14;
  int learn_days = 182;  ///< the prior is learnt anew so often
  unsigned threads = 1;
};

/// One finding through the replay, by its id.
struct Track {
  Uuid id;
  FindingKind kind{};
  ShaftId shaft;
  LubricatorId lubricator;
  Instant first_seen{};  ///< as it said when it first stood there
  Instant told{};   ///< the moment at which a review could first have shown it: first_seen, but no earlier than the
                    ///< step before the one that showed it
  Instant shown{};  ///< the first step that showed it
  Instant last_shown{};
  int reopened = 0;  ///< times that it was gone at a step and came back
  bool is_standing = false;
  std::vector<std::pair<Instant, FindingKind>> named;  ///< what it was called, since which step; rising
  Finding at_open;                                     ///< as it was when first shown
  Finding last;                                        ///< as it was when last shown
};

/// What one vessel's review said of its subjects at one of the dates asked for.
struct Snapshot {
  Instant as_of{};
  std::vector<ShaftState> shafts;
  std::vector<LubricatorState> lubricators;
  std::vector<Finding> findings;
};

struct VesselReplay {
  std::vector<Track> tracks;  ///< in order of first showing
  std::vector<Snapshot> snapshots;
};

struct Replay {
  std::vector<VesselReplay> vessels;  ///< as in the fleet
  std::size_t reviews = 0;
  double seconds = 0;
  FleetPrior last_prior;
};

/// \param snapshot_at rising moments; each is taken at the last step up to it
Replay replay(const std::vector<world::MadeVessel>& fleet, const ReplayPlan& plan,
              const std::vector<Instant>& snapshot_at);

/// Runs work(i) for 0 <= i < n on `threads`; each i writes its own result.
void in_parallel(std::size_t n, unsigned threads, const std::function<void(std::size_t)>& work);

}  // namespace shaftlog::judge
