#include "domain/amount.hpp"

#include <cmath>

namespace shaftlog {
namespace {

constexpr std::int64_t kNanoPerCm3 = 1'000'000'000;
constexpr double kGramsPerOunce = 28.349523125;
constexpr double kGramsPerPound = 453.59237;

std::optional<std::int64_t> of_grams(double grams, const Conversion& with) noexcept {
  if (!with.density || with.density->base() <= 0) return std::nullopt;
  return std::llround(grams / in_g_cm3(*with.density) * static_cast<double>(kNanoPerCm3));
}

}  // namespace

std::optional<std::int64_t> nano_cm3_per_unit(Unit unit, const Conversion& with) noexcept {
  switch (unit) {
    case Unit::cm3:
    case Unit::ml:
      return kNanoPerCm3;
    case Unit::l:
      return 1000 * kNanoPerCm3;
    case Unit::g:
      return of_grams(1.0, with);
    case Unit::kg:
      return of_grams(1000.0, with);
    case Unit::oz:
      return of_grams(kGramsPerOunce, with);
    case Unit::lb:
      return of_grams(kGramsPerPound, with);
    case Unit::strokes:
      if (!with.per_stroke) return std::nullopt;
      return with.per_stroke->base() * 1'000'000;
    case Unit::pct:
      if (!with.reservoir) return std::nullopt;
      return with.reservoir->base() * 10'000;
  }
  return std::nullopt;
}

Amount make_amount(const Decimal& typed, Unit unit, const Conversion& with) {
  return make_amount(typed, unit, nano_cm3_per_unit(unit, with));
}

Amount make_amount(const Decimal& typed, Unit unit, std::optional<std::int64_t> nano) {
  Amount out{format_decimal(typed), unit, std::nullopt, nano};
  if (!nano) return out;
  // 15 digits times 1e12 does not fit in 64 bits: 128-bit integers keep the rounding exact.
  __extension__ using Wide = __int128;
  Wide divisor = 1'000'000;  // nano cm3 -> mm3
  for (int i = 0; i < typed.scale; ++i) divisor *= 10;
  const Wide product = static_cast<Wide>(typed.mantissa) * *nano;
  const Wide rounded = (product >= 0 ? product + divisor / 2 : product - divisor / 2) / divisor;
  constexpr Wide kMost = 1'000'000'000'000'000;  // 1e15 mm3: far beyond any reservoir
  if (rounded <= kMost && rounded >= -kMost) out.volume = Volume::from_base(static_cast<std::int64_t>(rounded));
  return out;
}

}  // namespace shaftlog
