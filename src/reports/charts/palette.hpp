#pragma once

#include "analysis/types.hpp"
#include "reports/charts/drawing.hpp"

namespace shaftlog {

// The colours of charts and pages. Told apart by lightness as well as by hue, and never the only sign: each also has a
// shape, a dash or a word. A test computes the contrasts.
namespace ink {
constexpr Colour kPaper{255, 255, 255};
constexpr Colour kText{27, 39, 48};
constexpr Colour kQuiet{80, 94, 105};       ///< tick labels, units
constexpr Colour kAxis{122, 133, 142};      ///< thin lines that carry meaning
constexpr Colour kGrid{223, 228, 232};      ///< only a help for the eye
constexpr Colour kMain{22, 72, 122};        ///< what the chart is about
constexpr Colour kMainBand{208, 221, 234};  ///< its 90 % band
constexpr Colour kMainEdge{109, 139, 170};  ///< the edge of the band, for pale prints
constexpr Colour kOther{106, 76, 16};       ///< a second series
constexpr Colour kWarn{158, 52, 10};        ///< limits and found changes
constexpr Colour kWarnBand{250, 229, 216};
constexpr Colour kWarnEdge{196, 116, 78};
constexpr Colour kCalmBand{238, 241, 243};  ///< what is allowed or out of use
}  // namespace ink

/// Contrast ratio of two colours, 1 to 21. WCAG 2.1 asks for 4.5 between text and its ground (1.4.3) and for 3 where a
/// graphical object carries meaning (1.4.11).
double contrast(Colour a, Colour b);

/// How urgent: a shape and a colour beside the word.
Shape shape_of(Urgency u) noexcept;
Colour colour_of(Urgency u) noexcept;

/// "#16487a"
std::string hex(Colour c);

}  // namespace shaftlog
