#pragma once

#include "base/time.hpp"
#include "domain/ids.hpp"
#include "domain/quantity.hpp"

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace shaftlog {

// The register: the things that are tracked. Settings that change in time carry `from`; a row with no `from` holds
// from the beginning. Settings lists are sorted by `from`, the one with none first.

enum class Thickener : std::uint8_t {
  unknown,
  lithium,
  lithium_complex,
  calcium,
  calcium_complex,
  calcium_sulfonate,
  aluminium_complex,
  polyurea,
  clay,
  sodium,
  barium,
  other
};

struct Vessel {
  VesselId id;
  std::string code;
  std::string name;
  std::optional<std::string> imo;  ///< seven digits, without the letters
  std::string time_zone;           ///< IANA name
  std::optional<std::string> group;
};

struct Grease {
  GreaseId id;
  std::string code;
  Thickener thickener = Thickener::unknown;
  std::string nlgi;  ///< "000" .. "6"; empty: not known
  Density density;
  std::optional<bool> sea_safe;  ///< environmentally acceptable at an oil-to-sea interface; empty: not known
};

enum class Evidence : std::uint8_t { test_report, supplier_statement, none };
/// What is known about two greases that may meet in a cavity or a line. There may be several about one pair.
struct GreaseEvidence {
  GreaseId grease, other;
  Evidence evidence = Evidence::none;  ///< none: it was asked for and there is none
  std::string reference;               ///< number, date, what it says; empty: not said
};

struct GunCalibration {
  std::optional<Stamp> from;
  Volume per_stroke;
};
struct Gun {
  GunId id;
  VesselId vessel;
  std::string code;
  std::vector<GunCalibration> calibrations;
};

struct LubricatorSetting {
  std::optional<Stamp> from;
  Volume reservoir;
  std::optional<Volume> low_level;  ///< empty: 10 % of the reservoir
  GreaseId grease;
};
struct Lubricator {
  LubricatorId id;
  VesselId vessel;
  std::string code;
  std::vector<LubricatorSetting> settings;
};

struct ShaftSetting {
  std::optional<Stamp> from;
  std::string position;
  std::optional<Volume> cavity;  ///< empty: not known; rates are still computed, the reserve is not
  std::optional<RunTime> interval;
  std::optional<int> interval_days;
  std::optional<Level> reserve;                ///< fill below which the shaft counts as starved; empty: 20 %
  std::optional<HoursReading> meter_rollover;  ///< reading at which the meter starts again at 0
  GreaseId grease;
  /// What an inspection may show; empty: no limit is set.
  std::optional<std::int64_t> water_limit_ppm, iron_limit_ppm_milli, clearance_limit_um;
};
struct Shaft {
  ShaftId id;
  VesselId vessel;
  std::string code;
  std::vector<ShaftSetting> settings;
};

/// Settings of the metering device between a lubricator and a shaft, from a moment on.
struct Feed {
  LubricatorId lubricator;
  ShaftId shaft;
  std::optional<Stamp> from;
  Volume dose;               ///< to this shaft per full cycle; 0: the feed is off
  std::int64_t cycle_s = 0;  ///< running time per full cycle [s]; 15 min is common practice
};

struct Register {
  std::vector<Vessel> vessels;  // each list sorted by (vessel code,) code
  std::vector<Grease> greases;
  std::vector<GreaseEvidence> grease_evidence;  // sorted by codes of both, evidence, reference
  std::vector<Gun> guns;
  std::vector<Lubricator> lubricators;
  std::vector<Shaft> shafts;
  std::vector<Feed> feeds;  // sorted by lubricator, shaft, from
};

/// The row of `settings` that holds at `t`; null when none holds yet.
template <class Setting>
const Setting* setting_at(const std::vector<Setting>& settings, Instant t) noexcept {
  const Setting* held = nullptr;
  for (const Setting& s : settings) {
    if (s.from && s.from->utc > t) break;
    held = &s;
  }
  return held;
}

std::string_view name_of(Thickener t) noexcept;
std::optional<Thickener> parse_thickener(std::string_view word) noexcept;
std::string_view name_of(Evidence e) noexcept;
std::optional<Evidence> parse_evidence(std::string_view word) noexcept;

/// What an IMO ship identification number looks like by its check digit (IMO A.1117(30); a typing aid, not a proof).
enum class ImoCheck : std::uint8_t { plain, not_seven_digits, wrong_check_digit, suspicious };
/// `text` with or without the letters "IMO". 1234567 and 0000000 pass the arithmetic and are `suspicious`.
ImoCheck check_imo(std::string_view text) noexcept;
/// The seven digits alone; empty unless there are exactly seven.
std::optional<std::string> imo_digits(std::string_view text);

}  // namespace shaftlog
