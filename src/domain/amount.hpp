#pragma once

#include "base/decimal.hpp"
#include "domain/record.hpp"
#include "domain/register.hpp"

#include <optional>

namespace shaftlog {

/// What one unit is worth at the moment of the record.
struct Conversion {
  std::optional<Density> density;    ///< of the grease used; needed for g, kg, oz, lb
  std::optional<Volume> per_stroke;  ///< of the gun used; needed for strokes
  std::optional<Volume> reservoir;   ///< needed for pct
};

/// 1e-6 mm3 (= 1e-9 cm3) that one `unit` is worth; empty when the conversion lacks what it needs.
/// Avoirdupois ounce 28.349523125 g and pound 453.59237 g exactly (international yard and pound agreement, 1959).
std::optional<std::int64_t> nano_cm3_per_unit(Unit unit, const Conversion& with) noexcept;

/// `typed` turned into a volume, with what one unit was taken for. Volume is empty when it cannot be told.
Amount make_amount(const Decimal& typed, Unit unit, const Conversion& with);
/// The same with a conversion that was kept earlier.
Amount make_amount(const Decimal& typed, Unit unit, std::optional<std::int64_t> nano_cm3_per_unit);

/// Strokes of a gun that nobody calibrated: 0.86 cm3 to 2.7 cm3 a stroke are met in the trade.
constexpr double kStrokeLow_cm3 = 0.86;
constexpr double kStrokeHigh_cm3 = 2.7;

}  // namespace shaftlog
