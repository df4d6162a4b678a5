#pragma once

#include "analysis/finding_case.hpp"
#include "domain/record.hpp"
#include "domain/register.hpp"
#include "domain/verification.hpp"
#include "reports/format.hpp"
#include "reports/table.hpp"

#include <span>
#include <string>

namespace shaftlog {

/// One finding in full: figures, causes with what was seen and not seen of each, checks, cautions, the records it rests
/// on, what was done, and whether the numbers came back.
/// \param evidence records of its evidence, the decisive first
std::string finding_case_text(const FindingCase& c, std::span<const Entry> evidence, const VerifiedRecords& verified,
                              Instant as_of, const Names& names, const TextStyle& style);
std::string finding_case_json(const FindingCase& c, std::span<const Entry> evidence, const VerifiedRecords& verified,
                              Instant as_of, const Names& names);

/// Many, a line each.
std::string finding_list_text(std::span<const FindingCase* const> cases, Instant as_of, const Names& names,
                              const TextStyle& style);
std::string finding_list_json(std::span<const FindingCase* const> cases, Instant as_of, const Names& names);
std::string finding_list_csv(std::span<const FindingCase* const> cases, const Names& names);

/// "taken in hand: T-01, lub1, missed cycles (8f427a25), by Mate, 2026-10-01 12:00"
std::string remark_text(const FindingRemark& r, const Names& names);
std::string remark_json(const FindingRemark& r, const FindingState& state, const Names& names);

}  // namespace shaftlog
