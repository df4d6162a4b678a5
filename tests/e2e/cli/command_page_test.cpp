// The guide's page of commands, the help, the manual page and the completion are about the same commands.
#include "support/run.hpp"

#include <functional>
#include <set>
#include <sstream>

#include <catch2/catch.hpp>

using namespace shaftlog::test;
using Catch::Matchers::Contains;

namespace {

struct CommandHelp {
  std::vector<std::string> path;
  std::set<std::string> options;
};

/// First words of the lines of one part of a help text.
std::vector<std::string> first_words(const std::string& help, const std::string& title) {
  std::vector<std::string> words;
  std::istringstream in{help};
  bool is_inside = false;
  for (std::string line; std::getline(in, line);) {
    if (line == title)
      is_inside = true;
    else if (is_inside && !line.starts_with("  "))
      break;
    else if (is_inside && line.size() > 2 && line[2] != ' ')
      words.push_back(line.substr(2, line.find(' ', 2) - 2));
  }
  return words;
}

std::vector<CommandHelp> all_commands(const Aboard& aboard) {
  std::vector<CommandHelp> all;
  const std::function<void(std::vector<std::string>)> walk = [&](std::vector<std::string> path) {
    std::vector<std::string> args = path;
    args.emplace_back("--help");
    const std::string help = aboard.ok(args, "", {"COLUMNS=200"});
    CommandHelp c{path, {}};
    for (const std::string& word : first_words(help, "Options"))
      if (word.starts_with("--") && word != "--help") c.options.insert(word);
    all.push_back(c);
    for (const std::string& name : first_words(help, "Commands")) {
      std::vector<std::string> below = path;
      below.push_back(name);
      walk(below);
    }
  };
  walk({});
  return all;
}

std::string joined(const std::vector<std::string>& path) {
  std::string out = "shaftlog";
  for (const std::string& p : path) out += " " + p;
  return out;
}

/// `--words` in code spans of the section under the heading of a command.
std::optional<std::set<std::string>> documented(const std::string& page, const std::string& command) {
  const std::string heading = "\n## `" + command + "`\n";
  const std::size_t begin = page.find(heading);
  if (begin == std::string::npos) return std::nullopt;
  const std::size_t end = std::min(page.find("\n## ", begin + heading.size()), page.size());
  const std::string section = page.substr(begin + heading.size(), end - begin - heading.size());
  std::set<std::string> options;
  for (std::size_t at = section.find("`--"); at != std::string::npos; at = section.find("`--", at + 1))
    options.insert(section.substr(at + 1, section.find_first_of(" `=", at + 1) - at - 1));
  return options;
}

}  // namespace

TEST_CASE("guide: every command and option of the help is on the page, and none besides", "[e2e][guide]") {
  const Aboard aboard;
  const std::string page = read_text(std::filesystem::path{SHAFTLOG_SOURCE_DIR} / "docs/guide/commands.md");
  const std::vector<CommandHelp> commands = all_commands(aboard);
  REQUIRE(commands.size() >= 25);
  for (const CommandHelp& c : commands) {
    INFO(joined(c.path));
    const auto options = documented(page, joined(c.path));
    REQUIRE(options);
    CHECK(*options == c.options);
  }
}

TEST_CASE("the manual page and the completion know every command and option", "[e2e][guide]") {
  const Aboard aboard;
  const std::string man = aboard.ok({"man"});
  const std::string completion = aboard.ok({"completion"});
  CHECK_THAT(man, Catch::Matchers::StartsWith(".TH SHAFTLOG 1"));
  for (const CommandHelp& c : all_commands(aboard)) {
    INFO(joined(c.path));
    for (const std::string& option : c.options) {
      std::string escaped;
      for (const char ch : option) escaped += ch == '-' ? std::string{"\\-"} : std::string{ch};
      CHECK_THAT(man, Contains(escaped));
      CHECK_THAT(completion, Contains(option));
    }
  }
}

TEST_CASE("completion: bash offers commands, options and kinds of record", "[e2e][guide]") {
  if (!std::filesystem::exists("/bin/bash")) return;
  const Aboard aboard;
  write_text(
      aboard.dir / "complete.sh",
      aboard.ok({"completion"}) + "COMP_WORDS=(\"$@\")\nCOMP_CWORD=$(($# - 1))\n_shaftlog\necho \"${COMPREPLY[*]}\"\n");
  const auto offers = [&](std::vector<std::string> words) {
    words.insert(words.begin(), {"complete.sh", "shaftlog"});
    return run_program_file("/bin/bash", words, aboard.dir.path()).out;
  };
  CHECK(offers({"rev"}) == "review\n");
  CHECK(offers({"add", "gr"}) == "greasing\n");
  CHECK(offers({"--db", "x.db", "add", "greasing", "--pur"}) == "--purge\n");
  CHECK(offers({"review", "--js"}) == "--json\n");
}
