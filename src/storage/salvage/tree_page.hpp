#pragma once

#include "storage/salvage/page_file.hpp"

#include <limits>

namespace shaftlog::salvage {

/// One cell of a b-tree page.
struct Cell {
  std::int64_t key = 0;               ///< rowid; of pages of tables only
  std::uint32_t child = 0;            ///< of interior pages only
  std::vector<std::uint8_t> payload;  ///< whole, with what had overflowed; empty on interior pages of tables
};

/// Keys a page may hold, as the pages above it say: low < key <= high.
struct KeyRange {
  std::int64_t low = std::numeric_limits<std::int64_t>::min();
  std::int64_t high = std::numeric_limits<std::int64_t>::max();
};

struct TreePage {
  enum class Kind : std::uint8_t { none = 0, index_interior = 2, table_interior = 5, index_leaf = 10, table_leaf = 13 };
  Kind kind = Kind::none;     ///< none: not a page of a tree, or one that cannot be read
  std::vector<Cell> cells;    ///< those that could be read, in order
  std::uint32_t damaged = 0;  ///< cells that could not
  std::uint32_t last_child = 0;
};

/// Reads a page of a tree. Cells of a table that break the order of keys, or the range, are damaged ones.
TreePage read_tree_page(const PageFile& file, std::uint32_t number, KeyRange keys = {});

}  // namespace shaftlog::salvage
