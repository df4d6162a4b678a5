#include "reports/review_report.hpp"

#include "support/sample_review.hpp"

#include <catch2/catch.hpp>

using namespace shaftlog;
using namespace shaftlog::test;
using Catch::Matchers::Contains;

namespace {

ReviewView view_of(const SampleReview& s) { return {s.as_of, "1.2.3", s.reg, s.findings, s.vessels, {}, "fleet"}; }

}  // namespace

TEST_CASE("review text: urgency is always a word, with colour and without", "[reports][review]") {
  const SampleReview s;
  for (const bool has_colour : {false, true}) {
    const std::string text = review_text(view_of(s), {100, has_colour}, false);
    for (const char* word : {"ACT", "PLAN", "watch", "note"}) CHECK_THAT(text, Contains(word));
    CHECK((text.find('\x1b') != std::string::npos) == has_colour);
  }
}

TEST_CASE("review text: a caution that several findings share is said once", "[reports][review]") {
  const SampleReview s;
  const std::string text = review_text(view_of(s), {200, false}, false);
  const std::string caution = "isolate and lock the fin";
  const std::size_t first = text.find(caution);
  REQUIRE(first != std::string::npos);
  CHECK(text.find(caution, first + 1) == std::string::npos);
}

TEST_CASE("review text: no line is wider than the terminal but for a word that is", "[reports][review]") {
  const SampleReview s;
  const std::string text = review_text(view_of(s), {60, false}, false);
  const std::string part = text.substr(0, text.find("\nTo watch"));
  std::size_t begin = 0;
  int lines = 0;
  while (begin < part.size()) {
    const std::size_t end = std::min(part.find('\n', begin), part.size());
    CHECK(end - begin <= 60);
    begin = end + 1;
    ++lines;
  }
  CHECK(lines > 20);
}

TEST_CASE("review text: nothing found is said", "[reports][review]") {
  SampleReview s;
  s.findings.clear();
  for (VesselReview& v : s.vessels) v.findings.clear();
  CHECK_THAT(review_text(view_of(s), {100, false}, false), Contains("no shaft asks for attention"));
}

TEST_CASE("review text: where nothing can be found nothing is called in order", "[reports][review]") {
  SampleReview s;
  s.findings.clear();
  for (VesselReview& v : s.vessels) v.findings.clear();
  const std::string text = review_text(view_of(s), {200, false}, false);
  CHECK_THAT(text, Contains("Nothing can be said of a shaft that lacks running hours, or greasings and a lubricator's "
                            "readings: T-02 rudder_stock."));
  CHECK_THAT(text, Contains("T-01    in order") && Contains("T-02    not known"));
  for (ShaftState& shaft : s.vessels[0].shafts) shaft.is_judged = &shaft == &s.vessels[0].shafts.front();
  const std::string less = review_text(view_of(s), {200, false}, false);
  CHECK_THAT(less, Contains("2 shafts that lack running hours") && Contains("in part known"));
  for (ShaftState& shaft : s.vessels[0].shafts) shaft.is_judged = true;
  s.vessels[1].shafts[0].is_judged = true;
  CHECK_THAT(review_text(view_of(s), {200, false}, false), !Contains("Nothing can be said"));
}

TEST_CASE("review text: many ships in order are only counted, unless all are wanted", "[reports][review]") {
  SampleReview s;
  for (int i = 0; i < 40; ++i) {
    const VesselId id{100 + i};
    s.reg.vessels.push_back({id, "X-" + std::to_string(i), "X", std::nullopt, "UTC", std::nullopt});
    VesselReview& quiet = s.vessels.emplace_back();
    quiet.vessel = id;
    quiet.shafts.emplace_back().is_judged = true;
  }
  CHECK_THAT(review_text(view_of(s), {100, false}, false), Contains("and 40 ships in order"));
  CHECK_THAT(review_text(view_of(s), {100, false}, false), !Contains("X-17"));
  CHECK_THAT(review_text(view_of(s), {100, false}, true), Contains("X-17"));
}

TEST_CASE("review json: what is not known is null, never 0", "[reports][review]") {
  const SampleReview s;
  const std::string json = review_json(view_of(s));
  const std::string rudder = json.substr(json.find("\"shaft\": \"rudder_stock\",\n      \"running_h\""));
  for (const char* name : {"running_h", "washout_cm3_per_h", "trend_pct_per_1000h", "cavity_fill_pct", "starved_h",
                           "due_at", "due_h", "alarms_per_1000h"})
    CHECK_THAT(rudder, Contains("\"" + std::string{name} + "\": null"));
}

TEST_CASE("review text: who has a finding in hand stands with it; a closed one stands apart", "[reports][review]") {
  const SampleReview s;
  ReviewView view = view_of(s);
  view.states[s.findings[0].id] = {FindingStatus::in_hand, day(199), "Supt. A", "", 1};
  view.states[s.findings[1].id] = {FindingStatus::closed, day(199), "Supt. B", "line sealed", 1};
  Outcome outcome;
  outcome.verdict = Verdict::too_early;
  outcome.says = "no two levels lie after it: too early to say";
  view.outcomes[s.findings[1].id] = outcome;
  const std::string text = review_text(view, {200, false}, false);
  CHECK_THAT(text, Contains("in hand of Supt. A since 2026-07-19 00:00"));
  CHECK_THAT(text, Contains("1 closed and still standing"));
  CHECK_THAT(text, !Contains("PLAN   next port"));
  CHECK_THAT(text, Contains("closed on 2026-07-19 00:00 by Supt. B: line sealed; still standing: no two levels"));
  const std::size_t apart = text.find("Closed, still standing");
  REQUIRE(apart != std::string::npos);
  CHECK(text.find("line leak") > apart);  // only there
  CHECK_THAT(findings_csv(view), Contains(",closed,"));
}

TEST_CASE("review json: the status of a finding is the one that was given to it", "[reports][review]") {
  const SampleReview s;
  ReviewView view = view_of(s);
  CHECK_THAT(review_json(view), !Contains("in_hand"));
  view.states[s.findings.front().id] = {FindingStatus::in_hand, day(3), "Mate", "", 1};
  CHECK_THAT(review_json(view), Contains("\"status\": \"in_hand\""));
}

TEST_CASE("review csv: a row a finding, a shaft, a lubricator, and a heading each", "[reports][review]") {
  const SampleReview s;
  const auto rows = [](const std::string& csv) { return std::count(csv.begin(), csv.end(), '\n'); };
  CHECK(rows(findings_csv(view_of(s))) == 5);
  CHECK(rows(shafts_csv(view_of(s))) == 4);
  CHECK(rows(lubricators_csv(view_of(s))) == 2);
}
