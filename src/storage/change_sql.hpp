#pragma once

// Every statement that asks what came into the file since, in one place so that a test can prepare and explain each.

#include <string>
#include <vector>

namespace shaftlog::change_sql {

inline constexpr const char* kLastEntry = "SELECT ifnull(max(entry_id), 0) FROM entry";
inline constexpr const char* kLastRemark = "SELECT ifnull(max(finding_remark_id), 0) FROM finding_remark";
inline constexpr const char* kEntriesSince = "SELECT vessel_id FROM entry WHERE entry_id > :last";
inline constexpr const char* kRemarksSince = "SELECT vessel_id FROM finding_remark WHERE finding_remark_id > :last";

/// Rows of the register are only added, or put right with their state before kept in register_change.
inline constexpr const char* kLastOfRegister = R"sql(
SELECT ifnull((SELECT max(vessel_id) FROM vessel), 0),
       ifnull((SELECT max(grease_id) FROM grease), 0),
       ifnull((SELECT max(grease_evidence_id) FROM grease_evidence), 0),
       ifnull((SELECT max(gun_id) FROM gun), 0),
       ifnull((SELECT max(gun_calibration_id) FROM gun_calibration), 0),
       ifnull((SELECT max(lubricator_id) FROM lubricator), 0),
       ifnull((SELECT max(lubricator_setting_id) FROM lubricator_setting), 0),
       ifnull((SELECT max(shaft_id) FROM shaft), 0),
       ifnull((SELECT max(shaft_setting_id) FROM shaft_setting), 0),
       ifnull((SELECT max(feed_id) FROM feed), 0),
       ifnull((SELECT max(register_change_id) FROM register_change), 0) )sql";

inline std::vector<std::string> all() {
  return {kLastEntry, kLastRemark, kEntriesSince, kRemarksSince, kLastOfRegister};
}

}  // namespace shaftlog::change_sql
