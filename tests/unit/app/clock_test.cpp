// A computer whose clock was set back: nothing is lost, and it is said.
#include "app/maintenance.hpp"
#include "app/pack.hpp"
#include "app/record.hpp"
#include "support/temp_db.hpp"

#include <catch2/catch.hpp>

using namespace shaftlog;
using namespace shaftlog::test;

namespace {

FixedClock clock_of(int day_of_year) { return FixedClock{day(day_of_year).utc}; }

Entry drafted(TempDb& t, int at_day, const std::string& meter_h) {
  const std::string at = format_utc(day(at_day).utc);
  Draft d = draft_record(load_register(t.db), day(at_day).utc, Kind::hours,
                         {{"shaft", "port"}, {"at", at}, {"meter_h", meter_h}, {"by", "2/E"}});
  require_sound(d);
  return *d.entry;
}

ShaftSetting setting_of_port(Database& db) { return RegisterRepository{db}.load().shafts.at(0).settings.at(0); }

void set_cavity(Database& db, std::int64_t cavity_cm3, Instant at) {
  const RegisterRepository reg{db};
  const Shaft shaft = reg.load().shafts.at(0);
  ShaftSetting setting = shaft.settings.at(0);
  setting.cavity = cm3(cavity_cm3);
  WriteTransaction transaction{db};
  CHECK(reg.put_shaft(shaft.vessel, shaft.code, setting, {at, "tester", true}) == RegisterRepository::Put::replaced);
  transaction.commit();
}

std::string pack_of(Database& db, const Clock& clock, const std::string& name) {
  PackOptions options;
  options.name = name;
  PackResult result;
  return make_pack(db, clock, options, result);
}

UnpackResult unpack_into(Database& db, const std::string& pack) {
  UnpackOptions options;
  options.join = true;
  return take_pack(db, pack, "x.pack", options);
}

}  // namespace

TEST_CASE("clock set back: records, a correction and a withdrawal count, and the chain holds", "[app][clock]") {
  TempDb t;
  const Entry first = keep_record(t.db, clock_of(40), drafted(t, 39, "100"));
  const Entry second = keep_record(t.db, clock_of(20), drafted(t, 19, "90"));
  Draft corrected = draft_correction(load_register(t.db), day(20).utc, first, {{"meter_h", "101"}});
  require_sound(corrected);
  corrected.entry->head.reason = "misread";
  const Entry correction = keep_record(t.db, clock_of(20), *corrected.entry);
  CHECK(correction.head.recorded_at.utc < first.head.recorded_at.utc);
  withdraw_record(t.db, clock_of(10), format_uuid(second.head.id), "2/E", "entered twice");
  const LogRepository log{t.db};
  CHECK(log.in_force(first.head.id)->head.id == correction.head.id);
  CHECK_FALSE(log.in_force(second.head.id));
  CHECK(log.load_vessel(t.vessel, day(50).utc, std::nullopt).hours.size() == 1);
  CHECK(check(t.db).faults == std::vector<std::string>{});
}

TEST_CASE("clock set back: check tells how many records say they were recorded later than now", "[app][clock]") {
  TempDb t;
  keep_record(t.db, clock_of(40), drafted(t, 39, "100"));
  keep_record(t.db, clock_of(20), drafted(t, 19, "90"));
  const FileCheck behind = check_database(t.file, clock_of(20));
  CHECK(behind.faults.empty());
  CHECK(behind.later.records == 1);
  CHECK(behind.later.newest == day(39).utc);
  CHECK(check_database(t.file, FixedClock{day(39).utc - std::chrono::minutes{50}}).later.records == 0);
  CHECK(check_database(t.file, clock_of(40)).later.records == 0);
}

TEST_CASE("clock set back: packs made then are taken in, and the other side's leave nothing out", "[app][clock]") {
  TempDb ship;
  const TempDir dir;
  Database office = Database::create(dir / "office.db");
  keep_record(ship.db, clock_of(40), drafted(ship, 39, "100"));
  unpack_into(office, pack_of(ship.db, clock_of(40), "T-01"));
  keep_record(ship.db, clock_of(20), drafted(ship, 19, "90"));
  CHECK(unpack_into(office, pack_of(ship.db, clock_of(20), "")).added == 1);
  CHECK(unpack_into(ship.db, pack_of(office, clock_of(41), "office")).added == 0);
  CHECK(check(office).faults == std::vector<std::string>{});
  CHECK(check(office).records == 2);
}

TEST_CASE("clock set back: a row of the register put right then is the later one everywhere", "[app][clock]") {
  TempDb ship;
  const TempDir dir;
  Database office = Database::create(dir / "office.db");
  set_cavity(ship.db, 500, day(40).utc);
  unpack_into(office, pack_of(ship.db, clock_of(40), "T-01"));
  CHECK(setting_of_port(office).cavity == cm3(500));
  SECTION("where it was put right before") {
    set_cavity(ship.db, 300, day(20).utc);
    unpack_into(office, pack_of(ship.db, clock_of(20), ""));
    unpack_into(ship.db, pack_of(office, clock_of(41), "office"));
  }
  SECTION("and where only the other file's moment is known") {
    set_cavity(office, 300, day(20).utc);
    unpack_into(ship.db, pack_of(office, clock_of(20), "office"));
    unpack_into(office, pack_of(ship.db, clock_of(41), ""));
  }
  CHECK(setting_of_port(office).cavity == cm3(300));
  CHECK(setting_of_port(ship.db).cavity == cm3(300));
}
