#pragma once

#include "reports/report_parts.hpp"
#include "reports/workbook.hpp"

#include <initializer_list>
#include <string>
#include <utility>

namespace shaftlog {

// What the sheets of the workbooks share. Inside reports only.

/// Columns of a sheet, one after the other; units are typeset.
class ColumnMaker {
 public:
  explicit ColumnMaker(Sheet& sheet) : sheet_{&sheet} {}
  ColumnMaker& words(std::initializer_list<const char*> heads);
  ColumnMaker& number(const std::string& head, int decimals = 0);
  ColumnMaker& time(const std::string& head);  ///< " (UTC)" is added
  /// Three columns: the figure, its 5 % and its 95 %.
  ColumnMaker& estimate(const std::string& what, const std::string& unit, int decimals);

 private:
  Sheet* sheet_;
};

/// Cells of a row, in the order of the columns.
class CellMaker {
 public:
  CellMaker& word(std::string_view text);
  CellMaker& number(std::optional<double> value, int digits = 6);
  CellMaker& count(std::size_t n) { return number(static_cast<double>(n), 15); }
  CellMaker& time(std::optional<Instant> t);
  CellMaker& estimate(const std::optional<Estimate>& e);
  [[nodiscard]] SheetRow row(std::optional<Urgency> urgency = {}) { return {std::move(cells_), urgency}; }

 private:
  std::vector<SheetCell> cells_;
};

Sheet findings_sheet(const ReportInput& in, const std::vector<Finding>& findings);
/// The figures of each finding, one a row.
Sheet figures_sheet(const ReportInput& in, const std::vector<Finding>& findings);
Sheet ships_sheet(const ReportInput& in);
/// \param only empty: every shaft
Sheet shafts_sheet(const ReportInput& in, ShaftId only = {});
/// \param only empty: every lubricator; else those that feed that shaft
Sheet lubricators_sheet(const ReportInput& in, const ShaftDetail* only = nullptr);
Sheet greasings_sheet(const ReportInput& in, ShaftId only = {});
Sheet due_sheet(const ReportInput& in);
Sheet grease_sheet(const ReportInput& in);
Sheet grades_sheet(const ReportInput& in);
Sheet audit_sheet(const ReportInput& in);
Sheet nonconformities_sheet(const ReportInput& in);

/// Records and series of one shaft, and the charts over them.
/// \param i of the shaft in in.logs.front()
void add_shaft_sheets(Workbook& book, const ReportInput& in, std::size_t i, std::span<const Entry> records);

}  // namespace shaftlog
