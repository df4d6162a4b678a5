#pragma once

#include "analysis/types.hpp"
#include "reports/charts/plot.hpp"

#include <cstdint>
#include <optional>
#include <string>
#include <utility>
#include <variant>
#include <vector>

namespace shaftlog {

// A report as a row of blocks: what it says, not how it looks. `html_page.hpp` and `pdf_pages.hpp` show it.

struct Heading {
  int level = 2;  ///< 2: chapter, 3: part; 1 is the title
  std::string text;
  std::string anchor;  ///< letters, digits, '-'; no two alike in a report
};
struct Paragraph {
  std::string text;
  bool is_quiet = false;  ///< a note
  bool leads_in = false;  ///< stays with what follows
};
struct BulletList {
  std::string title;  ///< may be empty
  std::vector<std::string> items;
};
/// What must be heeded before work; framed.
struct Cautions {
  std::string title;
  std::vector<std::string> items;
};
/// Names with values, short.
struct Facts {
  std::vector<std::pair<std::string, std::string>> rows;
};
struct TableCell {
  std::string text;
  std::optional<Urgency> urgency;  ///< its shape stands before the text
  std::string address{};           ///< where the text leads on a page that is served; empty: nowhere
};
struct TableRow {
  std::vector<TableCell> cells;
};
struct ReportTable {
  struct Column {
    std::string head;
    bool is_number = false;  ///< to the right
  };
  std::string caption;
  std::vector<Column> columns;
  std::vector<TableRow> rows;
  std::string when_empty;  ///< said in place of a table with no rows
};
/// One finding in full: cautions beside the checks they belong to.
struct FindingBlock {
  Urgency urgency{};
  std::string title;  ///< "ship, subject: kind"
  std::string summary;
  std::vector<std::pair<std::string, std::string>> lines;  ///< "since", "how sure" ...
  std::vector<std::string> checks, cautions;
};
struct ChartBlock {
  Chart chart;
  bool is_titled = false;                                    ///< the drawing does not carry its title
  std::vector<std::pair<std::string, FigureTable>> figures;  ///< shown on demand on screen, not in print
};
/// A ruled form to fill in by hand.
struct BlankTable {
  struct Column {
    std::string head;  ///< the word it is typed in under
    std::string hint;  ///< how to fill it in; small
    double share = 1;  ///< of the width
  };
  std::string caption;
  std::vector<Column> columns;
  std::vector<std::vector<std::string>> rows;  ///< what is printed in the first cells of each line; the rest is blank
};
/// What follows begins a page when it is printed.
struct NewPage {};
using ReportBlock = std::variant<Heading, Paragraph, BulletList, Cautions, Facts, ReportTable, FindingBlock, ChartBlock,
                                 BlankTable, NewPage>;

struct Report {
  std::string title;
  std::string subtitle;  ///< as of when, from which records
  std::string footer;    ///< at the foot of every printed page
  Instant as_of{};
  std::vector<ReportBlock> blocks;
};

/// "ACT", "PLAN", "watch", "note"
std::string urgency_word(Urgency u);

}  // namespace shaftlog
