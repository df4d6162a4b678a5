#pragma once

// Every statement of the log, in one place so that a test can prepare and explain each.

#include <array>
#include <string>
#include <string_view>
#include <vector>

namespace shaftlog::log_sql {

inline constexpr const char* kFindPerson = R"sql( SELECT person_id FROM person WHERE name = :name )sql";
inline constexpr const char* kAddPerson = R"sql( INSERT INTO person (name) VALUES (:name) )sql";
inline constexpr const char* kFindSource = R"sql( SELECT source_id FROM source WHERE name = :name )sql";
inline constexpr const char* kAddSource = R"sql( INSERT INTO source (name) VALUES (:name) )sql";

inline constexpr const char* kAddEntry = R"sql(
INSERT INTO entry (uuid, kind, vessel_id, shaft_id, lubricator_id, at_utc_s, at_offset_min, at_precision,
                   recorded_at_utc_s, recorded_offset_min, recorded_precision, recorded_by, source_id, source_line,
                   remark, replaces, withdraws, reason)
VALUES (:uuid, :kind, :vessel, :shaft, :lubricator, :at, :at_offset, :at_precision, :recorded_at, :recorded_offset,
        :recorded_precision, :by, :source, :line, :remark, :replaces, :withdraws, :reason)
ON CONFLICT (uuid) DO NOTHING )sql";
inline constexpr const char* kAddHours = R"sql(
INSERT INTO hours (entry_id, reading_s, is_new_meter, old_meter_s) VALUES (:entry, :reading, :new, :old) )sql";
inline constexpr const char* kAddCycles = R"sql(
INSERT INTO cycles (entry_id, cycle_count, is_new_counter) VALUES (:entry, :count, :new) )sql";
inline constexpr const char* kAddLevel = R"sql(
INSERT INTO level_reading (entry_id, level_pct_100) VALUES (:entry, :level) )sql";
inline constexpr const char* kAddRefill = R"sql(
INSERT INTO refill (entry_id, amount_typed, amount_unit, amount_mm3, amount_nano_cm3_per_unit, before_pct_100,
                    after_pct_100, grease_id, batch)
VALUES (:entry, :typed, :unit, :volume, :per_unit, :before, :after, :grease, :batch) )sql";
inline constexpr const char* kAddGreasing = R"sql(
INSERT INTO greasing (entry_id, amount_typed, amount_unit, amount_mm3, amount_nano_cm3_per_unit, gun_id, ended, purge,
                      grease_id)
VALUES (:entry, :typed, :unit, :volume, :per_unit, :gun, :ended, :purge, :grease) )sql";
inline constexpr const char* kAddAlarm = R"sql(
INSERT INTO alarm (entry_id, alarm, cleared_utc_s, cleared_offset_min, cleared_precision)
VALUES (:entry, :alarm, :cleared, :cleared_offset, :cleared_precision) )sql";
inline constexpr const char* kAddWork = R"sql( INSERT INTO work (entry_id, work) VALUES (:entry, :work) )sql";
inline constexpr const char* kAddInspection = R"sql(
INSERT INTO inspection (entry_id, water_ppm, iron_ppm_milli, clearance_um)
VALUES (:entry, :water, :iron, :clearance) )sql";

struct DetailTable {
  std::string_view name;
  std::string_view columns;
};
/// In the order of Kind.
inline constexpr std::array<DetailTable, 8> kDetails{{
    {"hours", "d.reading_s, d.is_new_meter, d.old_meter_s"},
    {"cycles", "d.cycle_count, d.is_new_counter"},
    {"level_reading", "d.level_pct_100"},
    {"refill",
     "d.amount_typed, d.amount_unit, d.amount_mm3, d.amount_nano_cm3_per_unit, d.before_pct_100, d.after_pct_100, "
     "d.grease_id, d.batch"},
    {"greasing",
     "d.amount_typed, d.amount_unit, d.amount_mm3, d.amount_nano_cm3_per_unit, d.gun_id, d.ended, d.purge, "
     "d.grease_id"},
    {"alarm", "d.alarm, d.cleared_utc_s, d.cleared_offset_min, d.cleared_precision"},
    {"work", "d.work"},
    {"inspection", "d.water_ppm, d.iron_ppm_milli, d.clearance_um"},
}};

inline constexpr std::string_view kHeadColumns =
    "e.uuid, e.kind, e.vessel_id, e.shaft_id, e.lubricator_id, e.at_utc_s, e.at_offset_min, e.at_precision, "
    "e.recorded_at_utc_s, e.recorded_offset_min, e.recorded_precision, p.name, s.name, e.source_line, e.remark, "
    "e.replaces, e.withdraws, e.reason";
inline constexpr int kDetailAfterHead = 18;
inline constexpr std::string_view kNames =
    " LEFT JOIN person p ON p.person_id = e.recorded_by LEFT JOIN source s ON s.source_id = e.source_id";

/// The same with the keys of the names: few names are in a log, and looking up each once costs less than two joins a
/// row.
inline constexpr std::string_view kListColumns =
    "e.uuid, e.kind, e.vessel_id, e.shaft_id, e.lubricator_id, e.at_utc_s, e.at_offset_min, e.at_precision, "
    "e.recorded_at_utc_s, e.recorded_offset_min, e.recorded_precision, e.recorded_by, e.source_id, e.source_line, "
    "e.remark, e.replaces, e.withdraws, e.reason";
inline constexpr int kListedAt = 5, kListedBy = 11, kListedSource = 12;

inline constexpr std::string_view kLoadColumns =
    "e.uuid, e.at_utc_s, e.at_precision, e.recorded_at_utc_s, e.shaft_id, e.lubricator_id, e.recorded_by, e.source_id, "
    "e.remark IS NOT NULL";
inline constexpr int kDetailAfterLoad = 9;

/// Records of one kind of a vessel by time; equal times come in any order.
inline std::string load_kind(std::size_t kind) {
  std::string sql = "SELECT ";
  sql.append(kLoadColumns).append(", ").append(kDetails[kind].columns);
  sql.append(" FROM entry e CROSS JOIN ").append(kDetails[kind].name);
  sql.append(" d ON d.entry_id = e.entry_id WHERE e.vessel_id = :vessel AND e.kind = :kind ORDER BY e.at_utc_s");
  return sql;
}

/// Records of one kind of a vessel by time; equal times come in any order.
inline std::string list_kind(std::size_t kind, bool newest_first) {
  std::string sql = "SELECT ";
  sql.append(kListColumns).append(", ").append(kDetails[kind].columns);
  sql.append(" FROM entry e CROSS JOIN ").append(kDetails[kind].name).append(" d ON d.entry_id = e.entry_id");
  sql.append(
      " WHERE e.vessel_id = :vessel AND e.kind = :kind AND e.at_utc_s >= :from AND e.at_utc_s < :until"
      " AND e.recorded_at_utc_s <= :known AND (:shaft IS NULL OR e.shaft_id = :shaft)"
      " AND (:lubricator IS NULL OR e.lubricator_id = :lubricator)");
  sql += newest_first ? " ORDER BY e.at_utc_s DESC" : " ORDER BY e.at_utc_s";
  return sql;
}

inline std::string list_withdrawals(bool newest_first) {
  std::string sql = "SELECT ";
  sql.append(kListColumns).append(" FROM entry e");
  sql.append(
      " WHERE e.vessel_id = :vessel AND e.withdraws IS NOT NULL AND (:kind IS NULL OR e.kind = :kind)"
      " AND e.at_utc_s >= :from AND e.at_utc_s < :until AND e.recorded_at_utc_s <= :known"
      " AND (:shaft IS NULL OR e.shaft_id = :shaft) AND (:lubricator IS NULL OR e.lubricator_id = :lubricator)");
  sql += newest_first ? " ORDER BY e.at_utc_s DESC" : " ORDER BY e.at_utc_s";
  return sql;
}

inline std::string find_entry() {
  std::string sql = "SELECT ";
  sql.append(kHeadColumns).append(", e.entry_id FROM entry e").append(kNames).append(" WHERE e.uuid = :uuid");
  return sql;
}

inline std::string find_detail(std::size_t kind) {
  std::string sql = "SELECT ";
  sql.append(kDetails[kind].columns)
      .append(" FROM ")
      .append(kDetails[kind].name)
      .append(" d WHERE d.entry_id = :entry");
  return sql;
}

inline constexpr const char* kEntryKey = R"sql( SELECT entry_id FROM entry WHERE uuid = :uuid )sql";
inline constexpr const char* kFindByPrefix = R"sql(
SELECT uuid FROM entry WHERE uuid >= :low AND uuid <= :high ORDER BY uuid LIMIT 10 )sql";
inline constexpr const char* kCorrectionsOf = R"sql(
SELECT uuid FROM entry WHERE vessel_id = :vessel AND replaces = :of ORDER BY uuid )sql";
inline constexpr const char* kWithdrawalsOf = R"sql(
SELECT uuid FROM entry WHERE vessel_id = :vessel AND withdraws = :of ORDER BY uuid )sql";
inline constexpr const char* kCorrections = R"sql(
SELECT uuid, replaces, recorded_at_utc_s FROM entry
WHERE vessel_id = :vessel AND replaces IS NOT NULL AND recorded_at_utc_s <= :known ORDER BY replaces, uuid )sql";
inline constexpr const char* kWithdrawals = R"sql(
SELECT uuid, withdraws, recorded_at_utc_s FROM entry
WHERE vessel_id = :vessel AND withdraws IS NOT NULL AND recorded_at_utc_s <= :known ORDER BY withdraws, uuid )sql";
inline constexpr const char* kVesselsByCode = R"sql( SELECT vessel_id FROM vessel ORDER BY code )sql";
inline constexpr const char* kVesselOfShaft = R"sql( SELECT vessel_id FROM shaft WHERE shaft_id = :shaft )sql";
inline constexpr const char* kVesselOfLubricator = R"sql(
SELECT vessel_id FROM lubricator WHERE lubricator_id = :lubricator )sql";
inline constexpr const char* kPersonName = R"sql( SELECT name FROM person WHERE person_id = :person )sql";
inline constexpr const char* kSourceName = R"sql( SELECT name FROM source WHERE source_id = :source )sql";

/// All of the above.
inline std::vector<std::string> all() {
  std::vector<std::string> out{kFindPerson,
                               kAddPerson,
                               kFindSource,
                               kAddSource,
                               kAddEntry,
                               kAddHours,
                               kAddCycles,
                               kAddLevel,
                               kAddRefill,
                               kAddGreasing,
                               kAddAlarm,
                               kAddWork,
                               kAddInspection,
                               find_entry(),
                               kEntryKey,
                               kFindByPrefix,
                               kCorrectionsOf,
                               kWithdrawalsOf,
                               kCorrections,
                               kWithdrawals,
                               kVesselsByCode,
                               kVesselOfShaft,
                               kVesselOfLubricator,
                               kPersonName,
                               kSourceName,
                               list_withdrawals(false),
                               list_withdrawals(true)};
  for (std::size_t kind = 0; kind < kDetails.size(); ++kind) {
    out.push_back(load_kind(kind));
    out.push_back(list_kind(kind, false));
    out.push_back(list_kind(kind, true));
    out.push_back(find_detail(kind));
  }
  return out;
}

}  // namespace shaftlog::log_sql
