#pragma once

#include "base/sanitizer.hpp"

#include <bit>
#include <cstdint>

/// Arithmetic that is laid side by side. Internal to analysis.

// One program for every machine of the kind: the wide version of a function is chosen when it is loaded. Neither
// contracts a product and a sum, so both give the same bytes. Sanitizers run before that choice can be made.
#if defined(__GNUC__) && !defined(__clang__) && defined(__x86_64__) && !SHAFTLOG_SANITIZED
#define SHAFTLOG_WIDE __attribute__((target_clones("avx2", "default")))
#else
#define SHAFTLOG_WIDE
#endif
// Ahead of a loop whose rounds do not touch each other's values.
#ifdef __clang__
#define SHAFTLOG_IVDEP
#else
#define SHAFTLOG_IVDEP _Pragma("GCC ivdep")
#endif
#define SHAFTLOG_INLINE inline __attribute__((always_inline))

namespace shaftlog {

/// e^x for -700 <= x <= 700, to 2 units of the last place; below that it is 0. Written out, without a branch, so that
/// it is inlined and laid side by side: the likelihood of some hundred hypotheses a greasing ends in it. By 2^k e^r,
/// |r| <= ln(2)/2, and the series of e^r; k is read from the low bits of the shifted number.
SHAFTLOG_INLINE double inline_exp(double x) noexcept {
  constexpr double kShift = 6755399441055744.0;  // 1.5 x 2^52: adding it rounds to a whole number
  const double held = x > -700 ? x : -700;
  const double shifted = held * 1.4426950408889634 + kShift, k = shifted - kShift;
  const double r = (held - k * 6.93147180369123816490e-01) - k * 1.90821492927058770002e-10;
  const double r2 = r * r, r4 = r2 * r2, r8 = r4 * r4;
  const double a = (1 + r) + r2 * (1.0 / 2 + r * (1.0 / 6));
  const double b = (1.0 / 24 + r * (1.0 / 120)) + r2 * (1.0 / 720 + r * (1.0 / 5040));
  const double c = (1.0 / 40320 + r * (1.0 / 362880)) + r2 * (1.0 / 3628800 + r * (1.0 / 39916800));
  const double e = a + r4 * b + r8 * (c + r4 * (1.0 / 479001600 + r * (1.0 / 6227020800)));
  const auto bits = (std::bit_cast<std::uint64_t>(shifted) + 1023U) << 52U;
  const double y = e * std::bit_cast<double>(bits);
  return x > -700 ? y : 0.0;
}

/// ln(x) for finite x >= 2.3e-308, to 1 unit of the last place; without a branch, as inline_exp().
/// By 2^k (1 + f), sqrt(1/2) <= 1 + f < sqrt(2), and s = f / (2 + f), of which ln((1 + s) / (1 - s)) is an even series.
/// \source the minimax series of the freely distributable C library of 1993, e_log.c (coefficients from memory; checked
/// against the library in tests)
SHAFTLOG_INLINE double inline_log(double x) noexcept {
  constexpr std::uint64_t kHalfRoot = 0x3FE6A09E667F3BCDU;  // sqrt(1/2)
  const std::uint64_t moved = std::bit_cast<std::uint64_t>(x) + (0x3FF0000000000000U - kHalfRoot);
  const double m = std::bit_cast<double>((moved & 0x000FFFFFFFFFFFFFU) + kHalfRoot);
  // The exponent, made a number by laying it into the low bits of 2^52.
  const double k = std::bit_cast<double>((moved >> 52U) | 0x4330000000000000U) - (4503599627370496.0 + 1023.0);
  const double f = m - 1, s = f / (2 + f), z = s * s, w = z * z;
  const double even = w * (3.999999999940941908e-01 + w * (2.222219843214978396e-01 + w * 1.531383769920937332e-01));
  const double odd =
      z * (6.666666666666735130e-01 +
           w * (2.857142874366239149e-01 + w * (1.818357216161805012e-01 + w * 1.479819860511658591e-01)));
  const double half = 0.5 * f * f;
  return k * 6.93147180369123816490e-01 - ((half - (s * (half + (even + odd)) + k * 1.90821492927058770002e-10)) - f);
}

namespace wide {

constexpr double kSure = 7;  ///< beyond so many sd the other side has less than 1.3e-12 of the weight

/// Normal distribution function for |z| < kSure, 0 or 1 beyond; error below 1e-15, relative below 1e-8.
/// \source J. F. Hart et al., Computer Approximations, 1968, 5666, as given by G. West, Better approximations to
/// cumulative normal functions, Wilmott Magazine 2005 (coefficients from memory; checked against the library in tests)
SHAFTLOG_INLINE double normal_cdf(double z) noexcept {
  const double a = z < 0 ? -z : z, x = a < kSure ? a : kSure;
  double p = 3.52624965998911e-02 * x + 0.700383064443688;
  p = p * x + 6.37396220353165;
  p = p * x + 33.912866078383;
  p = p * x + 112.079291497871;
  p = p * x + 221.213596169931;
  p = p * x + 220.206867912376;
  double q = 8.83883476483184e-02 * x + 1.75566716318264;
  q = q * x + 16.064177579207;
  q = q * x + 86.7807322029461;
  q = q * x + 296.564248779674;
  q = q * x + 637.333633378831;
  q = q * x + 793.826512519948;
  q = q * x + 440.413735824752;
  const double tail = a < kSure ? inline_exp(-0.5 * x * x) * p / q : 0.0;
  return z < 0 ? tail : 1 - tail;
}
SHAFTLOG_INLINE double normal_pdf(double z) noexcept { return 0.3989422804014327 * inline_exp(-0.5 * z * z); }

}  // namespace wide
}  // namespace shaftlog
