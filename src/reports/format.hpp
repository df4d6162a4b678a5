#pragma once

#include "analysis/types.hpp"
#include "domain/register.hpp"

#include <optional>
#include <string>
#include <string_view>
#include <unordered_map>

namespace shaftlog {

struct NextGreasing;

/// `value` with about `digits` significant digits, never in exponent form, no trailing zeros: 0.2476 (3) is "0.248",
/// 12345.6 (3) is "12346". "unknown" when it is not finite.
std::string format_figure(double value, int digits = 3);
/// "0.31 (0.24 to 0.40)"; the unit is for the caller.
std::string format_estimate(const Estimate& e, int digits = 3);
/// "-" for what is not known.
std::string format_estimate(const std::optional<Estimate>& e, int digits = 3);

/// Full days that have gone by: "18 days", "1 day", "under a day".
std::string format_days_past(double days);

/// When a shaft is to be greased: "2026-03-14", "overdue by 120 h", "overdue by 18 days"; "-" when it is not known.
std::string format_due(const NextGreasing& n, const Zone& zone);

/// An amount to expect, as one reads it from a gun or a scale: "78 cm3; usual 70 to 95", whole cm3.
std::string format_expected_cm3(const Estimate& e);

/// "act"; the words are those of the JSON, with blanks for people: "abnormal washout".
std::string spoken(std::string_view word);

/// Names and clocks of a register's rows by key. Holds a reference: the register must live longer.
class Names {
 public:
  explicit Names(const Register& reg);
  [[nodiscard]] const Vessel* find(VesselId id) const;
  [[nodiscard]] const Shaft* find(ShaftId id) const;
  [[nodiscard]] const Lubricator* find(LubricatorId id) const;
  [[nodiscard]] std::string_view vessel(VesselId id) const;  ///< code; empty when the id is not set
  [[nodiscard]] std::string_view shaft(ShaftId id) const;
  [[nodiscard]] std::string_view lubricator(LubricatorId id) const;
  [[nodiscard]] std::string_view grease(GreaseId id) const;
  [[nodiscard]] std::string_view gun(GunId id) const;
  /// "fin_port", "lub1", "lub1 to fin_port", or "the vessel" when neither is set.
  [[nodiscard]] std::string subject(ShaftId shaft, LubricatorId lubricator) const;
  /// The vessel's own clock; UTC when this system does not know the zone.
  [[nodiscard]] const Zone& zone(VesselId id) const;

 private:
  std::unordered_map<std::int64_t, const Vessel*> vessels_;
  std::unordered_map<std::int64_t, const Shaft*> shafts_;
  std::unordered_map<std::int64_t, const Lubricator*> lubricators_;
  std::unordered_map<std::int64_t, const Grease*> greases_;
  std::unordered_map<std::int64_t, const Gun*> guns_;
  std::unordered_map<std::int64_t, Zone> zones_;
};

/// "2026-03-14 08:10 (07:10 UTC)"; the UTC day too where it is another one, nothing in brackets where the clock is UTC.
std::string format_both(const Stamp& s);
/// The same of an instant on the vessel's clock, to the minute.
std::string format_both(Instant t, const Zone& zone);
/// "UTC+01:00", "UTC-03:30", "UTC": the offset of the clock by which it was written.
std::string format_offset(const Stamp& s);

}  // namespace shaftlog
