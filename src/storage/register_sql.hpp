#pragma once

// Every statement of the register, in one place so that a test can prepare each.

#include <string>
#include <string_view>
#include <vector>

namespace shaftlog::register_sql {

// Reading: `select`, then `of_vessel` where one vessel is asked for, then `order`.
struct Reading {
  const char* select;
  const char* of_vessel;
  const char* order;
  [[nodiscard]] std::string text(bool one_vessel) const {
    return std::string{select} + (one_vessel ? of_vessel : "") + order;
  }
};

inline constexpr Reading kVessels{R"sql( SELECT vessel_id, code, name, imo, time_zone, fleet_group FROM vessel )sql",
                                  " WHERE vessel_id = :vessel ", " ORDER BY code "};
inline constexpr Reading kGreases{
    R"sql( SELECT grease_id, code, thickener, nlgi, density_mg_cm3, sea_safe FROM grease )sql", "", " ORDER BY code "};
inline constexpr Reading kGreaseEvidence{R"sql(
SELECT e.grease_id, e.other_grease_id, e.evidence, e.reference FROM grease_evidence e
JOIN grease g ON g.grease_id = e.grease_id JOIN grease o ON o.grease_id = e.other_grease_id )sql",
                                         "", " ORDER BY g.code, o.code, e.evidence, ifnull(e.reference, '') "};
inline constexpr Reading kGuns{R"sql(
SELECT g.gun_id, g.vessel_id, g.code, c.from_utc_s, c.from_offset_min, c.from_precision, c.per_stroke_mm3
FROM gun g JOIN vessel v ON v.vessel_id = g.vessel_id JOIN gun_calibration c ON c.gun_id = g.gun_id )sql",
                               " WHERE g.vessel_id = :vessel ", " ORDER BY v.code, g.code, ifnull(c.from_utc_s, -1) "};
inline constexpr Reading kLubricators{R"sql(
SELECT l.lubricator_id, l.vessel_id, l.code, s.from_utc_s, s.from_offset_min, s.from_precision, s.reservoir_mm3,
       s.low_level_mm3, s.grease_id
FROM lubricator l JOIN vessel v ON v.vessel_id = l.vessel_id
                  JOIN lubricator_setting s ON s.lubricator_id = l.lubricator_id )sql",
                                      " WHERE l.vessel_id = :vessel ",
                                      " ORDER BY v.code, l.code, ifnull(s.from_utc_s, -1) "};
inline constexpr Reading kShafts{R"sql(
SELECT h.shaft_id, h.vessel_id, h.code, s.from_utc_s, s.from_offset_min, s.from_precision, s.position, s.cavity_mm3,
       s.interval_s, s.interval_days, s.reserve_pct_100, s.meter_rollover_s, s.grease_id, s.water_limit_ppm,
       s.iron_limit_ppm_milli, s.clearance_limit_um
FROM shaft h JOIN vessel v ON v.vessel_id = h.vessel_id JOIN shaft_setting s ON s.shaft_id = h.shaft_id )sql",
                                 " WHERE h.vessel_id = :vessel ",
                                 " ORDER BY v.code, h.code, ifnull(s.from_utc_s, -1) "};
inline constexpr Reading kFeeds{R"sql(
SELECT f.lubricator_id, f.shaft_id, f.from_utc_s, f.from_offset_min, f.from_precision, f.dose_mm3, f.cycle_s
FROM feed f JOIN vessel v ON v.vessel_id = f.vessel_id
            JOIN lubricator l ON l.lubricator_id = f.lubricator_id JOIN shaft h ON h.shaft_id = f.shaft_id )sql",
                                " WHERE f.vessel_id = :vessel ",
                                " ORDER BY v.code, l.code, h.code, ifnull(f.from_utc_s, -1) "};

// One row by its key, to compare; :from is seconds, or -1 for "from the beginning".
inline constexpr const char* kFindVessel = R"sql(
SELECT vessel_id, code, name, imo, time_zone, fleet_group FROM vessel WHERE code = :code )sql";
inline constexpr const char* kFindGrease = R"sql(
SELECT grease_id, code, thickener, nlgi, density_mg_cm3, sea_safe FROM grease WHERE code = :code )sql";
inline constexpr const char* kFindGun = R"sql( SELECT gun_id FROM gun WHERE vessel_id = :vessel AND code = :code )sql";
inline constexpr const char* kFindLubricator = R"sql(
SELECT lubricator_id FROM lubricator WHERE vessel_id = :vessel AND code = :code )sql";
inline constexpr const char* kFindShaft = R"sql(
SELECT shaft_id FROM shaft WHERE vessel_id = :vessel AND code = :code )sql";
inline constexpr const char* kFindGunCalibration = R"sql(
SELECT gun_calibration_id, from_utc_s, from_offset_min, from_precision, per_stroke_mm3
FROM gun_calibration WHERE gun_id = :gun AND ifnull(from_utc_s, -1) = :from )sql";
inline constexpr const char* kFindLubricatorSetting = R"sql(
SELECT lubricator_setting_id, from_utc_s, from_offset_min, from_precision, reservoir_mm3, low_level_mm3, grease_id
FROM lubricator_setting WHERE lubricator_id = :lubricator AND ifnull(from_utc_s, -1) = :from )sql";
inline constexpr const char* kFindShaftSetting = R"sql(
SELECT shaft_setting_id, from_utc_s, from_offset_min, from_precision, position, cavity_mm3, interval_s, interval_days,
       reserve_pct_100, meter_rollover_s, grease_id, water_limit_ppm, iron_limit_ppm_milli, clearance_limit_um
FROM shaft_setting WHERE shaft_id = :shaft AND ifnull(from_utc_s, -1) = :from )sql";
inline constexpr const char* kFindFeed = R"sql(
SELECT feed_id, from_utc_s, from_offset_min, from_precision, dose_mm3, cycle_s
FROM feed WHERE lubricator_id = :lubricator AND shaft_id = :shaft AND ifnull(from_utc_s, -1) = :from )sql";
inline constexpr const char* kVesselOfLubricator = R"sql(
SELECT vessel_id FROM lubricator WHERE lubricator_id = :lubricator )sql";
inline constexpr const char* kVesselOfShaft = R"sql( SELECT vessel_id FROM shaft WHERE shaft_id = :shaft )sql";

inline constexpr const char* kAddVessel = R"sql(
INSERT INTO vessel (code, name, imo, time_zone, fleet_group) VALUES (:code, :name, :imo, :zone, :group) )sql";
inline constexpr const char* kAddGrease = R"sql(
INSERT INTO grease (code, thickener, nlgi, density_mg_cm3, sea_safe)
VALUES (:code, :thickener, :nlgi, :density, :sea_safe) )sql";
/// Nothing when the row is there.
inline constexpr const char* kAddGreaseEvidence = R"sql(
INSERT INTO grease_evidence (grease_id, other_grease_id, evidence, reference)
VALUES (:grease, :other, :evidence, :reference)
ON CONFLICT (grease_id, other_grease_id, evidence, ifnull(reference, '')) DO NOTHING )sql";
inline constexpr const char* kAddGun = R"sql( INSERT INTO gun (vessel_id, code) VALUES (:vessel, :code) )sql";
inline constexpr const char* kAddLubricator = R"sql(
INSERT INTO lubricator (vessel_id, code) VALUES (:vessel, :code) )sql";
inline constexpr const char* kAddShaft = R"sql( INSERT INTO shaft (vessel_id, code) VALUES (:vessel, :code) )sql";
inline constexpr const char* kAddGunCalibration = R"sql(
INSERT INTO gun_calibration (gun_id, from_utc_s, from_offset_min, from_precision, per_stroke_mm3)
VALUES (:gun, :from, :from_offset, :from_precision, :per_stroke) )sql";
inline constexpr const char* kAddLubricatorSetting = R"sql(
INSERT INTO lubricator_setting (lubricator_id, from_utc_s, from_offset_min, from_precision, reservoir_mm3,
                                low_level_mm3, grease_id)
VALUES (:lubricator, :from, :from_offset, :from_precision, :reservoir, :low_level, :grease) )sql";
inline constexpr const char* kAddShaftSetting = R"sql(
INSERT INTO shaft_setting (shaft_id, from_utc_s, from_offset_min, from_precision, position, cavity_mm3, interval_s,
                           interval_days, reserve_pct_100, meter_rollover_s, grease_id, water_limit_ppm,
                           iron_limit_ppm_milli, clearance_limit_um)
VALUES (:shaft, :from, :from_offset, :from_precision, :position, :cavity, :interval, :interval_days, :reserve,
        :rollover, :grease, :water, :iron, :clearance) )sql";
inline constexpr const char* kAddFeed = R"sql(
INSERT INTO feed (vessel_id, lubricator_id, shaft_id, from_utc_s, from_offset_min, from_precision, dose_mm3, cycle_s)
VALUES (:vessel, :lubricator, :shaft, :from, :from_offset, :from_precision, :dose, :cycle) )sql";

// Keeping a row as it is before it is put right: :row, :at, :by.
struct Keeping {
  std::string_view table;
  const char* sql;
};
inline constexpr const char* kLastChange = R"sql(
SELECT max(ifnull((SELECT max(at_utc_s) FROM register_change WHERE table_name = :table AND row_id = :row), 0),
           ifnull((SELECT at_utc_s FROM register_time WHERE table_name = :table AND row_id = :row), 0)) )sql";
inline constexpr Keeping kKeepVessel{"vessel", R"sql(
INSERT INTO register_change (table_name, row_id, row_was, at_utc_s, changed_by)
SELECT 'vessel', vessel_id, json_object('code', code, 'name', name, 'imo', imo, 'time_zone', time_zone,
       'fleet_group', fleet_group), :at, :by FROM vessel WHERE vessel_id = :row )sql"};
inline constexpr Keeping kKeepGrease{"grease", R"sql(
INSERT INTO register_change (table_name, row_id, row_was, at_utc_s, changed_by)
SELECT 'grease', grease_id, json_object('code', code, 'thickener', thickener, 'nlgi', nlgi,
       'density_mg_cm3', density_mg_cm3, 'sea_safe', sea_safe), :at, :by FROM grease WHERE grease_id = :row )sql"};
inline constexpr Keeping kKeepGunCalibration{"gun_calibration", R"sql(
INSERT INTO register_change (table_name, row_id, row_was, at_utc_s, changed_by)
SELECT 'gun_calibration', gun_calibration_id, json_object('gun_id', gun_id, 'from_utc_s', from_utc_s,
       'from_offset_min', from_offset_min, 'from_precision', from_precision, 'per_stroke_mm3', per_stroke_mm3), :at, :by
FROM gun_calibration WHERE gun_calibration_id = :row )sql"};
inline constexpr Keeping kKeepLubricatorSetting{"lubricator_setting", R"sql(
INSERT INTO register_change (table_name, row_id, row_was, at_utc_s, changed_by)
SELECT 'lubricator_setting', lubricator_setting_id, json_object('lubricator_id', lubricator_id,
       'from_utc_s', from_utc_s, 'from_offset_min', from_offset_min, 'from_precision', from_precision,
       'reservoir_mm3', reservoir_mm3, 'low_level_mm3', low_level_mm3, 'grease_id', grease_id), :at, :by
FROM lubricator_setting WHERE lubricator_setting_id = :row )sql"};
inline constexpr Keeping kKeepShaftSetting{"shaft_setting", R"sql(
INSERT INTO register_change (table_name, row_id, row_was, at_utc_s, changed_by)
SELECT 'shaft_setting', shaft_setting_id, json_object('shaft_id', shaft_id, 'from_utc_s', from_utc_s,
       'from_offset_min', from_offset_min, 'from_precision', from_precision, 'position', position,
       'cavity_mm3', cavity_mm3, 'interval_s', interval_s, 'interval_days', interval_days,
       'reserve_pct_100', reserve_pct_100, 'meter_rollover_s', meter_rollover_s, 'grease_id', grease_id,
       'water_limit_ppm', water_limit_ppm, 'iron_limit_ppm_milli', iron_limit_ppm_milli,
       'clearance_limit_um', clearance_limit_um), :at, :by
FROM shaft_setting WHERE shaft_setting_id = :row )sql"};
inline constexpr Keeping kKeepFeed{"feed", R"sql(
INSERT INTO register_change (table_name, row_id, row_was, at_utc_s, changed_by)
SELECT 'feed', feed_id, json_object('vessel_id', vessel_id, 'lubricator_id', lubricator_id, 'shaft_id', shaft_id,
       'from_utc_s', from_utc_s, 'from_offset_min', from_offset_min, 'from_precision', from_precision,
       'dose_mm3', dose_mm3, 'cycle_s', cycle_s), :at, :by FROM feed WHERE feed_id = :row )sql"};

inline constexpr const char* kSetVessel = R"sql(
UPDATE vessel SET name = :name, imo = :imo, time_zone = :zone, fleet_group = :group WHERE vessel_id = :row )sql";
inline constexpr const char* kSetGrease = R"sql(
UPDATE grease SET thickener = :thickener, nlgi = :nlgi, density_mg_cm3 = :density, sea_safe = :sea_safe
WHERE grease_id = :row )sql";
inline constexpr const char* kSetGunCalibration = R"sql(
UPDATE gun_calibration SET from_offset_min = :from_offset, from_precision = :from_precision,
       per_stroke_mm3 = :per_stroke WHERE gun_calibration_id = :row )sql";
inline constexpr const char* kSetLubricatorSetting = R"sql(
UPDATE lubricator_setting SET from_offset_min = :from_offset, from_precision = :from_precision,
       reservoir_mm3 = :reservoir, low_level_mm3 = :low_level, grease_id = :grease
WHERE lubricator_setting_id = :row )sql";
inline constexpr const char* kSetShaftSetting = R"sql(
UPDATE shaft_setting SET from_offset_min = :from_offset, from_precision = :from_precision, position = :position,
       cavity_mm3 = :cavity, interval_s = :interval, interval_days = :interval_days, reserve_pct_100 = :reserve,
       meter_rollover_s = :rollover, grease_id = :grease, water_limit_ppm = :water, iron_limit_ppm_milli = :iron,
       clearance_limit_um = :clearance WHERE shaft_setting_id = :row )sql";
inline constexpr const char* kSetFeed = R"sql(
UPDATE feed SET from_offset_min = :from_offset, from_precision = :from_precision, dose_mm3 = :dose, cycle_s = :cycle
WHERE feed_id = :row )sql";

/// Rows that were put right and bear on one shaft: its own settings and feeds, the lubricators that feed it, the guns.
inline constexpr const char* kChangesOfShaft = R"sql(
SELECT c.table_name, c.row_was, c.at_utc_s, c.changed_by FROM register_change c
WHERE (c.table_name = 'shaft_setting'
       AND c.row_id IN (SELECT shaft_setting_id FROM shaft_setting WHERE shaft_id = :shaft))
   OR (c.table_name = 'feed'
       AND c.row_id IN (SELECT feed_id FROM feed WHERE vessel_id = :vessel AND shaft_id = :shaft))
   OR (c.table_name = 'lubricator_setting'
       AND c.row_id IN (SELECT s.lubricator_setting_id FROM feed f JOIN lubricator_setting s USING (lubricator_id)
                        WHERE f.vessel_id = :vessel AND f.shaft_id = :shaft))
   OR (c.table_name = 'gun_calibration'
       AND c.row_id IN (SELECT k.gun_calibration_id FROM gun g JOIN gun_calibration k USING (gun_id)
                        WHERE g.vessel_id = :vessel))
ORDER BY c.at_utc_s, c.register_change_id )sql";

inline std::vector<std::string> all() {
  std::vector<std::string> out{kFindVessel,
                               kFindGrease,
                               kFindGun,
                               kFindLubricator,
                               kFindShaft,
                               kFindGunCalibration,
                               kFindLubricatorSetting,
                               kFindShaftSetting,
                               kFindFeed,
                               kVesselOfLubricator,
                               kVesselOfShaft,
                               kAddVessel,
                               kAddGrease,
                               kAddGreaseEvidence,
                               kAddGun,
                               kAddLubricator,
                               kAddShaft,
                               kAddGunCalibration,
                               kAddLubricatorSetting,
                               kAddShaftSetting,
                               kAddFeed,
                               kLastChange,
                               kKeepVessel.sql,
                               kKeepGrease.sql,
                               kKeepGunCalibration.sql,
                               kKeepLubricatorSetting.sql,
                               kKeepShaftSetting.sql,
                               kKeepFeed.sql,
                               kSetVessel,
                               kSetGrease,
                               kSetGunCalibration,
                               kSetLubricatorSetting,
                               kSetShaftSetting,
                               kSetFeed,
                               kChangesOfShaft};
  for (const Reading* r : {&kVessels, &kGreases, &kGreaseEvidence, &kGuns, &kLubricators, &kShafts, &kFeeds}) {
    out.push_back(r->text(false));
    out.push_back(r->text(true));
  }
  return out;
}

}  // namespace shaftlog::register_sql
