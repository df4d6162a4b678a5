#pragma once

#include "base/time.hpp"
#include "base/uuid.hpp"
#include "domain/ids.hpp"

#include <algorithm>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace shaftlog {

/// A figure with its 90 % interval (5 % to 95 %); `value` is the median estimate.
struct Estimate {
  double value = 0, low = 0, high = 0;
};

/// A moment that is known to lie between `low` and `high` (90 %).
struct When {
  Instant estimate{}, low{}, high{};
};

/// How soon somebody must do something.
enum class Urgency : std::uint8_t {
  act,    ///< a bearing is or will be below its reserve before the next planned greasing, or pollution is likely
  plan,   ///< next port or docking
  watch,  ///< evidence is building
  note    ///< about the records
};

enum class FindingKind : std::uint8_t {
  abnormal_washout,
  seal_wear,
  less_grease_taken,  ///< at back-pressure a bearing takes a fraction of what it took
  missed_cycles,
  line_leak,
  starved,
  alarm_rate,
  alarm_standing,
  greasing_overdue,
  refill_due,
  water_ingress,
  wear_sign,
  grease_mixed,
  record_suspect,
  records_missing
};

/// A named figure of a finding.
struct Figure {
  std::string name;  ///< snake_case, unit in `unit`
  Estimate estimate;
  std::string unit;
};

struct Finding {
  Uuid id;  ///< the same for the same matter in every run
  VesselId vessel;
  ShaftId shaft;
  LubricatorId lubricator;
  std::vector<ShaftId> shafts;  ///< of a finding of the whole vessel: those it is about; empty: it does not say
  FindingKind kind = FindingKind::record_suspect;
  Urgency urgency = Urgency::note;
  Instant first_seen{};  ///< time of the record at which the evidence first sufficed
  std::optional<When> began;
  std::string summary;                       ///< one sentence with the figures
  std::vector<Figure> figures;               ///< "strength" is always among them: natural-log odds, larger is surer
  std::vector<Uuid> evidence;                ///< the record that is wrong or decisive first
  std::vector<std::string> present, absent;  ///< symptoms seen, and looked for in vain; the rest is not known
  std::vector<std::string> likely_causes;
  std::vector<std::string> checks;
  std::vector<std::string> cautions;

  /// It is of that shaft, or names it among those of a finding of the whole vessel.
  [[nodiscard]] bool is_about(ShaftId s) const {
    return shaft == s || std::find(shafts.begin(), shafts.end(), s) != shafts.end();
  }
};

/// A record that contradicts others, found while the analysis used it. It stays in the log.
enum class SuspectKind : std::uint8_t {
  hours_backwards,        ///< the meter shows less than before with no replacement noted
  hours_impossible,       ///< more running hours than calendar hours
  digits_swapped,         ///< fits when two digits change places
  digit_lost,             ///< fits with one digit more or less
  date_slip,              ///< fits when the day is another (wrong year, day and month exchanged)
  unmarked_meter_change,  ///< the later readings continue from the new level
  amount_beyond_capacity,
  amount_slip,     ///< a factor of 10, a unit or a gun
  swapped_shafts,  ///< port and starboard exchanged
  duplicate,
  level_contradiction,  ///< levels in or around a refill do not agree with its amount, or the reservoir was nearly full
  future_date,
  too_regular,  ///< the same round number again and again
  cleared_before_raised
};

struct Suspect {
  SuspectKind kind{};
  Uuid record;                ///< the one that is probably wrong
  std::vector<Uuid> against;  ///< the ones it contradicts
  Instant at{};               ///< of the record
  Instant seen_at{};          ///< time of the record at which the contradiction could first be seen
  std::string says;           ///< what is odd, with the figures, lower case, no full stop
  double strength = 0;        ///< natural-log odds
};

std::string_view name_of(Urgency u) noexcept;
std::string_view name_of(FindingKind k) noexcept;
std::optional<FindingKind> parse_finding_kind(std::string_view word) noexcept;
std::string_view name_of(SuspectKind k) noexcept;

}  // namespace shaftlog
