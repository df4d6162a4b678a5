#pragma once

#include "domain/record.hpp"
#include "domain/register.hpp"

#include <cstddef>
#include <cstdint>
#include <string>
#include <vector>

namespace shaftlog {

/// A record in force, without the text that analysis has no use for.
template <class What>
struct Logged {
  Uuid id;
  Instant at{};
  Instant recorded_at{};
  Precision precision = Precision::minute;
  bool has_remark = false;
  std::uint32_t by = 0;      ///< index into VesselLog::people; 0: not said
  std::uint32_t origin = 0;  ///< index into VesselLog::origins: "typed", a file's name
  ShaftId shaft;
  LubricatorId lubricator;
  What what;
};

/// A record that says it happened after the moment of the view, though it was recorded before: its date is wrong.
struct FutureRecord {
  Uuid id;
  Kind kind{};
  Instant at{};
  Instant recorded_at{};
  ShaftId shaft;
  LubricatorId lubricator;
};

/// Everything in force about one vessel: its part of the register and its records, each list sorted by (at, id).
struct VesselLog {
  Vessel vessel;
  std::vector<Grease> greases;                  ///< all of them
  std::vector<GreaseEvidence> grease_evidence;  ///< likewise
  std::vector<Gun> guns;
  std::vector<Lubricator> lubricators;  // sorted by code
  std::vector<Shaft> shafts;            // sorted by code
  std::vector<Feed> feeds;              // sorted by lubricator, shaft, from
  std::vector<std::string> people{""};
  std::vector<std::string> origins{""};

  std::vector<Logged<Hours>> hours;
  std::vector<Logged<Cycles>> cycles;
  std::vector<Logged<LevelReading>> levels;
  std::vector<Logged<Refill>> refills;
  std::vector<Logged<Greasing>> greasings;
  std::vector<Logged<Alarm>> alarms;
  std::vector<Logged<Work>> work;
  std::vector<Logged<Inspection>> inspections;
  std::vector<FutureRecord> future;  ///< not in the lists above
};

/// Calls `take` with each of the eight lists of records.
template <class Log, class Take>
void for_each_list(Log& log, const Take& take) {
  take(log.hours);
  take(log.cycles);
  take(log.levels);
  take(log.refills);
  take(log.greasings);
  take(log.alarms);
  take(log.work);
  take(log.inspections);
}

inline std::size_t count_records(const VesselLog& log) {
  std::size_t n = 0;
  for_each_list(log, [&n](const auto& records) { n += records.size(); });
  return n;
}

}  // namespace shaftlog
