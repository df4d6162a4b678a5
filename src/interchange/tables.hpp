#pragma once

#include "domain/record.hpp"

#include <array>
#include <bitset>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <string_view>

namespace shaftlog {

/// The files of a log folder, in the order in which they are read: what others name comes first.
enum class Table : std::uint8_t {
  vessels,
  greases,
  guns,
  lubricators,
  shafts,
  feeds,
  grease_evidence,
  hours,
  cycles,
  levels,
  refills,
  greasings,
  alarms,
  work,
  inspections,
  findings,      ///< what was done about them
  verifications  ///< which records somebody answers for
};
constexpr std::size_t kTableCount = 17;

/// Every column that a file of a log folder may carry.
enum class Column : std::uint8_t {
  vessel,
  shaft,
  lubricator,
  at,
  raised_at,
  cleared_at,
  alarm,
  meter_h,
  meter,
  old_meter_h,
  count,
  counter,
  level_pct,
  amount,
  unit,
  level_before_pct,
  level_after_pct,
  gun,
  ended,
  purge,
  grease,
  batch,
  work,
  water_pct,
  iron_ppm,
  clearance_mm,
  cm3_per_unit,
  id,
  recorded_at,
  by,
  remark,
  replaces,
  withdraws,
  reason,
  source,
  name,
  imo,
  time_zone,
  group,
  thickener,
  nlgi,
  density_g_cm3,
  sea_safe,
  cm3_per_stroke,
  calibrated_on,
  reservoir_cm3,
  low_level_cm3,
  from,
  position,
  cavity_cm3,
  interval_h,
  interval_days,
  reserve_pct,
  meter_rollover_h,
  dose_cm3,
  cycle_min,
  water_limit_pct,
  iron_limit_ppm,
  clearance_limit_mm,
  other_grease,
  evidence,
  reference,
  finding,
  kind,
  did,
  says,
  was_urgency,
  was_summary,
  was_first_seen,
  was_began,
  was_measure,
  was_value,
  record,
  refused_because  ///< only in rejects files: why the line was refused; read over
};
constexpr std::size_t kColumnCount = static_cast<std::size_t>(Column::refused_because) + 1;

struct TableColumn {
  Column column;
  bool is_required;  ///< the header must name it; whether a row may leave it empty is for the row to say
};

std::string_view name_of(Column c) noexcept;
/// "greasings.csv"
std::string_view file_name_of(Table t) noexcept;
/// The table that a file of that name holds, exactly.
std::optional<Table> table_of_file(std::string_view file_name) noexcept;
/// A table of records; neither the register, nor the remarks on findings, nor verifications.
constexpr bool is_log(Table t) noexcept { return t >= Table::hours && t <= Table::inspections; }
/// The record kind of a log table. \pre is_log(t)
constexpr Kind kind_of(Table t) noexcept {
  return static_cast<Kind>(static_cast<int>(t) - static_cast<int>(Table::hours));
}
constexpr Table table_of(Kind k) noexcept {
  return static_cast<Table>(static_cast<int>(k) + static_cast<int>(Table::hours));
}
constexpr Table table_at(std::size_t i) noexcept { return static_cast<Table>(i); }
/// The columns of a table in the order in which they are written.
std::span<const TableColumn> columns_of(Table t) noexcept;
/// The column of that name in that table.
std::optional<Column> find_column(Table t, std::string_view name) noexcept;
/// "vessel, shaft, at, meter_h": all, or the required ones.
std::string column_names(Table t, bool required_only);

/// The values of one row by column. What is not given is empty; a column may be given and empty.
class Fields {
 public:
  void set(Column c, std::string_view value) noexcept {
    values_[static_cast<std::size_t>(c)] = value;
    given_.set(static_cast<std::size_t>(c));
  }
  [[nodiscard]] std::string_view operator[](Column c) const noexcept { return values_[static_cast<std::size_t>(c)]; }
  [[nodiscard]] bool is_given(Column c) const noexcept { return given_[static_cast<std::size_t>(c)]; }

 private:
  std::array<std::string_view, kColumnCount> values_{};
  std::bitset<kColumnCount> given_;
};

}  // namespace shaftlog
