#pragma once

#include <string>
#include <string_view>
#include <vector>

namespace shaftlog::test {

using CsvRows = std::vector<std::vector<std::string>>;

/// The rows of RFC 4180 text with LF, as an export writes it; independent of the reader under test.
inline CsvRows csv_rows(std::string_view text) {
  CsvRows rows;
  std::vector<std::string> row;
  std::string field;
  bool is_quoted = false;
  for (std::size_t i = 0; i < text.size(); ++i) {
    const char c = text[i];
    if (is_quoted) {
      if (c != '"') {
        field += c;
      } else if (i + 1 < text.size() && text[i + 1] == '"') {
        field += c;
        ++i;
      } else {
        is_quoted = false;
      }
    } else if (c == '"') {
      is_quoted = true;
    } else if (c == ',') {
      row.push_back(std::move(field));
      field.clear();
    } else if (c == '\n') {
      row.push_back(std::move(field));
      field.clear();
      rows.push_back(std::move(row));
      row.clear();
    } else {
      field += c;
    }
  }
  return rows;
}

/// With every field in quotes: another way to write the same.
inline std::string csv_text(const CsvRows& rows) {
  std::string text;
  for (const auto& row : rows) {
    for (std::size_t i = 0; i < row.size(); ++i) {
      if (i > 0) text += ',';
      text += '"';
      for (const char c : row[i]) {
        if (c == '"') text += '"';
        text += c;
      }
      text += '"';
    }
    text += '\n';
  }
  return text;
}

}  // namespace shaftlog::test
