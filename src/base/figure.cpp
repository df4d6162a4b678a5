#include "base/figure.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

namespace shaftlog {

std::string plain_figure(double value, int digits) {
  if (!std::isfinite(value)) return "unknown";
  if (value == 0) return "0";
  const int magnitude = static_cast<int>(std::floor(std::log10(std::fabs(value))));
  const int decimals = std::clamp(digits - 1 - magnitude, 0, 9);
  std::string text = fmt::format("{:.{}f}", value, decimals);
  if (text.find('.') != std::string::npos) {
    text.erase(text.find_last_not_of('0') + 1);
    if (text.back() == '.') text.pop_back();
  }
  return text == "-0" ? "0" : text;
}

}  // namespace shaftlog
