// How often plain methods signal where nothing has changed: the tests at their level, the charts as they come out with
// limits from six values. SHAFTLOG_SIM_SEED chooses other seeds for tuning; the default one is for judging only.
#include "analysis/plain.hpp"

#include <array>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <numbers>
#include <random>

#include <catch2/catch.hpp>

using namespace shaftlog;

TEST_CASE("plain methods: how often they signal on steady series of 30 values", "[simulation][plain]") {
  const char* given = std::getenv("SHAFTLOG_SIM_SEED");
  std::mt19937_64 bits{given != nullptr ? std::strtoull(given, nullptr, 10) : 60117733};
  const auto uniform = [&] { return (static_cast<double>(bits() >> 11) + 0.5) / 9007199254740992.0; };
  const auto normal = [&] { return std::sqrt(-2 * std::log(uniform())) * std::cos(2 * std::numbers::pi * uniform()); };
#ifdef NDEBUG
  constexpr int kSeries = 1000;
#else
  constexpr int kSeries = 200;
#endif
  std::array<int, 6> signals{};
  for (int n = 0; n < kSeries; ++n) {
    std::vector<double> x;
    for (int i = 0; i < 30; ++i) x.push_back(0.25 + 0.03 * normal());
    for (const PlainSignal& s : plain_signals(x, {}, false))
      signals[static_cast<std::size_t>(s.method)] += s.signals ? 1 : 0;
  }
  for (std::size_t m = 0; m < signals.size(); ++m)
    std::printf("%s %.3f\n", std::string{name_of(static_cast<PlainMethod>(m))}.c_str(),
                static_cast<double>(signals[m]) / kSeries);
  const auto share = [&](PlainMethod m) { return static_cast<double>(signals[static_cast<std::size_t>(m)]) / kSeries; };
  // Three standard errors about the level of 5 %.
  const double margin = 3 * std::sqrt(0.05 * 0.95 / kSeries);
  CHECK(share(PlainMethod::mann_kendall) == Approx(0.05).margin(margin));
  CHECK(share(PlainMethod::change_point) == Approx(0.05).margin(margin));
  CHECK(share(PlainMethod::fixed_rule) < 0.01);
}
