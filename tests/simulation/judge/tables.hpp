#pragma once

#include "oracle.hpp"

#include <string>

namespace shaftlog::judge {

/// a. false findings and flicker a kind. \param csv rows "table,row,column,value" are appended when given
std::string table_of_false(const std::vector<world::MadeVessel>& fleet, const Replay& replay, std::string* csv);
/// b. faults found, named, and how soon, beside the limit; \param limits of the oracle
std::string table_of_faults(const std::vector<world::MadeVessel>& fleet, const Replay& replay, const Limits& limits,
                            std::string* csv);
/// Those of which no limit is computed.
std::string table_of_plain_faults(const std::vector<world::MadeVessel>& fleet, const Replay& replay, std::string* csv);
/// c. how often stated intervals held the truth, at the dates of the snapshots.
std::string table_of_coverage(const std::vector<world::MadeVessel>& fleet, const Replay& replay, std::string* csv);
/// d. slips of the pen.
std::string table_of_slips(const std::vector<world::MadeVessel>& fleet, const Replay& replay, std::string* csv);
/// Every slip that no finding names, a line each, with the amounts about it.
std::string list_of_untold_slips(const std::vector<world::MadeVessel>& fleet, const Replay& replay);
/// e. plain methods with limits tuned on `healthy` to the same rate of false findings, the review, and the limit.
std::string table_of_yardsticks(const std::vector<world::MadeVessel>& fleet,
                                const std::vector<world::MadeVessel>& healthy, const Replay& replay,
                                const Limits& limits, double washout_per_100_years, double low_per_100_years,
                                std::string* csv);
/// False findings per 100 healthy subject-years, of several kinds together.
double false_per_100_years(const std::vector<world::MadeVessel>& fleet, const Replay& replay,
                           const std::vector<FindingKind>& kinds);

/// Every false finding and every fault that was not found, a line each: where to look when a figure is bad.
std::string list_of_misses(const std::vector<world::MadeVessel>& fleet, const Replay& replay, const Limits* limits);

void put_csv(std::string* csv, std::string_view table, std::string_view row, std::string_view column, double value);
double median_of(std::vector<double> x);  ///< nan of none

}  // namespace shaftlog::judge
