#pragma once

#include "cli/console.hpp"

#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <variant>
#include <vector>

namespace shaftlog {

/// Where the value of an option goes. Always text: numbers and times are read by us, not by the option library.
using Target = std::variant<bool*, std::optional<std::string>*, std::vector<std::string>*>;

struct Option {
  std::string name;   ///< "--as-of"; of an argument in the line "DIR"
  std::string value;  ///< "TIME"; empty for a flag
  std::string what;   ///< one sentence, no full stop
  Target target;
  bool is_argument = false;  ///< told by its place, not by a name
  bool is_required = false;
};

/// One command with its options and the commands below it. Help, man page and completion are written from this tree.
struct Command {
  std::string name;
  std::string what;  ///< one line
  std::string more;  ///< paragraphs below the options; lines that begin with two blanks are kept as they are
  std::vector<Option> options;
  std::vector<std::unique_ptr<Command>> commands;
  std::function<int(Console&)> run;  ///< empty: one of the commands below must follow

  Command& add(std::string command_name, std::string command_what);
  Command& flag(std::string option_name, bool& into, std::string option_what);
  Command& option(std::string option_name, std::string value, std::optional<std::string>& into,
                  std::string option_what);
  /// May be given several times.
  Command& options_of(std::string option_name, std::string value, std::vector<std::string>& into,
                      std::string option_what);
  Command& argument(std::string value, std::optional<std::string>& into, std::string option_what, bool required);
  Command& arguments(std::string value, std::vector<std::string>& into, std::string option_what);
};

/// What the words of a call select: the command and, where help was asked for, that.
struct Call {
  const Command* command = nullptr;
  bool wants_help = false;
  bool wants_version = false;
};

/// Reads the words of a call and puts the values into their targets. Options of `root` may stand anywhere.
/// \throws Error{usage} in one sentence, with the nearest known word where one is near
Call parse_call(Command& root, const std::vector<std::string>& words);

/// "shaftlog add hours"; found by address.
std::string path_of(const Command& root, const Command& command);
std::string help_text(const Command& root, const Command& command, int width);
std::string man_page(const Command& root, std::string_view version);
/// For bash, to be read by `source` or put into bash-completion's folder.
std::string bash_completion(const Command& root);

}  // namespace shaftlog
