#pragma once

#include "analysis/replay.hpp"
#include "domain/register.hpp"
#include "reports/table.hpp"

#include <span>
#include <string>
#include <string_view>

namespace shaftlog {

/// A replay as the reports see it. Holds references only.
struct ReplayView {
  const Register& reg;
  std::span<const ReplayStep> steps;
  std::span<const FindingLife> lives;
  std::string_view scope;          ///< "fleet", "vessel T-01"
  std::size_t recorded_later = 0;  ///< records no step could know
  bool are_many = false;           ///< enough of them to be told
};

/// One line a finding: when first shown, urgency from step to step, when gone. \param with_steps what each step said
/// too
std::string replay_text(const ReplayView& view, const TextStyle& style, bool with_steps);
/// JSON Lines: {"as_of", "findings"} a step, findings as in `review --json`.
std::string replay_steps_json(const ReplayView& view);
/// One object: the steps' times and the lives.
std::string replay_lives_json(const ReplayView& view);
/// One row a stretch of a life.
std::string replay_lives_csv(const ReplayView& view);
/// One row a finding a step.
std::string replay_steps_csv(const ReplayView& view);

}  // namespace shaftlog
