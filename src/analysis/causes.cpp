#include "analysis/causes.hpp"

#include "base/decimal.hpp"
#include "base/embedded.hpp"
#include "base/error.hpp"

#include <algorithm>

#include <fmt/format.h>

namespace shaftlog {

std::span<const EmbeddedFile> analysis_data_files();

namespace {

constexpr int kKinds = 15;

[[noreturn]] void refuse(std::string_view file, std::size_t line, std::string_view what) {
  throw Error{Errc::bad_data, fmt::format("{} line {}: {}", file, line, what)};
}

std::string_view text_of(std::string_view name) {
  for (const EmbeddedFile& f : analysis_data_files()) {
    if (f.name == name) return f.text;
  }
  throw Error{Errc::not_found, fmt::format("the table {} is not in the program", name)};
}

// Rows of a table of ours: RFC 4180 quotes, no line breaks inside a field, a header line.
std::vector<std::vector<std::string>> rows_of(std::string_view file, std::size_t columns) {
  std::vector<std::vector<std::string>> out;
  std::vector<std::string> row{""};
  bool quoted = false;
  std::size_t line = 1;
  const std::string_view text = text_of(file);
  for (std::size_t i = 0; i < text.size(); ++i) {
    const char c = text[i];
    if (c == '"') {
      if (quoted && i + 1 < text.size() && text[i + 1] == '"') {
        row.back() += '"';
        ++i;
      } else {
        quoted = !quoted;
      }
    } else if (c == ',' && !quoted) {
      row.emplace_back();
    } else if (c == '\n') {
      if (quoted || row.size() != columns)
        refuse(file, line, fmt::format("{} columns, {} expected", row.size(), columns));
      if (line > 1) out.push_back(row);
      row.assign(1, "");
      ++line;
    } else {
      row.back() += c;
    }
  }
  return out;
}

std::vector<std::string> split(std::string_view text, char at) {
  std::vector<std::string> out;
  while (!text.empty()) {
    const std::size_t end = std::min(text.find(at), text.size());
    std::string_view piece = text.substr(0, end);
    while (!piece.empty() && piece.front() == ' ') piece.remove_prefix(1);
    while (!piece.empty() && piece.back() == ' ') piece.remove_suffix(1);
    if (!piece.empty()) out.emplace_back(piece);
    text.remove_prefix(std::min(end + 1, text.size()));
  }
  return out;
}

double number(std::string_view file, std::size_t line, std::string_view text) {
  const auto d = parse_decimal(text);
  if (!d) refuse(file, line, fmt::format("\"{}\" is not a number", text));
  return d->value();
}

std::vector<CauseRow> read_causes() {
  constexpr std::string_view kFile = "causes.csv";
  std::vector<CauseRow> out;
  std::size_t line = 1;
  for (const std::vector<std::string>& r : rows_of(kFile, 6)) {
    ++line;
    CauseRow row;
    int kind = 0;
    while (kind < kKinds && name_of(static_cast<FindingKind>(kind)) != r[0]) ++kind;
    if (kind == kKinds) refuse(kFile, line, fmt::format("\"{}\" is no kind of finding", r[0]));
    row.kind = static_cast<FindingKind>(kind);
    row.base = number(kFile, line, r[1]);
    for (const std::string& s : split(r[2], ' ')) {
      const std::size_t colon = s.find(':');
      if (colon == std::string::npos) refuse(kFile, line, fmt::format("sign \"{}\" has no weight", s));
      Sign sign{s.substr(0, colon), number(kFile, line, std::string_view{s}.substr(colon + 1)), false};
      if (sign.symptom.ends_with('!')) {
        sign.is_required = true;
        sign.symptom.pop_back();
      }
      row.signs.push_back(std::move(sign));
    }
    row.text = r[3];
    row.checks = split(r[4], '|');
    row.caution_keys = split(r[5], ' ');
    out.push_back(std::move(row));
  }
  return out;
}

const std::vector<std::vector<std::string>>& caution_rows() {
  static const std::vector<std::vector<std::string>> kRows = rows_of("cautions.csv", 2);
  return kRows;
}

bool holds(const std::vector<std::string>& list, const std::string& word) {
  return std::find(list.begin(), list.end(), word) != list.end();
}

}  // namespace

const std::vector<CauseRow>& cause_table() {
  static const std::vector<CauseRow> kTable = read_causes();
  return kTable;
}

std::string_view caution_text(std::string_view key) {
  for (const std::vector<std::string>& r : caution_rows()) {
    if (r[0] == key) return r[1];
  }
  return {};
}

std::vector<Cause> ranked_causes(const CauseQuery& query) {
  std::vector<Cause> out;
  for (const CauseRow& row : cause_table()) {
    if (row.kind != query.kind) continue;
    Cause cause{row.text, row.base, row.checks, {}};
    bool fits = true;
    for (const Sign& s : row.signs) {
      const bool present = holds(query.present, s.symptom);
      if (present) cause.score += s.weight;
      if (holds(query.absent, s.symptom)) cause.score -= s.weight;
      fits = fits && (present || !s.is_required);
    }
    if (!fits) continue;
    for (const std::string& key : row.caution_keys) cause.cautions.emplace_back(caution_text(key));
    out.push_back(std::move(cause));
  }
  std::stable_sort(out.begin(), out.end(), [](const Cause& a, const Cause& b) { return a.score > b.score; });
  return out;
}

}  // namespace shaftlog
