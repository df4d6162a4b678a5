#include "storage/salvage/tree_page.hpp"

#include <algorithm>

namespace shaftlog::salvage {
namespace {

using Kind = TreePage::Kind;

bool is_table(Kind kind) noexcept { return kind == Kind::table_leaf || kind == Kind::table_interior; }
bool is_interior(Kind kind) noexcept { return kind == Kind::table_interior || kind == Kind::index_interior; }

/// A payload of `size` bytes of which the first lie in the page at `at`. `left`: pages it may go on in, so that links
/// in a circle, or many cells with the same links, come to an end. \return false when it is not all there
bool read_payload(const PageFile& file, Bytes page, std::size_t at, std::uint64_t size, bool is_of_table,
                  std::uint32_t& left, std::vector<std::uint8_t>& out) {
  const std::uint64_t usable = file.usable();
  if (size == 0 || size > usable * file.readable()) return false;
  const std::uint64_t most = is_of_table ? usable - 35 : (usable - 12) * 64 / 255 - 23;
  std::uint64_t local = size;
  if (size > most) {
    const std::uint64_t least = (usable - 12) * 32 / 255 - 23;
    local = least + (size - least) % (usable - 4);
    if (local > most) local = least;
  }
  const std::uint64_t link = size > local ? 4 : 0;
  if (local + link > page.size() - at) return false;
  const Bytes here = page.subspan(at, static_cast<std::size_t>(local));
  out.assign(here.begin(), here.end());
  if (link == 0) return true;
  std::uint32_t next = read_u32(page, at + here.size());
  std::vector<std::uint8_t> more;
  while (out.size() < size) {
    if (next < 2 || left == 0 || !file.read(next, more)) return false;
    --left;
    next = read_u32(more, 0);
    const auto n = static_cast<std::ptrdiff_t>(std::min<std::uint64_t>(size - out.size(), usable - 4));
    out.insert(out.end(), more.begin() + 4, more.begin() + 4 + n);
  }
  return next == 0;
}

std::optional<Cell> read_cell(const PageFile& file, Bytes page, std::size_t at, Kind kind, std::uint32_t& left) {
  Cell cell;
  if (is_interior(kind)) {
    if (page.size() - at < 4) return std::nullopt;
    cell.child = read_u32(page, at);
    at += 4;
  }
  std::uint64_t size = 0;
  if (kind != Kind::table_interior) {
    const auto told = read_varint(page.subspan(at));
    if (!told) return std::nullopt;
    size = told->value;
    at += told->length;
  }
  if (is_table(kind)) {
    const auto key = read_varint(page.subspan(at));
    if (!key) return std::nullopt;
    cell.key = static_cast<std::int64_t>(key->value);
    at += key->length;
  }
  if (kind != Kind::table_interior &&
      !read_payload(file, page, at, size, kind == Kind::table_leaf, left, cell.payload)) {
    return std::nullopt;
  }
  return cell;
}

/// Leaves the most cells whose keys rise: what SQLite wrote rises, so it is a changed key that does not fit.
void keep_rising(TreePage& page) {
  std::vector<std::size_t> tail;                                 // last cell of the best run of each length
  std::vector<std::size_t> before(page.cells.size(), SIZE_MAX);  // the cell in front of each in its run
  for (std::size_t i = 0; i < page.cells.size(); ++i) {
    const auto it = std::lower_bound(tail.begin(), tail.end(), page.cells[i].key,
                                     [&](std::size_t cell, std::int64_t key) { return page.cells[cell].key < key; });
    if (it != tail.begin()) before[i] = *std::prev(it);
    if (it == tail.end()) {
      tail.push_back(i);
    } else {
      *it = i;
    }
  }
  if (tail.size() == page.cells.size()) return;
  std::vector<Cell> kept;
  for (std::size_t i = tail.back(); i != SIZE_MAX; i = before[i]) kept.push_back(std::move(page.cells[i]));
  std::reverse(kept.begin(), kept.end());
  page.damaged += static_cast<std::uint32_t>(page.cells.size() - kept.size());
  page.cells = std::move(kept);
}

}  // namespace

TreePage read_tree_page(const PageFile& file, std::uint32_t number, KeyRange keys) {
  TreePage out;
  std::vector<std::uint8_t> content;
  if (!file.read(number, content)) return out;
  const Bytes page = Bytes{content}.first(file.usable());
  const std::size_t head = number == 1 ? 100 : 0;
  const std::uint8_t type = page[head];
  if (type != 2 && type != 5 && type != 10 && type != 13) return out;
  const auto kind = static_cast<Kind>(type);
  const std::size_t pointers = head + (is_interior(kind) ? 12 : 8);
  const std::size_t count = read_u16(page, head + 3);
  if (count > (page.size() - pointers) / 2) return out;
  const std::size_t first_free = pointers + 2 * count;
  out.kind = kind;
  if (is_interior(kind)) out.last_child = read_u32(page, head + 8);
  out.cells.reserve(count);
  std::uint32_t left = file.readable();  // what overflows belongs to one cell only
  for (std::size_t i = 0; i < count; ++i) {
    const std::size_t at = read_u16(page, pointers + 2 * i);
    auto cell = at < first_free || at >= page.size() ? std::nullopt : read_cell(file, page, at, kind, left);
    if (cell && (!is_table(kind) || (cell->key > keys.low && cell->key <= keys.high))) {
      out.cells.push_back(std::move(*cell));
    } else {
      ++out.damaged;
    }
  }
  if (is_table(kind)) keep_rising(out);
  return out;
}

}  // namespace shaftlog::salvage
