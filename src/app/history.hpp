#pragma once

#include "analysis/dossier.hpp"
#include "domain/finding_remark.hpp"
#include "domain/verification.hpp"
#include "storage/database.hpp"

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

namespace shaftlog {

struct HistoryRequest {
  std::string vessel, shaft;   ///< codes
  std::string until;           ///< moment or day on the vessel's clock; a day is meant whole; empty: now
  std::string known;           ///< likewise: only what was recorded by then; empty: all
  bool every_reading = false;  ///< a line a reading in the timeline
  bool with_told = true;       ///< also what would have been said when
  unsigned threads = 0;        ///< 0: as many as the machine has
};

struct History {
  Register reg;
  Instant as_of{};
  std::optional<Instant> known;
  Dossier dossier;
  VesselLog log;                            ///< in force
  std::vector<Entry> entries;               ///< every version of every record of the vessel, sorted by (at, id)
  std::vector<FindingRemark> remarks;       ///< what was done about the vessel's findings
  std::vector<Verification> verifications;  ///< of the vessel's records
  FleetPrior prior;
};

/// What is usual is learnt from at most so many ships; a larger fleet's are drawn by lot.
constexpr std::size_t kMostUsualShips = 100;

/// The dossier of one shaft. Loads the ships that tell what is usual once, and then one vessel only.
/// \throws Error{not_found} for a vessel or shaft that is not registered; Error{usage} for a time
History look_into(Database& db, Instant now, const HistoryRequest& request);

struct EvidenceFile {
  std::string name;  ///< with a folder: "series/fill.csv"
  std::string text;
};
/// Writes an evidence folder: `made` (reports and series), the register and the unaltered records of the vessel, every
/// version, as a log folder below records/, and SHA256SUMS for `sha256sum -c`. The same history gives the same bytes.
/// \return names of all files, sorted
/// \throws Error{conflict} the folder holds something; Error{io}
std::vector<std::string> write_evidence(const History& history, std::vector<EvidenceFile> made,
                                        const std::filesystem::path& folder);
/// One file, whole or not at all. \throws Error{io}
void write_whole(const std::filesystem::path& file, std::string_view text);

}  // namespace shaftlog
