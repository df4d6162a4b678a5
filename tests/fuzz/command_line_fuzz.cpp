#include "base/error.hpp"
#include "base/text.hpp"
#include "cli/program.hpp"
#include "fuzz_input.hpp"

#include <algorithm>

using namespace shaftlog;

// Words of a call, a line each: they select a command, or are refused in one sentence that can be shown.
extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  std::vector<std::string> words;
  std::string_view left = as_text(data, size);
  while (!left.empty()) {
    const auto end = std::min(left.find('\n'), left.size());
    // A word of a real call ends at its first NUL.
    words.emplace_back(left.substr(0, std::min(left.substr(0, end).find('\0'), end)));
    left.remove_prefix(std::min(end + 1, left.size()));
  }
  Surroundings around;
  const auto root = make_commands(around);
  try {
    const Call call = parse_call(*root, words);
    must(call.command != nullptr, "a call selects a command");
    must(call.wants_help || call.wants_version || call.command->run != nullptr, "and one that does something");
    if (call.wants_help) must(!help_text(*root, *call.command, 80).empty(), "help says something");
  } catch (const Error& e) {
    const std::string_view said = e.what();
    must(e.code() == Errc::usage, "what is refused is wrong use");
    must(!said.empty() && said.size() < 4096, "it is refused in a sentence");
    must(std::none_of(said.begin(), said.end(), [](char c) { return static_cast<unsigned char>(c) < 0x20; }),
         "that can be shown");
    must(!find_bad_utf8(said), "and is UTF-8");
  }
  return 0;
}
