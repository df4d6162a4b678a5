#include "storage/register_repository.hpp"

#include "base/error.hpp"
#include "base/text.hpp"
#include "storage/query.hpp"
#include "storage/register_rows.hpp"
#include "storage/register_sql.hpp"

#include <functional>

#include <fmt/format.h>

namespace shaftlog {
namespace {

using Put = RegisterRepository::Put;
using Change = RegisterRepository::Change;

std::optional<std::string> maybe_text(const Query& row, int column) {
  return row.is_null(column) ? std::nullopt : std::optional{std::string{row.text(column)}};
}

std::int64_t from_key(const std::optional<Stamp>& from) { return from ? in_unix_s(from->utc) : -1; }

/// Reads rows of `parent` joined with its settings, sorted by parent and then by `from`.
template <class Parent, class Setting, class Key>
void read_nested(Query& row, std::vector<Parent>& out, std::vector<Setting> Parent::*list,
                 const std::function<Setting(const Query&)>& read) {
  while (row.step()) {
    const auto id = row.key<Key>(0);
    if (out.empty() || out.back().id != id) {
      Parent& p = out.emplace_back();
      p.id = id;
      p.vessel = row.key<VesselId>(1);
      p.code = row.text(2);
    }
    (out.back().*list).push_back(read(row));
  }
}

GunCalibration read_calibration(const Query& row, int c) {
  return {row.maybe_stamp(c), Volume::from_base(row.integer(c + 3))};
}
LubricatorSetting read_lubricator_setting(const Query& row, int c) {
  return {row.maybe_stamp(c), Volume::from_base(row.integer(c + 3)), row.maybe<Volume>(c + 4),
          row.key<GreaseId>(c + 5)};
}
ShaftSetting read_shaft_setting(const Query& row, int c) {
  ShaftSetting s;
  s.from = row.maybe_stamp(c);
  s.position = row.text(c + 3);
  s.cavity = row.maybe<Volume>(c + 4);
  s.interval = row.maybe<RunTime>(c + 5);
  if (const auto days = row.maybe_integer(c + 6)) s.interval_days = static_cast<int>(*days);
  s.reserve = row.maybe<Level>(c + 7);
  s.meter_rollover = row.maybe<HoursReading>(c + 8);
  s.grease = row.key<GreaseId>(c + 9);
  s.water_limit_ppm = row.maybe_integer(c + 10);
  s.iron_limit_ppm_milli = row.maybe_integer(c + 11);
  s.clearance_limit_um = row.maybe_integer(c + 12);
  return s;
}

Vessel read_vessel(const Query& row) {
  Vessel v;
  v.id = row.key<VesselId>(0);
  v.code = row.text(1);
  v.name = row.text(2);
  v.imo = maybe_text(row, 3);
  v.time_zone = row.text(4);
  v.group = maybe_text(row, 5);
  return v;
}

Grease read_grease(const Query& row) {
  Grease g;
  g.id = row.key<GreaseId>(0);
  g.code = row.text(1);
  const auto thickener = parse_thickener(row.text(2));  // "" for NULL: not known
  if (!thickener) {
    throw Error{Errc::damaged, fmt::format("the register is damaged: \"{}\" is no thickener", shown(row.text(2)))};
  }
  g.thickener = *thickener;
  g.nlgi = row.text(3);
  g.density = Density::from_base(row.integer(4));
  if (const auto safe = row.maybe_integer(5)) g.sea_safe = *safe != 0;
  return g;
}

bool is_same(const Vessel& a, const Vessel& b) {
  return a.name == b.name && a.imo == b.imo && a.time_zone == b.time_zone && a.group == b.group;
}
bool is_same(const Grease& a, const Grease& b) {
  return a.thickener == b.thickener && a.nlgi == b.nlgi && a.density == b.density && a.sea_safe == b.sea_safe;
}
bool is_same(const GunCalibration& a, const GunCalibration& b) {
  return a.from == b.from && a.per_stroke == b.per_stroke;
}
bool is_same(const LubricatorSetting& a, const LubricatorSetting& b) {
  return a.from == b.from && a.reservoir == b.reservoir && a.low_level == b.low_level && a.grease == b.grease;
}
bool is_same(const ShaftSetting& a, const ShaftSetting& b) {
  return a.from == b.from && a.position == b.position && a.cavity == b.cavity && a.interval == b.interval &&
         a.interval_days == b.interval_days && a.reserve == b.reserve && a.meter_rollover == b.meter_rollover &&
         a.grease == b.grease && a.water_limit_ppm == b.water_limit_ppm &&
         a.iron_limit_ppm_milli == b.iron_limit_ppm_milli && a.clearance_limit_um == b.clearance_limit_um;
}

void require_text(const std::string& what, std::string_view text) {
  if (const auto at = find_bad_utf8(text)) {
    throw Error{Errc::bad_data, fmt::format("{}: byte {} of \"{}\" is not UTF-8", what, *at + 1, shown(text))};
  }
}
void require_code(const std::string& what, const std::string& code) {
  if (code.empty()) throw Error{Errc::bad_data, fmt::format("{}: the code is empty", what)};
  require_text(what, code);
}
void require_from(const std::string& what, const std::optional<Stamp>& from) {
  if (from && (from->utc < kEarliest || from->utc > kLatest)) {
    throw Error{Errc::bad_data, fmt::format("{}: \"from\" lies outside 1970 to 2099", what)};
  }
}
void require_above_zero(const std::string& what, const char* field, std::optional<std::int64_t> value) {
  if (value && *value <= 0) {
    throw Error{Errc::bad_data, fmt::format("{}: {} is {}, expected more than 0", what, field, *value)};
  }
}

template <class Kind>
std::optional<std::int64_t> base_of(const std::optional<Quantity<Kind>>& q) {
  return q ? std::optional{q->base()} : std::nullopt;
}

/// The key of a gun, lubricator or shaft; made when it is not there.
template <class Key>
Key key_of(Database& db, const char* find_sql, const char* add_sql, VesselId vessel, const std::string& code) {
  Query find{db, find_sql};
  if (find.bind(vessel, code).step()) return find.key<Key>(0);
  Query add{db, add_sql};
  add.run(vessel, code);
  return Key{add.last_id()};
}

/// A row that was looked up by its key stands on `found`: say whether it says the same; when it does not and may be
/// replaced, keep it as it was.
Put compare(Database& db, bool is_equal, std::int64_t row, const register_sql::Keeping& keeping, const Change& change) {
  if (is_equal) return Put::same;
  if (!change.replace) return Put::differs;
  require_text("by", change.by);
  Instant at = change.at;
  if (!change.is_told) {
    Query last{db, register_sql::kLastChange};
    // With a clock set back, the file that has the row as it was before would take this for the older one.
    if (last.bind(keeping.table, row).step()) at = std::max(at, std::min(kLatest, from_unix(last.integer(0) + 1)));
    last.reset();
  }
  Query keep{db, keeping.sql};
  keep.run(at, said(change.by), row);
  return Put::replaced;
}

std::optional<std::string_view> thickener_word(Thickener t) {
  return t == Thickener::unknown ? std::nullopt : std::optional{name_of(t)};
}

}  // namespace

Register load_register(Database& db, std::optional<VesselId> vessel) {
  Register out;
  const auto open = [&](const register_sql::Reading& reading) {
    Query query{db, reading.text(vessel.has_value())};
    if (vessel && *reading.of_vessel != '\0') query.bind(*vessel);
    return query;
  };
  Query vessels = open(register_sql::kVessels);
  while (vessels.step()) out.vessels.push_back(read_vessel(vessels));
  Query greases = open(register_sql::kGreases);
  while (greases.step()) out.greases.push_back(read_grease(greases));
  Query evidence = open(register_sql::kGreaseEvidence);
  while (evidence.step()) {
    const auto word = parse_evidence(evidence.text(2));
    if (!word) {
      throw Error{Errc::damaged,
                  fmt::format("the register is damaged: \"{}\" is no evidence", shown(evidence.text(2)))};
    }
    out.grease_evidence.push_back(
        {evidence.key<GreaseId>(0), evidence.key<GreaseId>(1), *word, std::string{evidence.text(3)}});
  }
  Query guns = open(register_sql::kGuns);
  read_nested<Gun, GunCalibration, GunId>(guns, out.guns, &Gun::calibrations,
                                          [](const Query& row) { return read_calibration(row, 3); });
  Query lubricators = open(register_sql::kLubricators);
  read_nested<Lubricator, LubricatorSetting, LubricatorId>(
      lubricators, out.lubricators, &Lubricator::settings,
      [](const Query& row) { return read_lubricator_setting(row, 3); });
  Query shafts = open(register_sql::kShafts);
  read_nested<Shaft, ShaftSetting, ShaftId>(shafts, out.shafts, &Shaft::settings,
                                            [](const Query& row) { return read_shaft_setting(row, 3); });
  Query feeds = open(register_sql::kFeeds);
  while (feeds.step()) {
    out.feeds.push_back({feeds.key<LubricatorId>(0), feeds.key<ShaftId>(1), feeds.maybe_stamp(2),
                         Volume::from_base(feeds.integer(5)), feeds.integer(6)});
  }
  return out;
}

Register RegisterRepository::load() const { return load_register(*db_, std::nullopt); }

Register RegisterRepository::load_of(std::string_view vessel) const {
  Query find{*db_, register_sql::kFindVessel};
  if (!find.bind(vessel).step()) return load();
  return load_register(*db_, find.key<VesselId>(0));
}

std::vector<RegisterRepository::Replaced> RegisterRepository::list_replaced(VesselId vessel, ShaftId shaft) const {
  std::vector<Replaced> out;
  Query row{*db_, register_sql::kChangesOfShaft};
  row.bind(shaft, vessel);
  while (row.step())
    out.push_back(
        {from_unix(row.integer(2)), std::string{row.text(3)}, std::string{row.text(0)}, std::string{row.text(1)}});
  return out;
}

Put RegisterRepository::put(Vessel& vessel, const Change& change) const {
  const std::string what = fmt::format("vessel \"{}\"", shown(vessel.code));
  require_code(what, vessel.code);
  for (const std::string* text : {&vessel.name, &vessel.time_zone}) require_text(what, *text);
  if (vessel.group) require_text(what, *vessel.group);
  if (vessel.time_zone.empty()) throw Error{Errc::bad_data, fmt::format("{}: it has no time zone", what)};
  if (vessel.imo && imo_digits(*vessel.imo) != vessel.imo) {
    throw Error{Errc::bad_data,
                fmt::format("{}: \"{}\" is no IMO number; expected seven digits", what, shown(*vessel.imo))};
  }
  Query find{*db_, register_sql::kFindVessel};
  if (!find.bind(vessel.code).step()) {
    Query add{*db_, register_sql::kAddVessel};
    add.run(vessel.code, vessel.name, vessel.imo, vessel.time_zone, vessel.group);
    vessel.id = VesselId{add.last_id()};
    return Put::added;
  }
  const Vessel found = read_vessel(find);
  find.reset();
  vessel.id = found.id;
  const Put put = compare(*db_, is_same(found, vessel), found.id.value, register_sql::kKeepVessel, change);
  if (put == Put::replaced) {
    Query set{*db_, register_sql::kSetVessel};
    set.run(vessel.name, vessel.imo, vessel.time_zone, vessel.group, vessel.id);
  }
  return put;
}

Put RegisterRepository::put(Grease& grease, const Change& change) const {
  const std::string what = fmt::format("grease \"{}\"", shown(grease.code));
  require_code(what, grease.code);
  require_text(what, grease.nlgi);
  require_above_zero(what, "the density in mg/cm3", grease.density.base());
  Query find{*db_, register_sql::kFindGrease};
  if (!find.bind(grease.code).step()) {
    Query add{*db_, register_sql::kAddGrease};
    add.run(grease.code, thickener_word(grease.thickener), said(grease.nlgi), grease.density, grease.sea_safe);
    grease.id = GreaseId{add.last_id()};
    return Put::added;
  }
  const Grease found = read_grease(find);
  find.reset();
  grease.id = found.id;
  const Put put = compare(*db_, is_same(found, grease), found.id.value, register_sql::kKeepGrease, change);
  if (put == Put::replaced) {
    Query set{*db_, register_sql::kSetGrease};
    set.run(thickener_word(grease.thickener), said(grease.nlgi), grease.density, grease.sea_safe, grease.id);
  }
  return put;
}

Put RegisterRepository::put(const GreaseEvidence& evidence) const {
  const std::string what = "evidence about two greases";
  require_text(what, evidence.reference);
  if (!evidence.grease.is_set() || !evidence.other.is_set()) {
    throw Error{Errc::bad_data, fmt::format("{}: it names no grease", what)};
  }
  if (evidence.grease == evidence.other) throw Error{Errc::bad_data, fmt::format("{}: both are the same", what)};
  Query add{*db_, register_sql::kAddGreaseEvidence};
  add.run(evidence.grease, evidence.other, name_of(evidence.evidence), said(evidence.reference));
  return add.changes() != 0 ? Put::added : Put::same;
}

Put RegisterRepository::put_gun(VesselId vessel, const std::string& code, const GunCalibration& row,
                                const Change& change) const {
  const std::string what = fmt::format("gun \"{}\"", shown(code));
  require_code(what, code);
  require_from(what, row.from);
  require_above_zero(what, "the volume per stroke in mm3", row.per_stroke.base());
  Savepoint whole{*db_};  // the thing and its setting
  const auto gun = key_of<GunId>(*db_, register_sql::kFindGun, register_sql::kAddGun, vessel, code);
  Query find{*db_, register_sql::kFindGunCalibration};
  if (!find.bind(gun, from_key(row.from)).step()) {
    Query add{*db_, register_sql::kAddGunCalibration};
    add.run(gun, utc_s(row.from), offset_min(row.from), precision_code(row.from), row.per_stroke);
    whole.keep();
    return Put::added;
  }
  const std::int64_t id = find.integer(0);
  const bool is_equal = is_same(read_calibration(find, 1), row);
  find.reset();
  const Put put = compare(*db_, is_equal, id, register_sql::kKeepGunCalibration, change);
  if (put == Put::replaced) {
    Query set{*db_, register_sql::kSetGunCalibration};
    set.run(offset_min(row.from), precision_code(row.from), row.per_stroke, id);
  }
  whole.keep();
  return put;
}

Put RegisterRepository::put_lubricator(VesselId vessel, const std::string& code, const LubricatorSetting& row,
                                       const Change& change) const {
  const std::string what = fmt::format("lubricator \"{}\"", shown(code));
  require_code(what, code);
  require_from(what, row.from);
  require_above_zero(what, "the reservoir in mm3", row.reservoir.base());
  if (row.low_level && row.low_level->base() < 0) {
    throw Error{Errc::bad_data, fmt::format("{}: the low level is below 0", what)};
  }
  if (!row.grease.is_set()) throw Error{Errc::bad_data, fmt::format("{}: it names no grease", what)};
  Savepoint whole{*db_};  // the thing and its setting
  const auto lubricator =
      key_of<LubricatorId>(*db_, register_sql::kFindLubricator, register_sql::kAddLubricator, vessel, code);
  Query find{*db_, register_sql::kFindLubricatorSetting};
  if (!find.bind(lubricator, from_key(row.from)).step()) {
    Query add{*db_, register_sql::kAddLubricatorSetting};
    add.run(lubricator, utc_s(row.from), offset_min(row.from), precision_code(row.from), row.reservoir, row.low_level,
            row.grease);
    whole.keep();
    return Put::added;
  }
  const std::int64_t id = find.integer(0);
  const bool is_equal = is_same(read_lubricator_setting(find, 1), row);
  find.reset();
  const Put put = compare(*db_, is_equal, id, register_sql::kKeepLubricatorSetting, change);
  if (put == Put::replaced) {
    Query set{*db_, register_sql::kSetLubricatorSetting};
    set.run(offset_min(row.from), precision_code(row.from), row.reservoir, row.low_level, row.grease, id);
  }
  whole.keep();
  return put;
}

Put RegisterRepository::put_shaft(VesselId vessel, const std::string& code, const ShaftSetting& row,
                                  const Change& change) const {
  const std::string what = fmt::format("shaft \"{}\"", shown(code));
  require_code(what, code);
  require_text(what, row.position);
  require_from(what, row.from);
  require_above_zero(what, "the cavity in mm3", base_of(row.cavity));
  require_above_zero(what, "the interval in s", base_of(row.interval));
  require_above_zero(what, "the interval in days", row.interval_days);
  if (row.meter_rollover) require_above_zero(what, "the meter's rollover in s", row.meter_rollover->base());
  if (row.reserve && (row.reserve->base() < 0 || row.reserve->base() > 10'000)) {
    throw Error{Errc::bad_data, fmt::format("{}: the reserve is {} %, expected 0 to 100", what, in_pct(*row.reserve))};
  }
  if (!row.grease.is_set()) throw Error{Errc::bad_data, fmt::format("{}: it names no grease", what)};
  require_above_zero(what, "the limit of water in ppm", row.water_limit_ppm);
  require_above_zero(what, "the limit of iron in thousandths of a ppm", row.iron_limit_ppm_milli);
  require_above_zero(what, "the limit of clearance in um", row.clearance_limit_um);
  Savepoint whole{*db_};  // the thing and its setting
  const auto shaft = key_of<ShaftId>(*db_, register_sql::kFindShaft, register_sql::kAddShaft, vessel, code);
  Query find{*db_, register_sql::kFindShaftSetting};
  if (!find.bind(shaft, from_key(row.from)).step()) {
    Query add{*db_, register_sql::kAddShaftSetting};
    add.run(shaft, utc_s(row.from), offset_min(row.from), precision_code(row.from), said(row.position), row.cavity,
            row.interval, row.interval_days, row.reserve, row.meter_rollover, row.grease, row.water_limit_ppm,
            row.iron_limit_ppm_milli, row.clearance_limit_um);
    whole.keep();
    return Put::added;
  }
  const std::int64_t id = find.integer(0);
  const bool is_equal = is_same(read_shaft_setting(find, 1), row);
  find.reset();
  const Put put = compare(*db_, is_equal, id, register_sql::kKeepShaftSetting, change);
  if (put == Put::replaced) {
    Query set{*db_, register_sql::kSetShaftSetting};
    set.run(offset_min(row.from), precision_code(row.from), said(row.position), row.cavity, row.interval,
            row.interval_days, row.reserve, row.meter_rollover, row.grease, row.water_limit_ppm,
            row.iron_limit_ppm_milli, row.clearance_limit_um, id);
  }
  whole.keep();
  return put;
}

Put RegisterRepository::put_feed(const Feed& feed, const Change& change) const {
  const std::string what = "feed";
  require_from(what, feed.from);
  if (feed.dose.base() < 0) throw Error{Errc::bad_data, "feed: the dose is below 0"};
  require_above_zero(what, "the cycle in s", feed.cycle_s);
  Query of_lubricator{*db_, register_sql::kVesselOfLubricator};
  Query of_shaft{*db_, register_sql::kVesselOfShaft};
  if (!of_lubricator.bind(feed.lubricator).step()) throw Error{Errc::not_found, "feed: there is no such lubricator"};
  if (!of_shaft.bind(feed.shaft).step()) throw Error{Errc::not_found, "feed: there is no such shaft"};
  const auto vessel = of_lubricator.key<VesselId>(0);
  if (vessel != of_shaft.key<VesselId>(0)) {
    throw Error{Errc::conflict, "feed: its lubricator and its shaft are on different vessels"};
  }
  of_lubricator.reset();
  of_shaft.reset();
  Query find{*db_, register_sql::kFindFeed};
  if (!find.bind(feed.lubricator, feed.shaft, from_key(feed.from)).step()) {
    Query add{*db_, register_sql::kAddFeed};
    add.run(vessel, feed.lubricator, feed.shaft, utc_s(feed.from), offset_min(feed.from), precision_code(feed.from),
            feed.dose, feed.cycle_s);
    return Put::added;
  }
  const std::int64_t id = find.integer(0);
  const bool is_equal =
      find.maybe_stamp(1) == feed.from && find.integer(4) == feed.dose.base() && find.integer(5) == feed.cycle_s;
  find.reset();
  const Put put = compare(*db_, is_equal, id, register_sql::kKeepFeed, change);
  if (put == Put::replaced) {
    Query set{*db_, register_sql::kSetFeed};
    set.run(offset_min(feed.from), precision_code(feed.from), feed.dose, feed.cycle_s, id);
  }
  return put;
}

}  // namespace shaftlog
