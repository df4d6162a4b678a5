#pragma once

#include <cstdint>

namespace shaftlog::demo {

/// Random numbers that come out the same on every machine: integer steps (splitmix64) and plain sums and products of
/// doubles only, so neither the standard library's distributions nor its mathematical functions decide a digit.
class Random {
 public:
  explicit constexpr Random(std::uint64_t seed) noexcept : state_{seed} {}

  /// splitmix64, Steele, Lea and Flood, "Fast splittable pseudorandom number generators", OOPSLA 2014
  constexpr std::uint64_t bits() noexcept {
    state_ += 0x9e3779b97f4a7c15U;
    std::uint64_t z = state_;
    z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9U;
    z = (z ^ (z >> 27)) * 0x94d049bb133111ebU;
    return z ^ (z >> 31);
  }
  /// 0 <= u < 1
  constexpr double uniform() noexcept { return static_cast<double>(bits() >> 11) * 0x1.0p-53; }
  /// low..high, both included
  constexpr int whole(int low, int high) noexcept {
    return low + static_cast<int>(uniform() * static_cast<double>(high - low + 1));
  }
  /// Mean 0, sd 1: the sum of twelve uniform numbers less six; never beyond 6 sd.
  constexpr double normal() noexcept {
    double sum = -6.0;
    for (int i = 0; i < 12; ++i) sum += uniform();
    return sum;
  }
  constexpr bool chance(double p) noexcept { return uniform() < p; }

 private:
  std::uint64_t state_;
};

/// e^x for |x| < 20, relative error below 1e-13, from sums and products alone (same digits everywhere).
constexpr double exp_of(double x) noexcept {
  double part = x / 256.0, term = 1.0, sum = 1.0;
  for (int n = 1; n <= 12; ++n) {
    term *= part / n;
    sum += term;
  }
  for (int i = 0; i < 8; ++i) sum *= sum;
  return sum;
}

}  // namespace shaftlog::demo
