#include "base/decimal.hpp"

#include <array>
#include <limits>

namespace shaftlog {
namespace {

constexpr int kMostDigits = 15;  // every such number is exact in a double as well
constexpr int kMostScale = 9;

constexpr std::array<std::int64_t, 19> kPowers = [] {
  std::array<std::int64_t, 19> p{};
  p[0] = 1;
  for (std::size_t i = 1; i < p.size(); ++i) p[i] = p[i - 1] * 10;
  return p;
}();

std::int64_t power(int n) noexcept { return kPowers[static_cast<std::size_t>(n)]; }

}  // namespace

double Decimal::value() const noexcept { return static_cast<double>(mantissa) / static_cast<double>(power(scale)); }

std::optional<std::int64_t> Decimal::scaled(int digits) const noexcept {
  if (digits >= scale) {
    std::int64_t out = 0;
    if (__builtin_mul_overflow(mantissa, power(digits - scale), &out)) return std::nullopt;
    return out;
  }
  const std::int64_t divisor = power(scale - digits);
  const std::int64_t half = divisor / 2;
  return (mantissa >= 0 ? mantissa + half : mantissa - half) / divisor;
}

std::optional<Decimal> parse_decimal(std::string_view text, bool decimal_comma) {
  Decimal d;
  std::size_t i = 0;
  bool negative = false;
  if (i < text.size() && (text[i] == '-' || text[i] == '+')) negative = text[i++] == '-';
  int digits = 0;
  bool seen_point = false;
  for (; i < text.size(); ++i) {
    const char c = text[i];
    if (c >= '0' && c <= '9') {
      if (seen_point && ++d.scale > kMostScale) return std::nullopt;
      if (d.mantissa != 0 || c != '0') {
        if (++digits > kMostDigits) return std::nullopt;
      }
      d.mantissa = d.mantissa * 10 + (c - '0');
    } else if ((c == '.' || (decimal_comma && c == ',')) && !seen_point) {
      if (i == 0 || text[i - 1] < '0' || text[i - 1] > '9') return std::nullopt;  // ".5" is too easily a slip
      seen_point = true;
    } else {
      return std::nullopt;
    }
  }
  if (text.empty() || text.back() < '0' || text.back() > '9') return std::nullopt;
  if (negative) d.mantissa = -d.mantissa;
  return d;
}

bool may_part_thousands(std::string_view text) noexcept {
  if (!text.empty() && (text.front() == '-' || text.front() == '+')) text.remove_prefix(1);
  const std::size_t comma = text.find(',');
  if (comma == std::string_view::npos || comma < 1 || comma > 3 || text.front() == '0') return false;
  const std::string_view before = text.substr(0, comma), after = text.substr(comma + 1);
  return after.size() == 3 && before.find_first_not_of("0123456789") == std::string_view::npos &&
         after.find_first_not_of("0123456789") == std::string_view::npos;
}

std::optional<Decimal> parse_typed_decimal(std::string_view text) {
  return parse_decimal(text, !may_part_thousands(text));
}

std::string format_decimal(const Decimal& d) {
  std::string digits = std::to_string(d.mantissa < 0 ? -d.mantissa : d.mantissa);
  if (d.scale > 0) {
    const auto scale = static_cast<std::size_t>(d.scale);
    if (digits.size() <= scale) digits.insert(0, scale + 1 - digits.size(), '0');
    digits.insert(digits.size() - scale, 1, '.');
  }
  return d.mantissa < 0 ? "-" + digits : digits;
}

std::string format_scaled(std::int64_t n, int digits) {
  Decimal d{n, digits};
  while (d.scale > 0 && d.mantissa % 10 == 0) {
    d.mantissa /= 10;
    --d.scale;
  }
  return format_decimal(d);
}

}  // namespace shaftlog
