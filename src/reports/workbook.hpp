#pragma once

#include "analysis/types.hpp"

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <variant>
#include <vector>

namespace shaftlog {

// A workbook as sheets of typed cells: what it says, not how it is kept. `workbook_file.hpp` writes it.

/// Leads to another sheet.
struct SheetLink {
  std::string sheet;
};
/// Empty: not known, or does not apply; never 0 in its place. A moment is shown as UTC.
using SheetCell = std::variant<std::monostate, std::string, double, Instant, SheetLink>;

struct SheetColumn {
  std::string head;  ///< with the unit; no two alike in a sheet
  enum class Kind : std::uint8_t { text, number, time } kind = Kind::text;
  int decimals = 0;  ///< shown of a number; the cell holds more
};
struct SheetRow {
  std::vector<SheetCell> cells;    ///< as many as columns
  std::optional<Urgency> urgency;  ///< its word is set in bold
};

/// A chart of the spreadsheet program itself, over columns of sheets.
struct SheetChart {
  enum class Kind : std::uint8_t { lines, columns, stacked_columns } kind = Kind::lines;
  enum class Look : std::uint8_t { main, edge, base, limit, marks, other };
  struct Series {
    std::string name;
    std::string sheet;
    std::string x, y;  ///< heads of columns; of columns kinds x may hold words
    Look look = Look::main;
  };
  std::string title, x_title, y_title;
  bool x_is_time = false;
  std::vector<Series> series;
  std::optional<double> y_least, y_most;
};

struct Sheet {
  std::string name;  ///< at most 31 characters, none of []:*?/\, no two alike
  std::string what;  ///< one sentence for the first sheet
  std::vector<SheetColumn> columns;
  std::vector<SheetRow> rows;
  std::size_t keys = 1;            ///< columns that stay in view and are printed on every page
  bool is_listing = true;          ///< with a heading row, filters, one row a thing; else read from top to bottom
  std::vector<SheetChart> charts;  ///< on a sheet without columns
};

struct Workbook {
  std::string title;
  std::string footer;  ///< at the foot of every printed page
  Instant as_of{};
  std::vector<Sheet> sheets;
};

/// `value` to `digits` significant ones, as the JSON tells it. Empty when it is not finite.
std::optional<double> told_value(double value, int digits = 6);

}  // namespace shaftlog
