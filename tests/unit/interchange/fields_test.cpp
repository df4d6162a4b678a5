#include "interchange/fields.hpp"

#include "interchange/register_index.hpp"

#include <initializer_list>
#include <string>
#include <utility>

#include <catch2/catch.hpp>

using namespace shaftlog;

namespace {

using Values = std::initializer_list<std::pair<Column, std::string_view>>;

Stamp utc_day(int day_of_2026) {
  return {from_unix(1'767'225'600 + std::int64_t{day_of_2026} * 86'400), {}, Precision::second};
}

/// One vessel in Lisbon's zone with a lubricator, two shafts, a gun calibrated on day 10, two greases.
RegisterIndex an_index() {
  Register r;
  r.vessels.push_back({VesselId{1}, "T-01", "Test One", {}, "Europe/Lisbon", {}});
  r.greases.push_back({GreaseId{1}, "G-1", Thickener::lithium_complex, "2", Density::from_base(920), false});
  r.greases.push_back({GreaseId{2}, "G-2", Thickener::calcium, "2", Density::from_base(1000), true});
  Gun gun{GunId{1}, VesselId{1}, "gun1", {}};
  gun.calibrations.push_back({utc_day(10), Volume::from_base(1300)});
  r.guns.push_back(gun);
  Lubricator lub{LubricatorId{1}, VesselId{1}, "lub1", {}};
  lub.settings.push_back({std::nullopt, cm3(5000), std::nullopt, GreaseId{1}});
  r.lubricators.push_back(lub);
  for (int i = 1; i <= 2; ++i) {
    Shaft s{ShaftId{i}, VesselId{1}, i == 1 ? "port" : "stbd", {}};
    ShaftSetting setting;
    setting.grease = GreaseId{1};
    s.settings.push_back(setting);
    r.shafts.push_back(s);
  }
  return RegisterIndex{std::move(r)};
}

Fields fields_of(Values values) {
  Fields f;
  for (const auto& [c, v] : values) f.set(c, v);
  return f;
}

ParsedRecord parse(Kind kind, Values values, FieldOptions options = {}) {
  static const RegisterIndex index = an_index();
  if (options.now == Instant{}) options.now = utc_day(200).utc;
  return parse_record(kind, fields_of(values), index, options);
}

/// All faults of a row, one a line.
std::string faults(Kind kind, Values values, FieldOptions options = {}) {
  const ParsedRecord p = parse(kind, values, options);
  CHECK(p.entry.has_value() == p.faults.empty());
  std::string out;
  for (const Fault& f : p.faults) out += (out.empty() ? "" : "\n") + f.text();
  return out;
}

using enum Column;
constexpr std::pair<Column, std::string_view> kVessel{vessel, "T-01"};
constexpr std::pair<Column, std::string_view> kShaft{shaft, "port"};
constexpr std::pair<Column, std::string_view> kLub{lubricator, "lub1"};
constexpr std::pair<Column, std::string_view> kAt{at, "2026-03-14T08:10"};

}  // namespace

TEST_CASE("fields: a greasing in strokes with the gun's calibration of that time", "[interchange][fields]") {
  const auto p = parse(Kind::greasing,
                       {kVessel, kShaft, kAt, {amount, "60"}, {unit, "strokes"}, {gun, "gun1"}, {ended, "pressure"}});
  REQUIRE(p.entry);
  CHECK(p.warnings.empty());
  const auto& d = std::get<Greasing>(p.entry->detail);
  CHECK(d.amount->volume == cm3(78));
  CHECK(d.amount->nano_cm3_per_unit == 1'300'000'000);
  CHECK(d.amount->typed == "60");
  CHECK_FALSE(d.purge);
  CHECK(p.entry->head.at == Stamp{from_unix(1'773'475'800), {}, Precision::minute});
  CHECK(in_unix_s(p.entry->head.recorded_at.utc) == in_unix_s(utc_day(200).utc));
}

TEST_CASE("fields: strokes without a gun, or before its first calibration, are kept with the volume unknown",
          "[interchange][fields]") {
  const auto none = parse(Kind::greasing, {kVessel, kShaft, kAt, {amount, "60"}, {unit, "strokes"}, {ended, "limit"}});
  REQUIRE(none.entry);
  CHECK_FALSE(std::get<Greasing>(none.entry->detail).amount->volume);
  REQUIRE(none.warnings.size() == 1);
  CHECK(none.warnings[0].text() == "unit: the volume stays unknown: no gun is named");
  const auto early =
      parse(Kind::greasing,
            {kVessel, kShaft, {at, "2026-01-05"}, {amount, "60"}, {unit, "strokes"}, {gun, "gun1"}, {ended, "limit"}});
  REQUIRE(early.warnings.size() == 1);
  CHECK(early.warnings[0].says == "the volume stays unknown: the gun has no calibration that holds at that time");
}

TEST_CASE("fields: nothing is said of the volume where the time cannot be read", "[interchange][fields]") {
  const RegisterIndex index = an_index();
  const auto read = [&](std::string_view when) {
    return parse_record(
        Kind::refill,
        fields_of({{vessel, "T-01"}, {lubricator, "lub1"}, {at, when}, {amount, "2"}, {Column::unit, "kg"}}), index,
        {});
  };
  const ParsedRecord unread = read("tomorow");
  CHECK(unread.faults.size() == 1);
  CHECK(unread.warnings.empty());
  CHECK(read("2026-03-01").warnings.empty());
}

TEST_CASE("fields: mass is turned into volume by the grease used, else by the registered one",
          "[interchange][fields]") {
  const auto registered = parse(Kind::refill, {kVessel, kLub, kAt, {amount, "0.92"}, {unit, "kg"}});
  CHECK(std::get<Refill>(registered.entry->detail).amount->volume == cm3(1000));
  const auto used = parse(Kind::refill, {kVessel, kLub, kAt, {amount, "0.92"}, {unit, "kg"}, {grease, "G-2"}});
  CHECK(std::get<Refill>(used.entry->detail).amount->volume == cm3(920));
  const auto pct = parse(Kind::refill, {kVessel, kLub, kAt, {amount, "12.5"}, {unit, "pct"}});
  CHECK(std::get<Refill>(pct.entry->detail).amount->volume == cm3(625));
}

TEST_CASE("fields: the conversion of an export is taken as it was, the unknown included", "[interchange][fields]") {
  const auto told = parse(Kind::greasing, {kVessel,
                                           kShaft,
                                           kAt,
                                           {amount, "10"},
                                           {unit, "strokes"},
                                           {gun, "gun1"},
                                           {cm3_per_unit, "1.1"},
                                           {ended, "pressure"}});
  CHECK(std::get<Greasing>(told.entry->detail).amount->volume == cm3(11));
  const auto unknown = parse(Kind::greasing, {kVessel,
                                              kShaft,
                                              kAt,
                                              {amount, "10"},
                                              {unit, "strokes"},
                                              {gun, "gun1"},
                                              {cm3_per_unit, ""},
                                              {ended, "pressure"}});
  CHECK_FALSE(std::get<Greasing>(unknown.entry->detail).amount->volume);
  CHECK(unknown.warnings.size() == 1);
  CHECK(faults(Kind::greasing,
               {kVessel, kShaft, kAt, {amount, "10"}, {unit, "strokes"}, {cm3_per_unit, "0"}, {ended, "pressure"}}) ==
        "cm3_per_unit: 0 is out of range; expected 0.000000001 to "
        "999999.999999999");
}

TEST_CASE("fields: every fault of a row is told at once, with the word that was probably meant",
          "[interchange][fields]") {
  CHECK(faults(Kind::greasing, {{vessel, "T-01"},
                                {shaft, "prt"},
                                {at, "14.03.2026"},
                                {amount, "25o"},
                                {unit, "stroke"},
                                {gun, "gun2"},
                                {ended, "presure"},
                                {grease, "G-9"}}) ==
        "at: \"14.03.2026\" is not a time; expected one such as 2026-03-14, 2026-03-14T08:10 or "
        "2026-03-14T08:10+02:00\n"
        "shaft: \"prt\" is not a shaft of vessel T-01; expected one of port, stbd; did you mean \"port\"?\n"
        "grease: \"G-9\" is not a registered grease; expected one of G-1, G-2; did you mean \"G-1\"?\n"
        "gun: \"gun2\" is not a gun of vessel T-01; expected gun1; did you mean \"gun1\"?\n"
        "ended: \"presure\" is not known; expected one of pressure, limit, stopped, packed, not_done; did you mean "
        "\"pressure\"?\n"
        "unit: \"stroke\" is not known; expected one of cm3, ml, l, g, kg, oz, lb, strokes, pct; did you mean "
        "\"strokes\"?\n"
        "amount: \"25o\" is not a number; expected plain digits such as 25 or 0.5");
}

TEST_CASE("fields: a fault reads the same from a file and from a command", "[interchange][fields]") {
  Fault f{"greasings.csv", 17, "amount", "25o", "\"25o\" is not a number"};
  CHECK(f.text() == "greasings.csv line 17, amount: \"25o\" is not a number");
  f.file.clear();
  f.line = 0;
  CHECK(f.text() == "amount: \"25o\" is not a number");
  CHECK(Fault{"x.csv", 0, "", "", "is empty"}.text() == "x.csv: is empty");
  CHECK(Fault{"", 0, "", "", "odd"}.text() == "odd");
}

TEST_CASE("fields: hours are taken to a hundredth from 0 to 999999.99", "[interchange][fields]") {
  const auto p = parse(Kind::hours, {kVessel, kShaft, kAt, {meter_h, "9998.41"}, {meter, "new"}, {old_meter_h, "7"}});
  const auto& d = std::get<Hours>(p.entry->detail);
  CHECK(d.reading.base() == 999'841 * 36);
  CHECK(d.is_new_meter);
  CHECK(d.old_meter->base() == 7 * 3600);
  CHECK(faults(Kind::hours, {kVessel, kShaft, kAt, {meter_h, "12.345"}}) ==
        "meter_h: 12.345 is told too finely; expected at most 2 decimals");
  CHECK(faults(Kind::hours, {kVessel, kShaft, kAt, {meter_h, "12.340"}}).empty());
  CHECK(faults(Kind::hours, {kVessel, kShaft, kAt, {meter_h, "-1"}}) ==
        "meter_h: -1 is out of range; expected 0 to 999999.99");
  CHECK(faults(Kind::hours, {kVessel, kShaft, kAt, {meter_h, "1000000"}}) ==
        "meter_h: 1000000 is out of range; expected 0 to 999999.99");
  CHECK(faults(Kind::hours, {kVessel, kShaft, kAt, {meter_h, "1e308"}}) ==
        "meter_h: \"1e308\" is not a number; expected plain digits such as 25 or 0.5");
  CHECK(faults(Kind::hours, {kVessel, kShaft, kAt, {meter_h, ""}}) ==
        "meter_h: is missing; expected a number from 0 to 999999.99");
  CHECK(faults(Kind::hours, {kVessel, kShaft, kAt, {meter_h, "5"}, {meter, "old"}}) ==
        "meter: \"old\" is not known; expected new or nothing");
  CHECK(faults(Kind::hours, {kVessel, kShaft, kAt, {meter_h, "5"}, {old_meter_h, "7"}}) ==
        "old_meter_h: goes only with meter = new");
}

TEST_CASE("fields: a decimal comma only where the file is parted by semicolons", "[interchange][fields]") {
  FieldOptions comma;
  comma.is_decimal_comma = true;
  CHECK(faults(Kind::level, {kVessel, kLub, kAt, {level_pct, "62,5"}}, comma).empty());
  CHECK(faults(Kind::level, {kVessel, kLub, kAt, {level_pct, "62,5"}}) ==
        "level_pct: \"62,5\" is not a number; expected a decimal point (a comma only in files parted by \";\")");
  const auto p = parse(Kind::refill, {kVessel, kLub, kAt, {amount, "2,50"}, {unit, "kg"}}, comma);
  CHECK(std::get<Refill>(p.entry->detail).amount->typed == "2.50");
}

TEST_CASE("fields: times out of range, of no zone, of another form", "[interchange][fields]") {
  const auto of = [](std::string_view when) {
    return faults(Kind::level, {kVessel, kLub, {at, when}, {level_pct, "50"}});
  };
  CHECK(of("0000-01-01") == "at: \"0000-01-01\" is out of range; expected a time from 1970-01-01 to 2099-12-31");
  CHECK(of("9999-12-31T08:00") ==
        "at: \"9999-12-31T08:00\" is out of range; expected a time from 1970-01-01 to 2099-12-31");
  CHECK_FALSE(of("2026-02-29").empty());
  CHECK_FALSE(of("2026-03-14T25:00").empty());
  CHECK(of("") == "at: is missing; expected a time such as 2026-03-14T08:10");
  CHECK(of("2026-03-14+03:00").empty());
  CHECK(of(" 2026-03-14 08:10 ").empty());
}

TEST_CASE("fields: a refill needs an amount with its unit, or both levels", "[interchange][fields]") {
  CHECK(faults(Kind::refill, {kVessel, kLub, kAt, {level_before_pct, "20"}, {level_after_pct, "95.25"}}).empty());
  CHECK(faults(Kind::refill, {kVessel, kLub, kAt, {level_before_pct, "20"}}) ==
        "amount: is missing; expected an amount with its unit, or level_before_pct and level_after_pct");
  CHECK(faults(Kind::refill, {kVessel, kLub, kAt, {unit, "kg"}}) ==
        "amount: is missing; expected a number for the unit \"kg\"");
  CHECK(faults(Kind::refill, {kVessel, kLub, kAt, {amount, "3"}}) ==
        "unit: is missing; expected one of cm3, ml, l, g, kg, oz, lb, strokes, pct");
  CHECK(faults(Kind::refill, {kVessel, kLub, kAt, {amount, "-3"}, {unit, "kg"}}) ==
        "amount: -3 is below 0; expected 0 or more");
  CHECK(faults(Kind::refill, {kVessel, kLub, kAt, {amount, "1000"}, {unit, "l"}}) ==
        "amount: 1000 l is out of range; expected less than 1000000 cm3");
  CHECK(faults(Kind::refill, {kVessel, kLub, kAt, {amount, "999"}, {unit, "l"}}).empty());
  CHECK(faults(Kind::refill, {kVessel, kLub, kAt, {amount, "3"}, {unit, "strokes"}}) ==
        "unit: \"strokes\" is for greasings; expected a volume, a mass or pct for a refill");
  CHECK(faults(Kind::refill, {kVessel, kLub, kAt, {level_before_pct, "20"}, {level_after_pct, "100.01"}}) ==
        "level_after_pct: 100.01 is out of range; expected 0 to 100");
}

TEST_CASE("fields: zero taken, not done and not recorded are three things", "[interchange][fields]") {
  const auto zero = parse(Kind::greasing, {kVessel, kShaft, kAt, {amount, "0"}, {unit, "cm3"}, {ended, "pressure"}});
  CHECK(std::get<Greasing>(zero.entry->detail).amount->volume == cm3(0));
  const auto not_done = parse(Kind::greasing, {kVessel, kShaft, kAt, {amount, ""}, {unit, ""}, {ended, "not_done"}});
  CHECK_FALSE(std::get<Greasing>(not_done.entry->detail).amount);
  CHECK(faults(Kind::greasing, {kVessel, kShaft, kAt, {amount, ""}, {unit, "cm3"}, {ended, "pressure"}}) ==
        "amount: is missing; expected a number of 0 or more (empty only with ended = not_done)");
  CHECK(faults(Kind::greasing, {kVessel, kShaft, kAt, {amount, "5"}, {unit, "cm3"}, {ended, "not_done"}}) ==
        "amount: \"5\" is an amount of a greasing that was not done; expected nothing");
  CHECK(faults(Kind::greasing, {kVessel, kShaft, kAt, {amount, "5"}, {unit, "pct"}, {ended, "limit"}}) ==
        "unit: \"pct\" is for refills; expected a volume, a mass or strokes for a greasing");
}

TEST_CASE("fields: alarms, work, inspections, cycles and levels", "[interchange][fields]") {
  const auto a = parse(Kind::alarm, {kVessel,
                                     kLub,
                                     kShaft,
                                     {raised_at, "2026-03-14T08:10"},
                                     {cleared_at, "2026-03-14T07:00"},
                                     {Column::alarm, "no_pressure"}});
  REQUIRE(a.entry);  // cleared before it was raised: a plausible slip, for the review to name
  CHECK(std::get<Alarm>(a.entry->detail).cleared);
  CHECK(a.entry->shaft.is_set());
  CHECK(faults(Kind::alarm, {kVessel, {raised_at, "2026-03-14"}, {Column::alarm, "no_presure"}}) ==
        "lubricator: is missing; expected the code of a lubricator\n"
        "alarm: \"no_presure\" is not known; expected one of low_level, empty, no_pressure, high_pressure, "
        "cycle_fault, power_fault, other; did you mean \"no_pressure\"?");
  CHECK(faults(Kind::work, {kVessel, kAt, {Column::work, "docked"}}).empty());
  CHECK(faults(Kind::work, {kVessel, kAt, {Column::work, "bled"}}) ==
        "work: \"bled\" needs a shaft or a lubricator; of a whole vessel expected docked, undocked or other");
  const auto i = parse(Kind::inspection, {kVessel, kShaft, kAt, {water_pct, "0.15"}, {iron_ppm, "41.5"}});
  const auto& d = std::get<Inspection>(i.entry->detail);
  CHECK(d.water_ppm == 1500);
  CHECK(d.iron_ppm_milli == 41'500);
  CHECK_FALSE(d.clearance_um);
  CHECK(faults(Kind::inspection, {kVessel, kShaft, kAt}) ==
        "water_pct: is missing; expected at least one of water_pct, iron_ppm, clearance_mm");
  CHECK(faults(Kind::cycles, {kVessel, kLub, kAt, {count, "12.5"}}) ==
        "count: 12.5 is not a whole number; expected one from 0 to 999999999999");
  CHECK(faults(Kind::level, {kVessel, kLub, kAt, {level_pct, "62.555"}}) ==
        "level_pct: 62.555 is told too finely; expected at most 2 decimals");
}

TEST_CASE("fields: what is typed may have a decimal comma, unless it may part thousands", "[interchange][fields]") {
  FieldOptions typed;
  typed.is_typed = true;
  const auto of = [&](std::string_view text, const FieldOptions& options) {
    return faults(Kind::greasing, {kVessel, kShaft, kAt, {amount, text}, {unit, "cm3"}, {ended, "pressure"}}, options);
  };
  CHECK(of("12,5", typed).empty());
  CHECK(of("0,125", typed).empty());
  CHECK(of("12.5", typed).empty());
  CHECK(of("1,234", typed) == "amount: \"1,234\" may be 1234 or 1.234; expected one of these, without a comma");
  for (const std::string_view odd : {"1,234,5", "1.234,5", "12,", ",5"})
    CHECK(of(odd, typed) ==
          "amount: \"" + std::string{odd} + "\" is not a number; expected plain digits such as 25 or 0.5");
  const auto p =
      parse(Kind::greasing, {kVessel, kShaft, kAt, {amount, "12,50"}, {unit, "cm3"}, {ended, "pressure"}}, typed);
  REQUIRE(p.entry);
  CHECK(std::get<Greasing>(p.entry->detail).amount->typed == "12.50");
  CHECK(of("12,5", {}) ==
        "amount: \"12,5\" is not a number; expected a decimal point (a comma only in files parted by \";\")");
}

TEST_CASE("fields: a withdrawal carries a reason and no values, which are read over", "[interchange][fields]") {
  constexpr std::string_view kTarget = "0190b5e2-7c1a-7f3e-8a11-2f6c1d0b9a77";
  const auto p = parse(Kind::hours, {kVessel, kShaft, kAt, {meter_h, ""}, {withdraws, kTarget}, {reason, "twice"}});
  REQUIRE(p.entry);
  CHECK(p.entry->is_withdrawal());
  CHECK(p.entry->head.reason == "twice");
  const auto with_value = parse(Kind::hours, {kVessel, kShaft, kAt, {meter_h, "5"}, {withdraws, kTarget}});
  REQUIRE(with_value.warnings.size() == 1);
  CHECK(with_value.warnings[0].text() == "meter_h: \"5\" is a value in a withdrawal, which has none: it is read over");
  CHECK(faults(Kind::hours, {kVessel, kShaft, kAt, {meter_h, ""}, {withdraws, kTarget}, {replaces, kTarget}}) ==
        "withdraws: a record cannot both replace one and withdraw one; expected one of the two");
  CHECK(faults(Kind::hours, {kVessel, kShaft, kAt, {meter_h, "5"}, {id, kTarget}, {replaces, kTarget}}) ==
        "id: a record cannot replace or withdraw itself");
  CHECK_FALSE(faults(Kind::hours, {kVessel, kShaft, kAt, {meter_h, "5"}, {id, "12"}}).empty());
}

TEST_CASE("fields: an id made from content is the same for the same facts however they are written",
          "[interchange][fields]") {
  const RegisterIndex index = an_index();
  const auto content = [&](Values values) {
    std::string out;
    const auto p = parse(Kind::greasing, values);
    append_content(out, *p.entry, index);
    return out;
  };
  const auto plain = content({kVessel, kShaft, kAt, {amount, "25"}, {unit, "cm3"}, {ended, "limit"}});
  CHECK(plain == content({kVessel,
                          {shaft, " port"},
                          {at, "2026-03-14 08:10"},
                          {amount, "25.00"},
                          {unit, "cm3"},
                          {ended, "limit"},
                          {recorded_at, "2026-03-15"},
                          {source, "elsewhere"}}));
  CHECK(plain != content({kVessel, kShaft, kAt, {amount, "25"}, {unit, "ml"}, {ended, "limit"}}));
  CHECK(plain != content({kVessel, kShaft, kAt, {amount, "25"}, {unit, "cm3"}, {ended, "limit"}, {remark, "x"}}));
  CHECK(plain !=
        content({kVessel, kShaft, {at, "2026-03-14T08:10:00"}, {amount, "25"}, {unit, "cm3"}, {ended, "limit"}}));
  CHECK(content_id(plain, 0) != content_id(plain, 1));
  // Frozen: ids on disk come from it.
  CHECK(plain == "8:greasing4:T-014:port0:10:17734758001:10:0:0:0:0:2:253:cm30:5:limit0:0:");
  CHECK(format_uuid(content_id(plain, 0)).substr(14, 1) == "8");
}

TEST_CASE("fields: register rows and what is refused in them", "[interchange][fields]") {
  const RegisterIndex index = an_index();
  std::vector<Fault> faults_, warnings;
  const auto told = [&] {
    std::string out;
    for (const Fault& f : faults_) out += (out.empty() ? "" : "\n") + f.text();
    faults_.clear();
    return out;
  };
  const auto v = parse_vessel(fields_of({{vessel, "T-02"}, {name, "Two"}, {imo, "IMO 9999993"}, {time_zone, "UTC"}}),
                              {}, faults_, warnings);
  REQUIRE(v);
  CHECK(v->imo == "9999993");
  CHECK_FALSE(v->group);
  CHECK_FALSE(parse_vessel(fields_of({{vessel, ""}, {name, ""}, {imo, "9999994"}, {time_zone, "Europe/Lisboa"}}), {},
                           faults_, warnings));
  CHECK(told() ==
        "vessel: is missing; expected a short code\n"
        "name: is missing; expected the vessel's name\n"
        "imo: \"9999994\" is not an IMO number: its check digit does not fit\n"
        "time_zone: \"Europe/Lisboa\" is not a time zone of the tz database; expected a name such as Europe/Lisbon or "
        "UTC");
  const auto g =
      parse_grease(fields_of({{grease, "G-3"}, {density_g_cm3, "0.92"}, {sea_safe, "yes"}, {nlgi, "00"}}), {}, faults_);
  REQUIRE(g);
  CHECK(g->density.base() == 920);
  CHECK(g->sea_safe == true);
  CHECK_FALSE(parse_grease(
      fields_of({{grease, "G-3"}, {density_g_cm3, "920"}, {sea_safe, "maybe"}, {nlgi, "7"}, {thickener, "litium"}}), {},
      faults_));
  CHECK(told().find("did you mean \"lithium\"?") != std::string::npos);
  const auto gun_row =
      parse_gun(fields_of({{vessel, "T-01"}, {gun, "gun1"}, {cm3_per_stroke, "1.3"}, {calibrated_on, "2026-03-14"}}),
                index, {}, faults_);
  REQUIRE(gun_row);
  CHECK(format_stamp(*gun_row->calibration.from) == "2026-03-14Z");
  CHECK(format_utc(gun_row->calibration.from->utc) ==
        "2026-03-14T00:00:00Z");  // from that day on, its morning included
  const auto f = parse_feed(fields_of({{vessel, "T-01"},
                                       {lubricator, "lub1"},
                                       {shaft, "port"},
                                       {from, ""},
                                       {dose_cm3, "0.25"},
                                       {cycle_min, "12.5"}}),
                            index, {}, faults_);
  REQUIRE(f);
  CHECK(f->cycle_s == 750);
  CHECK_FALSE(
      parse_feed(fields_of({{vessel, "T-01"}, {lubricator, ""}, {shaft, "x"}, {dose_cm3, "-1"}, {cycle_min, "0"}}),
                 index, {}, faults_));
  faults_.clear();
  CHECK_FALSE(parse_lubricator(
      fields_of({{vessel, "T-01"}, {lubricator, "l"}, {reservoir_cm3, "100"}, {low_level_cm3, "200"}, {grease, "G-1"}}),
      index, {}, faults_));
  CHECK(told() == "low_level_cm3: 200 is more than the reservoir holds; expected at most 100");
  const auto s = parse_shaft(fields_of({{vessel, "T-01"},
                                        {shaft, "mid"},
                                        {interval_h, "300"},
                                        {interval_days, "60"},
                                        {reserve_pct, "20"},
                                        {meter_rollover_h, "10000"},
                                        {grease, "G-1"}}),
                             index, {}, faults_);
  REQUIRE(s);
  CHECK(s->setting.interval == RunTime::from_base(300 * 3600));
  CHECK(s->setting.meter_rollover->base() == 36'000'000);
  CHECK_FALSE(s->setting.cavity);
  CHECK_FALSE(
      parse_shaft(fields_of({{vessel, "T-9"}, {shaft, "mid"}, {grease, ""}, {cavity_cm3, "0"}}), index, {}, faults_));
  CHECK(faults_.size() == 3);
}

TEST_CASE("fields: names and codes have an end, remarks have none; what another file kept is taken as it is",
          "[interchange][fields]") {
  const RegisterIndex index = an_index();
  const std::string endless(5000, 'x');
  const std::string objection = "\"xxxxxxxxxxxxxxxxxxxx...\" has 5000 characters; expected at most 100";
  std::vector<Fault> faults, warnings;
  const auto told = [&] {
    std::string out;
    for (const Fault& f : faults) out += (out.empty() ? "" : "\n") + f.text();
    faults.clear();
    return out;
  };
  FieldOptions theirs;
  theirs.takes_any_name = true;
  const Fields ship = fields_of({{vessel, endless}, {name, endless}, {time_zone, "UTC"}, {group, endless}});
  CHECK_FALSE(parse_vessel(ship, {}, faults, warnings));
  CHECK(told() == "vessel: " + objection + "\nname: " + objection + "\ngroup: " + objection);
  REQUIRE(parse_vessel(ship, theirs, faults, warnings));
  const Fields paste = fields_of({{grease, endless}, {density_g_cm3, "0.92"}});
  CHECK_FALSE(parse_grease(paste, {}, faults));
  CHECK(told() == "grease: " + objection);
  CHECK(parse_grease(paste, theirs, faults));
  CHECK_FALSE(parse_gun(fields_of({{vessel, "T-01"}, {gun, endless}, {cm3_per_stroke, "1.3"}}), index, {}, faults));
  CHECK(told() == "gun: " + objection);
  const auto record = parse_record(
      Kind::work, fields_of({{vessel, "T-01"}, {at, "2026-03-01"}, {work, "docked"}, {by, endless}}), index, {});
  REQUIRE(record.faults.size() == 1);
  CHECK(record.faults.front().text() == "by: " + objection);
  CHECK(parse_record(Kind::work,
                     fields_of({{vessel, "T-01"},
                                {at, "2026-03-01"},
                                {work, "docked"},
                                {by, endless},
                                {id, "0190b5e2-7c1a-7f3e-8a11-2f6c1d0b9a77"}}),
                     index, {})
            .entry);
  CHECK(parse_record(Kind::work, fields_of({{vessel, "T-01"}, {at, "2026-03-01"}, {work, "docked"}, {remark, endless}}),
                     index, {})
            .entry);
}
