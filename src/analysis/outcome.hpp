#pragma once

#include "analysis/review.hpp"
#include "analysis/types.hpp"
#include "domain/vessel_log.hpp"

#include <optional>
#include <string>

namespace shaftlog {

// Did the numbers come back after something was done about a finding? Formulas and limits of use:
// docs/methods/outcome.md.

/// What was found before it was acted on, as it is kept beside a remark.
struct FoundBefore {
  FindingKind kind{};
  ShaftId shaft;
  LubricatorId lubricator;
  std::optional<Instant> began;
  std::string measure;          ///< name of its telling figure; empty: none
  std::optional<double> value;  ///< of that figure, in its unit
};

enum class Verdict : std::uint8_t {
  too_early,  ///< the records since cannot tell
  came_back,  ///< nearer to the baseline than to what was found, 95 % one-sided
  partly,     ///< nearer to the baseline, and surely not at it
  not_back,   ///< nearer to what was found, 95 % one-sided
  no_measure  ///< no figure tells of this kind; whether it is still found is the answer
};
std::string_view name_of(Verdict v) noexcept;

struct Outcome {
  Instant since{};
  Verdict verdict = Verdict::no_measure;
  std::string measure;  ///< "washout", "delivery_ratio", "cycle_ratio", "alarms_per_1000h", "water", ...
  std::string unit;     ///< of baseline and now
  std::optional<Estimate> baseline, now;
  std::optional<Estimate> factor;  ///< now over baseline
  std::optional<double> found;     ///< the same when it was found
  int records = 0;                 ///< that tell: whole intervals, stretches, episodes, samples since
  std::optional<double> run_h;     ///< running hours that they cover [h]
  std::string says;                ///< one sentence with the figures, lower case, no full stop
};

/// The figure by which it can be seen later whether the numbers came back; null where there is none.
const Figure* telling_figure(const Finding& f) noexcept;
FoundBefore found_before(const Finding& f);

/// Compares what the records show after `since` with the baseline before the finding began. Greasing intervals and
/// stretches between levels that straddle `since` are left out.
/// \param log, d of the vessel, as the review sees them; \param since when something was done; \param as_of >= since
/// \return intervals of 90 %; never throws for thin records: they are `too_early`
/// \source docs/methods/outcome.md
Outcome outcome_since(const VesselLog& log, const VesselDigest& d, const FoundBefore& found, Instant since,
                      Instant as_of);

}  // namespace shaftlog
