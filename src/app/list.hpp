#pragma once

#include "domain/record.hpp"
#include "domain/register.hpp"
#include "domain/verification.hpp"
#include "storage/database.hpp"

#include <functional>
#include <optional>
#include <span>
#include <string>
#include <vector>

namespace shaftlog {

/// Records to list; what is empty does not limit.
struct ListRequest {
  std::optional<Kind> kind;
  std::string vessel, shaft, lubricator;
  std::string from, until;     ///< moments on the vessel's clock, UTC without a vessel; a day is meant whole
  std::string known;           ///< only what was recorded by then
  bool unverified = false;     ///< only what nobody has verified yet
  bool with_replaced = false;  ///< also what was corrected or withdrawn, and the withdrawals
  std::int64_t most = 0;       ///< the newest so many; 0: all
};

/// Calls `begin` once with the register, then `take` for each record, with who verified it, in order of time (of vessel
/// and time when no vessel is given). \throws Error{not_found, usage} for the request
void list_records(Database& db, const ListRequest& request, const std::function<void(const Register&)>& begin,
                  const std::function<void(const Entry&, std::span<const Verification>)>& take);

/// One record with all that belongs to it.
struct RecordFamily {
  Register reg;
  Entry record;                  ///< the one that was asked for
  std::vector<Entry> family;     ///< what it replaces, what replaces it, withdrawals; oldest recorded first
  std::optional<Uuid> in_force;  ///< of the family; empty: withdrawn
  VerifiedRecords verified;      ///< of the family
};

/// \param id in full, or its first digits where they are of one record only
/// \throws Error{usage} not the form of an id; Error{not_found}; Error{conflict} several begin like that (names them)
RecordFamily get_record(Database& db, const std::string& id);

}  // namespace shaftlog
