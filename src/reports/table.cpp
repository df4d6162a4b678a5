#include "reports/table.hpp"

#include "base/text.hpp"

#include <algorithm>

#include <fmt/format.h>

namespace shaftlog {

namespace {

int width_of(std::string_view text) { return static_cast<int>(display_width(text)); }
std::string blanks(int n) { return std::string(static_cast<std::size_t>(std::max(0, n)), ' '); }

// Dark and bold, then lighter: the order holds without hue. Codes of ECMA-48 8.3.117.
std::string_view code_of(Urgency u) {
  switch (u) {
    case Urgency::act:
      return "\x1b[1;7m";
    case Urgency::plan:
      return "\x1b[1;33m";
    case Urgency::watch:
      return "\x1b[36m";
    case Urgency::note:
      return "\x1b[2m";
  }
  return "";
}

}  // namespace

std::string wrapped(std::string_view text, int width, int indent, int first) {
  std::string out;
  int column = first;
  bool line_has_word = false;
  std::size_t at = 0;
  while (at < text.size()) {
    if (text[at] == '\n') {
      out += '\n' + blanks(indent);
      column = indent;
      line_has_word = false;
      ++at;
      continue;
    }
    if (text[at] == ' ') {
      ++at;
      continue;
    }
    const std::size_t end = std::min(text.find_first_of(" \n", at), text.size());
    const std::string_view word = text.substr(at, end - at);
    const int wide = width_of(word);
    if (line_has_word && column + 1 + wide > width) {
      out += '\n' + blanks(indent);
      column = indent;
      line_has_word = false;
    }
    if (line_has_word) {
      out += ' ';
      ++column;
    }
    out += word;
    column += wide;
    line_has_word = true;
    at = end;
  }
  return out;
}

std::string toned(std::string_view text, Urgency urgency, const TextStyle& style) {
  return style.has_colour ? fmt::format("{}{}\x1b[0m", code_of(urgency), text) : std::string{text};
}

std::string strong(std::string_view text, const TextStyle& style) {
  return style.has_colour ? fmt::format("\x1b[1m{}\x1b[0m", text) : std::string{text};
}

std::string TextTable::text(const TextStyle& style, int indent) const {
  constexpr int kGap = 2;
  constexpr int kLeastLast = 16;  // a narrower last column helps nobody: the line then runs over
  std::vector<int> widths;
  for (const Head& h : heads_) widths.push_back(width_of(h.title));
  for (const Row& row : rows_)
    for (std::size_t i = 0; i < row.cells.size() && i < widths.size(); ++i)
      widths[i] = std::max(widths[i], width_of(row.cells[i]));

  for (std::size_t i = 0; i < widths.size(); ++i)
    if (heads_[i].most > 0) widths[i] = std::min(widths[i], std::max(heads_[i].most, width_of(heads_[i].title)));

  int before_last = indent;
  for (std::size_t i = 0; i + 1 < widths.size(); ++i) before_last += widths[i] + kGap;
  if (!widths.empty()) widths.back() = std::min(widths.back(), std::max(kLeastLast, style.width - before_last));

  std::string out;
  const auto add_line = [&](const std::vector<std::string>& cells, const Row* row) {
    std::string line = blanks(indent);
    int column = indent;
    for (std::size_t i = 0; i < widths.size(); ++i) {
      const std::string cell = i < cells.size() ? cells[i] : "";
      const bool is_last = i + 1 == widths.size();
      const int room = widths[i] - width_of(cell);
      if (heads_[i].align == Align::right) line += blanks(room);
      if (row == nullptr)
        line += strong(cell, style);
      else if (i == 0 && row->has_urgency)
        line += toned(cell, row->urgency, style);
      else if (is_last && heads_[i].align == Align::left)
        line += wrapped(cell, column + widths[i], column, column);
      else
        line += cell;
      if (!is_last) {
        if (heads_[i].align == Align::left) line += blanks(room);
        line += blanks(kGap);
      }
      column += widths[i] + kGap;
    }
    line.erase(line.find_last_not_of(' ') + 1);
    out += line + '\n';
  };
  std::vector<std::string> titles;
  for (const Head& h : heads_) titles.push_back(h.title);
  if (std::any_of(titles.begin(), titles.end(), [](const std::string& t) { return !t.empty(); }))
    add_line(titles, nullptr);
  for (const Row& row : rows_) add_line(row.cells, &row);
  return out;
}

}  // namespace shaftlog
