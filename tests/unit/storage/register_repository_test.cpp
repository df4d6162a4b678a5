#include "storage/register_repository.hpp"

#include "base/error.hpp"
#include "storage/query.hpp"
#include "support/temp_db.hpp"

#include <catch2/catch.hpp>

using namespace shaftlog;
using namespace shaftlog::test;
using Put = RegisterRepository::Put;

namespace {

const RegisterRepository::Change kKeep{day(1).utc, "chief engineer", false};
const RegisterRepository::Change kReplace{day(2).utc, "chief engineer", true};

std::vector<std::string> changes(Database& db) {
  Query row{db,
            "SELECT table_name || ' ' || row_was || ' ' || at_utc_s || ' ' || ifnull(changed_by, '-') FROM "
            "register_change ORDER BY register_change_id"};
  std::vector<std::string> out;
  while (row.step()) out.emplace_back(row.text(0));
  return out;
}

template <class Call>
Errc refusal(const Call& call) {
  try {
    call();
  } catch (const Error& e) {
    return e.code();
  }
  FAIL("not refused");
  return Errc::usage;
}

}  // namespace

TEST_CASE("register: a vessel is added, known again, and replaced only when asked", "[storage][register]") {
  TempDb t;
  const RegisterRepository reg{t.db};
  Vessel v;
  v.code = "B-01";
  v.name = "Example";
  v.time_zone = "Europe/Lisbon";
  CHECK(reg.put(v, kKeep) == Put::added);
  const VesselId id = v.id;
  CHECK(id.is_set());
  Vessel same = v;
  same.id = {};
  CHECK(reg.put(same, kKeep) == Put::same);
  CHECK(same.id == id);
  Vessel other = v;
  other.imo = "1234567";
  other.group = "sisters";
  CHECK(reg.put(other, kKeep) == Put::differs);
  CHECK_FALSE(reg.load().vessels.at(0).imo);
  CHECK(changes(t.db).empty());
  CHECK(reg.put(other, kReplace) == Put::replaced);
  CHECK(reg.load().vessels.at(0).imo == "1234567");
  CHECK(reg.load().vessels.at(0).id == id);
  REQUIRE(changes(t.db).size() == 1);
  CHECK(
      changes(t.db)[0] ==
      R"(vessel {"code":"B-01","name":"Example","imo":null,"time_zone":"Europe/Lisbon","fleet_group":null} 1767398400 chief engineer)");
}

TEST_CASE("register: a grease keeps what is not known as not known", "[storage][register]") {
  TempDb t;
  const RegisterRepository reg{t.db};
  Grease g;
  g.code = "A-2";
  g.density = Density::from_base(870);
  CHECK(reg.put(g, kKeep) == Put::added);
  const Grease back = reg.load().greases.at(0);
  CHECK(back.code == "A-2");
  CHECK(back.thickener == Thickener::unknown);
  CHECK(back.nlgi.empty());
  CHECK_FALSE(back.sea_safe);
  g.sea_safe = false;
  g.nlgi = "2";
  g.thickener = Thickener::clay;
  CHECK(reg.put(g, kKeep) == Put::differs);
  CHECK(reg.put(g, kReplace) == Put::replaced);
  CHECK(reg.load().greases.at(0).sea_safe == false);
  CHECK(reg.load().greases.at(0).nlgi == "2");
}

TEST_CASE("register: settings of one thing are kept for each moment from which they hold", "[storage][register]") {
  TempDb t;
  const RegisterRepository reg{t.db};
  ShaftSetting later = t.setting();
  later.from = Stamp{day(40).utc, std::chrono::minutes{120}, Precision::day};
  later.position = "fin, port, lower";
  later.cavity.reset();
  later.interval = RunTime::from_base(3'600'000);
  later.interval_days = 90;
  later.reserve = Level::from_base(2500);
  later.meter_rollover = HoursReading::from_base(36'000'000);
  ShaftSetting between = t.setting();
  between.from = day(20);
  CHECK(reg.put_shaft(t.vessel, "port", later, kKeep) == Put::added);
  CHECK(reg.put_shaft(t.vessel, "port", between, kKeep) == Put::added);
  CHECK(reg.put_shaft(t.vessel, "port", later, kKeep) == Put::same);
  const Register all = reg.load();
  REQUIRE(all.shafts.size() == 2);
  CHECK(all.shafts[0].id == t.port);
  REQUIRE(all.shafts[0].settings.size() == 3);
  CHECK_FALSE(all.shafts[0].settings[0].from);
  CHECK(all.shafts[0].settings[1].from == between.from);
  const ShaftSetting& s = all.shafts[0].settings[2];
  CHECK(s.from == later.from);
  CHECK(s.position == "fin, port, lower");
  CHECK_FALSE(s.cavity);
  CHECK(s.interval == later.interval);
  CHECK(s.interval_days == 90);
  CHECK(s.reserve == later.reserve);
  CHECK(s.meter_rollover == later.meter_rollover);
  CHECK(s.grease == t.grease);
  CHECK(all.shafts[1].settings.size() == 1);

  later.interval_days = 30;
  CHECK(reg.put_shaft(t.vessel, "port", later, kKeep) == Put::differs);
  CHECK(reg.load().shafts[0].settings[2].interval_days == 90);
  CHECK(reg.put_shaft(t.vessel, "port", later, kReplace) == Put::replaced);
  CHECK(reg.load().shafts[0].settings[2].interval_days == 30);
  CHECK(reg.load().shafts[0].settings.size() == 3);
}

TEST_CASE("register: guns, lubricators and feeds are replaced with a trace", "[storage][register]") {
  TempDb t;
  const RegisterRepository reg{t.db};
  const GunCalibration gun{std::nullopt, Volume::from_base(1100)};
  CHECK(reg.put_gun(t.vessel, "gun1", gun, kKeep) == Put::differs);
  CHECK(reg.put_gun(t.vessel, "gun1", gun, kReplace) == Put::replaced);
  CHECK(reg.put_gun(t.vessel, "gun1", gun, kKeep) == Put::same);
  LubricatorSetting lub{std::nullopt, cm3(5000), cm3(700), t.grease};
  CHECK(reg.put_lubricator(t.vessel, "lub1", lub, kKeep) == Put::differs);
  CHECK(reg.put_lubricator(t.vessel, "lub1", lub, kReplace) == Put::replaced);
  lub.from = day(9);
  CHECK(reg.put_lubricator(t.vessel, "lub1", lub, kKeep) == Put::added);
  Feed feed{t.lubricator, t.port, std::nullopt, Volume::from_base(0), 900};
  CHECK(reg.put_feed(feed, kKeep) == Put::differs);
  CHECK(reg.put_feed(feed, kReplace) == Put::replaced);
  CHECK(reg.put_feed(feed, kKeep) == Put::same);
  const Register all = reg.load();
  CHECK(all.guns.at(0).calibrations.at(0).per_stroke == Volume::from_base(1100));
  CHECK(all.lubricators.at(0).settings.size() == 2);
  CHECK(all.lubricators.at(0).settings.at(0).low_level == cm3(700));
  CHECK(all.feeds.at(0).dose == Volume::from_base(0));
  CHECK(changes(t.db).size() == 3);
}

TEST_CASE("register: lists are sorted by vessel code, then code", "[storage][register]") {
  TempDb t;
  const RegisterRepository reg{t.db};
  const VesselId a = t.add_vessel("A-01");
  reg.put_shaft(a, "z", t.setting(), kKeep);
  reg.put_shaft(a, "b", t.setting(), kKeep);
  const Register all = reg.load();
  CHECK(all.vessels.at(0).code == "A-01");
  CHECK(all.shafts.at(0).code == "b");
  CHECK(all.shafts.at(1).code == "z");
  CHECK(all.shafts.at(2).code == "port");
}

TEST_CASE("register: what cannot be is refused", "[storage][register]") {
  TempDb t;
  const RegisterRepository reg{t.db};
  Vessel v;
  v.code = "B-01";
  v.time_zone = "UTC";
  Vessel no_code = v;
  no_code.code = "";
  CHECK(refusal([&] { reg.put(no_code, kKeep); }) == Errc::bad_data);
  Vessel no_zone = v;
  no_zone.time_zone = "";
  CHECK(refusal([&] { reg.put(no_zone, kKeep); }) == Errc::bad_data);
  Vessel bad_imo = v;
  bad_imo.imo = "12345";
  CHECK(refusal([&] { reg.put(bad_imo, kKeep); }) == Errc::bad_data);
  Vessel bad_text = v;
  bad_text.name = "\xc3";
  CHECK(refusal([&] { reg.put(bad_text, kKeep); }) == Errc::bad_data);
  Grease weightless;
  weightless.code = "W";
  CHECK(refusal([&] { reg.put(weightless, kKeep); }) == Errc::bad_data);
  CHECK(refusal([&] { reg.put_gun(t.vessel, "g", {std::nullopt, Volume{}}, kKeep); }) == Errc::bad_data);
  CHECK(refusal([&] { reg.put_gun(VesselId{99}, "g", {std::nullopt, cm3(1)}, kKeep); }) == Errc::conflict);
  CHECK(refusal([&] {
          reg.put_lubricator(t.vessel, "l", {std::nullopt, cm3(0), std::nullopt, t.grease}, kKeep);
        }) == Errc::bad_data);
  CHECK(refusal([&] {
          reg.put_lubricator(t.vessel, "l", {std::nullopt, cm3(1), std::nullopt, {}}, kKeep);
        }) == Errc::bad_data);
  ShaftSetting s = t.setting();
  s.reserve = Level::from_base(10'001);
  CHECK(refusal([&] { reg.put_shaft(t.vessel, "p", s, kKeep); }) == Errc::bad_data);
  s = t.setting();
  s.interval_days = 0;
  CHECK(refusal([&] { reg.put_shaft(t.vessel, "p", s, kKeep); }) == Errc::bad_data);
  s = t.setting();
  s.grease = GreaseId{99};
  CHECK(refusal([&] { reg.put_shaft(t.vessel, "port", s, kReplace); }) == Errc::conflict);
  CHECK(changes(t.db).empty());  // nor does the trace of a change that was not made stay
  CHECK(refusal([&] { reg.put_shaft(t.vessel, "new", s, kKeep); }) == Errc::conflict);
  CHECK(single_integer(handle_of(t.db), "SELECT count(*) FROM shaft WHERE code = 'new'") == 0);
  CHECK(refusal([&] { reg.put_feed({t.lubricator, t.port, std::nullopt, cm3(1), 0}, kKeep); }) == Errc::bad_data);
  CHECK(refusal([&] {
          reg.put_feed({LubricatorId{99}, t.port, std::nullopt, cm3(1), 900}, kKeep);
        }) == Errc::not_found);
  const VesselId other = t.add_vessel("T-02");
  reg.put_shaft(other, "port", t.setting(), kKeep);
  const ShaftId elsewhere = reg.load().shafts.back().id;
  CHECK(refusal([&] { reg.put_feed({t.lubricator, elsewhere, std::nullopt, cm3(1), 900}, kKeep); }) == Errc::conflict);
}
