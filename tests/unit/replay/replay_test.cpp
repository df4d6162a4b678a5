#include "analysis/replay.hpp"

#include "support/temp_db.hpp"

#include <catch2/catch.hpp>

using namespace shaftlog;
using shaftlog::test::day;
using shaftlog::test::nth_id;

namespace {

Finding finding(std::uint64_t id, FindingKind kind, Urgency urgency, ShaftId shaft = ShaftId{1},
                LubricatorId lubricator = {}) {
  Finding f;
  f.id = nth_id(id);
  f.vessel = VesselId{1};
  f.shaft = shaft;
  f.lubricator = lubricator;
  f.kind = kind;
  f.urgency = urgency;
  f.first_seen = day(3).utc;
  f.summary = std::to_string(id);
  return f;
}

std::vector<FindingLife> lives_of(const std::vector<std::vector<Finding>>& findings) {
  std::vector<ReplayStep> steps;
  for (std::size_t i = 0; i < findings.size(); ++i) steps.push_back({day(static_cast<int>(7 * i)).utc, findings[i]});
  return tell_lives(steps);
}

}  // namespace

TEST_CASE("replay: a finding lives from the step that first shows it to the last, with its urgencies", "[replay]") {
  const auto f = [](Urgency u) { return finding(1, FindingKind::starved, u); };
  const auto lives = lives_of({{}, {f(Urgency::watch)}, {f(Urgency::watch)}, {f(Urgency::act)}, {}});
  REQUIRE(lives.size() == 1);
  CHECK_FALSE(lives[0].is_standing);
  CHECK(lives[0].shown() == 1);
  CHECK(lives[0].last_shown() == 3);
  REQUIRE(lives[0].stretches.size() == 2);
  CHECK(lives[0].stretches[0].last == 2);
  CHECK(lives[0].stretches[1].urgency == Urgency::act);
  CHECK(lives[0].ids == std::vector<Uuid>{nth_id(1)});
}

TEST_CASE("replay: a finding that comes back goes on with its life, with the gap seen", "[replay]") {
  const Finding f = finding(1, FindingKind::alarm_standing, Urgency::watch);
  const auto lives = lives_of({{f}, {}, {f}});
  REQUIRE(lives.size() == 1);
  REQUIRE(lives[0].stretches.size() == 2);
  CHECK(lives[0].stretches[1].first == 2);
  CHECK(lives[0].is_standing);
}

TEST_CASE("replay: a washout that is told as wear from then on is one matter", "[replay]") {
  const auto lives = lives_of({{finding(1, FindingKind::abnormal_washout, Urgency::watch)},
                               {finding(2, FindingKind::seal_wear, Urgency::plan)},
                               {finding(2, FindingKind::seal_wear, Urgency::plan)}});
  REQUIRE(lives.size() == 1);
  CHECK(lives[0].kind == FindingKind::seal_wear);
  CHECK(lives[0].ids == std::vector<Uuid>{nth_id(1), nth_id(2)});
  REQUIRE(lives[0].stretches.size() == 2);
  CHECK(lives[0].stretches[0].kind == FindingKind::abnormal_washout);
  CHECK(lives[0].summary == "2");
}

TEST_CASE("replay: less grease taken goes on when all shafts are found to take less", "[replay]") {
  const auto lives = lives_of({{finding(1, FindingKind::less_grease_taken, Urgency::plan, ShaftId{1})},
                               {finding(2, FindingKind::less_grease_taken, Urgency::plan, ShaftId{})}});
  REQUIRE(lives.size() == 1);
  CHECK_FALSE(lives[0].shaft.is_set());
}

TEST_CASE("replay: missed cycles of a lubricator go on when the device is named", "[replay]") {
  const LubricatorId lub{1};
  const auto lives = lives_of({{finding(1, FindingKind::missed_cycles, Urgency::plan, {}, lub)},
                               {finding(2, FindingKind::missed_cycles, Urgency::plan, ShaftId{4}, lub)}});
  REQUIRE(lives.size() == 1);
  CHECK(lives[0].shaft == ShaftId{4});
  CHECK_FALSE(lives[0].stretches[0].shaft.is_set());
}

TEST_CASE("replay: other subjects, both at once, a gap, and findings about a record are matters of their own",
          "[replay]") {
  const auto washout = [](std::uint64_t id, ShaftId s) {
    return finding(id, FindingKind::abnormal_washout, Urgency::plan, s);
  };
  CHECK(lives_of({{washout(1, ShaftId{1})}, {washout(2, ShaftId{2})}}).size() == 2);
  CHECK(lives_of({{washout(1, ShaftId{1})}, {washout(1, ShaftId{1}), washout(2, ShaftId{1})}}).size() == 2);
  CHECK(lives_of({{washout(1, ShaftId{1})}, {}, {washout(2, ShaftId{1})}}).size() == 2);
  CHECK(lives_of({{finding(1, FindingKind::record_suspect, Urgency::note)},
                  {finding(2, FindingKind::record_suspect, Urgency::note)}})
            .size() == 2);
  CHECK(lives_of({}).empty());
  CHECK(lives_of({{}, {}}).empty());
}
