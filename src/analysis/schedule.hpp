#pragma once

#include "analysis/hours.hpp"
#include "domain/vessel_log.hpp"

#include <cstdint>
#include <map>
#include <optional>
#include <vector>

namespace shaftlog {

/// A time in which the work records say that a lubricator was off.
struct OffSpan {
  Instant from{}, to{};
  Uuid record;           ///< that it was set off
  bool is_open = false;  ///< nobody wrote that it was set going again
};
/// Oldest first.
std::vector<OffSpan> off_spans(const VesselLog& log, LubricatorId lubricator, Instant as_of);

/// What the automatic system of one vessel was called to deliver: feeds' settings in time, hours run, counted cycles,
/// and the spans in which a lubricator is known to stand still. While the ship is known to be docked no shaft runs, as
/// far as its hours leave room for that.
class Schedule {
 public:
  /// \param hours curve of each shaft of the vessel (by ShaftId); shafts with no readings may be absent
  Schedule(const VesselLog& log, const std::map<ShaftId, HoursCurve>& hours, Instant as_of);

  /// Dose called for by the hours run and the settings, whether or not the lubricator stood [cm3].
  [[nodiscard]] double called_for_cm3(LubricatorId lubricator, ShaftId shaft, Instant a, Instant b) const;
  /// The same over all feeds of the lubricator [cm3].
  [[nodiscard]] double called_for_cm3(LubricatorId lubricator, Instant a, Instant b) const;
  /// Full cycles called for by the hours run (of the shaft with most hours, shortest cycle_min) [1].
  [[nodiscard]] double called_for_cycles(LubricatorId lubricator, Instant a, Instant b) const;
  /// Full cycles that the hours of one shaft alone would call for [1].
  [[nodiscard]] double called_for_cycles(LubricatorId lubricator, ShaftId shaft, Instant a, Instant b) const;
  /// Standard deviation of called_for_cm3 from the uncertainty of the hours [cm3].
  [[nodiscard]] double called_for_sd_cm3(LubricatorId lubricator, Instant a, Instant b) const;
  /// Standard deviation that the running hours leave in the amount called for up to `t`, all feeds together [cm3]. It
  /// belongs to the moment: stretches that meet there share it with opposite signs. Beyond the last reading it is wide,
  /// since nobody knows yet whether the ship lay still.
  [[nodiscard]] double called_for_moment_sd_cm3(LubricatorId lubricator, Instant t) const;
  /// The same in full cycles [1].
  [[nodiscard]] double called_for_moment_sd_cycles(LubricatorId lubricator, Instant t) const;
  /// The same of expected_cm3: small at a counter reading, else by hours [cm3].
  [[nodiscard]] double expected_moment_sd_cm3(LubricatorId lubricator, Instant t) const;
  /// Moments at which the hours of a shaft fed were read, rising.
  [[nodiscard]] std::vector<Instant> hour_readings(LubricatorId lubricator) const;
  /// What the beginnings and ends of standstills within (a, b) leave unsure of the amount expected, times `per_cm3`.
  [[nodiscard]] double standstill_edge_sd(LubricatorId lubricator, Instant a, Instant b, double per_cm3) const;
  /// Relative standard deviation of what was called for from runs that were estimated (a meter replaced) [1].
  [[nodiscard]] double estimated_part_sd(LubricatorId lubricator, Instant a, Instant b) const;
  /// Full cycles counted; empty where no counter reading brackets the time, and across a new counter or a reset: what
  /// was made between the last reading and the change is not known.
  [[nodiscard]] std::optional<double> counted_cycles(LubricatorId lubricator, Instant a, Instant b) const;
  /// When the counter was last read; empty: it counted nothing.
  [[nodiscard]] std::optional<Instant> last_count(LubricatorId lubricator) const;
  /// Dose that the metering devices deliver if every one of them works: counted cycles x dose where a counter is read,
  /// else hours x dose with known standstills (off, alarm empty or power_fault standing) left out [cm3].
  [[nodiscard]] double expected_cm3(LubricatorId lubricator, ShaftId shaft, Instant a, Instant b) const;
  [[nodiscard]] double expected_cm3(LubricatorId lubricator, Instant a, Instant b) const;
  /// Known standstills of the lubricator, oldest first, not overlapping.
  [[nodiscard]] const std::vector<Span>& standstills(LubricatorId lubricator) const;
  /// Shafts that the lubricator feeds at `t` with a dose above 0.
  [[nodiscard]] std::vector<ShaftId> shafts_fed(LubricatorId lubricator, Instant t) const;
  /// Lubricators that feed the shaft at any time.
  [[nodiscard]] std::vector<LubricatorId> lubricators_of(ShaftId shaft) const;
  /// Share of the lubricator's called-for dose that goes to the shaft at `t`, by present settings and hours [0..1].
  [[nodiscard]] double share(LubricatorId lubricator, ShaftId shaft, Instant a, Instant b) const;

 private:
  /// A cumulated amount over time, linear between its points.
  struct Curve {
    std::vector<std::int64_t> t;  // [s], rising
    std::vector<double> y;
    double after = 0;  // slope behind the last point [1/s]; nothing is known before the first
    [[nodiscard]] double at(std::int64_t s) const;
    [[nodiscard]] double between(Instant a, Instant b) const {
      return b > a ? at(in_unix_s(b)) - at(in_unix_s(a)) : 0.0;
    }
  };
  struct FeedSpan {
    Instant from{}, to{};
    double dose_cm3 = 0;
    double cycle_h = 0;
  };
  struct FeedLine {
    ShaftId shaft;
    std::vector<FeedSpan> spans;  // oldest first
    Curve called_cm3, expected_cm3;
    Curve cycles;  // of the whole lubricator, were this shaft's hours to call for them
  };
  struct Unit {
    std::vector<FeedLine> feeds;  // sorted by shaft
    Curve called_cm3, expected_cm3;
    Curve counted;                  // empty: no counter
    std::vector<Instant> read;      // when the counter was read
    std::vector<Span> not_counted;  // between the last reading of a counter and the first after its change or reset
    std::vector<Span> standstills;
  };
  [[nodiscard]] const Unit* find(LubricatorId lubricator) const;
  [[nodiscard]] double moment_sd_h(const Unit& unit, ShaftId shaft, Instant t) const;
  [[nodiscard]] static const FeedLine* find(const Unit& unit, ShaftId shaft);

  std::map<ShaftId, HoursCurve> hours_;
  std::map<LubricatorId, Unit> units_;
};

}  // namespace shaftlog
