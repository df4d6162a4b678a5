#include "web/http.hpp"

#include <catch2/catch.hpp>

using namespace shaftlog::web;

TEST_CASE("http: of forwarded addresses only what the nearest proxy saw is believed", "[web][http]") {
  const auto told = [](std::initializer_list<std::string> lines) {
    Fields headers;
    for (const std::string& l : lines) headers.emplace_back("x-forwarded-for", l);
    return forwarded_address(headers);
  };
  CHECK(told({"192.0.2.1"}) == "192.0.2.1");
  CHECK(told({"203.0.113.9, 192.0.2.1"}) == "192.0.2.1");
  CHECK(told({"203.0.113.9", "192.0.2.1"}) == "192.0.2.1");  // a proxy that adds a line of its own
  CHECK(told({"2001:db8::1"}) == "2001:db8::1");
  CHECK(told({}).empty());
  for (const char* wrong : {"", "mate", "192.0.2.1,", "192.0.2.1:80", "1.2.3", "192.0.2.1 GET /", "::1%lo"})
    CHECK(told({wrong}).empty());
}

TEST_CASE("http: an origin is ours when it names the host that was called, with its port", "[web][http]") {
  CHECK(is_origin_of("http://ship.example:8480", "ship.example:8480"));
  CHECK(is_origin_of("https://ship.example", "ship.example"));
  for (const char* other : {"null", "", "ship.example", "http://", "ftp://ship.example", "https://ship.example:1",
                            "https://ship.example.org", "https://evil://ship.example", "xhttps://ship.example"})
    CHECK_FALSE(is_origin_of(other, "ship.example"));
  CHECK_FALSE(is_origin_of("http://", ""));
}
