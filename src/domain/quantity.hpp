#pragma once

#include <compare>
#include <cstdint>

namespace shaftlog {

/// A signed amount of one kind, kept as whole base units: sums are exact, packs compare equal everywhere.
template <class Kind>
class Quantity {
 public:
  constexpr Quantity() = default;
  static constexpr Quantity from_base(std::int64_t n) noexcept { return Quantity{n}; }
  [[nodiscard]] constexpr std::int64_t base() const noexcept { return n_; }  // what SQLite stores
  friend constexpr auto operator<=>(const Quantity&, const Quantity&) = default;
  friend constexpr Quantity operator+(Quantity a, Quantity b) noexcept { return Quantity{a.n_ + b.n_}; }
  friend constexpr Quantity operator-(Quantity a, Quantity b) noexcept { return Quantity{a.n_ - b.n_}; }

 private:
  explicit constexpr Quantity(std::int64_t n) noexcept : n_{n} {}
  std::int64_t n_ = 0;
};

using Volume = Quantity<struct VolumeKind>;    ///< base: mm3
using Density = Quantity<struct DensityKind>;  ///< base: mg per cm3
using RunTime = Quantity<struct RunTimeKind>;  ///< base: s shown by an hour meter, never s of the calendar
using Level = Quantity<struct LevelKind>;      ///< base: hundredths of a per cent of the reservoir

/// A point on one hour meter's scale; only the difference of two readings of one meter is a RunTime. Base: s.
class HoursReading {
 public:
  constexpr HoursReading() = default;
  static constexpr HoursReading from_base(std::int64_t n) noexcept {
    HoursReading r;
    r.n_ = n;
    return r;
  }
  [[nodiscard]] constexpr std::int64_t base() const noexcept { return n_; }
  friend constexpr auto operator<=>(const HoursReading&, const HoursReading&) = default;
  friend constexpr RunTime operator-(HoursReading a, HoursReading b) noexcept {
    return RunTime::from_base(a.n_ - b.n_);
  }

 private:
  std::int64_t n_ = 0;
};

constexpr Volume cm3(std::int64_t n) noexcept { return Volume::from_base(n * 1000); }
constexpr double in_cm3(Volume v) noexcept { return static_cast<double>(v.base()) / 1000.0; }
constexpr double in_h(RunTime t) noexcept { return static_cast<double>(t.base()) / 3600.0; }
constexpr double in_h(HoursReading r) noexcept { return static_cast<double>(r.base()) / 3600.0; }
constexpr double in_g_cm3(Density d) noexcept { return static_cast<double>(d.base()) / 1000.0; }
constexpr double in_pct(Level l) noexcept { return static_cast<double>(l.base()) / 100.0; }

}  // namespace shaftlog
