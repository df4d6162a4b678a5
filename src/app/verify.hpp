#pragma once

#include "domain/record.hpp"
#include "domain/register.hpp"
#include "domain/verification.hpp"
#include "storage/database.hpp"

#include <optional>
#include <string>
#include <vector>

namespace shaftlog {

/// Which records somebody means to verify: those named, and with a vessel all of it that nobody has verified yet.
struct VerifyRequest {
  std::vector<std::string> records;  ///< ids in full, or their first digits
  std::string vessel;                ///< code; empty: only those named
  std::string until;                 ///< with a vessel: what happened by then on its clock; a day is meant whole
  std::string by;                    ///< who; never empty
};

/// A record that contradicts others, by an open finding of the review.
struct DoubtfulRecord {
  Entry entry;
  std::string why;        ///< the finding's summary
  bool is_named = false;  ///< false: left out, for nobody said that it was looked at
};

struct VerificationPlan {
  Register reg;
  std::vector<Entry> records;            ///< to be verified; by time within a vessel
  std::vector<DoubtfulRecord> doubtful;  ///< of those named and of those of the vessel
  std::int64_t were_verified = 0;        ///< named, and verified by the same person before
};
/// Verifying is looking: a doubtful record is taken in only where it is named. Reads only.
/// \throws Error{usage, not_found, conflict} as get_record and get_vessel; Error{usage} nothing is named, nobody says
/// it, a withdrawal; Error{conflict} a record that was corrected or withdrawn (names what is in force)
VerificationPlan plan_verification(Database& db, Instant now, const VerifyRequest& request);

/// Keeps a verification of each record, all or none. One that the same person has verified before is passed over.
/// \return those that are new
/// \throws Error{conflict} a record is not in force any more, or this is an office's file and it was first written in
/// another; Error{busy}
std::vector<Verification> keep_verifications(Database& db, const Clock& clock, const Register& reg,
                                             const std::vector<Entry>& records, const std::string& by);

/// Who has verified a record, the first one first; empty: nobody yet.
std::vector<Verification> verifications_of(Database& db, const Entry& record);

}  // namespace shaftlog
