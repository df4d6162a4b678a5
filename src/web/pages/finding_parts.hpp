#pragma once

#include "analysis/types.hpp"
#include "reports/review_report.hpp"
#include "web/pages/layout.hpp"

namespace shaftlog::web {

/// Where a finding of the review stands: open while nobody spoke of it.
FindingState state_in(const FleetReview& r, const Uuid& finding);
/// One finding of a list: urgency, subject, what it says, how sure, since when, where it stands.
/// \param with_ship also names the ship, and says what it is to be told where is_for_the_ship(); the page then has the
/// cautions of those checks under the id "cautions" \param tail day_tail() of the page
/// \param stake what is lost by waiting; empty: the records tell nothing
void finding_card(Html& h, const Finding& f, const FindingState& state, const Names& names, bool with_ship,
                  const std::string& tail, std::string_view stake);

/// Whether the ship is to be told of it now: act or plan, not closed, and there is something to check.
bool is_for_the_ship(const Finding& f, const FindingState& state);

}  // namespace shaftlog::web
