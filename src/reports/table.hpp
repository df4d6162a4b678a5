#pragma once

#include "analysis/types.hpp"

#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

namespace shaftlog {

/// How text is laid out for its reader.
struct TextStyle {
  int width = 100;          ///< columns of the terminal, at least 40
  bool has_colour = false;  ///< colour only ever doubles a word
};

/// Breaks at blanks so that no line is wider than `width` columns; every line but the first begins with `indent`
/// blanks. A word wider than a line stands alone, whole. \param first columns that are taken already on the first line
std::string wrapped(std::string_view text, int width, int indent = 0, int first = 0);

/// `text` in the colour of an urgency, or as it is. Told apart by lightness too, for colour-blind readers.
std::string toned(std::string_view text, Urgency urgency, const TextStyle& style);
std::string strong(std::string_view text, const TextStyle& style);

enum class Align : std::uint8_t { left, right };

/// Columns as wide as their widest cell; the last one takes what is left and is wrapped.
class TextTable {
 public:
  struct Head {
    std::string title;
    Align align = Align::left;
    int most = 0;  ///< columns at most, what is wider runs over in its own line; 0: as wide as its widest cell
  };
  explicit TextTable(std::vector<Head> heads) : heads_{std::move(heads)} {}
  void add(std::vector<std::string> cells) { rows_.push_back({std::move(cells), {}, false}); }
  /// A row whose first cell is in the colour of its urgency.
  void add(std::vector<std::string> cells, Urgency urgency) { rows_.push_back({std::move(cells), urgency, true}); }
  [[nodiscard]] bool is_empty() const noexcept { return rows_.empty(); }
  /// \param indent blanks before every line
  [[nodiscard]] std::string text(const TextStyle& style, int indent = 0) const;

 private:
  struct Row {
    std::vector<std::string> cells;
    Urgency urgency{};
    bool has_urgency = false;  // its first cell is toned
  };
  std::vector<Head> heads_;
  std::vector<Row> rows_;
};

}  // namespace shaftlog
