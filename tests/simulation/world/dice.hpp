#pragma once

#include <cmath>
#include <cstddef>
#include <cstdint>
#include <numbers>

namespace shaftlog::world {

/// Random numbers of the simulator: splitmix64 and our own laws, since the library's distributions differ from one
/// standard library to the next. Steele, Lea and Flood, "Fast splittable pseudorandom number generators", OOPSLA 2014.
class Dice {
 public:
  explicit Dice(std::uint64_t seed) noexcept : state_{seed} {}
  /// A stream of its own for part `part` of `seed`.
  static Dice of(std::uint64_t seed, std::uint64_t part) noexcept {
    Dice d{seed * 0x9e3779b97f4a7c15U + part * 0xd1b54a32d192ed03U};
    d.bits();
    return Dice{d.bits() ^ (part << 17)};
  }

  std::uint64_t bits() noexcept {
    state_ += 0x9e3779b97f4a7c15U;
    std::uint64_t z = state_;
    z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9U;
    z = (z ^ (z >> 27)) * 0x94d049bb133111ebU;
    return z ^ (z >> 31);
  }
  double uniform() noexcept { return (static_cast<double>(bits() >> 11) + 0.5) * 0x1.0p-53; }
  double between(double a, double b) noexcept { return a + (b - a) * uniform(); }
  /// Even on the scale of the logarithm. \pre 0 < a <= b
  double log_between(double a, double b) noexcept { return std::exp(between(std::log(a), std::log(b))); }
  int whole(int a, int b) noexcept { return a + static_cast<int>(uniform() * (b - a + 1)); }
  bool chance(double p) noexcept { return uniform() < p; }
  double normal() noexcept { return std::sqrt(-2 * std::log(uniform())) * std::cos(2 * std::numbers::pi * uniform()); }
  double exponential(double mean) noexcept { return -mean * std::log(uniform()); }
  /// Gamma law of mean 1. \param shape > 0; Marsaglia and Tsang, ACM TOMS 26 (2000) 363-372
  double gamma_of_mean_1(double shape) noexcept {
    const double boost = shape < 1 ? std::pow(uniform(), 1 / shape) : 1.0;
    const double a = shape < 1 ? shape + 1 : shape;
    const double d = a - 1.0 / 3, c = 1 / std::sqrt(9 * d);
    for (;;) {
      const double x = normal(), v = std::pow(1 + c * x, 3);
      if (v > 0 && std::log(uniform()) < 0.5 * x * x + d - d * v + d * std::log(v)) return boost * d * v / shape;
    }
  }
  /// Poisson law. \param mean small: the time taken grows with it
  int poisson(double mean) noexcept {
    int n = 0;
    for (double t = exponential(1); t < mean; t += exponential(1)) ++n;
    return n;
  }
  template <std::size_t N>
  std::size_t pick(const double (&weights)[N]) noexcept {
    double sum = 0;
    for (const double w : weights) sum += w;
    double u = uniform() * sum;
    for (std::size_t i = 0; i < N; ++i)
      if ((u -= weights[i]) < 0) return i;
    return N - 1;
  }

 private:
  std::uint64_t state_;
};

}  // namespace shaftlog::world
