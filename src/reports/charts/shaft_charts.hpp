#pragma once

#include "analysis/review.hpp"
#include "domain/vessel_log.hpp"
#include "reports/charts/plot.hpp"

#include <vector>

namespace shaftlog {

/// What the charts of a shaft are drawn from: a review with detail. Holds references only.
struct ShaftChartInput {
  const VesselLog& log;
  const Shaft& shaft;
  const ShaftState& state;
  const ShaftDetail& detail;
  Instant as_of{};
  const Zone& zone;
  /// Of the review: a change of the washout is marked where a finding speaks of it. What the fit sees and the review
  /// explains otherwise (doses that did not come, another grease) is none. Null: whatever the fit sees is marked.
  const std::vector<Finding>* findings = nullptr;
};

/// The same of a lubricator.
struct LubricatorChartInput {
  const VesselLog& log;
  const Lubricator& lubricator;
  const LubricatorDetail& detail;
  const VesselDigest& digest;
  Instant as_of{};
  const Zone& zone;
};

/// From the first record about the shaft to as_of: what its panels share.
TimeAxis time_axis_of(const ShaftChartInput& in);
TimeAxis time_axis_of(const LubricatorChartInput& in);

/// Washout as it was known after each greasing, with its 90 % band; what each single greasing tells; the baseline; when
/// a found change began, and how much.
Panel washout_panel(const ShaftChartInput& in);
/// How full the cavity was, with its 90 % band, the reserve, and the greasings.
Panel fill_panel(const ShaftChartInput& in);
/// Running hours a day, month by month.
Panel hours_panel(const ShaftChartInput& in);
/// Work, inspections and changes of settings that concern the shaft.
Panel events_panel(const ShaftChartInput& in);
/// Grease that left the reservoir over what the settings call for, with its 90 % band and the margin of 10 %; counted
/// over called-for cycles; known standstills.
Panel delivery_panel(const LubricatorChartInput& in);
/// Alarms by kind, from raising to clearing.
Panel alarm_panel(const std::vector<AlarmEpisode>& alarms, const TimeAxis& axis);
/// How often they came, a quarter-year at a time, and over all with its 90 % interval.
/// \param hours against which they are counted \param rate since the last work; empty: not told
Panel alarm_rate_panel(const std::vector<AlarmEpisode>& alarms, const std::optional<AlarmRateResult>& rate,
                       const HoursCurve& hours, const TimeAxis& axis);

/// All that is known of a shaft on its time axis: washout, fill, delivery of what feeds it, alarms, hours, work.
/// \param feeding the lubricators that feed it
std::vector<Panel> shaft_panels(const ShaftChartInput& in, const std::vector<LubricatorChartInput>& feeding);

/// Grease by hand, added up over the greasings of a shaft in order of time.
struct GreaseSum {
  const Logged<Greasing>* record = nullptr;
  double running_h = 0;                  ///< since the first reading of the meter
  std::optional<double> taken_cm3;       ///< by this greasing; empty: not told
  double total_cm3 = 0;                  ///< from the second greasing on, packings left out
  std::optional<Estimate> expected_cm3;  ///< in all, at the baseline less what was delivered; empty: no baseline
};
/// Empty when there are no running hours. The records point into in.log.
std::vector<GreaseSum> grease_sums(const ShaftChartInput& in);

/// Grease taken by hand, added up, against running hours, beside what the baseline lets expect.
Chart grease_against_hours(const ShaftChartInput& in);

/// The mark of a greasing by how it ended.
KeyMark mark_of(Ended ended);

}  // namespace shaftlog
