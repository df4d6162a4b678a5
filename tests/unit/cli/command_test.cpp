#include "cli/command.hpp"

#include "base/error.hpp"
#include "cli/guard.hpp"

#include <new>

#include <catch2/catch.hpp>

using namespace shaftlog;
using Catch::Matchers::Contains;

namespace {

struct Sample {
  Command root;
  std::optional<std::string> db, at, count;
  std::vector<std::string> words;
  bool json = false;

  Sample() {
    root.name = "prog";
    root.what = "does things";
    root.option("--db", "FILE", db, "the file");
    Command& look = root.add("look", "looks");
    look.option("--at", "TIME", at, "when").option("--count", "N", count, "how many").flag("--json", json, "as JSON");
    look.arguments("WORD", words, "what to look at");
    look.run = [](Console&) { return 0; };
  }
};

}  // namespace

TEST_CASE("command: values arrive as the text that was typed", "[cli]") {
  Sample s;
  const Call call = parse_call(s.root, {"look", "a", "--count", "-010", "b=c", "--db", "x.db", "--json"});
  CHECK(call.command->name == "look");
  CHECK(s.count == "-010");
  CHECK(s.db == "x.db");
  CHECK(s.json);
  CHECK(s.words == std::vector<std::string>{"a", "b=c"});
  CHECK_FALSE(s.at);
}

TEST_CASE("command: an empty value is given, not missing", "[cli]") {
  Sample s;
  parse_call(s.root, {"look", "--at", ""});
  REQUIRE(s.at);
  CHECK(s.at->empty());
}

TEST_CASE("command: help is asked for at any depth", "[cli]") {
  Sample s;
  CHECK(parse_call(s.root, {"--help"}).command == &s.root);
  const Call call = parse_call(s.root, {"look", "--help"});
  CHECK(call.wants_help);
  CHECK(call.command->name == "look");
  CHECK_THAT(help_text(s.root, *call.command, 80), Contains("Use: prog look [options] [WORD...]"));
}

TEST_CASE("command: an unknown option is refused with the nearest known one", "[cli]") {
  Sample s;
  CHECK_THROWS_WITH(parse_call(s.root, {"look", "--cuont", "3"}),
                    "look takes no option --cuont, did you mean --count?");
  CHECK_THROWS_WITH(parse_call(s.root, {"lok"}), "\"lok\" is no command of prog, did you mean look?");
  CHECK_THROWS_WITH(parse_call(s.root, {"look", "--at", "1", "--at", "2"}), "--at wants exactly one TIME");
}

TEST_CASE("guard: every error has its exit code", "[cli]") {
  CHECK(exit_code(Errc::usage) == 2);
  for (const Errc c : {Errc::not_found, Errc::bad_data, Errc::conflict}) CHECK(exit_code(c) == 3);
  for (const Errc c : {Errc::busy, Errc::damaged, Errc::schema_too_new, Errc::io}) CHECK(exit_code(c) == 4);
  Console console;
  CHECK(guarded(console, [] { return 1; }) == 1);
  CHECK(guarded(console, []() -> int { throw Error{Errc::busy, "the file is busy (a test says so)"}; }) == 4);
  CHECK(guarded(console, []() -> int { throw std::bad_alloc{}; }) == 70);
  CHECK(guarded(console, []() -> int { throw std::runtime_error{"a test says so"}; }) == 70);
}
