#include "analysis/dossier.hpp"

#include <cmath>

#include <catch2/catch.hpp>
#include <rapidcheck/catch.h>

using namespace shaftlog;

namespace {

constexpr std::int64_t kStart = 1700000000, kDay = 86400;

Mark mark(double low, double estimate, double high, Spread spread = Spread::even, MarkRole role = MarkRole::change) {
  const auto at = [](double days) { return from_unix(kStart + static_cast<std::int64_t>(days * kDay)); };
  const When when{at(estimate), at(low), at(high)};
  return {"x", role, when, spread, "", {}, 0, {}, 0};
}

}  // namespace

TEST_CASE("order: ranges that do not overlap are sure, equal ones say nothing", "[analysis][dossier]") {
  CHECK(p_before(mark(0, 1, 2), mark(3, 4, 5)) == 1);
  CHECK(p_before(mark(3, 4, 5), mark(0, 1, 2)) == 0);
  CHECK(p_before(mark(0, 1, 2), mark(0, 1, 2)) == Approx(0.5));
  CHECK(p_before(mark(7, 7, 7), mark(7, 7, 7)) == 0.5);  // the same moment
}

TEST_CASE("order: even ranges have their exact probability", "[analysis][dossier]") {
  // A even on 0..4, B even on 2..6: P(A < B) = 1 - P(B < A) = 1 - (2 x 2 / 2) / 16 = 0.875.
  CHECK(p_before(mark(0, 2, 4), mark(2, 4, 6)) == Approx(0.875).margin(0.003));
  CHECK(p_before(mark(0, 2, 4), mark(1, 1, 1)) == Approx(0.25).margin(0.006));
}

TEST_CASE("order: estimated moments have the probability of the normal law", "[analysis][dossier]") {
  // 5 to 95 % of +-1.645: sd 1 day each; difference of means 1 day: Phi(1 / sqrt 2) = 0.760.
  const double p = 0.5 * std::erfc(-1.0 / std::sqrt(2.0) / std::sqrt(2.0));
  const Mark a = mark(-1.645, 0, 1.645, Spread::normal), b = mark(1 - 1.645, 1, 1 + 1.645, Spread::normal);
  CHECK(p_before(a, b) == Approx(p).margin(0.004));
}

TEST_CASE("order: one of the changes was the first, whatever their ranges", "[analysis][dossier]") {
  rc::check("the probabilities of being first add to 1", [] {
    std::vector<Mark> marks;
    const auto n = *rc::gen::inRange(1, 7);
    for (int i = 0; i < n; ++i) {
      const double low = *rc::gen::inRange(0, 60), width = *rc::gen::inRange(0, 40);
      const bool even = *rc::gen::arbitrary<bool>();
      marks.push_back(mark(low, low + 0.3 * width, low + width, even ? Spread::even : Spread::normal));
    }
    put_in_order(marks);
    double sum = 0;
    for (const Mark& m : marks) {
      RC_ASSERT(m.p_first >= 0 && m.p_first <= 1);
      sum += m.p_first;
    }
    // Ties count half for each of two, less for more: the sum may lack a little, and never exceeds 1 by more than
    // nodes.
    RC_ASSERT(sum > 0.2 && sum < 1.05);
    for (std::size_t i = 1; i < marks.size(); ++i) RC_ASSERT(marks[i - 1].when.estimate <= marks[i].when.estimate);
  });
  rc::check("of two, before and after add to 1", [] {
    const double a = *rc::gen::inRange(0, 50), b = *rc::gen::inRange(0, 50);
    const double wa = *rc::gen::inRange(0, 30), wb = *rc::gen::inRange(0, 30);
    const Mark x = mark(a, a + wa / 2, a + wa, Spread::normal), y = mark(b, b + wb / 3, b + wb);
    RC_ASSERT(std::abs(p_before(x, y) + p_before(y, x) - 1) < 1e-9);
  });
}

TEST_CASE("order: work and what followed are in the list but are never the first change", "[analysis][dossier]") {
  std::vector<Mark> marks{mark(10, 10, 10), mark(1, 1, 1, Spread::even, MarkRole::event),
                          mark(2, 3, 4, Spread::normal, MarkRole::consequence)};
  const std::vector<OrderPair> pairs = put_in_order(marks);
  CHECK(marks[0].role == MarkRole::event);
  CHECK(marks[2].p_first == Approx(1));
  CHECK(marks[0].p_first == 0);
  REQUIRE(pairs.size() == 1);  // the event is no side of a pair
  CHECK(pairs[0].p > 0.99);
  CHECK_FALSE(pairs[0].overlap);
}
