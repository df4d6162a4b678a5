#include "storage/verification_repository.hpp"

#include "base/error.hpp"
#include "storage/chain.hpp"
#include "storage/query.hpp"
#include "storage/side_repository.hpp"
#include "support/temp_db.hpp"

#include <catch2/catch.hpp>

using namespace shaftlog;
using namespace shaftlog::test;
using Catch::Matchers::Contains;

namespace {

Verification verification(const TempDb& t, std::uint64_t n, std::uint64_t of, const std::string& by = "chief") {
  return {nth_id(1000 + n), nth_id(of), t.vessel, day(9), by};
}

}  // namespace

TEST_CASE("verification: what is kept is read back, once, the first one first", "[storage][verification]") {
  TempDb t;
  LogRepository{t.db}.add(t.entry(Kind::hours, 1));
  VerificationRepository all{t.db};
  Verification first = verification(t, 2, 1), second = verification(t, 1, 1, "second chief");
  second.at = day(10);
  CHECK(all.add(second));
  CHECK(all.add(first));
  CHECK_FALSE(all.add(first));
  CHECK(all.of(t.vessel, nth_id(1)) == std::vector{first, second});
  CHECK(all.list() == std::vector{first, second});
  CHECK(all.of(t.vessel, nth_id(2)).empty());
  CHECK(all.find(first.id) == first);
  CHECK_FALSE(all.find(nth_id(7)));
  const CheckResult checked = check(t.db);
  CHECK(checked.faults == std::vector<std::string>{});
  CHECK(checked.verifications == 2);
}

TEST_CASE("verification: a correction of a verified record is not verified", "[storage][verification]") {
  TempDb t;
  LogRepository log{t.db};
  log.add(t.entry(Kind::hours, 1));
  VerificationRepository{t.db}.add(verification(t, 1, 1));
  log.add(t.correction(t.entry(Kind::hours, 1), 2, 3));
  ListQuery query;
  query.unverified_only = true;
  const auto left = log.list(query);
  REQUIRE(left.size() == 1);
  CHECK(left[0].head.id == nth_id(2));
}

TEST_CASE("verification: a listing of what nobody has verified goes by what was said by then",
          "[storage][verification]") {
  TempDb t;
  LogRepository log{t.db};
  for (const std::uint64_t n : {1U, 2U, 3U}) log.add(t.entry(Kind::hours, n));
  VerificationRepository{t.db}.add(verification(t, 1, 2));
  ListQuery query;
  query.unverified_only = true;
  CHECK(log.list(query).size() == 2);
  query.known = day(8).utc;
  CHECK(log.list(query).size() == 3);
}

TEST_CASE("verification: one that says too little is refused, and nothing is kept", "[storage][verification]") {
  TempDb t;
  VerificationRepository all{t.db};
  Verification v = verification(t, 1, 1);
  v.by.clear();
  CHECK_THROWS_WITH(all.add(v), Contains("does not say who"));
  v = verification(t, 1, 1);
  v.by = "\xff";
  CHECK_THROWS_WITH(all.add(v), Contains("by: byte 1 is not UTF-8"));
  v = verification(t, 1, 1);
  v.record = {};
  CHECK_THROWS_WITH(all.add(v), Contains("names no record"));
  v = verification(t, 1, 1);
  v.vessel = {};
  CHECK_THROWS_WITH(all.add(v), Contains("names no vessel"));
  CHECK(all.list().empty());
}

TEST_CASE("verification: none is changed or removed", "[storage][verification]") {
  TempDb t;
  VerificationRepository{t.db}.add(verification(t, 1, 1));
  CHECK_THROWS_WITH(execute(handle_of(t.db), "UPDATE verification SET at_utc_s = 1"), Contains("never changed"));
  CHECK_THROWS_WITH(execute(handle_of(t.db), "DELETE FROM verification"), Contains("never removed"));
}

TEST_CASE("verification: an office verifies what was first written here, and nothing else", "[storage][verification]") {
  TempDb t;
  LogRepository log{t.db};
  log.add(t.entry(Kind::hours, 1));
  execute(handle_of(t.db),
          "INSERT INTO origin (origin_id, uuid, name) VALUES (2, x'0102030405060708090a0b0c0d0e0f10', 'T-01')");
  log.add(t.entry(Kind::hours, 2), LinkPlace{2, 1, {}});
  VerificationRepository before{t.db};
  CHECK(before.add(verification(t, 2, 2)));  // nobody said yet whose file it is
  SideRepository{t.db}.say(Side::office, day(9).utc, "superintendent");
  VerificationRepository all{t.db};
  WriteTransaction transaction{t.db};
  CHECK(log.add(t.entry(Kind::hours, 3)));
  CHECK(all.add(verification(t, 1, 1)));
  CHECK(all.add(verification(t, 3, 3)));
  CHECK_THROWS_WITH(all.add(verification(t, 4, 2)), Contains("was first written in the file of T-01"));
  CHECK_FALSE(all.add(verification(t, 2, 2)));  // was there: a folder may be imported again
  CHECK(all.add(verification(t, 5, 77)));       // of a record that is not here yet
}

TEST_CASE("verification: check tells one of another vessel's record, or of a withdrawal", "[storage][verification]") {
  TempDb t;
  LogRepository log{t.db};
  log.add(t.entry(Kind::hours, 1));
  log.add(t.entry(Kind::hours, 2));
  log.add(t.withdrawal(t.entry(Kind::hours, 2), 3, 3));
  const VesselId other = t.add_vessel("T-02");
  VerificationRepository all{t.db};
  Verification v = verification(t, 1, 1);
  v.vessel = other;
  all.add(v);
  all.add(verification(t, 2, 3));
  const auto faults = check(t.db).faults;
  REQUIRE(faults.size() == 2);
  CHECK_THAT(faults[0], Contains("which is of another vessel"));
  CHECK_THAT(faults[1], Contains("which is a withdrawal"));
}
