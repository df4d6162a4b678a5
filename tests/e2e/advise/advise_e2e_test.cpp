// What advise says of the demo fleet, whose true stories are known (demo_db/README.md).
#include "support/csv_rows.hpp"
#include "support/run.hpp"

#include <algorithm>

#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

using namespace shaftlog::test;
using Catch::Matchers::Contains;
using nlohmann::json;

namespace {

const json& shaft_of(const json& advice, const std::string& vessel, const std::string& shaft) {
  for (const json& s : advice.at("shafts"))
    if (s.at("vessel") == vessel && s.at("shaft") == shaft) return s;
  throw std::runtime_error{vessel + " " + shaft + " is not there"};
}

}  // namespace

TEST_CASE("advise: causes first, intervals and doses of the demo fleet", "[e2e][advise]") {
  const Aboard aboard;
  aboard.ok({"demo"});
  const std::vector<std::string> words{"advise", "--as-of", "2026-10-01", "--json", "--compare", "--days", "90"};
  const std::string text = aboard.ok(words);
  const json advice = json::parse(text);
  REQUIRE(advice.at("shafts").size() == 39);

  // A seal that wears: the cause comes first, and nobody is told to wait longer.
  const json& worn = shaft_of(advice, "aldervane", "fin_stbd");
  REQUIRE(worn.at("causes_first").size() == 1);
  CHECK(worn.at("causes_first")[0] == "seal wear (plan)");
  CHECK(worn.at("verdict") == "keep");
  // A grease that all four share: each is told of it.
  for (const char* fin : {"fin_fwd_port", "fin_fwd_stbd", "fin_aft_port", "fin_aft_stbd"}) {
    const json& mixed = shaft_of(advice, "kestrelholm", fin);
    REQUIRE(mixed.at("causes_first").size() == 1);
    CHECK(mixed.at("causes_first")[0] == "grease mixed (plan)");
    CHECK(mixed.at("verdict") == "keep");
  }
  // The device of one shaft does not deliver: nothing arrives there, all of it on its sisters.
  CHECK(shaft_of(advice, "tarnwick", "fin_aft_port").at("arrives").at("value") == 0);
  CHECK(shaft_of(advice, "tarnwick", "fin_fwd_port").at("arrives").at("value") > 0.9);
  CHECK(shaft_of(advice, "tarnwick", "fin_aft_port").at("as_if_mended") == true);
  // A healthy shaft that is greased often enough.
  const json& healthy = shaft_of(advice, "aldermoor", "fin_port");
  CHECK(healthy.at("p_holds") > 0.95);
  CHECK(healthy.at("longest_h") > healthy.at("present_h"));

  for (const json& s : advice.at("shafts")) {
    INFO(s.at("vessel") << " " << s.at("shaft"));
    if (s.at("verdict") == "unknown") {
      CHECK_FALSE(s.at("reason").is_null());
      CHECK(s.at("longest_h").is_null());
      continue;
    }
    CHECK(s.at("has_limit") != s.at("longest_h").is_null());
    const json& to_sea = s.at("year_now").at("to_sea_cm3");
    CHECK(to_sea.at("low") <= to_sea.at("value"));
    CHECK(to_sea.at("value") <= to_sea.at("high"));
    CHECK(to_sea.at("value") > 0);
  }
  REQUIRE(advice.at("order").size() == 12);
  for (const json& line : advice.at("order")) CHECK(line.at("p50_kg") <= line.at("p90_kg"));
  CHECK(advice.at("peers_compared") > 10);
  CHECK(advice.at("alarm_peers_compared") == 5);
  CHECK(advice.at("alarm_peers").size() == 5);

  std::vector<std::string> one_thread = words;
  one_thread.insert(one_thread.end(), {"--threads", "1"});
  CHECK(aboard.ok(one_thread) == text);

  // One ship is told the same as among all, comparison and all.
  std::vector<std::string> ship = words;
  ship.insert(ship.end(), {"--vessel", "quillhaven"});
  const json of_ship = json::parse(aboard.ok(ship));
  CHECK(of_ship.at("shafts").size() == 3);
  CHECK(of_ship.at("shafts")[0] == shaft_of(advice, "quillhaven", "fin_port"));
  CHECK(of_ship.at("peers_compared") == advice.at("peers_compared"));
  for (const json& p : of_ship.at("peers"))
    CHECK(std::find(advice.at("peers").begin(), advice.at("peers").end(), p) != advice.at("peers").end());
}

TEST_CASE("advise: the text ends with the cautions, the tables have a row each", "[e2e][advise]") {
  const Aboard aboard;
  aboard.ok({"demo"});
  const auto run = [&](std::vector<std::string> more) {
    more.insert(more.begin(), {"advise", "--as-of", "2026-10-01", "--vessel", "tarnwick"});
    return aboard.ok(more);
  };
  const std::string text = run({"--until", "2026-12-31", "--pack-kg", "1"});
  CHECK_THAT(text, Contains("CAUSE FIRST") && Contains("makers' instructions, class and flag decide") &&
                       Contains("grease injection") && Contains("Grease to order until 2026-12-31"));
  CHECK(csv_rows(run({"--csv"})).size() == 5);
  CHECK(csv_rows(run({"--csv", "--days", "30", "--what", "order"})).size() == 2);
  CHECK(csv_rows(run({"--csv", "--shaft", "fin_aft_port"})).size() == 2);
  CHECK(csv_rows(run({"--csv", "--compare", "--what", "peers"})).size() >= 2);
  // Compared with all of the fleet, shown of this ship.
  CHECK(csv_rows(run({"--csv", "--compare", "--what", "alarms"})).size() == 2);
}
