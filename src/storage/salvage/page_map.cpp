#include "storage/salvage/page_map.hpp"

#include "base/text.hpp"
#include "storage/query.hpp"

#include <algorithm>

#include <fmt/format.h>

namespace shaftlog::salvage {
namespace {

using Kind = TreePage::Kind;

constexpr int kDeepest = 20;  // SQLite's own limit

std::string_view text_of(const Value& value) noexcept {
  return {reinterpret_cast<const char*>(value.bytes.data()), value.bytes.size()};
}

/// Whether a value may stand in a column of a STRICT table.
bool is_of_type(const Value& value, const Column& column) {
  switch (value.kind) {
    case Value::Kind::null:
      return !column.not_null;
    case Value::Kind::integer:
      return column.type == "INTEGER";
    case Value::Kind::real:
      return column.type == "REAL";
    case Value::Kind::text:
      return column.type == "TEXT" && !find_bad_utf8(text_of(value));
    case Value::Kind::blob:
      return column.type == "BLOB";
  }
  return false;
}

/// Fills `row.values` with the columns of `table`. \return false when the payload is not such a row
bool read_row(const TableShape& table, Row& row) {
  if (row.key <= 0 || !decode_record(row.payload, row.values) || row.values.size() != table.columns.size())
    return false;
  for (std::size_t i = 0; i < row.values.size(); ++i) {
    Value& value = row.values[i];
    if (static_cast<int>(i) == table.key_column) {
      if (value.kind != Value::Kind::null) return false;  // SQLite keeps the key beside the record
      value.kind = Value::Kind::integer;
      value.integer = row.key;
    } else if (!is_of_type(value, table.columns[i])) {
      return false;
    }
  }
  return true;
}

/// Whether every cell of a leaf is a row of the table.
bool are_rows_of(const TableShape& table, const TreePage& leaf) {
  return std::all_of(leaf.cells.begin(), leaf.cells.end(), [&](const Cell& cell) {
    Row row{cell.key, cell.payload, {}};
    return read_row(table, row);
  });
}

TableShape read_shape(sqlite3* fresh, const std::string& name) {
  TableShape shape;
  shape.name = name;
  Query column{fresh, "SELECT name, type, \"notnull\", pk FROM pragma_table_info(:table) ORDER BY cid"};
  column.bind(name);
  while (column.step()) {
    if (column.integer(3) != 0) shape.key_column = static_cast<int>(shape.columns.size());
    shape.columns.push_back({std::string{column.text(0)}, std::string{column.text(1)}, column.integer(2) != 0});
  }
  Query parent{fresh, "SELECT DISTINCT \"table\" FROM pragma_foreign_key_list(:table)"};
  parent.bind(name);
  while (parent.step()) shape.parents.emplace_back(parent.text(0));
  Query index{fresh, "SELECT name FROM pragma_index_list(:table) WHERE partial = 0 ORDER BY seq"};
  index.bind(name);
  while (index.step()) {
    SecondCopy copy{std::string{index.text(0)}, {}};
    Query part{fresh, "SELECT cid FROM pragma_index_xinfo(:index) WHERE \"key\" = 1 ORDER BY seqno"};
    part.bind(copy.index);
    bool has_expression = false;
    while (part.step()) {
      copy.columns.push_back(static_cast<int>(part.integer(0)));
      has_expression |= part.integer(0) < 0;
    }
    if (!has_expression && copy.columns.size() + 1 == shape.columns.size()) shape.second_copy = std::move(copy);
  }
  return shape;
}

const std::vector<Leaf> kNone;

}  // namespace

std::vector<TableShape> table_shapes(sqlite3* fresh) {
  std::vector<TableShape> waiting, sorted;
  // What has no rowid stands in the pages of an index, and holds what can be made anew: strands, what others told.
  Query table{fresh, R"sql(
SELECT s.name FROM sqlite_schema s JOIN pragma_table_list(s.name) l ON l.schema = 'main'
WHERE s.type = 'table' AND l.wr = 0 ORDER BY s.rowid )sql"};
  while (table.step()) waiting.push_back(read_shape(fresh, std::string{table.text(0)}));
  while (!waiting.empty()) {
    const auto next = std::find_if(waiting.begin(), waiting.end(), [&](const TableShape& t) {
      return std::none_of(t.parents.begin(), t.parents.end(), [&](const std::string& parent) {
        return parent != t.name && std::any_of(waiting.begin(), waiting.end(),
                                               [&](const TableShape& other) { return other.name == parent; });
      });
    });
    const auto taken = next == waiting.end() ? waiting.begin() : next;  // tables in a circle: any first
    sorted.push_back(std::move(*taken));
    waiting.erase(taken);
  }
  return sorted;
}

std::map<std::string, std::uint32_t> root_pages(sqlite3* fresh) {
  std::map<std::string, std::uint32_t> roots;
  Query object{fresh, "SELECT name, rootpage FROM sqlite_schema WHERE rootpage > 0"};
  while (object.step()) roots.emplace(object.text(0), static_cast<std::uint32_t>(object.integer(1)));
  return roots;
}

int TableShape::column(std::string_view column_name) const noexcept {
  const auto it = std::find_if(columns.begin(), columns.end(), [&](const Column& c) { return c.name == column_name; });
  return it == columns.end() ? -1 : static_cast<int>(it - columns.begin());
}

PageMap::PageMap(const PageFile& file, const std::vector<TableShape>& tables, const Roots& fresh_roots,
                 const Fits& fits)
    : file_{&file} {
  Roots roots = read_roots();
  std::set<std::uint32_t> told;
  for (const auto& [name, page] : roots) told.insert(page);
  for (const TableShape& table : tables) {
    auto root = roots.find(table.name);
    // Where the schema's own row is lost, the root is where a fresh file has it, if what is there looks like it.
    if (root == roots.end()) {
      const auto usual = fresh_roots.find(table.name);
      if (usual == fresh_roots.end() || told.contains(usual->second) ||
          !is_plausible_root(table, usual->second, fits)) {
        continue;
      }
      root = roots.emplace(*usual).first;
    }
    Tree tree{&table, &leaves_[table.name]};
    walk(tree, root->second, 1, {}, 0);
    if (tree.is_whole) whole_.insert(table.name);
    if (tree.is_end_whole) whole_ends_.insert(table.name);
  }
  for (const auto& [name, page] : roots) {
    if (leaves_.contains(name)) continue;
    Tree tree{nullptr, &index_pages_[name]};
    walk(tree, page, 1, {}, 0);
  }
  drop_doubles();
}

PageMap::Roots PageMap::read_roots() {
  TableShape schema;
  schema.columns = {{"type", "TEXT", true},
                    {"name", "TEXT", true},
                    {"tbl_name", "TEXT", true},
                    {"rootpage", "INTEGER", true},
                    {"sql", "TEXT", false}};
  std::vector<Leaf> leaves;
  Tree tree{&schema, &leaves};
  walk(tree, 1, 1, {}, 0);
  Roots roots;
  for (const Leaf& leaf : leaves) {
    for (const Row& row : rows_of(schema, leaf)) {
      const std::int64_t root = row.values[3].integer;
      if (root > 1 && root <= file_->count()) {
        roots.emplace(text_of(row.values[1]), static_cast<std::uint32_t>(root));
      }
    }
  }
  return roots;
}

void PageMap::walk(Tree& tree, std::uint32_t page, std::uint32_t above, KeyRange keys, int depth) {
  const auto damaged = [&](std::uint32_t which) {
    unreadable_.insert(which);
    tree.is_whole = false;
    if (keys.high == KeyRange{}.high) tree.is_end_whole = false;
  };
  // A link that leads nowhere, or where another led already.
  if (page == 0 || page > file_->count() || depth > kDeepest || seen_.contains(page)) return damaged(above);
  const TreePage read = read_tree_page(*file_, page, keys);
  const bool is_interior = read.kind == (tree.table != nullptr ? Kind::table_interior : Kind::index_interior);
  const bool is_leaf = read.kind == (tree.table != nullptr ? Kind::table_leaf : Kind::index_leaf);
  if (!is_interior && !is_leaf) {
    damaged(page);
    // It may be whole and of another tree: the link to it was what was damaged.
    if (read.kind == Kind::none) seen_.insert(page);
    return;
  }
  seen_.insert(page);
  if (read.damaged > 0 || (is_leaf && tree.table != nullptr && !are_rows_of(*tree.table, read))) damaged(page);
  if (is_leaf || tree.table == nullptr) tree.leaves->push_back({page, keys});
  if (is_leaf) return;
  std::int64_t low = keys.low;
  for (const Cell& cell : read.cells) {
    // Where a cell in between is lost, its rows lie in pages that no cell leads to: found by their content.
    walk(tree, cell.child, page,
         tree.table != nullptr ? KeyRange{read.damaged > 0 ? keys.low : low, cell.key} : KeyRange{}, depth + 1);
    low = cell.key;
  }
  walk(tree, read.last_child, page,
       tree.table != nullptr ? KeyRange{read.damaged > 0 ? keys.low : low, keys.high} : KeyRange{}, depth + 1);
}

void PageMap::drop_doubles() {
  std::map<std::string, std::vector<std::uint32_t>> pages;  // by content
  std::vector<std::uint8_t> content;
  for (const auto& [name, leaves] : leaves_) {
    for (const Leaf& leaf : leaves) {
      // Tables that look alike are small ones, of one page; on others the keys tell.
      if (leaves.size() == 1 && file_->read(leaf.page, content) && read_u16(content, 3) > 0) {
        pages[{content.begin(), content.end()}].push_back(leaf.page);
      }
    }
  }
  for (const auto& [same, places] : pages) {
    if (places.size() == 1) continue;
    unreadable_.insert(places.begin(), places.end());
    for (auto& [name, leaves] : leaves_) {
      if (leaves.size() == 1 && std::find(places.begin(), places.end(), leaves[0].page) != places.end()) {
        leaves.clear();
        whole_.erase(name);
        whole_ends_.erase(name);
      }
    }
  }
}

bool PageMap::is_plausible_root(const TableShape& table, std::uint32_t page, const Fits& fits) const {
  TreePage read = read_tree_page(*file_, page);
  for (int depth = 0; depth < kDeepest && read.kind == Kind::table_interior && !read.cells.empty(); ++depth) {
    page = read.cells.front().child;
    read = read_tree_page(*file_, page);
  }
  if (read.kind != Kind::table_leaf) return false;
  const auto rows = rows_of(table, {page, {}});
  return rows.size() == read.cells.size() &&
         std::all_of(rows.begin(), rows.end(), [&](const Row& row) { return fits(table, row); });
}

void PageMap::find_by_content(const std::vector<const TableShape*>& tables, const Fits& fits) {
  for (std::uint32_t page = 2; page <= file_->count(); ++page) {
    if (seen_.contains(page) || file_->free_pages().contains(page)) continue;
    const TreePage read = read_tree_page(*file_, page);
    if (read.kind != Kind::table_leaf || read.cells.empty()) continue;
    // The table most of the rows fit; several that fit equally well leave it open.
    const TableShape* best = nullptr;
    std::size_t most = 0;
    bool is_open = false;
    for (const TableShape* table : tables) {
      const auto rows = rows_of(*table, {page, {}});
      const auto n = static_cast<std::size_t>(
          std::count_if(rows.begin(), rows.end(), [&](const Row& row) { return fits(*table, row); }));
      if (n == 0 || n < most) continue;
      is_open = n == most;
      most = n;
      best = table;
    }
    if (best == nullptr) continue;
    if (is_open) {
      undecided_.insert(page);
      continue;
    }
    leaves_[best->name].push_back({page, {}});
    seen_.insert(page);
    undecided_.erase(page);
  }
}

const std::vector<Leaf>& PageMap::leaves_of(const std::string& table) const {
  const auto it = leaves_.find(table);
  return it == leaves_.end() ? kNone : it->second;
}

std::vector<Row> PageMap::rows_of(const TableShape& table, const Leaf& leaf) const {
  TreePage page = read_tree_page(*file_, leaf.page, leaf.keys);
  std::vector<Row> rows;
  if (page.kind != Kind::table_leaf) return rows;
  for (Cell& cell : page.cells) {
    Row row{cell.key, std::move(cell.payload), {}};
    if (read_row(table, row)) rows.push_back(std::move(row));
  }
  return rows;
}

void PageMap::each_row(const TableShape& table, const std::function<void(const Row&)>& take) const {
  for (const Leaf& leaf : leaves_of(table.name)) {
    for (const Row& row : rows_of(table, leaf)) take(row);
  }
  if (!table.second_copy || whole_.contains(table.name)) return;
  each_index_row(table.second_copy->index, [&](const std::vector<Value>& values) {
    if (values.size() != table.columns.size() || values.back().kind != Value::Kind::integer) return;
    Row row;
    row.key = values.back().integer;
    row.values.resize(values.size());
    row.values[static_cast<std::size_t>(table.key_column)] = values.back();
    for (std::size_t i = 0; i + 1 < values.size(); ++i) {
      const auto column = static_cast<std::size_t>(table.second_copy->columns[i]);
      if (!is_of_type(values[i], table.columns[column])) return;
      row.values[column] = values[i];
    }
    if (row.key > 0) take(row);
  });
}

void PageMap::each_index_row(const std::string& index,
                             const std::function<void(const std::vector<Value>&)>& take) const {
  const auto pages = index_pages_.find(index);
  if (pages == index_pages_.end()) return;
  std::vector<Value> values;
  for (const Leaf& leaf : pages->second) {
    for (const Cell& cell : read_tree_page(*file_, leaf.page).cells) {
      if (decode_record(cell.payload, values) && !values.empty()) take(values);
    }
  }
}

}  // namespace shaftlog::salvage
