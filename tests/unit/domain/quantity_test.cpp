#include "domain/quantity.hpp"

#include "domain/ids.hpp"

#include <type_traits>

#include <catch2/catch.hpp>

using namespace shaftlog;

namespace {
template <class A, class B>
concept Addable = requires(A a, B b) {
  a + b;
};
template <class A, class B>
concept Subtractable = requires(A a, B b) {
  a - b;
};
static_assert(Addable<Volume, Volume> && !Addable<Volume, Density> && !Addable<Volume, RunTime>);
static_assert(!Addable<HoursReading, HoursReading> && Subtractable<HoursReading, HoursReading>);
static_assert(std::is_same_v<decltype(HoursReading{} - HoursReading{}), RunTime>);
static_assert(!std::is_constructible_v<Volume, double> && !std::is_constructible_v<LubricatorId, ShaftId>);
static_assert(!std::is_convertible_v<std::int64_t, Volume>);
}  // namespace

TEST_CASE("quantity: units are named going in and coming out", "[domain][quantity]") {
  CHECK(in_cm3(cm3(250) + Volume::from_base(500)) == 250.5);
  CHECK(in_h(HoursReading::from_base(7200) - HoursReading::from_base(3600)) == 1.0);
  CHECK(in_pct(Level::from_base(6250)) == 62.5);
}
