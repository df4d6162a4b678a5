#pragma once

#include "base/uuid.hpp"
#include "domain/record.hpp"
#include "storage/database.hpp"
#include "storage/log_repository.hpp"
#include "storage/register_repository.hpp"

#include <cstdlib>
#include <filesystem>
#include <stdexcept>
#include <string>

namespace shaftlog::test {

/// A folder of its own, removed at the end with all that is in it.
class TempDir {
 public:
  TempDir() {
    std::string name = (std::filesystem::temp_directory_path() / "shaftlog-test-XXXXXX").string();
    if (::mkdtemp(name.data()) == nullptr) throw std::runtime_error{"no temporary folder can be made"};
    path_ = name;
  }
  TempDir(const TempDir&) = delete;
  TempDir& operator=(const TempDir&) = delete;
  ~TempDir() {
    std::error_code ignored;
    std::filesystem::remove_all(path_, ignored);
  }
  [[nodiscard]] const std::filesystem::path& path() const noexcept { return path_; }
  std::filesystem::path operator/(const std::string& name) const { return path_ / name; }

 private:
  std::filesystem::path path_;
};

/// The n-th of a row of ids that sort by n.
inline Uuid nth_id(std::uint64_t n) {
  Uuid id;
  id.bytes[6] = 0x70;
  id.bytes[8] = 0x80;
  for (int i = 0; i < 4; ++i) id.bytes[static_cast<std::size_t>(15 - i)] = static_cast<std::uint8_t>(n >> (8 * i));
  return id;
}

constexpr std::int64_t kDay0_s = 1'767'225'600;  // 2026-01-01T00:00:00Z
inline Stamp day(int n) { return {from_unix(kDay0_s + std::int64_t{n} * 86'400), std::chrono::minutes{0}}; }

/// A fresh file in a folder of its own, with one vessel T-01: shafts port and stbd, lubricator lub1 feeding both,
/// gun gun1, grease G-1.
class TempDb {
 public:
  TempDb() : file{dir / "shaftlog.db"}, db{Database::create(file)} {
    const RegisterRepository reg{db};
    const RegisterRepository::Change change{day(0).utc, "tester", false};
    WriteTransaction transaction{db};
    Grease g;
    g.code = "G-1";
    g.thickener = Thickener::lithium_complex;
    g.density = Density::from_base(920);
    reg.put(g, change);
    grease = g.id;
    vessel = add_vessel("T-01");
    reg.put_shaft(vessel, "port", setting(), change);
    reg.put_shaft(vessel, "stbd", setting(), change);
    reg.put_lubricator(vessel, "lub1", {std::nullopt, cm3(5000), std::nullopt, grease}, change);
    reg.put_gun(vessel, "gun1", {std::nullopt, Volume::from_base(1300)}, change);
    const Register all = reg.load();
    port = all.shafts.at(0).id;
    stbd = all.shafts.at(1).id;
    lubricator = all.lubricators.at(0).id;
    gun = all.guns.at(0).id;
    reg.put_feed({lubricator, port, std::nullopt, Volume::from_base(250), 900}, change);
    reg.put_feed({lubricator, stbd, std::nullopt, Volume::from_base(250), 900}, change);
    transaction.commit();
  }

  VesselId add_vessel(const std::string& code) {
    Vessel v;
    v.code = code;
    v.name = "Test vessel " + code;
    v.time_zone = "UTC";
    RegisterRepository{db}.put(v, {day(0).utc, "tester", false});
    return v.id;
  }

  [[nodiscard]] ShaftSetting setting() const {
    ShaftSetting s;
    s.cavity = cm3(400);
    s.grease = grease;
    return s;
  }

  /// A record of one kind with plausible content, number n of its row.
  [[nodiscard]] Entry entry(Kind kind, std::uint64_t n, int at_day = 1) const {
    Entry e;
    e.head.id = nth_id(n);
    e.head.at = day(at_day);
    e.head.recorded_at = day(at_day);
    e.head.recorded_at.precision = Precision::second;
    e.head.by = "second engineer";
    e.head.source = "typed";
    e.kind = kind;
    e.vessel = vessel;
    switch (kind) {
      case Kind::hours:
        e.shaft = port;
        e.detail = Hours{HoursReading::from_base(3'600'000), false, std::nullopt};
        break;
      case Kind::cycles:
        e.lubricator = lubricator;
        e.detail = Cycles{1234, false};
        break;
      case Kind::level:
        e.lubricator = lubricator;
        e.detail = LevelReading{Level::from_base(4550)};
        break;
      case Kind::refill: {
        e.lubricator = lubricator;
        Refill r;
        r.amount = Amount{"2.5", Unit::kg, Volume::from_base(2'717'391), 1'086'956'522};
        r.before = Level::from_base(2000);
        r.after = Level::from_base(7500);
        r.batch = "B-7";
        e.detail = r;
        break;
      }
      case Kind::greasing: {
        e.shaft = port;
        Greasing g;
        g.amount = Amount{"60", Unit::strokes, cm3(78), 1'300'000};
        g.gun = gun;
        g.ended = Ended::pressure;
        g.purge = Purge::clean;
        e.detail = g;
        break;
      }
      case Kind::alarm:
        e.lubricator = lubricator;
        e.detail = Alarm{AlarmKind::no_pressure, day(at_day + 1)};
        break;
      case Kind::work:
        e.shaft = port;
        e.detail = Work{WorkKind::seal_replaced};
        break;
      case Kind::inspection:
        e.shaft = port;
        e.detail = Inspection{12'000, 35'500, std::nullopt};
        break;
    }
    return e;
  }

  [[nodiscard]] Entry withdrawal(const Entry& of, std::uint64_t n, int recorded_day) const {
    Entry e = of;
    e.head.id = nth_id(n);
    e.head.replaces.reset();
    e.head.withdraws = of.head.id;
    e.head.recorded_at = day(recorded_day);
    e.head.reason = "entered twice";
    e.detail = Withdrawal{};
    return e;
  }

  [[nodiscard]] Entry correction(const Entry& of, std::uint64_t n, int recorded_day) const {
    Entry e = of;
    e.head.id = nth_id(n);
    e.head.replaces = of.head.id;
    e.head.recorded_at = day(recorded_day);
    e.head.reason = "misread";
    return e;
  }

  TempDir dir;
  std::filesystem::path file;
  Database db;
  VesselId vessel;
  ShaftId port, stbd;
  LubricatorId lubricator;
  GunId gun;
  GreaseId grease;
};

}  // namespace shaftlog::test
