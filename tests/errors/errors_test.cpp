// Each folder here is one refusal: `why` says what it is, `cmd` how to get it (a line a call; all but the last must
// succeed), `message` its exact words on standard error, `code` the exit code. Beside the calls lie `ship`, a small log
// folder, and the case's own `log`. docs/errors.md is made from these folders.
#include "support/run.hpp"
#include "support/sparse.hpp"

#include <algorithm>
#include <sstream>

#include <catch2/catch.hpp>

using namespace shaftlog::test;

namespace {

const std::filesystem::path kHere = std::filesystem::path{SHAFTLOG_SOURCE_DIR} / "tests/errors";

std::vector<std::string> case_names() {
  std::vector<std::string> names;
  for (const auto& entry : std::filesystem::directory_iterator{kHere})
    if (std::filesystem::exists(entry.path() / "cmd")) names.push_back(entry.path().filename().string());
  std::sort(names.begin(), names.end());
  return names;
}

/// Words of a line; "..." holds blanks together.
std::vector<std::string> words_of(const std::string& line) {
  std::vector<std::string> words;
  std::string word;
  bool is_quoted = false;
  bool has_word = false;
  for (const char c : line) {
    if (c == '"') {
      is_quoted = !is_quoted;
      has_word = true;
    } else if (c == ' ' && !is_quoted) {
      if (has_word) words.push_back(word);
      word.clear();
      has_word = false;
    } else {
      word += c;
      has_word = true;
    }
  }
  if (has_word) words.push_back(word);
  return words;
}

std::vector<std::string> lines_of(const std::string& text) {
  std::vector<std::string> lines;
  std::istringstream in{text};
  for (std::string line; std::getline(in, line);) lines.push_back(line);
  return lines;
}

std::string one_line(const std::string& name, const std::string& file) {
  std::string text = read_text(kHere / name / file);
  while (!text.empty() && text.back() == '\n') text.pop_back();
  return text;
}

bool is_approving() {
  const char* approve = std::getenv("SHAFTLOG_APPROVE");
  return approve != nullptr && std::string_view{approve} == "1";
}

std::string errors_page() {
  std::string page =
      "# What Shaftlog refuses, and in which words\n\n"
      "Made from the folders of `tests/errors`, where each of these is tested. Exit codes: 2 wrong use, 3 bad "
      "input data, 4 trouble\nwith the database or a file.\n";
  for (const std::string& name : case_names()) {
    const std::vector<std::string> calls = lines_of(read_text(kHere / name / "cmd"));
    page += "\n## " + one_line(name, "why") + "\n\n    shaftlog " + calls.back() + "\n\nExit code " +
            one_line(name, "code") + ":\n\n";
    for (const std::string& line : lines_of(read_text(kHere / name / "message"))) page += "    " + line + '\n';
  }
  return page;
}

}  // namespace

TEST_CASE("errors: each refusal has its exact words and exit code, and leaves the database sound", "[errors]") {
  const std::vector<std::string> names = case_names();
  REQUIRE(names.size() >= 50);
  for (std::size_t c = 0; c < names.size(); c += kSparse) {
    const std::string& name = names[c];
    INFO(name);
    const Aboard aboard;
    std::filesystem::copy(kHere / "ship", aboard.dir / "ship", std::filesystem::copy_options::recursive);
    if (std::filesystem::exists(kHere / name / "log"))
      std::filesystem::copy(kHere / name / "log", aboard.dir / "log", std::filesystem::copy_options::recursive);
    const std::vector<std::string> calls = lines_of(read_text(kHere / name / "cmd"));
    REQUIRE(!calls.empty());
    for (std::size_t i = 0; i + 1 < calls.size(); ++i) aboard.ok(words_of(calls[i]));
    const bool has_database = std::filesystem::exists(aboard.dir / "shaftlog.db");
    const std::string before = has_database ? aboard.ok({"list", "--csv", "--all-versions"}) : "";
    const Ran ran = aboard(words_of(calls.back()));
    if (is_approving()) write_text(kHere / name / "message", ran.err);
    CHECK(ran.err == read_text(kHere / name / "message"));
    CHECK(std::to_string(ran.code) == one_line(name, "code"));
    if (has_database) CHECK(aboard.ok({"list", "--csv", "--all-versions"}) == before);
  }
  if (is_approving()) FAIL("approved, run again");
}

TEST_CASE("errors: the page of errors says what the tests hold", "[errors]") {
  const std::filesystem::path page = std::filesystem::path{SHAFTLOG_SOURCE_DIR} / "docs/errors.md";
  if (is_approving()) {
    write_text(page, errors_page());
    FAIL("approved, run again");
  }
  CHECK(read_text(page) == errors_page());
}
