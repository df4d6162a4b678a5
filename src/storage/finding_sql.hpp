#pragma once

// Every statement about remarks on findings, in one place so that a test can prepare and explain each.

#include <string>
#include <vector>

namespace shaftlog::finding_sql {

inline constexpr const char* kAddPerson = R"sql(
INSERT INTO person (name) VALUES (:name) ON CONFLICT (name) DO NOTHING )sql";
inline constexpr const char* kAdd = R"sql(
INSERT INTO finding_remark (uuid, finding, kind, vessel_id, shaft_id, lubricator_id, did, says, at_utc_s, at_offset_min,
                            at_precision, recorded_at_utc_s, recorded_offset_min, recorded_precision, recorded_by,
                            was_urgency, was_summary, was_first_seen_utc_s, was_began_utc_s, was_measure, was_value_ppm)
VALUES (:uuid, :finding, :kind, :vessel, :shaft, :lubricator, :did, :says, :at, :at_offset, :at_precision,
        :recorded_at, :recorded_offset, :recorded_precision, (SELECT person_id FROM person WHERE name = :by),
        :urgency, :summary, :first_seen, :began, :measure, :value)
ON CONFLICT (uuid) DO NOTHING )sql";

inline constexpr const char* kSelect = R"sql(
SELECT r.uuid, r.finding, r.kind, r.vessel_id, r.shaft_id, r.lubricator_id, r.did, r.says, r.at_utc_s, r.at_offset_min,
       r.at_precision, r.recorded_at_utc_s, r.recorded_offset_min, r.recorded_precision, p.name, r.was_urgency,
       r.was_summary, r.was_first_seen_utc_s, r.was_began_utc_s, r.was_measure, r.was_value_ppm
FROM finding_remark r LEFT JOIN person p ON p.person_id = r.recorded_by )sql";

inline std::string find() { return std::string{kSelect} + " WHERE r.uuid = :uuid "; }
inline constexpr const char* kKey = R"sql( SELECT finding_remark_id FROM finding_remark WHERE uuid = :uuid )sql";
inline std::string find_by_key() { return std::string{kSelect} + " WHERE r.finding_remark_id = :remark "; }
/// Of one vessel, sorted as is_before() does.
inline std::string list_of_vessel() {
  return std::string{kSelect} +
         " WHERE r.vessel_id = :vessel AND r.at_utc_s <= :as_of AND r.recorded_at_utc_s <= :known"
         " ORDER BY r.recorded_at_utc_s, r.uuid ";
}
inline constexpr const char* kVessels = R"sql(
SELECT v.vessel_id FROM vessel v WHERE EXISTS (SELECT 1 FROM finding_remark r WHERE r.vessel_id = v.vessel_id)
ORDER BY v.code )sql";

inline std::vector<std::string> all() {
  return {kAddPerson, kAdd, kKey, find(), find_by_key(), list_of_vessel(), kVessels};
}

}  // namespace shaftlog::finding_sql
