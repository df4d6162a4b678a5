#pragma once

// Every statement about the audit chain, in one place so that a test can prepare and explain each.

#include "storage/log_sql.hpp"

#include <string>
#include <vector>

namespace shaftlog::chain_sql {

inline constexpr const char* kOwn = R"sql(
SELECT origin_id FROM origin WHERE own IS NOT NULL ORDER BY own DESC LIMIT 1 )sql";
inline constexpr const char* kAddOwn = R"sql(
INSERT INTO origin (origin_id, uuid, name, own)
SELECT ifnull(max(origin_id), 0) + 1, :uuid,
       ifnull((SELECT name FROM origin WHERE own IS NOT NULL ORDER BY own DESC LIMIT 1), ''), ifnull(max(own), 0) + 1
FROM origin )sql";
inline constexpr const char* kHead = R"sql(
SELECT position, hash FROM link WHERE origin_id = :origin ORDER BY position DESC LIMIT 1 )sql";
inline constexpr const char* kAddLink = R"sql(
INSERT INTO link (origin_id, position, entry_id, finding_remark_id, verification_id, hash)
VALUES (:origin, :position, :entry, :remark, :verification, :hash) )sql";
/// Followed by rows.
inline constexpr const char* kAddLinks = R"sql(
INSERT INTO link (origin_id, position, entry_id, finding_remark_id, verification_id, hash) VALUES )sql";
inline constexpr const char* kHasLink = R"sql( SELECT 1 FROM link LIMIT 1 )sql";

inline constexpr const char* kVesselCode = R"sql( SELECT code FROM vessel WHERE vessel_id = :id )sql";
inline constexpr const char* kShaftCode = R"sql( SELECT code FROM shaft WHERE shaft_id = :id )sql";
inline constexpr const char* kLubricatorCode = R"sql( SELECT code FROM lubricator WHERE lubricator_id = :id )sql";
inline constexpr const char* kGunCode = R"sql( SELECT code FROM gun WHERE gun_id = :id )sql";
inline constexpr const char* kGreaseCode = R"sql( SELECT code FROM grease WHERE grease_id = :id )sql";

inline constexpr const char* kOrigins = R"sql( SELECT origin_id, uuid, name FROM origin ORDER BY origin_id )sql";
inline constexpr const char* kStrayStrands = R"sql(
SELECT DISTINCT origin_id FROM link WHERE origin_id NOT IN (SELECT origin_id FROM origin) )sql";
inline constexpr const char* kLinks = R"sql(
SELECT position, hash, entry_id, finding_remark_id, verification_id FROM link
WHERE origin_id = :origin AND position > :after ORDER BY position )sql";
inline std::string entry_of() {
  std::string sql = "SELECT ";
  sql.append(log_sql::kHeadColumns)
      .append(" FROM entry e")
      .append(log_sql::kNames)
      .append(" WHERE e.entry_id = :entry");
  return sql;
}
inline constexpr const char* kEntries = R"sql( SELECT entry_id, uuid FROM entry ORDER BY entry_id )sql";
inline constexpr const char* kRemarks = R"sql(
SELECT finding_remark_id, uuid FROM finding_remark ORDER BY finding_remark_id )sql";
inline constexpr const char* kVerifications = R"sql(
SELECT verification_id, uuid FROM verification ORDER BY verification_id )sql";

inline std::vector<std::string> all() {
  return {kOwn,       kAddOwn,         kHead,    kAddLink,    kHasLink,      kVesselCode,
          kShaftCode, kLubricatorCode, kGunCode, kGreaseCode, kOrigins,      kStrayStrands,
          kLinks,     entry_of(),      kEntries, kRemarks,    kVerifications};
}

}  // namespace shaftlog::chain_sql
