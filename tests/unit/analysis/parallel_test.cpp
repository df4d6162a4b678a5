#include "analysis/parallel.hpp"

#include <atomic>
#include <chrono>
#include <cstddef>
#include <stdexcept>
#include <string>
#include <thread>
#include <vector>

#include <catch2/catch.hpp>

using namespace shaftlog;

TEST_CASE("in order: every result is taken once and in turn, whichever is made first", "[analysis][parallel]") {
  for (const unsigned threads : {1U, 2U, 7U}) {
    std::vector<std::size_t> taken;
    in_order(
        100, threads,
        [](std::size_t i) {
          if (i % 10 == 0) std::this_thread::sleep_for(std::chrono::milliseconds{1});  // the others overtake it
          return i;
        },
        [&](std::size_t i) { taken.push_back(i); });
    REQUIRE(taken.size() == 100);
    for (std::size_t i = 0; i < taken.size(); ++i) CHECK(taken[i] == i);
  }
  in_order(
      0, 4, [](std::size_t i) { return i; }, [](std::size_t) { FAIL("there is nothing to take"); });
}

TEST_CASE("in order: few results wait, however slowly they are taken", "[analysis][parallel]") {
  std::atomic<int> waiting{0};
  int most = 0;
  in_order(
      60, 2,
      [&](std::size_t i) {
        ++waiting;
        return i;
      },
      [&](std::size_t) {
        std::this_thread::sleep_for(std::chrono::milliseconds{1});
        most = std::max(most, waiting.load());
        --waiting;
      });
  CHECK(most <= 8);
}

TEST_CASE("in order: what fails while it is made or taken leaves, and nothing is taken after it",
          "[analysis][parallel]") {
  for (const bool by_making : {true, false}) {
    std::vector<std::size_t> taken;
    const auto run = [&] {
      in_order(
          50, 3,
          [&](std::size_t i) {
            if (by_making && i == 5) throw std::runtime_error{"made"};
            return i;
          },
          [&](std::size_t i) {
            if (!by_making && i == 5) throw std::runtime_error{"taken"};
            taken.push_back(i);
          });
    };
    CHECK_THROWS_WITH(run(), by_making ? "made" : "taken");
    CHECK(taken.size() <= 5);
  }
}
