#include "cli/command.hpp"
#include "reports/table.hpp"

#include <algorithm>

#include <fmt/format.h>

namespace shaftlog {

namespace {

std::string label_of(const Option& o) {
  if (o.is_argument || o.value.empty()) return o.name;
  return o.name + " " + o.value;
}

std::string usage_of(const Command& root, const Command& command) {
  std::string out = path_of(root, command);
  if (!command.options.empty() || &command == &root) out += " [options]";
  for (const Option& o : command.options) {
    if (!o.is_argument) continue;
    const bool is_many = std::holds_alternative<std::vector<std::string>*>(o.target);
    const std::string name = o.value + (is_many ? "..." : "");
    out += o.is_required ? " " + name : fmt::format(" [{}]", name);
  }
  if (!command.commands.empty()) out += " COMMAND";
  return out;
}

bool is_kept_line(std::string_view line) { return line.starts_with("  "); }

/// Calls `take` for each line of `text`.
template <class Take>
void each_line(std::string_view text, const Take& take) {
  while (!text.empty()) {
    const std::size_t end = std::min(text.find('\n'), text.size());
    take(text.substr(0, end));
    text.remove_prefix(std::min(end + 1, text.size()));
  }
}

void add_options(std::string& out, std::string_view title, const Command& command, const TextStyle& style) {
  TextTable table{{{""}, {""}}};
  for (const Option& o : command.options) table.add({label_of(o), o.what});
  table.add({"--help", "this text"});
  out += fmt::format("\n{}\n{}", title, table.text(style, 2));
}

}  // namespace

std::string help_text(const Command& root, const Command& command, int width) {
  const TextStyle style{width, false};
  std::string out = wrapped(command.what, width) + fmt::format("\n\nUse: {}\n", usage_of(root, command));
  if (!command.commands.empty()) {
    TextTable table{{{""}, {""}}};
    for (const auto& c : command.commands) table.add({c->name, c->what});
    out += "\nCommands\n" + table.text(style, 2);
  }
  add_options(out, "Options", command, style);
  if (&command != &root) {
    TextTable table{{{""}, {""}}};
    for (const Option& o : root.options) table.add({label_of(o), o.what});
    out += "\nEverywhere\n" + table.text(style, 2);
  }
  if (!command.more.empty()) {
    out += '\n';
    each_line(command.more, [&](std::string_view line) {
      out += (is_kept_line(line) ? std::string{line} : wrapped(line, width)) + '\n';
    });
  }
  return out;
}

namespace {

/// A text line for roff: no line may look like a request, a hyphen stays a hyphen.
std::string roff(std::string_view text) {
  std::string out;
  if (text.starts_with(".") || text.starts_with("'")) out += "\\&";
  for (const char c : text) {
    if (c == '\\')
      out += "\\e";
    else if (c == '-')
      out += "\\-";
    else
      out += c;
  }
  return out;
}

void add_roff_text(std::string& out, std::string_view text) {
  bool is_example = false;
  each_line(text, [&](std::string_view line) {
    if (is_kept_line(line) != is_example) {
      is_example = !is_example;
      out += is_example ? ".RS 4\n.nf\n" : ".fi\n.RE\n";
    }
    if (line.empty())
      out += ".PP\n";
    else
      out += roff(is_kept_line(line) ? line.substr(2) : line) + '\n';
  });
  if (is_example) out += ".fi\n.RE\n";
}

void add_roff_options(std::string& out, const Command& command) {
  for (const Option& o : command.options)
    out += fmt::format(".TP\n\\fB{}\\fR{}\n{}\n", roff(o.name),
                       o.is_argument || o.value.empty() ? "" : " \\fI" + roff(o.value) + "\\fR", roff(o.what));
}

void add_roff_command(std::string& out, const Command& root, const Command& command) {
  if (command.run) {
    out += fmt::format(".SS {}\n{}\n", roff(usage_of(root, command)), roff(command.what));
    add_roff_options(out, command);
    if (!command.more.empty()) {
      out += ".PP\n";
      add_roff_text(out, command.more);
    }
  }
  for (const auto& c : command.commands) add_roff_command(out, root, *c);
}

}  // namespace

std::string man_page(const Command& root, std::string_view version) {
  std::string out = fmt::format(".TH SHAFTLOG 1 \"\" \"shaftlog {}\" \"User commands\"\n", roff(version));
  out += fmt::format(".SH NAME\n{} \\- {}\n", root.name, roff(root.what));
  out += fmt::format(".SH SYNOPSIS\n.B {}\n[options] COMMAND ...\n", root.name);
  out += ".SH OPTIONS\n";
  add_roff_options(out, root);
  out += ".TP\n\\fB\\-\\-help\\fR\nthe same for one command\n";
  out += ".SH DESCRIPTION\n";
  add_roff_text(out, root.more);
  out += ".SH COMMANDS\n";
  for (const auto& c : root.commands) add_roff_command(out, root, *c);
  return out;
}

namespace {

void add_completion(std::string& out, const Command& root, const Command& command, std::string_view path) {
  std::string words;
  for (const auto& c : command.commands) words += c->name + " ";
  for (const Command* from : {&command, &root}) {
    for (const Option& o : from->options)
      if (!o.is_argument) words += o.name + " ";
    if (&command == &root) break;
  }
  words += "--help";
  out += fmt::format("    '{}') words='{}' ;;\n", path, words);
  for (const auto& c : command.commands)
    add_completion(out, root, *c, path.empty() ? c->name : fmt::format("{} {}", path, c->name));
}

void list_words(const Command& command, std::string& flags, std::string& commands) {
  for (const Option& o : command.options)
    if (!o.is_argument && o.value.empty()) flags += o.name + "|";
  for (const auto& c : command.commands) {
    commands += c->name + "|";
    list_words(*c, flags, commands);
  }
}

}  // namespace

std::string bash_completion(const Command& root) {
  std::string flags;
  std::string commands;
  list_words(root, flags, commands);
  flags += "--help";
  if (!commands.empty()) commands.pop_back();
  std::string out = R"(# bash completion for shaftlog
_shaftlog() {
  local current=${COMP_WORDS[COMP_CWORD]} path='' words='' word after_value=''
  local i
  for ((i = 1; i < COMP_CWORD; ++i)); do
    word=${COMP_WORDS[i]}
    if [[ $after_value ]]; then after_value=''; continue; fi
    case $word in
)";
  out += fmt::format("      {}) ;;\n", flags);
  out += "      --*=*) ;;\n      --*) after_value=yes ;;\n";
  out += fmt::format("      {}) path=\"${{path:+$path }}$word\" ;;\n", commands);
  out += R"(    esac
  done
  if [[ $after_value ]]; then COMPREPLY=($(compgen -f -- "$current")); return; fi
  case $path in
)";
  add_completion(out, root, root, "");
  out += R"(  esac
  COMPREPLY=($(compgen -W "$words" -- "$current"))
  if [[ ${#COMPREPLY[@]} -eq 0 ]]; then COMPREPLY=($(compgen -f -- "$current")); fi
}
complete -F _shaftlog shaftlog
)";
  return out;
}

}  // namespace shaftlog
