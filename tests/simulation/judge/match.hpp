#pragma once

#include "replay.hpp"

#include <vector>

// Which finding is owed to what. The rules, in one place:
//
// A finding is *right* when a fault of its sort and subject ran at its `first_seen` or had ended at most kGrace before.
//   abnormal_washout, seal_wear: step or wear of the same shaft (either name; "right kind" is counted apart)
//   less_grease_taken: blocked_path of the same shaft
//   missed_cycles: not_cycling, low_delivery, stuck_device or left_off of the same lubricator
//   line_leak, alarm_rate: the fault of that name, same lubricator
//   starved: the true fill stood below the reserve + kReserveSlack within what the finding speaks of (30 days before
//     its first_seen, or since its `began`); where it is foretold, before the next greasing was due by the log
//   record_suspect: one of its evidence is a record that was truly written wrong
//   records_missing: the vessel or shaft was truly silent within what the finding speaks of
// It is *excused* - neither right nor false - when something that is no fault in our list made the same mark truly:
//   washout: the path to the same cavity was blocked; a grease change or an unrecorded gun that moved all amounts
//   by 1.2 or more; doses that did not arrive; a
//     shaft that loses 1.5 times the median of its group or more from the start
//   less_grease_taken: a grease change or an unrecorded gun that moved all amounts by 1 / 1.2 or less
//   missed_cycles, line_leak: the doses due and what left the reservoir differ truly by more than 7 % over 60 days
//     (an empty reservoir, a leak beside it), or the lubricator stood and nobody had written it down by then; told as
//     recorded off: nothing had left the reservoir since
//   alarm_rate: another fault of the same lubricator
//   record_suspect: the path to the cavity was blocked, so that its amounts truly tell nothing of the loss
//   records_missing: they were written on board and not yet sent
// All others are *false*.

namespace shaftlog::judge {

constexpr std::chrono::days kGrace{120};
constexpr double kReserveSlack = 0.10;  // of the cavity

enum class Verdict : std::uint8_t { right, excused, wrong };

struct Judged {
  Verdict verdict{};
  int fault = -1;  ///< place in Truth::faults of a right one
};

/// What the fleet knows that one vessel does not: the median true rate of each group.
std::map<std::string, double> group_rates(const std::vector<world::MadeVessel>& fleet);

Judged judge_track(const world::MadeVessel& vessel, const Track& track, const std::map<std::string, double>& groups);

/// Subject-years in which a finding of `kind` would be false: of shafts, or of lubricators for what is said of them.
double healthy_years(const world::MadeVessel& vessel, FindingKind kind);

/// How one fault was met.
struct Met {
  const world::Fault* fault = nullptr;
  bool was_accused = false;  ///< a finding of the same sort stood already at its onset
  bool is_found = false;
  bool right_kind_at_open = false, right_kind_at_last = false;
  bool right_shaft_at_open = false, right_shaft_at_last = false;
  bool has_greasings = false;  ///< shafts of the lubricator are greased by hand: which one can be told
  Instant told{};
  Instant last_word{};  ///< when it was told for the last time before its end
  int records = 0;      ///< of the relevant sort from its onset up to the telling
  double run_h = 0;     ///< from its onset
  const Track* track = nullptr;
};
Met meet(const world::MadeVessel& vessel, const VesselReplay& replay, std::size_t fault);

/// What the finding of a track was called at a moment: a step and wear keep the id while they are told apart better.
FindingKind kind_at(const Track& track, Instant t);

/// Records that can tell of the fault, from its onset to `until`.
int records_since_onset(const world::MadeVessel& vessel, const world::Fault& fault, Instant until);
/// Running hours of the fault's subject between two moments (of the busiest shaft of a lubricator).
double run_between(const world::MadeVessel& vessel, const world::Fault& fault, Instant a, Instant b);
/// Kinds of finding that count as having found the fault; the right one first.
std::vector<FindingKind> kinds_for(world::FaultKind kind);

}  // namespace shaftlog::judge
