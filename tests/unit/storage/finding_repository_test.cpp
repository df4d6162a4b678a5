#include "storage/finding_repository.hpp"

#include "base/error.hpp"
#include "support/temp_db.hpp"

#include <catch2/catch.hpp>

using namespace shaftlog;
using namespace shaftlog::test;
using Catch::Matchers::Contains;

namespace {

FindingRemark a_remark(const TempDb& t, std::uint64_t n, int at_day, int recorded_day) {
  FindingRemark r;
  r.id = nth_id(n);
  r.finding = nth_id(500);
  r.kind = "starved";
  r.vessel = t.vessel;
  r.shaft = t.port;
  r.did = FindingAct::closed;
  r.says = "greased; caf\xC3\xA9";
  r.by = "Supt. A";
  r.at = day(at_day);
  r.recorded_at = day(recorded_day);
  r.then = {"act", "it was dry", day(1).utc, day(0).utc, "factor", 1'500'000};
  return r;
}

}  // namespace

TEST_CASE("finding remarks: what is kept is read again, once", "[storage][finding]") {
  TempDb t;
  const FindingRepository remarks{t.db};
  const FindingRemark r = a_remark(t, 1, 5, 6);
  CHECK(remarks.add(r));
  CHECK_FALSE(remarks.add(r));
  const auto kept = remarks.find(r.id);
  REQUIRE(kept);
  CHECK(kept->finding == r.finding);
  CHECK(kept->kind == "starved");
  CHECK(kept->shaft == t.port);
  CHECK_FALSE(kept->lubricator.is_set());
  CHECK(kept->did == FindingAct::closed);
  CHECK(kept->says == r.says);
  CHECK(kept->by == "Supt. A");
  CHECK(kept->at == r.at);
  CHECK(kept->recorded_at == r.recorded_at);
  CHECK(kept->then == r.then);
  CHECK_FALSE(remarks.find(nth_id(2)));
}

TEST_CASE("finding remarks: a view takes what was done by then and written down by then", "[storage][finding]") {
  TempDb t;
  const FindingRepository remarks{t.db};
  remarks.add(a_remark(t, 1, 10, 10));
  remarks.add(a_remark(t, 2, 5, 20));  // done earlier, written down later
  CHECK(remarks.list().size() == 2);
  CHECK(remarks.list().back().id == nth_id(2));  // in the order of writing
  CHECK(remarks.list(day(7).utc).size() == 1);
  CHECK(remarks.list(day(7).utc, day(15).utc).empty());
  CHECK(remarks.list_of(t.vessel, day(30).utc, day(15).utc).size() == 1);
}

TEST_CASE("finding remarks: what cannot be is refused in words, and nothing of it is kept", "[storage][finding]") {
  TempDb t;
  const FindingRepository remarks{t.db};
  const auto refused = [&](FindingRemark r, const char* why) { CHECK_THROWS_WITH(remarks.add(r), Contains(why)); };
  FindingRemark r = a_remark(t, 1, 1, 1);
  r.says.clear();
  refused(r, "needs words");
  r = a_remark(t, 1, 1, 1);
  r.says = "\xFF";
  refused(r, "not UTF-8");
  r = a_remark(t, 1, 1, 1);
  r.finding = {};
  refused(r, "names no finding");
  r = a_remark(t, 1, 1, 1);
  r.then.value_ppm.reset();
  refused(r, "a measure goes with its value");
  r = a_remark(t, 1, 1, 1);
  r.shaft = ShaftId{4711};
  refused(r, "FOREIGN KEY");
  CHECK(remarks.list().empty());
}

TEST_CASE("finding remarks: check tells remarks of one finding that disagree", "[storage][finding]") {
  TempDb t;
  const FindingRepository remarks{t.db};
  remarks.add(a_remark(t, 1, 1, 1));
  remarks.add(a_remark(t, 2, 2, 2));
  CHECK(check(t.db).faults.empty());
  CHECK(check(t.db).finding_remarks == 2);
  FindingRemark r = a_remark(t, 3, 3, 3);
  r.shaft = t.stbd;
  remarks.add(r);
  REQUIRE(check(t.db).faults.size() == 1);
  CHECK_THAT(check(t.db).faults.front(), Contains("name different kinds or subjects"));
}
