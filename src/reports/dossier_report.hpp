#pragma once

#include "analysis/dossier.hpp"
#include "domain/register.hpp"
#include "domain/verification.hpp"
#include "reports/format.hpp"
#include "reports/json.hpp"
#include "reports/report_document.hpp"
#include "reports/table.hpp"

#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <unordered_map>
#include <utility>
#include <vector>

namespace shaftlog {

/// A dossier as the reports see it. Holds references only.
struct DossierView {
  const Dossier& dossier;
  const Register& reg;
  const VesselLog& log;                           ///< in force
  std::span<const Entry> entries;                 ///< every version of every record of the vessel
  std::optional<Instant> known;                   ///< only what was recorded by then was used
  std::string_view version;                       ///< of the program
  DayRange shown{};                               ///< of the charts on the time axis
  std::span<const Verification> verifications{};  ///< of the vessel's records, by (at, id)
};

/// What the texts of a dossier share: names, the ship's clock, records by id.
class DossierWords {
 public:
  explicit DossierWords(const DossierView& view);
  [[nodiscard]] const Names& names() const noexcept { return names_; }
  [[nodiscard]] std::string day(Instant t) const { return format_day(t, zone()); }
  [[nodiscard]] std::string moment(Instant t, Precision p = Precision::minute) const;
  [[nodiscard]] std::string range(const When& w) const;
  [[nodiscard]] const Entry* find(const Uuid& id) const;
  /// "2026-03-08 greasing d962f286", and whether it is verified
  [[nodiscard]] std::string record(const Uuid& id) const;
  [[nodiscard]] std::string records(std::span<const Uuid> ids, std::size_t most) const;
  /// What a line of the timeline says: a record's own words, a correction's old and new value with reason and author.
  [[nodiscard]] std::string says(const TimelineItem& item) const;
  [[nodiscard]] std::string by(const TimelineItem& item) const;
  /// Who has verified the record that the line is of, or the newer of a correction; empty: nobody.
  [[nodiscard]] std::string verified_by(const TimelineItem& item) const;
  [[nodiscard]] std::string what(const TimelineItem& item) const;  ///< "greasing", "hours", "correction", ...
  [[nodiscard]] std::string title() const;                         ///< "fenhollow, rudder_stock"
  [[nodiscard]] std::string as_of() const;  ///< "2026-10-01 04:59 (11:59 UTC)[, from what was recorded by ...]"
  [[nodiscard]] std::string clock() const;  ///< which clock days and times are of
  [[nodiscard]] std::string life(const BearingLife& l) const;
  [[nodiscard]] const Zone& zone() const { return names_.zone(view_->dossier.vessel); }

 private:
  const DossierView* view_;
  Names names_;
  [[nodiscard]] const Entry* entry_of(const TimelineItem& item) const;
  [[nodiscard]] std::string digits(const Uuid& id) const;
  std::unordered_map<Uuid, const Entry*> by_id_;
  VerifiedRecords verified_;
};

/// For a person: the short answer first, then what it rests on.
std::string dossier_text(const DossierView& view, const TextStyle& style);
std::string dossier_json(const DossierView& view);
/// The timeline, a line an item.
std::string timeline_csv(const DossierView& view);
/// As blocks, for a page that is served.
Report dossier_blocks(const DossierView& view);
/// A page of its own that prints well, with charts and tables; needs no network. The same as a PDF on A4.
std::string dossier_html(const DossierView& view);
std::string dossier_pdf(const DossierView& view);
/// Series behind every figure and chart as CSV, the formulas, and a note on how to check: names with their folder, and
/// texts. What `history --evidence` writes beside the records.
std::vector<std::pair<std::string, std::string>> dossier_evidence(const DossierView& view);

/// Running hours that the meter shows. \param x a life or a phase
template <class Stretch>
std::optional<double> metered(const Stretch& x) {
  return x.run_h ? std::optional{*x.run_h - x.assumed_h} : std::nullopt;
}
/// How the greasings of the phases were counted, where records were taken together or packings left out.
std::vector<std::string> phase_notes(std::span<const Phase> phases);

/// Sentences every form of the dossier ends with: the methods used with their pages.
std::vector<std::pair<std::string, std::string>> dossier_methods();
/// Cautions for whoever does the checks, each once.
std::vector<std::string> dossier_cautions(const Dossier& d);

}  // namespace shaftlog
