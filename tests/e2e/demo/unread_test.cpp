// What the demo fleet is said to need when nobody has written anything for two months: what stood still stands still,
// what was overdue stays overdue, and a closed finding hides no dry bearing.
#include "support/run.hpp"

#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

using namespace shaftlog::test;
using Catch::Matchers::Contains;
using nlohmann::json;

namespace {

struct Demo : Aboard {
  Demo() { ok({"demo"}); }
  [[nodiscard]] json review(const std::string& vessel, const std::string& as_of) const {
    return json::parse(ok({"review", "--vessel", vessel, "--as-of", as_of, "--json"}));
  }
};

json shaft_of(const json& review, const std::string& code) {
  for (const json& s : review.at("shafts"))
    if (s.at("shaft") == code) return s;
  throw std::runtime_error{"no shaft " + code};
}

std::vector<json> findings_of(const json& review, const std::string& kind) {
  std::vector<json> out;
  for (const json& f : review.at("findings"))
    if (f.at("kind") == kind) out.push_back(f);
  return out;
}

}  // namespace

TEST_CASE("unread: a lubricator that made no cycles fills no cavity when its counter is not read any more",
          "[e2e][demo]") {
  const Demo demo;
  double before = 101;
  for (const char* day : {"2026-09-30", "2026-10-06", "2026-10-17", "2026-11-27"}) {
    const json s = shaft_of(demo.review("tarndale", day), "fin_aft_stbd");
    CAPTURE(day, s.dump());
    REQUIRE(s.at("cavity_fill_pct").is_object());
    const double fill = s.at("cavity_fill_pct").at("value");
    CHECK(fill < before + 0.5);
    before = fill;
  }
}

TEST_CASE("unread: with a reservoir that must have run empty the fill is not known", "[e2e][demo]") {
  const Demo demo;
  const json late = demo.review("brackensound", "2026-11-27");
  CHECK(shaft_of(late, "fin_port").at("cavity_fill_pct").is_null());
  CHECK(shaft_of(demo.review("brackensound", "2026-10-01"), "fin_port").at("cavity_fill_pct").is_object());
}

TEST_CASE("unread: what was overdue before a ship fell silent is told still", "[e2e][demo]") {
  const Demo demo;
  const json late = demo.review("brackensound", "2026-11-27");
  REQUIRE_FALSE(findings_of(late, "records_missing").empty());
  const std::vector<json> overdue = findings_of(late, "greasing_overdue");
  REQUIRE(overdue.size() == 1);
  CHECK(overdue[0].at("shaft") == "thruster");
}

TEST_CASE("unread: whoever closes the finding that explains a dry cavity does not silence the cavity", "[e2e][demo]") {
  const Demo demo;
  const json first = demo.review("tarnwick", "2026-10-01");
  const std::vector<json> missed = findings_of(first, "missed_cycles");
  REQUIRE(missed.size() == 1);
  CHECK(findings_of(demo.review("tarnwick", "2026-11-27"), "starved").empty());  // one matter while it is open
  const std::string id = missed[0].at("id");
  demo.ok({"finding", "close", id, "--action", "device changed", "--by", "Supt. A", "--at", "2026-10-01"});
  const json later = demo.review("tarnwick", "2026-11-27");
  const std::vector<json> starved = findings_of(later, "starved");
  REQUIRE(starved.size() == 1);
  CHECK(starved[0].at("urgency") == "act");
  const std::string alone = starved[0].at("id");
  CHECK_THAT(demo.ok({"finding", "show", alone, "--as-of", "2026-11-27"}), Contains("below its reserve"));
}

TEST_CASE("unread: when the low mark was met does not move with the day it is looked at", "[e2e][demo]") {
  const Demo demo;
  const auto met = [&](const char* day) {
    const json r = demo.review("brackensound", day);
    return r.at("lubricators").at(0).at("next_refill").at("p50").get<std::string>().substr(0, 10);
  };
  CHECK(met("2026-11-20") == met("2026-11-27"));
  CHECK(met("2026-11-27") < std::string{"2026-11-15"});
}
