#include "analysis/causes.hpp"

#include <set>

#include <catch2/catch.hpp>

using namespace shaftlog;

TEST_CASE("causes: every kind of finding has causes, each with checks", "[analysis][causes]") {
  for (int k = 0; k < 14; ++k) {
    const auto kind = static_cast<FindingKind>(k);
    INFO(name_of(kind));
    int rows = 0;
    for (const CauseRow& r : cause_table()) rows += r.kind == kind ? 1 : 0;
    CHECK(rows > 0);
  }
  for (const CauseRow& r : cause_table()) {
    INFO(r.text);
    CHECK_FALSE(r.checks.empty());
    CHECK(r.text.find_last_of('.') != r.text.size() - 1);
  }
}

TEST_CASE("causes: every caution exists and no cause stands twice", "[analysis][causes]") {
  std::set<std::tuple<FindingKind, std::string, std::string>> seen;
  for (const CauseRow& r : cause_table()) {
    INFO(r.text);
    std::string required;
    for (const Sign& s : r.signs) required += s.is_required ? s.symptom : "";
    CHECK(seen.emplace(r.kind, required, r.text).second);
    for (const std::string& key : r.caution_keys) CHECK_FALSE(caution_text(key).empty());
  }
  CHECK(caution_text("no such key").empty());
}

TEST_CASE("causes: every kind of suspect record has a cause of its own", "[analysis][causes]") {
  for (int k = 0; k < 13; ++k) {
    const std::string word{name_of(static_cast<SuspectKind>(k))};
    INFO(word);
    CHECK_FALSE(ranked_causes({FindingKind::record_suspect, {word}, {}}).empty());
  }
  CHECK(ranked_causes({FindingKind::record_suspect, {}, {}}).empty());
}

TEST_CASE("causes: the likeliest first by what is seen", "[analysis][causes]") {
  const auto first = [](FindingKind kind, std::vector<std::string> present, std::vector<std::string> absent = {}) {
    return ranked_causes({kind, std::move(present), std::move(absent)}).at(0).text;
  };
  CHECK_THAT(first(FindingKind::missed_cycles, {"alarms_none", "counter_stopped"}), Catch::Contains("switched off"));
  CHECK_THAT(first(FindingKind::missed_cycles, {"alarms_none", "one_shaft", "share_of_one_shaft"}),
             Catch::Contains("metering piston"));
  CHECK_THAT(first(FindingKind::missed_cycles, {"all_shafts", "alarms_no_pressure", "after_refill"}),
             Catch::Contains("air"));
  CHECK_THAT(first(FindingKind::missed_cycles, {"all_shafts", "after_setting_change", "alarms_none"}),
             Catch::Contains("set otherwise"));
  CHECK_THAT(first(FindingKind::abnormal_washout, {"step", "one_shaft", "after_contact"}), Catch::Contains("contact"));
  CHECK_THAT(first(FindingKind::abnormal_washout, {"step", "one_shaft"}, {"after_contact"}),
             Catch::Contains("seal lets grease out"));
  CHECK_THAT(first(FindingKind::abnormal_washout, {"step", "all_shafts"}), Catch::Contains("common cause"));
  CHECK_THAT(first(FindingKind::seal_wear, {"slow_rise", "one_shaft"}), Catch::Contains("wearing"));
  CHECK_THAT(first(FindingKind::line_leak, {"alarms_no_pressure"}), Catch::Contains("leaks"));
}

TEST_CASE("causes: work under pressure carries the injection caution", "[analysis][causes]") {
  const auto causes = ranked_causes({FindingKind::starved, {"overdue"}, {}});
  REQUIRE_FALSE(causes.empty());
  REQUIRE_FALSE(causes[0].cautions.empty());
  CHECK_THAT(causes[0].cautions[0], Catch::Contains("surgical emergency"));
}
