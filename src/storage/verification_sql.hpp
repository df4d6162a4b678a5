#pragma once

// Every statement about verifications, in one place so that a test can prepare and explain each.

#include <string>
#include <vector>

namespace shaftlog::verification_sql {

inline constexpr const char* kAddPerson = R"sql(
INSERT INTO person (name) VALUES (:name) ON CONFLICT (name) DO NOTHING )sql";
inline constexpr const char* kAdd = R"sql(
INSERT INTO verification (uuid, vessel_id, record, at_utc_s, at_offset_min, at_precision, verified_by)
VALUES (:uuid, :vessel, :record, :at, :at_offset, :at_precision, (SELECT person_id FROM person WHERE name = :by))
ON CONFLICT (uuid) DO NOTHING )sql";
inline constexpr const char* kKey = R"sql( SELECT verification_id FROM verification WHERE uuid = :uuid )sql";

inline constexpr const char* kSelect = R"sql(
SELECT w.uuid, w.vessel_id, w.record, w.at_utc_s, w.at_offset_min, w.at_precision, p.name
FROM verification w LEFT JOIN person p ON p.person_id = w.verified_by )sql";

inline std::string find() { return std::string{kSelect} + " WHERE w.uuid = :uuid "; }
inline std::string find_by_key() { return std::string{kSelect} + " WHERE w.verification_id = :verification "; }
inline std::string list_of_record() {
  return std::string{kSelect} + " WHERE w.vessel_id = :vessel AND w.record = :record ORDER BY w.at_utc_s, w.uuid ";
}
inline std::string list_of_vessel() {
  return std::string{kSelect} + " WHERE w.vessel_id = :vessel ORDER BY w.at_utc_s, w.uuid ";
}
inline constexpr const char* kRecordsOfVessel = R"sql(
SELECT DISTINCT record FROM verification WHERE vessel_id = :vessel AND at_utc_s <= :known )sql";
inline constexpr const char* kVessels = R"sql(
SELECT v.vessel_id FROM vessel v WHERE EXISTS (SELECT 1 FROM verification w WHERE w.vessel_id = v.vessel_id)
ORDER BY v.code )sql";
/// Records that stand in a strand of this file.
inline constexpr const char* kOwnRecords = R"sql(
SELECT e.uuid FROM origin o JOIN link l USING (origin_id) JOIN entry e ON e.entry_id = l.entry_id
WHERE o.own IS NOT NULL )sql";

inline std::vector<std::string> all() {
  return {kAddPerson,       kAdd,     kKey,       find(), find_by_key(), list_of_record(), list_of_vessel(),
          kRecordsOfVessel, kVessels, kOwnRecords};
}

}  // namespace shaftlog::verification_sql
