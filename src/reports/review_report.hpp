#pragma once

#include "analysis/outcome.hpp"
#include "analysis/review.hpp"
#include "domain/finding_remark.hpp"
#include "domain/register.hpp"
#include "reports/format.hpp"
#include "reports/json.hpp"
#include "reports/table.hpp"

#include <map>
#include <optional>
#include <span>
#include <string>
#include <string_view>

namespace shaftlog {

/// A review as the reports see it. Holds references only.
struct ReviewView {
  Instant as_of{};
  std::string_view version;  ///< of the program
  const Register& reg;
  std::span<const Finding> findings;  ///< most pressing first
  std::span<const VesselReview> vessels;
  std::map<Uuid, FindingState> states;    ///< a finding that is not named is open
  std::string scope = "fleet";            ///< "fleet", "vessel T-01", "group alder"
  std::optional<Instant> known = {};      ///< only what was recorded by then was used
  std::map<Uuid, Outcome> outcomes = {};  ///< of closed findings that still stand
};

/// For the superintendent: how many of each urgency, the findings in rank with what to do, the ships.
/// \param with_all also the tables of shafts and lubricators, and the ships in order however many
std::string review_text(const ReviewView& view, const TextStyle& style, bool with_all);

/// One finding in full, as in the review's list of pressing ones. \param with_cautions its own cautions below it
std::string finding_text(const Finding& f, const Names& names, const TextStyle& style, bool with_cautions,
                         const FindingState& state = {});

/// The object that `review --json` answers.
std::string review_json(const ReviewView& view);
/// One finding as an object of its "findings".
/// \param outcome since it was closed; null: it is not
void write_finding(JsonWriter& json, const Finding& f, const Names& names, const FindingState& state,
                   const Outcome* outcome = nullptr);
/// "in hand of Mate since 2026-10-01 12:00", "closed on ... by ...: fuse renewed"; empty while open and never reopened.
std::string state_text(const FindingState& state);
void write_outcome(JsonWriter& json, const Outcome& o);

// CSV, UTC times, empty for what is not known.
std::string findings_csv(const ReviewView& view);
std::string shafts_csv(const ReviewView& view);
std::string lubricators_csv(const ReviewView& view);

}  // namespace shaftlog
