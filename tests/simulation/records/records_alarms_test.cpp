#include "analysis/alarms.hpp"

#include <cmath>
#include <cstdint>
#include <cstdio>
#include <initializer_list>

#include <catch2/catch.hpp>

using namespace shaftlog;

namespace {

// splitmix64 (public domain algorithm, from memory): the same figures on every machine.
class Chance {
 public:
  explicit Chance(std::uint64_t seed) : s_{seed} {}
  double uniform() {
    s_ += 0x9e3779b97f4a7c15ULL;
    std::uint64_t z = s_;
    z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9ULL;
    z = (z ^ (z >> 27)) * 0x94d049bb133111ebULL;
    z ^= z >> 31;
    return (static_cast<double>(z >> 11) + 0.5) / 9007199254740992.0;
  }
  double exponential(double mean) { return -mean * std::log(uniform()); }

 private:
  std::uint64_t s_;
};

constexpr double kRun_h_a_year = 3000;

struct Subject {
  std::vector<AlarmEpisode> episodes;
  std::vector<double> hours;
};

// Alarms in a Poisson stream; one in seven brings a burst of further ones within hours.
Subject a_subject(Chance& c, double years, double per_1000h, double change_h, double factor) {
  Subject s;
  const double end_h = years * kRun_h_a_year;
  double h = 0;
  while (true) {
    const double rate = per_1000h / 1000 * (h >= change_h ? factor : 1);
    double next = h + c.exponential(1 / rate);
    if (h < change_h && next > change_h) {
      h = change_h;
      continue;
    }
    if (next > end_h) break;
    int burst = 1;
    if (c.uniform() < 1.0 / 7) burst += 1 + static_cast<int>(c.exponential(4));
    h = next;
    for (int i = 0; i < burst && next <= end_h; ++i) {
      Uuid id;
      id.bytes[15] = static_cast<std::uint8_t>(s.hours.size() % 256);
      id.bytes[14] = static_cast<std::uint8_t>(s.hours.size() / 256);
      const Instant t = from_unix(1'600'000'000 + static_cast<std::int64_t>(next * 3 * 3600));
      s.episodes.push_back({AlarmKind::no_pressure, LubricatorId{1}, {}, t, t, {id}});
      s.hours.push_back(next);
      h = next;
      next += c.exponential(2);
    }
  }
  return s;
}

}  // namespace

TEST_CASE("simulation: false rises of healthy subjects and rises found", "[simulation][alarms]") {
  Chance c{20261125};  // no setting was chosen on it
  constexpr double kYears = 5;
  int false_rises = 0, healthy = 0;
  for (int i = 0; i < 40; ++i) {
    const double per_1000h = 0.5 * std::pow(16.0, c.uniform());  // 0.5 to 8
    const Subject s = a_subject(c, kYears, per_1000h, 1e9, 1);
    ++healthy;
    // Counted at any time, not only at the end: one look a year.
    bool standing = false;
    for (int q = 1; q <= 5; ++q) {
      const double to = q * kRun_h_a_year;
      std::size_t n = 0;
      while (n < s.hours.size() && s.hours[n] <= to) ++n;
      const bool now = rate_alarms({s.episodes.data(), n}, {s.hours.data(), n}, 0, to).rise.has_value();
      if (now && !standing) ++false_rises;
      standing = now;
    }
  }
  const double per_100y = 100.0 * false_rises / (healthy * kYears);
  std::printf("alarm rises, healthy: %d false in %.0f subject-years, %.2f per 100\n", false_rises, healthy * kYears,
              per_100y);
  CHECK(per_100y < 2);

  for (const double factor : {3.0, 5.0, 8.0}) {
    int found = 0, covered = 0, began = 0, total = 0;
    for (int i = 0; i < 20; ++i) {
      const double per_1000h = 1 + 2 * c.uniform();
      const Subject s = a_subject(c, 3, per_1000h, 6000, factor);
      const auto r = rate_alarms(s.episodes, s.hours, 0, 3 * kRun_h_a_year);
      ++total;
      if (!r.rise) continue;
      ++found;
      if (r.rise->factor.low <= factor && factor <= r.rise->factor.high) ++covered;
      const Instant truth = from_unix(1'600'000'000 + 6000LL * 3 * 3600);
      if (r.rise->began.low <= truth && truth <= r.rise->began.high) ++began;
    }
    std::printf("alarm rate x%.0f: found %d of %d; factor in its interval %d, beginning %d\n", factor, found, total,
                covered, began);
    // One year at 3 to 9 alarms a year is little to tell a threefold rate by: about half are found.
    CHECK(found >= (factor < 4 ? 0.3 : 0.85) * total);
    CHECK(covered >= 0.75 * found);
    CHECK(began >= 0.7 * found);
  }
}
