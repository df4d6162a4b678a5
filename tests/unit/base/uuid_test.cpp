#include "base/uuid.hpp"

#include <set>

#include <catch2/catch.hpp>

using namespace shaftlog;

TEST_CASE("uuid: version 7 ids sort in the order of making and carry version and variant", "[base][uuid]") {
  const auto now = std::chrono::system_clock::time_point{std::chrono::milliseconds{1'790'000'000'123}};
  Uuid before = make_uuid_v7(now);
  for (int i = 0; i < 10'000; ++i) {
    const Uuid next = make_uuid_v7(now);
    REQUIRE(before < next);
    REQUIRE((next.bytes[6] >> 4) == 7);
    REQUIRE((next.bytes[8] >> 6) == 2);
    before = next;
  }
}

TEST_CASE("uuid: version 8 comes from the content alone", "[base][uuid]") {
  CHECK(make_uuid_v8("a") == make_uuid_v8("a"));
  CHECK(make_uuid_v8("a") != make_uuid_v8("b"));
  CHECK((make_uuid_v8("a").bytes[6] >> 4) == 8);
}

TEST_CASE("uuid: text forms", "[base][uuid]") {
  const Uuid id = make_uuid_v8("x");
  CHECK(parse_uuid(format_uuid(id)) == id);
  CHECK_FALSE(parse_uuid("0190b5e2-7c1a-7f3e-8a11-2f6c1d0b9a7").has_value());
  CHECK_FALSE(parse_uuid("0190b5e2x7c1a-7f3e-8a11-2f6c1d0b9a77").has_value());
  CHECK_FALSE(parse_uuid("0190b5e2-7c1a-7f3e-8a11-2f6c1d0b9a7g").has_value());
}

// FIPS 180-4 test vectors as published by NIST (CAVP short messages "abc" and the empty message); from memory.
TEST_CASE("uuid: SHA-256 of the published messages", "[base][uuid][reference]") {
  CHECK(hex(sha256("abc")) == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
  CHECK(hex(sha256("")) == "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855");
}
