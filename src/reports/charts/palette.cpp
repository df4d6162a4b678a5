#include "reports/charts/palette.hpp"

#include <cmath>

#include <fmt/format.h>

namespace shaftlog {
namespace {

// Relative luminance, WCAG 2.1 "relative luminance" (sRGB, IEC 61966-2-1 with the threshold as WCAG prints it).
double luminance(Colour c) {
  const auto linear = [](std::uint8_t v) {
    const double s = v / 255.0;
    return s <= 0.03928 ? s / 12.92 : std::pow((s + 0.055) / 1.055, 2.4);
  };
  return 0.2126 * linear(c.red) + 0.7152 * linear(c.green) + 0.0722 * linear(c.blue);
}

}  // namespace

double contrast(Colour a, Colour b) {
  const double la = luminance(a), lb = luminance(b);
  return (std::max(la, lb) + 0.05) / (std::min(la, lb) + 0.05);
}

Shape shape_of(Urgency u) noexcept {
  switch (u) {
    case Urgency::act:
      return Shape::triangle_up;
    case Urgency::plan:
      return Shape::diamond;
    case Urgency::watch:
      return Shape::ring;
    case Urgency::note:
      return Shape::square;
  }
  return Shape::square;
}

Colour colour_of(Urgency u) noexcept {
  switch (u) {
    case Urgency::act:
      return ink::kWarn;
    case Urgency::plan:
      return ink::kOther;
    case Urgency::watch:
      return ink::kMain;
    case Urgency::note:
      return ink::kQuiet;
  }
  return ink::kQuiet;
}

std::string hex(Colour c) { return fmt::format("#{:02x}{:02x}{:02x}", c.red, c.green, c.blue); }

}  // namespace shaftlog
