// A replay says at each step what a review of that day would have said, and tells the lives of its findings.
#include "support/csv_rows.hpp"
#include "support/run.hpp"

#include <algorithm>
#include <map>
#include <set>
#include <sstream>

#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

using namespace shaftlog::test;
using Catch::Matchers::Contains;
using nlohmann::json;

namespace {

using Words = std::vector<std::string>;

std::vector<json> steps_of(const std::string& lines) {
  std::vector<json> out;
  std::istringstream in{lines};
  for (std::string line; std::getline(in, line);) out.push_back(json::parse(line));
  return out;
}

}  // namespace

TEST_CASE("replay: each step finds what review --as-of --known finds", "[e2e][replay]") {
  const Aboard aboard;
  aboard.ok({"demo"});
  const Words span{"--from", "2025-01-15", "--to", "2026-09-30", "--step", "100d", "--json"};
  Words words{"replay"};
  words.insert(words.end(), span.begin(), span.end());
  const std::string lines = aboard.ok(words);
  const std::vector<json> steps = steps_of(lines);
  REQUIRE(steps.size() == 7);
  std::size_t findings = 0;
  for (const json& step : steps) {
    const std::string as_of = step.at("as_of");
    INFO(as_of);
    const json review = json::parse(aboard.ok({"review", "--json", "--as-of", as_of, "--known", as_of}));
    CHECK(step.at("findings") == review.at("findings"));
    findings += step.at("findings").size();
  }
  CHECK(findings > 20);  // the law is not held by saying nothing

  words.insert(words.end(), {"--threads", "1"});
  CHECK(aboard.ok(words) == lines);

  // One ship of the fleet: the same findings, for what its sisters teach is used all the same.
  words = {"replay", "--vessel", "tarnwick"};
  words.insert(words.end(), span.begin(), span.end());
  const std::vector<json> ship = steps_of(aboard.ok(words));
  REQUIRE(ship.size() == steps.size());
  for (std::size_t i = 0; i < steps.size(); ++i) {
    json of_ship = json::array();
    for (const json& f : steps[i].at("findings"))
      if (f.at("vessel") == "tarnwick") of_ship.push_back(f);
    CHECK(ship[i].at("findings") == of_ship);
  }
}

TEST_CASE("replay: lives, rows and text tell the same as the steps", "[e2e][replay]") {
  const Aboard aboard;
  aboard.ok({"demo"});
  const Words scope{"--vessel", "tarndale", "--from", "2026-03-01", "--to", "2026-09-30", "--step", "2w"};
  const auto run = [&](const Words& more) {
    Words words{"replay"};
    words.insert(words.end(), scope.begin(), scope.end());
    words.insert(words.end(), more.begin(), more.end());
    return aboard.ok(words);
  };
  const std::vector<json> steps = steps_of(run({"--json"}));
  const json lives = json::parse(run({"--json", "--lives"})).at("lives");
  std::map<std::string, std::map<std::string, std::string>> shown;  // time, id -> urgency
  for (const json& s : steps)
    for (const json& f : s.at("findings")) shown[s.at("as_of")][f.at("id")] = f.at("urgency");
  std::size_t told = 0;
  for (const json& life : lives) {
    const std::set<std::string> ids = life.at("ids").get<std::set<std::string>>();
    for (const json& part : life.at("course")) {
      for (const json& s : steps) {
        const std::string at = s.at("as_of");
        if (at < part.at("from") || at > part.at("to")) continue;
        const auto& then = shown[at];
        CHECK(std::count_if(then.begin(), then.end(), [&](const auto& x) {
                return ids.contains(x.first) && x.second == part.at("urgency");
              }) == 1);
        ++told;
      }
    }
  }
  std::size_t findings = 0;
  for (const auto& [at, then] : shown) findings += then.size();
  CHECK(findings > 5);
  CHECK(told == findings);
  CHECK(csv_rows(run({"--csv", "--steps"})).size() == findings + 1);

  // The pump that stopped in April 2026 is found at the first step after its evidence sufficed.
  const auto stopped = std::find_if(lives.begin(), lives.end(), [](const json& life) {
    return life.at("kind") == "missed_cycles" && life.at("lubricator") == "lub1";
  });
  REQUIRE(stopped != lives.end());
  const std::string first_seen = stopped->at("first_seen"), first_shown = stopped->at("first_shown");
  CHECK(first_seen <= first_shown);
  CHECK(first_shown < std::string{"2026-06-01"});
  CHECK(stopped->at("gone").is_null());
  CHECK_THAT(run({}), Contains("missed cycles") && !Contains("gone " + first_shown.substr(0, 10)));

  const std::vector<json> only = steps_of(run({"--json", "--kind", "missed_cycles"}));
  REQUIRE(only.size() == steps.size());
  for (const json& s : only)
    for (const json& f : s.at("findings")) CHECK(f.at("kind") == "missed_cycles");
}

TEST_CASE("replay: records brought in later are unknown to the steps, and that is said", "[e2e][replay]") {
  const Aboard aboard;
  aboard.ok({"init"});
  write_text(aboard.dir / "log/vessels.csv", "vessel,name,time_zone\nT-01,Testholm,UTC\n");
  write_text(aboard.dir / "log/greases.csv", "grease,density_g_cm3\nG-1,0.92\n");
  write_text(aboard.dir / "log/shafts.csv", "vessel,shaft,cavity_cm3,interval_h,grease\nT-01,fin_port,400,300,G-1\n");
  write_text(aboard.dir / "log/hours.csv",
             "vessel,shaft,at,meter_h\nT-01,fin_port,2025-01-01,0\nT-01,fin_port,2025-03-01,500\n");
  aboard.ok({"import", "log"});
  const Words words{"replay", "--from", "2025-03-05", "--to", "2025-03-12", "--step", "7d"};
  CHECK_THAT(aboard.ok(words), Contains("2 records of this time") && Contains("--whenever-recorded"));
  Words whenever = words;
  whenever.emplace_back("--whenever-recorded");
  CHECK_THAT(aboard.ok(whenever), !Contains("2 records") && Contains("greasing overdue"));
}
