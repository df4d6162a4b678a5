#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

namespace shaftlog {

/// A number exactly as a person wrote it: mantissa / 10^scale. "1.50" is {150, 2}.
struct Decimal {
  std::int64_t mantissa = 0;
  int scale = 0;  ///< digits after the decimal point, 0..9

  [[nodiscard]] double value() const noexcept;
  /// The number in units of 10^-digits, rounded half away from zero; empty when it leaves 64 bits.
  [[nodiscard]] std::optional<std::int64_t> scaled(int digits) const noexcept;
  friend bool operator==(const Decimal&, const Decimal&) = default;
};

/// A plain decimal number: optional sign, digits, optionally a point and digits; at most 15 digits in all.
/// No exponent, no "inf" or "nan", no digit grouping, no leading or trailing space.
/// \param decimal_comma also take ',' as the decimal sign
/// \return empty when the text is anything else
std::optional<Decimal> parse_decimal(std::string_view text, bool decimal_comma = false);

/// Whether the comma of a number may part thousands as well as decimals: "1,234" and "-12,500", not "12,5" or "0,125".
bool may_part_thousands(std::string_view text) noexcept;

/// As parse_decimal, of what a person typed: ',' is taken as the decimal sign unless it may part thousands.
std::optional<Decimal> parse_typed_decimal(std::string_view text);

/// Inverse of parse_decimal, keeping the digits that were written: {150, 2} is "1.50".
std::string format_decimal(const Decimal& d);

/// `n` units of 10^-digits, trailing zeros dropped: (98400, 3) is "98.4"; (-5, 1) is "-0.5".
std::string format_scaled(std::int64_t n, int digits);

}  // namespace shaftlog
