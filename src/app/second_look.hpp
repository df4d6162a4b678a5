#pragma once

#include "analysis/types.hpp"
#include "app/record.hpp"
#include "domain/record.hpp"
#include "storage/database.hpp"

#include <optional>
#include <string>
#include <vector>

namespace shaftlog {

/// What the log says about a record before it is kept.
struct SecondLook {
  std::optional<Entry> last;  ///< the newest before it or in its minute, of the same kind and subject
  std::optional<Estimate>
      expected;  ///< of a greasing's or a refill's amount [cm3], of an hour meter's reading [h]; 5 to 95 %
  std::vector<std::string> odd;  ///< how it contradicts the log, or leaves what is expected; lower case, no full stop
};

/// Looks at the records of one vessel only, so that typing never waits: what its own shafts teach stands for the fleet.
/// \param draft a record that is not kept yet; one that replaces another is looked at in that one's place
SecondLook second_look(Database& db, const Entry& draft, Instant now);

/// What is known before a value is typed: of a record of that kind and subject with values that say nothing. `odd` is
/// empty. Empty for a kind without an amount or a reading, and while the subject is not given.
/// \param fields as for draft_record
std::optional<SecondLook> look_ahead(Database& db, const Register& reg, Instant now, Kind kind, NamedTexts fields);

/// What one unit of an amount is worth by the register.
struct UnitWorth {
  Unit unit{};
  std::optional<std::string> gun;     ///< of strokes: code
  std::optional<std::string> grease;  ///< of masses: code, as the record names it; "": it names none
  std::optional<double> cm3;          ///< empty: not known
};
/// The units of a greasing's or a refill's amount, strokes of each gun of the vessel and masses of each grease apart.
/// \param fields vessel and subject; where they are not known, nothing that depends on them is
std::vector<UnitWorth> unit_worths(const Register& reg, Instant now, Kind kind, const NamedTexts& fields);

/// An amount is odd when it lies beyond the 5 to 95 % interval by as much again, on the scale of ratios: about
/// 3.3 standard deviations of a log-normal prediction, 1 in 1000 by chance; and by at least 25 cm3, since back-pressure
/// shows at not quite the same fill every time (10 to 50 cm3; common practice, no source).
bool is_odd_amount(double taken_cm3, const Estimate& expected) noexcept;

}  // namespace shaftlog
