// What plain methods say of the demo fleet, whose true stories are known (demo_db/README.md).
#include "support/csv_rows.hpp"
#include "support/run.hpp"

#include <algorithm>
#include <stdexcept>

#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

using namespace shaftlog::test;
using Catch::Matchers::Contains;
using nlohmann::json;

namespace {

const json& series_of(const json& all, const std::string& shaft) {
  for (const json& s : all.at("series"))
    if (s.at("shaft") == shaft) return s;
  throw std::runtime_error{shaft + " is not there"};
}

bool signals(const json& series, const std::string& method) {
  for (const json& m : series.at("methods"))
    if (m.at("method") == method) return m.at("signals");
  throw std::runtime_error{method + " is not there"};
}

}  // namespace

TEST_CASE("review --plain: a worn seal signals, its healthy twin does not, and no finding is made", "[e2e][plain]") {
  const Aboard aboard;
  aboard.ok({"demo"});
  const auto run = [&](std::vector<std::string> more) {
    more.insert(more.begin(), {"review", "--plain", "--as-of", "2026-10-01", "--vessel", "aldervane"});
    return aboard.ok(more);
  };
  const std::string text = run({"--json"});
  const json all = json::parse(text);
  CHECK_FALSE(all.contains("findings"));
  const auto& series = all.at("series");
  REQUIRE(series.size() >= 3);
  std::size_t methods = 0;
  for (std::size_t i = 0; i < series.size(); ++i) {
    CHECK((series[i].at("figure") == "hours_between_alarms") == (i >= 3));
    methods += series[i].at("methods").size();
  }
  for (const char* method : {"fixed_rule", "cusum", "mann_kendall", "change_point"}) {
    INFO(method);
    CHECK(signals(series_of(all, "fin_stbd"), method));
    CHECK_FALSE(signals(series_of(all, "fin_port"), method));
  }
  for (const json& s : all.at("series"))
    for (const json& m : s.at("methods")) {
      if (m.at("since").is_null()) continue;
      // The record that a signal names is one of the series, and can be shown.
      bool is_there = false;
      for (const json& v : s.at("values")) is_there |= v.at("record") == m.at("record") && v.at("at") == m.at("since");
      CHECK(is_there);
      CHECK_THAT(aboard.ok({"show", m.at("record").get<std::string>()}), Contains("greasing"));
    }
  CHECK(run({"--json", "--threads", "1"}) == text);
  CHECK(csv_rows(run({"--csv"})).size() == 1 + methods);
  CHECK_THAT(run({}), Contains("makes no findings of it") && Contains("SIGNAL up since"));
}

TEST_CASE("review --plain: a lubricator's ratios are a series of their own", "[e2e][plain]") {
  const Aboard aboard;
  aboard.ok({"demo"});
  const json all =
      json::parse(aboard.ok({"review", "--plain", "--as-of", "2026-10-01", "--vessel", "vespergale", "--json"}));
  const json& series = all.at("series");
  const auto last =
      std::find_if(series.rbegin(), series.rend(), [](const json& s) { return s.at("figure") == "delivery_ratio"; });
  REQUIRE(last != series.rend());
  CHECK(last->at("lubricator") == "lub1");
  CHECK(last->at("values").size() >= 8);
}
