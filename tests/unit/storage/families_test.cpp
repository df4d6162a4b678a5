#include "storage/families.hpp"

#include "support/temp_db.hpp"

#include <algorithm>
#include <random>

#include <catch2/catch.hpp>

using namespace shaftlog;
using namespace shaftlog::test;

namespace {

Link correction(std::uint64_t id, std::uint64_t of, int recorded) {
  return {nth_id(id), nth_id(of), false, day(recorded).utc};
}
Link withdrawal(std::uint64_t id, std::uint64_t of, int recorded) {
  return {nth_id(id), nth_id(of), true, day(recorded).utc};
}

std::vector<std::uint64_t> left_out(const std::vector<Link>& links) {
  std::vector<std::uint64_t> out;
  for (const Uuid& id : not_in_force(links)) {
    out.push_back(static_cast<std::uint64_t>(id.bytes[14]) << 8 | id.bytes[15]);
  }
  std::sort(out.begin(), out.end());
  return out;
}

using Numbers = std::vector<std::uint64_t>;

}  // namespace

TEST_CASE("families: without links everything is in force", "[storage][families]") { CHECK(not_in_force({}).empty()); }

TEST_CASE("families: the correction recorded last wins, ties by the greater id", "[storage][families]") {
  CHECK(left_out({correction(2, 1, 5), correction(3, 1, 4)}) == Numbers{1, 3});
  CHECK(left_out({correction(2, 1, 5), correction(3, 1, 5)}) == Numbers{1, 2});
  CHECK(left_out({correction(2, 1, 5), correction(3, 2, 6), correction(4, 1, 7)}) == Numbers{1, 2, 3});
}

TEST_CASE("families: withdrawing a correction brings back what it corrected", "[storage][families]") {
  CHECK(left_out({correction(2, 1, 5), withdrawal(3, 2, 6)}) == Numbers{2});
  CHECK(left_out({correction(2, 1, 5), correction(3, 2, 6), withdrawal(4, 3, 7)}) == Numbers{1, 3});
  // Of two corrections the later is withdrawn: the other one stands, not the original.
  CHECK(left_out({correction(2, 1, 5), correction(3, 1, 6), withdrawal(4, 3, 7)}) == Numbers{1, 3});
}

TEST_CASE("families: a correction of a withdrawn record stands", "[storage][families]") {
  CHECK(left_out({withdrawal(2, 1, 5), correction(3, 1, 5)}) == Numbers{1});
}

TEST_CASE("families: a withdrawal that was withdrawn does nothing", "[storage][families]") {
  CHECK(left_out({withdrawal(2, 1, 5), withdrawal(3, 2, 6)}) == Numbers{2});
  CHECK(left_out({withdrawal(2, 1, 5), withdrawal(3, 2, 6), withdrawal(4, 3, 7)}) == Numbers{1, 3});
}

TEST_CASE("families: a circle of corrections leaves exactly one in force", "[storage][families]") {
  CHECK(left_out({correction(1, 2, 5), correction(2, 1, 6)}) == Numbers{1});
  CHECK(left_out({correction(1, 2, 5), correction(2, 3, 6), correction(3, 1, 7), correction(4, 2, 1)}).size() == 3);
  CHECK(left_out({withdrawal(1, 2, 5), withdrawal(2, 1, 6)}).empty());
}

TEST_CASE("families: the order in which links are met does not matter", "[storage][families]") {
  std::mt19937 random{7};
  for (int round = 0; round < 200; ++round) {
    std::vector<Link> links;
    for (std::uint64_t id = 2; id < 20; ++id) {
      const auto of = 1 + random() % 19;
      if (of == id) continue;
      links.push_back({nth_id(id), nth_id(of), random() % 3 == 0, day(static_cast<int>(random() % 5)).utc});
    }
    const auto expected = left_out(links);
    std::shuffle(links.begin(), links.end(), random);
    REQUIRE(left_out(links) == expected);
  }
}

TEST_CASE("families: a chain of a hundred thousand corrections is followed to its end", "[storage][families]") {
  std::vector<Link> links;
  for (std::uint64_t id = 2; id <= 100'000; ++id) links.push_back(correction(id, id - 1, 1));
  const auto out = not_in_force(links);
  CHECK(out.size() == 99'999);
  CHECK_FALSE(out.contains(nth_id(100'000)));
}
