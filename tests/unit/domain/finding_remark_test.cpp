#include "domain/finding_remark.hpp"

#include <vector>

#include <catch2/catch.hpp>

using namespace shaftlog;

namespace {

FindingRemark remark(FindingAct did, int recorded_s, const char* by) {
  FindingRemark r;
  r.did = did;
  r.by = by;
  r.at.utc = from_unix(10'000 - recorded_s);  // the later it was written down, the earlier it was done
  r.recorded_at.utc = from_unix(recorded_s);
  return r;
}

}  // namespace

TEST_CASE("finding: with no remark it is open, with a note too", "[domain][finding]") {
  CHECK(state_of({}).status == FindingStatus::open);
  const std::vector<FindingRemark> noted{remark(FindingAct::noted, 1, "a")};
  CHECK(state_of(noted).status == FindingStatus::open);
  CHECK(state_of(noted).notes == 1);
  CHECK(state_of(noted).by.empty());
}

TEST_CASE("finding: the remark written down last decides, not the one done last", "[domain][finding]") {
  std::vector<FindingRemark> all{remark(FindingAct::taken, 1, "a")};
  CHECK(state_of(all).status == FindingStatus::in_hand);
  all.push_back(remark(FindingAct::closed, 2, "b"));
  all.push_back(remark(FindingAct::noted, 3, "c"));
  CHECK(is_before(all[0], all[1]));
  CHECK(state_of(all).status == FindingStatus::closed);
  CHECK(state_of(all).by == "b");
  CHECK(state_of(all).since.utc == from_unix(9'998));
  all.push_back(remark(FindingAct::reopened, 4, "d"));
  CHECK(state_of(all).status == FindingStatus::open);
  CHECK(state_of(all).by == "d");
  CHECK(state_of(all).notes == 4);
}

TEST_CASE("finding: words of what is done are read as they are written", "[domain][finding]") {
  for (const FindingAct a : {FindingAct::taken, FindingAct::noted, FindingAct::closed, FindingAct::reopened})
    CHECK(parse_finding_act(name_of(a)) == a);
  CHECK_FALSE(parse_finding_act("Closed"));
}
