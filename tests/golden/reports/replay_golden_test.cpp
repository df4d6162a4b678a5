#include "reports/replay_report.hpp"
#include "support/run.hpp"
#include "support/sample_review.hpp"

#include <catch2/catch.hpp>

using namespace shaftlog;
using namespace shaftlog::test;

TEST_CASE("golden: a replay as text, for machines and as tables", "[golden][reports]") {
  SampleReview s;
  std::vector<Finding> weaker = s.findings;
  weaker.erase(weaker.begin() + 1);  // the leak is not seen yet
  weaker[0].urgency = Urgency::watch;
  const std::vector<ReplayStep> steps{
      {day(186).utc, {}}, {day(193).utc, weaker}, {day(200).utc, s.findings}, {day(207).utc, {s.findings[1]}}};
  const std::vector<FindingLife> lives = tell_lives(steps);
  const ReplayView view{s.reg, steps, lives, "fleet", 12, true};
  CHECK(not_approved("reports/replay.txt", replay_text(view, {100, false}, true)) == "");
  CHECK(not_approved("reports/replay_steps.jsonl", replay_steps_json(view)) == "");
  CHECK(not_approved("reports/replay_lives.json", replay_lives_json(view)) == "");
  CHECK(not_approved("reports/replay_lives.csv", replay_lives_csv(view)) == "");
  CHECK(not_approved("reports/replay_steps.csv", replay_steps_csv(view)) == "");
}

TEST_CASE("golden: a replay that would have found nothing says so", "[golden][reports]") {
  const SampleReview s;
  const std::vector<ReplayStep> steps{{day(186).utc, {}}};
  const ReplayView view{s.reg, steps, {}, "vessel T-01", 1, false};
  CHECK(replay_text(view, {100, false}, false) ==
        "What would have been found, and when: vessel T-01\n"
        "1 review from " +
            format_day(day(186).utc) + " to " + format_day(day(186).utc) +
            ", each from what had happened and was recorded by then\n"
            "Nothing would have been found.\n");
}
