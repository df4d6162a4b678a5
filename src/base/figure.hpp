#pragma once

#include <string>

namespace shaftlog {

/// Plain digits, never an exponent: `digits` significant ones at least where there is a decimal point, all of those
/// before it, no trailing zeros. "unknown" for what is not finite.
std::string plain_figure(double value, int digits = 3);

}  // namespace shaftlog
