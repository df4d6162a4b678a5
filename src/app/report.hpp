#pragma once

#include "app/review.hpp"
#include "domain/record.hpp"

#include <filesystem>
#include <string>
#include <string_view>
#include <vector>

namespace shaftlog {

/// What a printed report is made from.
struct ReportData {
  FleetReview review;          ///< with detail
  std::string records;         ///< by what the records are known: how many in force, and a fingerprint of their ids
  ShaftId shaft;               ///< of a shaft's report
  std::vector<Entry> entries;  ///< of a shaft's report: about it and what feeds it, in force at as_of, by time
};

/// \param shaft code; empty: the report is of the vessels that the request names
/// \throws Error{not_found}
ReportData report_data(Database& db, Instant now, ReviewRequest request, const std::string& shaft = {});

/// Writes a file that appears whole or not at all. \param overwrite else a file of that name is left alone
/// \throws Error{conflict} the file is there; Error{io}
void write_report(const std::filesystem::path& file, std::string_view bytes, bool overwrite);

/// A folder for pictures; nothing happens when it is there. \throws Error{io}
void make_report_folder(const std::filesystem::path& folder);

}  // namespace shaftlog
