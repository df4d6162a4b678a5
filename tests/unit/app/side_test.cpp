#include "app/side.hpp"

#include "app/pack.hpp"
#include "app/record.hpp"
#include "base/error.hpp"
#include "storage/log_repository.hpp"
#include "storage/query.hpp"
#include "support/temp_db.hpp"

#include <catch2/catch.hpp>

using namespace shaftlog;
using namespace shaftlog::test;

namespace {

const FixedClock kClock{day(40).utc};

std::string pack_of(Database& db, const std::string& name) {
  PackResult ignored;
  return make_pack(db, kClock, {"", false, name}, ignored);
}

/// The office has record 1, the ship record 2, and each has the other's.
struct Fleet {
  Fleet() : ship{Database::create(dir / "ship.db")} {
    LogRepository{office.db}.add(office.entry(Kind::work, 1));
    take_pack(ship, pack_of(office.db, "office"), "x.pack", {});
    Entry e = office.entry(Kind::work, 2);
    LogRepository{ship}.add(e);  // the register came over whole: the keys are the same
    take_pack(office.db, pack_of(ship, "T-01"), "x.pack", {});
  }
  static Entry corrected(const TempDb& like, std::uint64_t of, std::uint64_t id) {
    Entry e = like.correction(like.entry(Kind::work, of), id, 3);
    e.head.by = "Supt. A";
    return e;
  }
  TempDir dir;
  TempDb office;
  Database ship;
};

}  // namespace

TEST_CASE("side: until it is said, ship and office correct each other's records", "[app][side]") {
  Fleet f;
  CHECK(side_of(f.office.db) == Side::both);
  CHECK(LogRepository{f.office.db}.add(Fleet::corrected(f.office, 2, 10)));
  CHECK(LogRepository{f.ship}.add(Fleet::corrected(f.office, 1, 11)));
  CHECK(take_pack(f.ship, pack_of(f.office.db, "office"), "x.pack", {}).conflicts.empty());
}

TEST_CASE("side: an office alters only what was first written there", "[app][side]") {
  Fleet f;
  say_side(f.office.db, kClock, Side::office, "Supt. A");
  CHECK(side_of(f.office.db) == Side::office);
  LogRepository log{f.office.db};
  CHECK_THROWS_WITH(log.add(Fleet::corrected(f.office, 2, 10)),
                    Catch::Contains("was first written in the file of T-01, and this is an office's file"));
  CHECK_THROWS_WITH(log.add(f.office.withdrawal(f.office.entry(Kind::work, 2), 12, 3)), Catch::Contains("T-01"));
  CHECK_THROWS_WITH(withdraw_record(f.office.db, kClock, format_uuid(nth_id(2)), "Supt. A", "wrong"),
                    Catch::Contains("T-01"));
  CHECK(log.in_force(nth_id(2))->head.id == nth_id(2));
  CHECK(single_integer(handle_of(f.office.db), "SELECT count(*) FROM entry") == 2);
  CHECK(log.add(Fleet::corrected(f.office, 1, 11)));
  CHECK(check(f.office.db).faults.empty());
  // What the ship corrected itself comes in by packs, and as often as it likes.
  const Entry aboard = Fleet::corrected(f.office, 2, 13);
  LogRepository{f.ship}.add(aboard);
  CHECK(take_pack(f.office.db, pack_of(f.ship, "T-01"), "x.pack", {}).added == 1);
  CHECK_FALSE(log.add(aboard));
  CHECK(log.in_force(nth_id(2))->head.id == nth_id(13));
  say_side(f.office.db, kClock, Side::both, "");
  CHECK(log.add(Fleet::corrected(f.office, 13, 14)));
}

TEST_CASE("side: a ship is told who else altered its records, and of nothing else", "[app][side]") {
  Fleet f;
  say_side(f.ship, kClock, Side::ship, "C/E");
  LogRepository log{f.office.db};
  log.add(Fleet::corrected(f.office, 1, 10));  // the office's own
  log.add(f.office.entry(Kind::work, 20));
  log.add(Fleet::corrected(f.office, 20, 21));  // and one that comes with its correction
  CHECK(take_pack(f.ship, pack_of(f.office.db, "office"), "x.pack", {}).conflicts.empty());
  log.add(Fleet::corrected(f.office, 2, 11));
  const UnpackResult r = take_pack(f.ship, pack_of(f.office.db, "office"), "x.pack", {});
  REQUIRE(r.conflicts.size() == 1);
  CHECK_THAT(r.conflicts[0], Catch::Contains("first written here, was corrected by Supt. A elsewhere"));
  CHECK(LogRepository{f.ship}.add(Fleet::corrected(f.office, 11, 12)));  // aboard it is put right again
  CHECK(LogRepository{f.ship}.in_force(nth_id(2))->head.id == nth_id(12));
}

TEST_CASE("side: what was said is kept, the last word counts", "[app][side]") {
  TempDb t;
  for (const Side side : {Side::ship, Side::office, Side::both}) {
    say_side(t.db, kClock, side, "C/E");
    CHECK(side_of(t.db) == side);
    CHECK(parse_side(name_of(side)) == side);
  }
  CHECK(single_integer(handle_of(t.db), "SELECT count(*) FROM side") == 3);
  CHECK_THROWS_WITH(execute(handle_of(t.db), "DELETE FROM side"), Catch::Contains("is never removed"));
  CHECK_FALSE(parse_side("shore").has_value());
}
