#pragma once

#include "analysis/review.hpp"
#include "domain/amount.hpp"

#include <array>
#include <cmath>
#include <cstdint>
#include <map>
#include <string>
#include <vector>

namespace shaftlog::simulation {

/// splitmix64 (public domain algorithm, from memory): the same figures on every machine.
class Chance {
 public:
  explicit Chance(std::uint64_t seed);
  std::uint64_t bits();
  double uniform();
  double uniform(double a, double b) { return a + (b - a) * uniform(); }
  double normal();
  double exponential(double mean) { return -mean * std::log(uniform()); }
  int below(int n) { return static_cast<int>(uniform() * n); }
  bool is(double p) { return uniform() < p; }
  int poisson(double mean);

 private:
  std::uint64_t s_;
};

enum class SlipKind : std::uint8_t {
  factor_10,
  unit,
  gun,
  digits,  // of an amount: two exchanged, one lost, one typed twice
  swapped_shafts,
  duplicate,
  refill_as_greasing,
  wrong_year,  // of a greasing
  day_month,   // of a greasing
  hours_swap,  // two digits of a reading exchanged
  hours_lost,  // a digit lost or typed twice
  hours_year,
  hours_date,    // day and month exchanged
  hours_shafts,  // readings of two shafts exchanged
  unmarked_meter
};
constexpr int kSlipKinds = 15;
const char* name_of(SlipKind k);

struct Slip {
  SlipKind kind{};
  Uuid record, other;  ///< other: of a pair
  Instant at{};        ///< when it truly happened
  bool is_observable = true;
};

struct Fault {
  ShaftId shaft;
  Instant from{};
  double factor = 1;
  bool is_wear = false;
};

/// True running hours of a shaft: one block a day.
struct TrueHours {
  Instant day0{};
  std::vector<double> run, start;  ///< [h] of each day; hour of the day at which the block starts
  std::vector<double> sum;         ///< before each day
  [[nodiscard]] double at(Instant t) const;
};

struct SimShip {
  VesselLog log;
  std::vector<Slip> slips;
  std::vector<Fault> faults;
  std::map<ShaftId, TrueHours> hours;
};

struct Sea {
  double years = 3;
  double fault_share = 0.15;  ///< of manual shafts that step or wear
  double slip_rate = 1;       ///< times the usual; 0: no slips
};

/// An invented ship of manual fins and a rudder stock, some with a lubricator and two fed shafts.
SimShip sail(std::uint64_t seed, int number, const Sea& sea);
Instant end_of(const Sea& sea);

}  // namespace shaftlog::simulation
