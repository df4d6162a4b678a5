#pragma once

#include <compare>
#include <cstdint>
#include <functional>

namespace shaftlog {

/// Key of a register row inside one database file; 0 is no row. Keys of different things do not mix.
template <class Row>
struct Id {
  std::int64_t value = 0;
  [[nodiscard]] constexpr bool is_set() const noexcept { return value != 0; }
  friend constexpr auto operator<=>(const Id&, const Id&) = default;
};

using VesselId = Id<struct VesselRow>;
using GreaseId = Id<struct GreaseRow>;
using GunId = Id<struct GunRow>;
using LubricatorId = Id<struct LubricatorRow>;
using ShaftId = Id<struct ShaftRow>;

}  // namespace shaftlog

template <class Row>
struct std::hash<shaftlog::Id<Row>> {
  std::size_t operator()(const shaftlog::Id<Row>& id) const noexcept { return std::hash<std::int64_t>{}(id.value); }
};
