#include "analysis/dossier.hpp"

#include <catch2/catch.hpp>

using namespace shaftlog;

namespace {

Instant on(int day) { return from_unix(1700000000 + std::int64_t{86400} * day); }

Finding finding(FindingKind kind, ShaftId shaft, LubricatorId lubricator, Urgency urgency) {
  Finding f;
  f.kind = kind;
  f.shaft = shaft;
  f.lubricator = lubricator;
  f.urgency = urgency;
  f.summary = "as told";
  return f;
}

}  // namespace

TEST_CASE("told: of the shaft, of what feeds it and of the whole ship, no others", "[analysis][dossier]") {
  VesselReview r;
  r.findings = {finding(FindingKind::starved, ShaftId{1}, {}, Urgency::act),
                finding(FindingKind::starved, ShaftId{2}, {}, Urgency::act),
                finding(FindingKind::line_leak, {}, LubricatorId{1}, Urgency::act),
                finding(FindingKind::line_leak, {}, LubricatorId{2}, Urgency::act),
                finding(FindingKind::missed_cycles, ShaftId{2}, LubricatorId{1}, Urgency::plan),
                finding(FindingKind::records_missing, {}, {}, Urgency::plan),
                finding(FindingKind::record_suspect, ShaftId{1}, {}, Urgency::note)};
  std::vector<Told> told;
  told_by(told, r, ShaftId{1}, {LubricatorId{1}}, on(0));
  REQUIRE(told.size() == 3);
  CHECK(told[0].kind == FindingKind::starved);
  CHECK(told[1].kind == FindingKind::line_leak);
  CHECK(told[2].kind == FindingKind::records_missing);
}

TEST_CASE("told: a matter goes on from day to day, keeps its first words, and rises once", "[analysis][dossier]") {
  std::vector<Told> told;
  VesselReview r;
  r.findings = {finding(FindingKind::greasing_overdue, ShaftId{1}, {}, Urgency::watch)};
  told_by(told, r, ShaftId{1}, {}, on(0));
  r.findings[0].urgency = Urgency::act;
  r.findings[0].summary = "later";
  told_by(told, r, ShaftId{1}, {}, on(30));
  told_by(told, r, ShaftId{1}, {}, on(60));
  REQUIRE(told.size() == 1);
  CHECK(told[0].first == on(0));
  CHECK(told[0].last == on(60));
  CHECK(told[0].urgency == Urgency::watch);
  CHECK(told[0].first_act == on(30));
  CHECK(told[0].summary == "as told");
  told_by(told, r, ShaftId{1}, {}, on(150));  // not told for three months: another occasion
  REQUIRE(told.size() == 2);
  CHECK(told[1].first == on(150));
}
