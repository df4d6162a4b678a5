#include "interchange/tables.hpp"

#include <algorithm>

namespace shaftlog {
namespace {

using enum Column;

constexpr std::array<std::string_view, kColumnCount> kColumnNames{"vessel",
                                                                  "shaft",
                                                                  "lubricator",
                                                                  "at",
                                                                  "raised_at",
                                                                  "cleared_at",
                                                                  "alarm",
                                                                  "meter_h",
                                                                  "meter",
                                                                  "old_meter_h",
                                                                  "count",
                                                                  "counter",
                                                                  "level_pct",
                                                                  "amount",
                                                                  "unit",
                                                                  "level_before_pct",
                                                                  "level_after_pct",
                                                                  "gun",
                                                                  "ended",
                                                                  "purge",
                                                                  "grease",
                                                                  "batch",
                                                                  "work",
                                                                  "water_pct",
                                                                  "iron_ppm",
                                                                  "clearance_mm",
                                                                  "cm3_per_unit",
                                                                  "id",
                                                                  "recorded_at",
                                                                  "by",
                                                                  "remark",
                                                                  "replaces",
                                                                  "withdraws",
                                                                  "reason",
                                                                  "source",
                                                                  "name",
                                                                  "imo",
                                                                  "time_zone",
                                                                  "group",
                                                                  "thickener",
                                                                  "nlgi",
                                                                  "density_g_cm3",
                                                                  "sea_safe",
                                                                  "cm3_per_stroke",
                                                                  "calibrated_on",
                                                                  "reservoir_cm3",
                                                                  "low_level_cm3",
                                                                  "from",
                                                                  "position",
                                                                  "cavity_cm3",
                                                                  "interval_h",
                                                                  "interval_days",
                                                                  "reserve_pct",
                                                                  "meter_rollover_h",
                                                                  "dose_cm3",
                                                                  "cycle_min",
                                                                  "water_limit_pct",
                                                                  "iron_limit_ppm",
                                                                  "clearance_limit_mm",
                                                                  "other_grease",
                                                                  "evidence",
                                                                  "reference",
                                                                  "finding",
                                                                  "kind",
                                                                  "did",
                                                                  "says",
                                                                  "was_urgency",
                                                                  "was_summary",
                                                                  "was_first_seen",
                                                                  "was_began",
                                                                  "was_measure",
                                                                  "was_value",
                                                                  "record",
                                                                  "refused_because"};

constexpr std::array<std::string_view, kTableCount> kFileNames{
    "vessels.csv",         "greases.csv", "guns.csv",        "lubricators.csv", "shafts.csv",       "feeds.csv",
    "grease_evidence.csv", "hours.csv",   "cycles.csv",      "levels.csv",      "refills.csv",      "greasings.csv",
    "alarms.csv",          "work.csv",    "inspections.csv", "findings.csv",    "verifications.csv"};

constexpr bool kYes = true, kNo = false;

constexpr TableColumn kVessels[] = {{vessel, kYes}, {name, kYes}, {imo, kNo}, {time_zone, kYes}, {group, kNo}};
constexpr TableColumn kGreases[] = {
    {grease, kYes}, {thickener, kNo}, {nlgi, kNo}, {density_g_cm3, kYes}, {sea_safe, kNo}};
constexpr TableColumn kGuns[] = {{vessel, kYes}, {gun, kYes}, {cm3_per_stroke, kYes}, {calibrated_on, kNo}};
constexpr TableColumn kLubricators[] = {{vessel, kYes},       {lubricator, kYes}, {reservoir_cm3, kYes},
                                        {low_level_cm3, kNo}, {grease, kYes},     {from, kNo}};
constexpr TableColumn kShafts[] = {
    {vessel, kYes},         {shaft, kYes},         {position, kNo},          {cavity_cm3, kNo}, {interval_h, kNo},
    {interval_days, kNo},   {reserve_pct, kNo},    {meter_rollover_h, kNo},  {grease, kYes},    {from, kNo},
    {water_limit_pct, kNo}, {iron_limit_ppm, kNo}, {clearance_limit_mm, kNo}};
constexpr TableColumn kGreaseEvidence[] = {{grease, kYes}, {other_grease, kYes}, {evidence, kYes}, {reference, kNo}};
constexpr TableColumn kFeeds[] = {{vessel, kYes}, {lubricator, kYes}, {shaft, kYes},
                                  {from, kYes},   {dose_cm3, kYes},   {cycle_min, kYes}};

// Every log file ends with the same columns.
#define SHAFTLOG_COMMON                                                                                        \
  {id, kNo}, {recorded_at, kNo}, {by, kNo}, {remark, kNo}, {replaces, kNo}, {withdraws, kNo}, {reason, kNo}, { \
    source, kNo                                                                                                \
  }
constexpr TableColumn kHours[] = {{vessel, kYes}, {shaft, kYes},      {at, kYes},     {meter_h, kYes},
                                  {meter, kNo},   {old_meter_h, kNo}, SHAFTLOG_COMMON};
constexpr TableColumn kCycles[] = {{vessel, kYes}, {lubricator, kYes}, {at, kYes},
                                   {count, kYes},  {counter, kNo},     SHAFTLOG_COMMON};
constexpr TableColumn kLevels[] = {{vessel, kYes}, {lubricator, kYes}, {at, kYes}, {level_pct, kYes}, SHAFTLOG_COMMON};
constexpr TableColumn kRefills[] = {
    {vessel, kYes},          {lubricator, kYes},     {at, kYes},    {amount, kNo}, {unit, kNo},    {cm3_per_unit, kNo},
    {level_before_pct, kNo}, {level_after_pct, kNo}, {grease, kNo}, {batch, kNo},  SHAFTLOG_COMMON};
constexpr TableColumn kGreasings[] = {{vessel, kYes}, {shaft, kYes},       {at, kYes},     {amount, kYes},
                                      {unit, kYes},   {cm3_per_unit, kNo}, {gun, kNo},     {ended, kYes},
                                      {purge, kNo},   {grease, kNo},       SHAFTLOG_COMMON};
constexpr TableColumn kAlarms[] = {{vessel, kYes},    {lubricator, kYes}, {shaft, kNo},   {raised_at, kYes},
                                   {cleared_at, kNo}, {alarm, kYes},      SHAFTLOG_COMMON};
constexpr TableColumn kWork[] = {{vessel, kYes}, {shaft, kNo},         {lubricator, kNo},
                                 {at, kYes},     {Column::work, kYes}, SHAFTLOG_COMMON};
constexpr TableColumn kInspections[] = {{vessel, kYes},  {shaft, kYes},       {at, kYes},     {water_pct, kNo},
                                        {iron_ppm, kNo}, {clearance_mm, kNo}, SHAFTLOG_COMMON};
#undef SHAFTLOG_COMMON
constexpr TableColumn kFindings[] = {{vessel, kYes},    {shaft, kNo},       {lubricator, kNo},  {finding, kYes},
                                     {kind, kYes},      {did, kYes},        {at, kYes},         {says, kNo},
                                     {by, kNo},         {was_urgency, kNo}, {was_summary, kNo}, {was_first_seen, kNo},
                                     {was_began, kNo},  {was_measure, kNo}, {was_value, kNo},   {id, kNo},
                                     {recorded_at, kNo}};
constexpr TableColumn kVerifications[] = {{vessel, kYes}, {record, kYes}, {at, kYes}, {by, kYes}, {id, kNo}};

}  // namespace

std::string_view name_of(Column c) noexcept { return kColumnNames[static_cast<std::size_t>(c)]; }

std::string_view file_name_of(Table t) noexcept { return kFileNames[static_cast<std::size_t>(t)]; }

std::optional<Table> table_of_file(std::string_view file_name) noexcept {
  for (std::size_t i = 0; i < kTableCount; ++i) {
    if (kFileNames[i] == file_name) return table_at(i);
  }
  return std::nullopt;
}

std::span<const TableColumn> columns_of(Table t) noexcept {
  switch (t) {
    case Table::vessels:
      return kVessels;
    case Table::greases:
      return kGreases;
    case Table::guns:
      return kGuns;
    case Table::lubricators:
      return kLubricators;
    case Table::shafts:
      return kShafts;
    case Table::feeds:
      return kFeeds;
    case Table::grease_evidence:
      return kGreaseEvidence;
    case Table::hours:
      return kHours;
    case Table::cycles:
      return kCycles;
    case Table::levels:
      return kLevels;
    case Table::refills:
      return kRefills;
    case Table::greasings:
      return kGreasings;
    case Table::alarms:
      return kAlarms;
    case Table::work:
      return kWork;
    case Table::inspections:
      return kInspections;
    case Table::findings:
      return kFindings;
    case Table::verifications:
      return kVerifications;
  }
  return {};
}

std::optional<Column> find_column(Table t, std::string_view name) noexcept {
  for (const TableColumn& c : columns_of(t)) {
    if (name_of(c.column) == name) return c.column;
  }
  return std::nullopt;
}

std::string column_names(Table t, bool required_only) {
  std::string out;
  for (const TableColumn& c : columns_of(t)) {
    if (required_only && !c.is_required) continue;
    if (!out.empty()) out += ", ";
    out += name_of(c.column);
  }
  return out;
}

}  // namespace shaftlog
