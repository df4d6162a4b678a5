#pragma once

#include "analysis/finding_case.hpp"
#include "app/review.hpp"
#include "domain/record.hpp"
#include "domain/verification.hpp"

#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace shaftlog {

/// Findings of a review and those that somebody said something about, most pressing first; then those not found any
/// more, the last remark first.
struct FindingBook {
  Instant as_of{};
  Register reg;
  std::vector<FindingCase> cases;
};
/// The same of a review at hand. \param vessel only its cases; not set: those of all
FindingBook findings_in(const FleetReview& review, VesselId vessel);
/// \throws Error as review()
FindingBook list_findings(Database& db, Instant now, const ReviewRequest& request);

/// \param id in full, or its first digits where they are of one finding only
/// \throws Error{usage} not the form of an id; Error{not_found}; Error{conflict} several begin like that (names them)
const FindingCase& get_finding(const FindingBook& book, std::string_view id);

/// The records that a finding rests on, the decisive first; what is not in the log (any more) is left out.
std::vector<Entry> evidence_of(Database& db, const FindingCase& c);
/// Which of these records somebody has verified.
VerifiedRecords verified_among(Database& db, const std::vector<Entry>& records);

/// What somebody does about a finding.
struct FindingWords {
  std::string id;  ///< as for get_finding
  FindingAct did = FindingAct::noted;
  std::string says;
  std::string by;
  std::string at;  ///< when it was done, on the ship's clock; empty: now
};
struct KeptRemark {
  FindingRemark remark;
  FindingState state;  ///< after it
  Register reg;
};
/// Keeps a remark, in one transaction, with what the finding says now. A finding that is not found any more may still
/// be spoken of, as may one that was found at the time given in `at` only. \throws Error as get_finding; Error{usage}
/// words missing, or a time to come; Error{conflict} closing what is closed, taking in hand what is closed, reopening
/// what is not
KeptRemark keep_remark(Database& db, const Clock& clock, const FindingWords& words);

}  // namespace shaftlog
