#pragma once

// Every statement of the exchange with other files, in one place so that a test can prepare and explain each.

#include <string>
#include <vector>

namespace shaftlog::exchange_sql {

inline constexpr const char* kFleet = R"sql( SELECT uuid FROM fleet ORDER BY fleet_id DESC LIMIT 1 )sql";
inline constexpr const char* kAddFleet = R"sql(
INSERT INTO fleet (fleet_id, uuid) SELECT ifnull(max(fleet_id), 0) + 1, :uuid FROM fleet )sql";
inline constexpr const char* kRandom = R"sql( SELECT randomblob(16) )sql";
inline constexpr const char* kOrigins = R"sql( SELECT origin_id, uuid, name, own FROM origin ORDER BY uuid )sql";
inline constexpr const char* kFindOrigin = R"sql( SELECT origin_id FROM origin WHERE uuid = :uuid )sql";
inline constexpr const char* kAddOrigin = R"sql(
INSERT INTO origin (origin_id, uuid, name) SELECT ifnull(max(origin_id), 0) + 1, :uuid, '' FROM origin )sql";
inline constexpr const char* kNameOrigin = R"sql( UPDATE origin SET name = :name WHERE origin_id = :origin )sql";
inline constexpr const char* kHashAt = R"sql(
SELECT hash FROM link WHERE origin_id = :origin AND position = :position )sql";
inline constexpr const char* kVariant = R"sql(
SELECT content FROM variant WHERE origin_id = :origin AND position = :position )sql";
inline constexpr const char* kAddVariant = R"sql(
INSERT INTO variant (origin_id, position, content) VALUES (:origin, :position, :content) )sql";
inline constexpr const char* kPeer = R"sql(
SELECT told_utc_s, register_hash, seen_register FROM peer WHERE origin_id = :origin )sql";
inline constexpr const char* kPutPeer = R"sql(
INSERT INTO peer (origin_id, told_utc_s, register_hash, seen_register) VALUES (:origin, :told, :hash, :seen)
ON CONFLICT (origin_id) DO UPDATE SET told_utc_s = excluded.told_utc_s, register_hash = excluded.register_hash,
  seen_register = excluded.seen_register )sql";
inline constexpr const char* kAcknowledged = R"sql(
SELECT origin_id, position FROM acknowledged WHERE peer_id = :peer )sql";
inline constexpr const char* kForgetAcknowledged = R"sql( DELETE FROM acknowledged WHERE peer_id = :peer )sql";
inline constexpr const char* kAcknowledge = R"sql(
INSERT INTO acknowledged (peer_id, origin_id, position) VALUES (:peer, :origin, :position) )sql";
inline constexpr const char* kNoteTime = R"sql(
INSERT INTO register_time (table_name, row_id, at_utc_s) VALUES (:table, :row, :at)
ON CONFLICT (table_name, row_id) DO UPDATE SET at_utc_s = max(at_utc_s, excluded.at_utc_s) )sql";
/// Rows of the register by what they go by in every file, with the moment they were last put right, 0: never.
inline constexpr const char* kRegisterTimes = R"sql(
WITH named (key, table_name, row_id) AS (
  SELECT 'vessel' || char(31) || code, 'vessel', vessel_id FROM vessel
  UNION ALL SELECT 'grease' || char(31) || code, 'grease', grease_id FROM grease
  UNION ALL SELECT 'gun' || char(31) || v.code || char(31) || g.code || char(31) || ifnull(c.from_utc_s, ''),
    'gun_calibration', c.gun_calibration_id
    FROM gun_calibration c JOIN gun g USING (gun_id) JOIN vessel v USING (vessel_id)
  UNION ALL SELECT 'lubricator' || char(31) || v.code || char(31) || l.code || char(31) || ifnull(s.from_utc_s, ''),
    'lubricator_setting', s.lubricator_setting_id
    FROM lubricator_setting s JOIN lubricator l USING (lubricator_id) JOIN vessel v USING (vessel_id)
  UNION ALL SELECT 'shaft' || char(31) || v.code || char(31) || h.code || char(31) || ifnull(s.from_utc_s, ''),
    'shaft_setting', s.shaft_setting_id
    FROM shaft_setting s JOIN shaft h USING (shaft_id) JOIN vessel v USING (vessel_id)
  UNION ALL SELECT 'feed' || char(31) || v.code || char(31) || l.code || char(31) || h.code || char(31) ||
    ifnull(f.from_utc_s, ''), 'feed', f.feed_id
    FROM feed f JOIN lubricator l ON l.lubricator_id = f.lubricator_id JOIN shaft h ON h.shaft_id = f.shaft_id
    JOIN vessel v ON v.vessel_id = f.vessel_id),
changed (table_name, row_id, at) AS (
  SELECT table_name, row_id, max(at_utc_s) FROM register_change GROUP BY table_name, row_id)
SELECT n.key, n.table_name, n.row_id, max(ifnull(c.at, 0), ifnull(t.at_utc_s, 0))
FROM named n LEFT JOIN changed c USING (table_name, row_id) LEFT JOIN register_time t USING (table_name, row_id)
)sql";

inline std::vector<std::string> all() {
  return {kFleet,       kAddFleet, kRandom,       kOrigins, kFindOrigin, kAddOrigin,    kNameOrigin,
          kHashAt,      kVariant,  kAddVariant,   kPeer,    kPutPeer,    kAcknowledged, kForgetAcknowledged,
          kAcknowledge, kNoteTime, kRegisterTimes};
}

}  // namespace shaftlog::exchange_sql
