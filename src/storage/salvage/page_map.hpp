#pragma once

#include "storage/salvage/tree_page.hpp"

#include <functional>
#include <map>
#include <set>

struct sqlite3;

namespace shaftlog::salvage {

/// A leaf of a table. Pages no root leads to any more are known by what they hold.
struct Leaf {
  std::uint32_t page = 0;
  KeyRange keys;
};

/// A row that could be read. Values point into `payload`.
struct Row {
  std::int64_t key = 0;
  std::vector<std::uint8_t> payload;
  std::vector<Value> values;  ///< all columns; the key stands in its own column
};

/// Tables of a schema, and an index whose rows say the whole row of its table once more.
struct Column {
  std::string name, type;
  bool not_null = false;
};
struct SecondCopy {
  std::string index;
  std::vector<int> columns;  ///< of the table, in the index's order; the rowid follows them
};
struct TableShape {
  std::string name;
  std::vector<Column> columns;
  int key_column = -1;  ///< INTEGER PRIMARY KEY
  std::optional<SecondCopy> second_copy;
  std::vector<std::string> parents;  ///< tables it refers to
  /// Place of a column; -1: there is none of that name.
  [[nodiscard]] int column(std::string_view column_name) const noexcept;
};
/// Tables of an open database with a fresh schema, each after those it refers to.
std::vector<TableShape> table_shapes(sqlite3* fresh);
/// Root page of each table and index of a fresh schema, by name.
std::map<std::string, std::uint32_t> root_pages(sqlite3* fresh);

/// Which page belongs to what, and the rows on them.
class PageMap {
 public:
  /// Answers whether a row could stand in a table as far as the table's own checks say.
  using Fits = std::function<bool(const TableShape& table, const Row& row)>;
  /// Follows the trees. `fresh_roots`: where a table's root is looked for when the schema's own row is lost.
  PageMap(const PageFile& file, const std::vector<TableShape>& tables,
          const std::map<std::string, std::uint32_t>& fresh_roots, const Fits& fits);
  /// Looks in the pages no tree led to for rows of these tables; a page goes to the one table its rows fit best.
  void find_by_content(const std::vector<const TableShape*>& tables, const Fits& fits);

  /// Rows of a table's leaves, then, where a page is lost, those its second copy has. A key may come more than once.
  void each_row(const TableShape& table, const std::function<void(const Row&)>& take) const;
  [[nodiscard]] std::vector<Row> rows_of(const TableShape& table, const Leaf& leaf) const;
  [[nodiscard]] const std::vector<Leaf>& leaves_of(const std::string& table) const;
  /// Records of an index, values only; the rowid is the last.
  void each_index_row(const std::string& index, const std::function<void(const std::vector<Value>&)>& take) const;

  /// Pages a table or index should have and that could not be read as such.
  [[nodiscard]] const std::set<std::uint32_t>& unreadable() const noexcept { return unreadable_; }
  /// Pages with rows of which it cannot be told to which of several tables they belong.
  [[nodiscard]] const std::set<std::uint32_t>& undecided() const noexcept { return undecided_; }
  /// Whether rows may have followed the last one that can be read: the way to the table's end is damaged.
  [[nodiscard]] bool is_end_lost(const std::string& table) const { return !whole_ends_.contains(table); }

 private:
  using Roots = std::map<std::string, std::uint32_t>;
  [[nodiscard]] Roots read_roots();
  struct Tree {
    const TableShape* table = nullptr;  ///< null: an index
    std::vector<Leaf>* leaves = nullptr;
    bool is_whole = true, is_end_whole = true;
  };
  /// Every leaf below `page`, to which `above` leads; interior cells of indexes hold rows too.
  void walk(Tree& tree, std::uint32_t page, std::uint32_t above, KeyRange keys, int depth);
  /// A page that stands in two tables, as a write to the wrong place leaves it, is in neither: rows of several tables
  /// look alike, and it cannot be told whose they are.
  void drop_doubles();
  [[nodiscard]] bool is_plausible_root(const TableShape& table, std::uint32_t page, const Fits& fits) const;

  const PageFile* file_;
  std::map<std::string, std::vector<Leaf>> leaves_;       // of tables
  std::map<std::string, std::vector<Leaf>> index_pages_;  // all of an index's pages
  std::set<std::uint32_t> seen_, unreadable_, undecided_;
  std::set<std::string> whole_;       // tables of which every page can be read
  std::set<std::string> whole_ends_;  // tables whose last row is known to be the last
};

}  // namespace shaftlog::salvage
