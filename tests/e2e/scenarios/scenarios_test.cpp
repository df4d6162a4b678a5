// Worked scenarios: a few records in through the program, what an expert expects of them out. The arithmetic of each
// is in the comment beside it (volume over running hours); faults and limits are common practice, no source.
#include "support/run.hpp"

#include <algorithm>
#include <string>
#include <vector>

#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

using nlohmann::json;

namespace {

class Scenario {
 public:
  explicit Scenario(const std::string& folder) {
    ok({"init"});
    import(folder);
  }
  void import(const std::string& folder) {
    ok({"import", std::string{SHAFTLOG_SOURCE_DIR} + "/tests/e2e/scenarios/" + folder});
  }
  std::string ok(const std::vector<std::string>& args) { return aboard_.ok(args); }
  json review(const std::string& as_of) { return json::parse(ok({"review", "--json", "--as-of", as_of})); }

 private:
  shaftlog::test::Aboard aboard_;
};

std::vector<json> findings(const json& review, const std::string& kind) {
  std::vector<json> out;
  for (const json& f : review.at("findings")) {
    if (f.at("kind") == kind) out.push_back(f);
  }
  return out;
}

// Findings about bearings; what is missing or due after a scenario's last record is not what it asks for.
int faults(const json& review) {
  int n = 0;
  for (const json& f : review.at("findings")) {
    const std::string kind = f.at("kind");
    if (kind == "abnormal_washout" || kind == "seal_wear" || kind == "less_grease_taken" || kind == "missed_cycles" ||
        kind == "line_leak" || kind == "starved" || kind == "alarm_rate" || kind == "water_ingress" ||
        kind == "wear_sign") {
      ++n;
    }
  }
  return n;
}

json shaft_of(const json& review, const std::string& shaft) {
  for (const json& s : review.at("shafts")) {
    if (s.at("shaft") == shaft) return s;
  }
  FAIL("no shaft " << shaft);
  return {};
}

bool holds(const json& text, const std::string& part) {
  return text.get<std::string>().find(part) != std::string::npos;
}

bool any_holds(const json& texts, const std::string& part) {
  return std::any_of(texts.begin(), texts.end(), [&](const json& t) { return holds(t, part); });
}

}  // namespace

TEST_CASE("scenario 1: a healthy manual shaft is left alone", "[e2e][scenario]") {
  Scenario s{"01_healthy"};
  // 460 cm3 / 1855 h = 0.248 cm3/h
  const json review = s.review("2025-06-12");
  CHECK(faults(review) == 0);
  CHECK(review.at("findings").empty());
  const json w = shaft_of(review, "port").at("washout_cm3_per_h");
  CHECK(w.at("value").get<double>() == Approx(0.248).margin(0.02));
  CHECK(w.at("low").get<double>() < 0.248);
  CHECK(w.at("high").get<double>() > 0.248);
}

TEST_CASE("scenario 2: three units make one amount, and a later calibration rewrites nothing", "[e2e][scenario]") {
  Scenario s{"02_units"};
  const auto values = [&](const std::string& n) {
    return json::parse(s.ok({"show", "0194a000-0000-7000-8000-00000000000" + n, "--json"})).at("record").at("values");
  };
  // 60 x 1.30 = 78.0; 0.070 kg / 0.92 = 76.1
  CHECK(values("1").at("amount") == 60);
  CHECK(values("1").at("volume_cm3").get<double>() == Approx(78.0));
  CHECK(values("2").at("unit") == "kg");
  CHECK(values("2").at("volume_cm3").get<double>() == Approx(76.1).margin(0.02));
  CHECK(values("3").at("amount") == 78);
  // a gun that nobody named: 60 x 0.86 to 60 x 2.7, kept and not used
  CHECK_FALSE(values("4").contains("volume_cm3"));
  const std::string before = s.ok({"list", "--kind", "greasing"});
  CHECK(before.find("52 to 162 cm3") != std::string::npos);
  CHECK(faults(s.review("2025-05-01")) == 0);
  s.import("02_units_recalibrated");
  CHECK(s.ok({"list", "--kind", "greasing"}) == before);
}

TEST_CASE("scenario 3: a slow climb is wear of one seal", "[e2e][scenario]") {
  Scenario s{"03_drift"};
  const json review = s.review("2025-11-03");
  const auto wear = findings(review, "seal_wear");
  REQUIRE(wear.size() == 1);
  CHECK(faults(review) == 1);
  const json& f = wear[0];
  CHECK(f.at("shaft") == "stbd");
  // began about greasing 7 (2025-06-30), seen at 9 to 11 (25 days apart, greasing 1 on 2025-01-31)
  CHECK(f.at("first_seen").get<std::string>() >= "2025-08-01");
  CHECK(f.at("first_seen").get<std::string>() <= "2025-10-09");
  CHECK(f.at("began").at("low").get<std::string>() <= "2025-07-25");
  CHECK(f.at("began").at("high").get<std::string>() >= "2025-06-05");
  CHECK(any_holds(f.at("likely_causes"), "seal"));
  CHECK_FALSE(f.at("checks").empty());
}

TEST_CASE("scenario 4: a step at a contact is told at the first or second greasing", "[e2e][scenario]") {
  Scenario s{"04_step"};
  const json review = s.review("2025-08-20");
  const auto found = findings(review, "abnormal_washout");
  REQUIRE(found.size() == 1);
  CHECK(findings(review, "seal_wear").empty());
  const json& f = found[0];
  CHECK(f.at("shaft") == "port");
  CHECK(f.at("first_seen").get<std::string>() <= "2025-07-26");  // greasing 7 is on 2025-06-30, 8 on 2025-07-25
  CHECK(f.at("quantities").at("factor").at("value").get<double>() == Approx(2.47).margin(0.5));  // 0.617 / 0.249
  CHECK(holds(f.at("summary"), "contact"));
  CHECK(any_holds(f.at("likely_causes"), "contact"));
}

TEST_CASE("scenario 5: an emptied cavity is a lower bound, not an improvement", "[e2e][scenario]") {
  Scenario s{"05_emptied"};
  const json review = s.review("2025-10-20");
  const auto starved = findings(review, "starved");
  REQUIRE(starved.size() == 1);
  const json shaft = shaft_of(review, "port");
  CHECK(shaft.at("washout_cm3_per_h").at("value").get<double>() > 0.23);  // 400/1900 = 0.21 would be the mistake
  // 80 % of 400 cm3 is gone after 1280 h at 0.25: about 620 h below the reserve of 20 %
  const json hours = shaft.at("starved_h");
  CHECK(hours.at("value").get<double>() == Approx(620).margin(200));
  CHECK(hours.at("low").get<double>() < hours.at("value").get<double>());
  CHECK(hours.at("high").get<double>() > hours.at("value").get<double>());
  CHECK(holds(starved[0].at("summary"), "lower bound"));
}

TEST_CASE("scenario 6: more than the cavity holds is asked about, corrected with trail, or a leak", "[e2e][scenario]") {
  Scenario s{"06_too_much"};
  s.import("06_entry");
  const std::string id = "0194a000-0000-7000-8000-000000000650";
  const json first = s.review("2025-07-02");
  const auto suspect = findings(first, "record_suspect");
  REQUIRE(suspect.size() == 1);
  CHECK(suspect[0].at("evidence")[0] == id);
  SECTION("a slip, corrected") {
    s.import("06_corrected");
    const json review = s.review("2025-07-02");
    CHECK(findings(review, "record_suspect").empty());
    CHECK(faults(review) == 0);
    CHECK(shaft_of(review, "port").at("washout_cm3_per_h").at("value").get<double>() == Approx(0.248).margin(0.02));
    const std::string shown = s.ok({"show", id});
    CHECK(shown.find("650") != std::string::npos);
    CHECK(shown.find("one zero too many") != std::string::npos);
  }
  SECTION("confirmed: no back-pressure") {
    s.import("06_confirmed");
    const auto found = findings(s.review("2025-07-02"), "abnormal_washout");
    REQUIRE(found.size() == 1);
    CHECK(found[0].at("urgency") == "act");
    CHECK(any_holds(found[0].at("checks"), "stop pumping"));
  }
}

TEST_CASE("scenario 8: a main-line leak", "[e2e][scenario]") {
  Scenario s{"08_line_leak"};
  const json review = s.review("2025-01-30T10:00Z");
  const auto leak = findings(review, "line_leak");
  REQUIRE(leak.size() == 1);
  CHECK(faults(review) == 1);
  // 3340 / (1920 x 0.25 x 4) = 1.74 +- 0.07 (k = 2); excess 1420 cm3
  const json ratio = leak[0].at("quantities").at("delivery_ratio");
  CHECK(ratio.at("value").get<double>() == Approx(1.74).margin(0.08));
  CHECK(leak[0].at("quantities").at("excess").at("value").get<double>() == Approx(1420).margin(150));
  CHECK(review.at("lubricators")[0].at("cycle_ratio").at("value").get<double>() == Approx(1.0).margin(0.03));
  CHECK(leak[0].at("urgency") == "act");
}

TEST_CASE("scenario 10: a stuck device that no alarm told", "[e2e][scenario]") {
  SECTION("manual greasings tell which shaft") {
    Scenario s{"10_stuck_device"};
    const json review = s.review("2025-02-11T10:00Z");
    const auto found = findings(review, "missed_cycles");
    REQUIRE(found.size() == 1);
    CHECK(faults(review) == 1);
    CHECK(found[0].at("shaft") == "s3");
    // 2150 / 2880 = 0.75 +- 0.05 (k = 2)
    CHECK(found[0].at("quantities").at("delivery_ratio").at("value").get<double>() == Approx(0.75).margin(0.05));
    CHECK(holds(found[0].at("summary"), "no alarm"));
  }
  SECTION("without them it is one of four") {
    Scenario s{"10_no_manual_greasing"};
    const auto found = findings(s.review("2025-02-11T10:00Z"), "missed_cycles");
    REQUIRE(found.size() == 1);
    CHECK(found[0].at("shaft").is_null());
    CHECK(holds(found[0].at("summary"), "unknown"));
  }
}

TEST_CASE("scenario 13: the automatic system was switched off", "[e2e][scenario]") {
  Scenario s{"13_switched_off"};
  const json review = s.review("2025-01-24T10:00Z");
  const auto found = findings(review, "missed_cycles");
  REQUIRE(found.size() == 1);
  CHECK(faults(review) == 1);
  CHECK(found[0].at("urgency") == "act");
  CHECK(review.at("findings")[0].at("kind") == "missed_cycles");
  CHECK(found[0].at("quantities").at("cycle_ratio").at("value").get<double>() == Approx(0.0).margin(0.02));
  CHECK(review.at("lubricators")[0].at("delivery_ratio").is_null());  // nothing of nothing is not 0
  for (const char* shaft : {"s1", "s2", "s3", "s4"}) {                // 205/350 = 0.586 ...
    CHECK(shaft_of(review, shaft).at("washout_cm3_per_h").at("value").get<double>() == Approx(0.59).margin(0.12));
  }
}

TEST_CASE("scenario 16: hour meters roll over, are replaced, and are misread", "[e2e][scenario]") {
  SECTION("a roll-over: 9998.4 to 0012.6 is 14.2 h") {
    Scenario s{"16_a_rollover"};
    const json review = s.review("2025-01-08");
    CHECK(findings(review, "record_suspect").empty());
    CHECK(shaft_of(review, "port").at("running_h").get<double>() == Approx(10012.6).margin(0.05));
  }
  SECTION("a replacement: 8412 and 23 make 8435") {
    Scenario s{"16_b_replaced"};
    const json review = s.review("2025-01-10");
    CHECK(findings(review, "record_suspect").empty());
    CHECK(shaft_of(review, "port").at("running_h").get<double>() == Approx(8435).margin(0.05));
  }
  SECTION("8142 after 8412 is asked about, not used") {
    Scenario s{"16_c_digits"};
    const json review = s.review("2025-01-12");
    REQUIRE(findings(review, "record_suspect").size() == 1);
    CHECK(shaft_of(review, "port").at("running_h").get<double>() == Approx(8412).margin(0.05));
  }
  SECTION("31 h in half a day cannot be") {
    Scenario s{"16_d_impossible"};
    const json review = s.review("2025-01-10");
    REQUIRE(findings(review, "record_suspect").size() == 1);
    CHECK(shaft_of(review, "port").at("running_h").get<double>() == Approx(8431).margin(0.05));
  }
}

TEST_CASE("scenario 17: one greasing entered on two tablets is counted once", "[e2e][scenario]") {
  SECTION("the same shaft, two people, two clocks") {
    Scenario s{"17_duplicate"};
    const json review = s.review("2025-07-02");
    REQUIRE(findings(review, "record_suspect").size() == 1);
    CHECK(faults(review) == 0);
    CHECK(shaft_of(review, "port").at("washout_cm3_per_h").at("value").get<double>() == Approx(0.26).margin(0.02));
  }
  SECTION("port and starboard twenty minutes apart are two") {
    Scenario s{"17_two_shafts"};
    CHECK(findings(s.review("2025-07-02"), "record_suspect").empty());
  }
}

TEST_CASE("scenario 19: all shafts step with a change of grease: one cause", "[e2e][scenario]") {
  Scenario s{"19_grease_change"};
  const json review = s.review("2025-09-20");
  const auto mixed = findings(review, "grease_mixed");
  REQUIRE(mixed.size() == 1);
  CHECK(faults(review) == 0);
  CHECK(mixed[0].at("quantities").at("factor").at("value").get<double>() == Approx(1.98).margin(0.25));
  CHECK(holds(mixed[0].at("summary"), "no purge"));
  CHECK_FALSE(holds(mixed[0].at("summary"), "ncompatible"));
}
