#pragma once

#include "analysis/alarms.hpp"
#include "analysis/contradictions.hpp"
#include "analysis/intake.hpp"
#include "analysis/review.hpp"
#include "analysis/standing_meter.hpp"

#include <map>
#include <set>
#include <string>
#include <string_view>
#include <vector>

namespace shaftlog {

/// "2026-03-02", or "about 2026-03-02 (2026-02-20 to 2026-03-10)": after "since".
std::string days_text(const When& w, const Zone& zone);
/// "on 2026-03-02", or "about ..." as above.
std::string on_days_text(const When& w, const Zone& zone);

/// The fill of a cavity as it was last known.
struct FillThen {
  Instant at{};
  FillResult fill;
};

/// What the finders of one vessel look at. Inside analysis only.
struct ReviewContext {
  const VesselLog& log;
  const VesselDigest& digest;
  Instant as_of{};
  Zone zone;
  std::map<ShaftId, WashoutPrior> priors;
  std::map<ShaftId, WashoutResult> washouts;
  std::map<ShaftId, IntakeFall> falls;  ///< of what it takes; its fill and loss of today are not known
  std::map<ShaftId, FillResult> fills;
  std::map<ShaftId, FillThen> last_known;  ///< of fed shafts whose doses nothing vouches for any more
  std::map<ShaftId, NextGreasing> greasings;
  std::map<LubricatorId, NextRefill> refills;
  std::vector<AlarmEpisode> episodes;
  std::map<LubricatorId, AlarmRateResult> lubricator_alarms;
  std::map<ShaftId, AlarmRateResult> shaft_alarms;
  std::vector<Suspect> suspects;  ///< those of the digest and the amounts
  /// Shafts whose hours, and what follows from them, are not known since.
  std::map<ShaftId, StandingMeter> standing;

  [[nodiscard]] const Shaft& shaft(ShaftId id) const;
  [[nodiscard]] const Lubricator& lubricator(LubricatorId id) const;
  [[nodiscard]] const HoursCurve* curve(ShaftId id) const;
  /// The fill of today, else the one last known; at: as_of or then. Empty: it was never known.
  [[nodiscard]] std::optional<FillThen> fill_known(ShaftId id) const;
  [[nodiscard]] std::string day(Instant t) const { return format_day(t, zone); }
  [[nodiscard]] std::string days(const When& w) const { return days_text(w, zone); }
  [[nodiscard]] std::string on_days(const When& w) const { return on_days_text(w, zone); }
};

/// Work after which the history before says little of a loss.
bool renews_baseline(WorkKind work) noexcept;

/// Fill below which the shaft counts as starved [% of the cavity]; 20 where none is registered.
double reserve_pct(const Shaft& shaft, Instant at);

/// A number to three figures, never in exponent form below 1e6: "0.62", "1.74", "650".
std::string figure_text(double x);
/// "0.62 cm3/h (0.50 to 0.75)"
std::string figure_text(const Estimate& e, std::string_view unit);

/// Starts a finding; `anchor` tells two matters of one kind and subject apart and must be the same in every run.
Finding start_finding(const ReviewContext& c, FindingKind kind, ShaftId shaft, LubricatorId lubricator,
                      std::string_view anchor);
void add_figure(Finding& f, std::string name, const Estimate& e, std::string unit);
void add_figure(Finding& f, std::string name, double value, std::string unit);
void add_strength(Finding& f, double ln_odds);
/// Fills likely_causes, checks and cautions from the cause table by the symptoms seen and looked for in vain.
/// \param most causes; the likeliest
void explain(Finding& f, const std::vector<std::string>& present, const std::vector<std::string>& absent,
             std::size_t most = 3);
bool has_finding(const std::vector<Finding>& found, FindingKind kind, ShaftId shaft, LubricatorId lubricator);
/// The finding that explains a symptom, if there is one. A low fill of `shaft`: the shaft's own loss or missed doses,
/// or a lubricator that serves none of its shafts. Alarms of `lubricator`: what left or did not leave its reservoir.
Finding* finding_that_explains(const ReviewContext& c, std::vector<Finding>& found, ShaftId shaft,
                               LubricatorId lubricator);

// Each adds the findings of its part; later ones see the earlier ones and leave out what is explained by them.
void find_delivery(const ReviewContext& c, std::vector<Finding>& found);
void find_grease_changes(const ReviewContext& c, std::vector<Finding>& found, std::set<ShaftId>& explained);
void find_washout(const ReviewContext& c, std::vector<Finding>& found, const std::set<ShaftId>& explained);
/// \param within takes what is told as part of another finding
void find_starved_and_overdue(const ReviewContext& c, std::vector<Finding>& found, std::vector<ToldWithin>& within);
void find_refills_due(const ReviewContext& c, std::vector<Finding>& found);
void find_alarms(const ReviewContext& c, std::vector<Finding>& found);
void find_inspections(const ReviewContext& c, std::vector<Finding>& found);
void find_records(const ReviewContext& c, std::vector<Finding>& found);

}  // namespace shaftlog
