// Runs what the guide tells people to type. A page with the line `<!-- tried: each command below is run by the tests
// -->` gets a demo fleet of its own; its `sh` blocks are run in order, a command a line, `# exit code N` behind one
// that is meant to end so. A `text` block right after is the answer to the whole block before it: words and signs must
// be there in order, blanks and line ends do not matter, `…` stands for whatever was left out, and numbers may have
// moved a little, so that a better estimate is no fault of the guide.
#include "support/run.hpp"

#include <algorithm>
#include <cctype>
#include <cmath>
#include <optional>
#include <sstream>

#include <catch2/catch.hpp>

using namespace shaftlog::test;

namespace {

const std::filesystem::path kGuide = std::filesystem::path{SHAFTLOG_SOURCE_DIR} / "docs/guide";
constexpr std::string_view kMark = "<!-- tried: each command below is run by the tests -->";
constexpr std::string_view kLeftOut = "…";

struct Block {
  int line = 0;  // of the first command
  std::vector<std::string> commands;
  std::string answer;  // empty: not shown
};

struct Page {
  bool is_tried = false;
  std::vector<Block> blocks;
};

Page parse_page(const std::string& text) {
  Page page;
  std::istringstream in{text};
  enum class In { prose, commands, answer, other } where = In::prose;
  bool can_answer = false;  // nothing but blank lines since the last commands
  int number = 0;
  for (std::string line; std::getline(in, line);) {
    ++number;
    if (line == kMark) page.is_tried = true;
    if (where == In::prose && line.starts_with("```")) {
      where = line == "```sh" ? In::commands : line == "```text" && can_answer ? In::answer : In::other;
      if (where == In::commands) page.blocks.push_back({number + 1, {}, ""});
      if (where != In::commands) can_answer = false;
    } else if (where != In::prose && line == "```") {
      can_answer = where == In::commands;
      where = In::prose;
    } else if (where == In::commands && !line.empty()) {
      page.blocks.back().commands.push_back(line);
    } else if (where == In::answer) {
      page.blocks.back().answer += line + '\n';
    } else if (where == In::prose && !line.empty()) {
      can_answer = false;
    }
  }
  return page;
}

std::vector<std::string> words_of(const std::string& text) {
  std::istringstream in{text};
  std::vector<std::string> words;
  for (std::string w; in >> w;) words.push_back(w);
  return words;
}

bool is_digit(char c) { return c >= '0' && c <= '9'; }

/// The number at `at`, which is moved behind it.
double number_at(const std::string& s, std::size_t& at) {
  const std::size_t from = at;
  while (at < s.size() && (is_digit(s[at]) || (s[at] == '.' && at + 1 < s.size() && is_digit(s[at + 1])))) ++at;
  return std::stod(s.substr(from, at - from));
}

/// Same signs, and numbers within 3 or 15 % of each other; those that belong to a name, as in lub1, are the same.
/// `id…` agrees with every word that begins so.
bool agree(const std::string& shown, const std::string& said) {
  if (shown.ends_with(kLeftOut)) return said.starts_with(shown.substr(0, shown.size() - kLeftOut.size()));
  std::size_t i = 0, j = 0;
  while (i < shown.size() && j < said.size()) {
    if (is_digit(shown[i]) && is_digit(said[j])) {
      const bool is_of_name = i > 0 && std::isalpha(static_cast<unsigned char>(shown[i - 1])) != 0;
      const double a = number_at(shown, i), b = number_at(said, j);
      if (is_of_name ? a != b : std::abs(a - b) > std::max(3.0, 0.15 * std::max(a, b))) return false;
    } else if (shown[i++] != said[j++]) {
      return false;
    }
  }
  return i == shown.size() && j == said.size();
}

/// What the answer lacks: the first stretch of words that does not stand in it. Empty: it holds all of them.
std::optional<std::string> lacking(const std::string& shown, const std::string& said) {
  const std::vector<std::string> answer = words_of(said);
  std::vector<std::vector<std::string>> stretches(1);
  for (const std::string& w : words_of(shown)) {
    if (w == kLeftOut) {
      stretches.emplace_back();
    } else {
      stretches.back().push_back(w);
    }
  }
  auto at = answer.begin();
  for (const std::vector<std::string>& s : stretches) {
    const auto hit = std::search(at, answer.end(), s.begin(), s.end(),
                                 [](const std::string& a, const std::string& b) { return agree(b, a); });
    if (hit == answer.end() && !s.empty()) {
      std::string out;
      for (const std::string& w : s) out += (out.empty() ? "" : " ") + w;
      return out;
    }
    at = hit + static_cast<std::ptrdiff_t>(s.size());
  }
  return std::nullopt;
}

int wanted_code(const std::string& command) {
  constexpr std::string_view kSays = "# exit code ";
  const std::size_t at = command.find(kSays);
  return at == std::string::npos ? 0 : std::stoi(command.substr(at + kSays.size()));
}

std::vector<std::filesystem::path> pages() {
  std::vector<std::filesystem::path> out;
  for (const auto& entry : std::filesystem::directory_iterator{kGuide})
    if (entry.path().extension() == ".md") out.push_back(entry.path());
  std::sort(out.begin(), out.end());
  return out;
}

}  // namespace

TEST_CASE("guide: each command does what its page shows", "[guide]") {
  const std::string path_of_program = std::filesystem::path{SHAFTLOG_BINARY}.parent_path().string();
  const std::string path = "PATH=" + path_of_program + ":" + std::getenv("PATH");
  int tried = 0;
  for (const std::filesystem::path& file : pages()) {
    const Page page = parse_page(read_text(file));
    if (!page.is_tried) continue;
    const TempDir dir;
    const std::vector<std::string> env{path, "SHAFTLOG_DB=demo.db", "SHAFTLOG_BY=2/E", "COLUMNS=100"};
    REQUIRE(run_program_file(SHAFTLOG_BINARY, {"demo"}, dir.path(), "", env).code == 0);
    for (const Block& block : page.blocks) {
      std::string said;
      for (const std::string& command : block.commands) {
        INFO(file.filename().string() << ", block at line " << block.line << ": " << command);
        const Ran ran = run_program_file("/bin/sh", {"-c", "exec 2>&1\n" + command}, dir.path(), "", env);
        INFO(ran.out);
        CHECK(ran.code == wanted_code(command));
        said += ran.out;
        ++tried;
      }
      if (block.answer.empty()) continue;
      INFO(file.filename().string() << ", answer to line " << block.line << "; the program says\n" << said);
      const std::optional<std::string> missing = lacking(block.answer, said);
      INFO("not found, or not in this order: " << missing.value_or(""));
      CHECK_FALSE(missing.has_value());
    }
  }
  CHECK(tried >= 30);
}

TEST_CASE("guide: every page is listed in the index", "[guide]") {
  const std::string index = read_text(kGuide / "README.md");
  for (const std::filesystem::path& file : pages()) {
    const std::string name = file.filename().string();
    if (name == "README.md") continue;
    INFO(name);
    CHECK(index.find('(' + name + ')') != std::string::npos);
  }
}

TEST_CASE("guide: an answer that lacks a word, has another order or another size is told", "[guide]") {
  CHECK_FALSE(lacking("kept: … 0.58 cm3/h", "odd: x\nkept: greasing\n  0.60 cm3/h").has_value());
  CHECK_FALSE(lacking("…", "").has_value());
  CHECK(lacking("kept: 60 strokes", "kept: 60 cm3") == "kept: 60 strokes");
  CHECK(lacking("b … a", "a b") == "a");
  CHECK(lacking("600 cm3", "60 cm3").has_value());
  CHECK(lacking("fin_port", "fin_stbd").has_value());
  CHECK(lacking("lub1", "lub2").has_value());
  CHECK_FALSE(lacking("id: 01a2…", "id: 01a2120a-0368").has_value());
  CHECK(lacking("id: 01b…", "id: 01a2120a-0368").has_value());
  const Page page =
      parse_page("x\n```sh\na\nb\n```\n\n```text\nc\n```\n```sh\nd\n```\nword\n```text\nno answer\n```\n");
  REQUIRE(page.blocks.size() == 2);
  CHECK_FALSE(page.is_tried);
  CHECK(page.blocks[0].commands == std::vector<std::string>{"a", "b"});
  CHECK(page.blocks[0].answer == "c\n");
  CHECK(page.blocks[1].answer.empty());
  CHECK(wanted_code("shaftlog x  # exit code 3") == 3);
}
