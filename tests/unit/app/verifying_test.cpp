#include "app/finding.hpp"
#include "app/record.hpp"
#include "app/verify.hpp"
#include "base/error.hpp"
#include "storage/log_repository.hpp"
#include "support/temp_db.hpp"

#include <algorithm>

#include <catch2/catch.hpp>

using namespace shaftlog;
using namespace shaftlog::test;
using Catch::Matchers::Contains;

namespace {

const FixedClock kClock{day(40).utc};

/// Meter readings of a week apart; the fourth lies a digit too low.
struct Log : TempDb {
  Log() {
    LogRepository log{db};
    for (std::uint64_t n = 1; n <= 6; ++n) {
      Entry e = entry(Kind::hours, n, static_cast<int>(n) * 5);
      const auto h = static_cast<std::int64_t>(1000 + 100 * n);
      e.detail = Hours{HoursReading::from_base((n == 4 ? h / 10 : h) * 3600), false, std::nullopt};
      log.add(e);
    }
  }
  VerificationPlan plan(const VerifyRequest& request) { return plan_verification(db, kClock.now_s(), request); }
  std::vector<Verification> keep(const VerificationPlan& p, const std::string& by = "C/E") {
    return keep_verifications(db, kClock, p.reg, p.records, by);
  }
};

std::vector<Uuid> ids(const std::vector<Entry>& entries) {
  std::vector<Uuid> out;
  for (const Entry& e : entries) out.push_back(e.head.id);
  return out;
}

}  // namespace

TEST_CASE("verify: of a vessel the doubtful record is shown and left out until it is named", "[app][verify]") {
  Log t;
  const VerificationPlan all = t.plan({{}, "T-01", "", "C/E"});
  CHECK(ids(all.records) == std::vector{nth_id(1), nth_id(2), nth_id(3), nth_id(5), nth_id(6)});
  REQUIRE(all.doubtful.size() == 1);
  CHECK(all.doubtful[0].entry.head.id == nth_id(4));
  CHECK_FALSE(all.doubtful[0].is_named);
  CHECK_FALSE(all.doubtful[0].why.empty());
  CHECK(t.keep(all).size() == 5);
  const VerificationPlan named = t.plan({{format_uuid(nth_id(4))}, "T-01", "", "C/E"});
  CHECK(ids(named.records) == std::vector{nth_id(4)});
  REQUIRE(named.doubtful.size() == 1);
  CHECK(named.doubtful[0].is_named);
  CHECK(t.keep(named).size() == 1);
  const VerificationPlan rest = t.plan({{}, "T-01", "", "C/E"});
  CHECK(rest.records.empty());
  CHECK(rest.doubtful.empty());
}

TEST_CASE("verify: a doubt that somebody has closed holds nothing back", "[app][verify]") {
  Log t;
  const FindingBook book = list_findings(t.db, kClock.now_s(), {});
  const auto doubt = std::find_if(book.cases.begin(), book.cases.end(), [](const FindingCase& c) {
    return c.now && c.now->kind == FindingKind::record_suspect;
  });
  REQUIRE(doubt != book.cases.end());
  keep_remark(t.db, kClock, {format_uuid(doubt->id), FindingAct::closed, "read again: it is so", "C/E", ""});
  const VerificationPlan all = t.plan({{}, "T-01", "", "C/E"});
  CHECK(all.records.size() == 6);
  CHECK(all.doubtful.empty());
}

TEST_CASE("verify: until a day means the whole day, and what others verified is not asked for again", "[app][verify]") {
  Log t;
  CHECK(t.keep(t.plan({{}, "T-01", "2026-01-11", "C/E"})).size() == 2);
  CHECK(ids(t.plan({{}, "T-01", "", "relief C/E"}).records) == std::vector{nth_id(3), nth_id(5), nth_id(6)});
  // Named, a record is verified by a second person too, and not twice by one.
  CHECK(t.keep(t.plan({{format_uuid(nth_id(1))}, "", "", "relief C/E"}), "relief C/E").size() == 1);
  const VerificationPlan again = t.plan({{format_uuid(nth_id(1))}, "", "", "C/E"});
  CHECK(again.records.empty());
  CHECK(again.were_verified == 1);
  const Entry e = get_standing_record(t.db, format_uuid(nth_id(1)));
  const auto by = verifications_of(t.db, e);
  REQUIRE(by.size() == 2);
  CHECK(by[0].at.utc == kClock.now_s());
}

TEST_CASE("verify: what was corrected or withdrawn cannot be verified, nor a withdrawal", "[app][verify]") {
  Log t;
  LogRepository log{t.db};
  log.add(t.correction(*log.find(nth_id(1)), 20, 30));
  log.add(t.withdrawal(*log.find(nth_id(2)), 21, 30));
  CHECK_THROWS_WITH(t.plan({{format_uuid(nth_id(1))}, "", "", "C/E"}),
                    Contains("in force is " + format_uuid(nth_id(20))));
  CHECK_THROWS_WITH(t.plan({{format_uuid(nth_id(2))}, "", "", "C/E"}), Contains("was withdrawn"));
  CHECK_THROWS_WITH(t.plan({{format_uuid(nth_id(21))}, "", "", "C/E"}), Contains("a withdrawal cannot be verified"));
}

TEST_CASE("verify: a record that was corrected between looking and keeping stops all of it", "[app][verify]") {
  Log t;
  const VerificationPlan all = t.plan({{}, "T-01", "", "C/E"});
  LogRepository log{t.db};
  log.add(t.correction(*log.find(nth_id(6)), 20, 39));
  CHECK_THROWS_WITH(t.keep(all), Contains("is not in force any more"));
  CHECK(t.plan({{}, "T-01", "", "C/E"}).records.size() == 5);
}

TEST_CASE("verify: nobody and nothing are refused", "[app][verify]") {
  Log t;
  CHECK_THROWS_WITH(t.plan({{}, "T-01", "", ""}), Contains("--by is missing"));
  CHECK_THROWS_WITH(t.plan({{}, "", "", "C/E"}), Contains("nothing is named"));
  CHECK_THROWS_WITH(t.plan({{"0000"}, "", "2026-01-01", "C/E"}), Contains("--until goes with --vessel"));
  CHECK_THROWS_WITH(t.plan({{}, "T-09", "", "C/E"}), Contains("T-09"));
}
