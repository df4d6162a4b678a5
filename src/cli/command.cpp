#include "cli/command.hpp"

#include "base/error.hpp"
#include "base/text.hpp"

#include <CLI/CLI.hpp>
#include <fmt/format.h>

namespace shaftlog {

Command& Command::add(std::string command_name, std::string command_what) {
  commands.push_back(std::make_unique<Command>());
  commands.back()->name = std::move(command_name);
  commands.back()->what = std::move(command_what);
  return *commands.back();
}

Command& Command::flag(std::string option_name, bool& into, std::string option_what) {
  options.push_back({std::move(option_name), "", std::move(option_what), &into, false, false});
  return *this;
}

Command& Command::option(std::string option_name, std::string value, std::optional<std::string>& into,
                         std::string option_what) {
  options.push_back({std::move(option_name), std::move(value), std::move(option_what), &into, false, false});
  return *this;
}

Command& Command::options_of(std::string option_name, std::string value, std::vector<std::string>& into,
                             std::string option_what) {
  options.push_back({std::move(option_name), std::move(value), std::move(option_what), &into, false, false});
  return *this;
}

Command& Command::argument(std::string value, std::optional<std::string>& into, std::string option_what,
                           bool required) {
  options.push_back({value, value, std::move(option_what), &into, true, required});
  return *this;
}

Command& Command::arguments(std::string value, std::vector<std::string>& into, std::string option_what) {
  options.push_back({value, value, std::move(option_what), &into, true, false});
  return *this;
}

namespace {

/// Gives one option to the library. Values arrive as text; the last of several is not silently preferred.
void bind(CLI::App& app, const Option& o) {
  CLI::Option* made = nullptr;
  if (bool* const* flag = std::get_if<bool*>(&o.target))
    made = app.add_flag(o.name, **flag);
  else if (std::optional<std::string>* const* one = std::get_if<std::optional<std::string>*>(&o.target))
    made = app.add_option_function<std::string>(o.name, [into = *one](const std::string& v) { *into = v; });
  else if (std::vector<std::string>* const* many = std::get_if<std::vector<std::string>*>(&o.target)) {
    made = app.add_option(o.name, **many);
    if (o.is_argument)
      made->expected(0, CLI::detail::expected_max_vector_size);
    else
      made->expected(1)->take_all();
  }
  if (o.is_required) made->required();
}

void bind(CLI::App& app, const Command& command) {
  app.set_help_flag("--help,-h");
  for (const Option& o : command.options) bind(app, o);
  for (const auto& c : command.commands) {
    CLI::App* sub = app.add_subcommand(c->name);
    sub->fallthrough();
    bind(*sub, *c);
  }
  app.require_subcommand(0, command.commands.empty() ? 0 : 1);
}

const Command& selected(const CLI::App& app, const Command& command, const CLI::App** last) {
  *last = &app;
  for (const CLI::App* sub : app.get_subcommands())
    for (const auto& c : command.commands)
      if (c->name == sub->get_name()) return selected(*sub, *c, last);
  return command;
}

/// ", did you mean --known?" where something near is known.
std::string hint(const std::string& word, const Command& root, const Command& command) {
  std::vector<std::string> known;
  for (const Command* c : {&root, &command})
    for (const Option& o : c->options)
      if (!o.is_argument) known.push_back(o.name);
  for (const auto& c : command.commands) known.push_back(c->name);
  std::vector<std::string_view> views{known.begin(), known.end()};
  const auto nearest = nearest_word(word, views.data(), views.size());
  return nearest ? fmt::format(", did you mean {}?", *nearest) : "";
}

std::string names_of(const Command& command) {
  std::string out;
  for (const auto& c : command.commands) out += (out.empty() ? "" : ", ") + c->name;
  return out;
}

[[noreturn]] void refuse(const std::string& what) { throw Error{Errc::usage, what}; }

}  // namespace

Call parse_call(Command& root, const std::vector<std::string>& words) {
  CLI::App app{root.what, root.name};
  bool wants_version = false;
  app.add_flag("--version", wants_version);
  bind(app, root);

  Call call;
  const CLI::App* last = &app;
  const auto where = [&](const Command& c) {
    return &c == &root ? root.name : path_of(root, c).substr(root.name.size() + 1);
  };
  try {
    app.parse(std::vector<std::string>{words.rbegin(), words.rend()});
  } catch (const CLI::CallForHelp&) {
    call.command = &selected(app, root, &last);
    call.wants_help = true;
    return call;
  } catch (const CLI::ExtrasError&) {
    const Command& c = selected(app, root, &last);
    const std::vector<std::string> extras = app.remaining(/*recurse=*/true);
    const std::string word = extras.empty() ? "" : extras.front();
    if (word.starts_with("-"))
      refuse(fmt::format("{} takes no option {}{}", where(c), shown(word), hint(word, root, c)));
    if (c.commands.empty()) refuse(fmt::format("{} does not expect \"{}\"", where(c), shown(word)));
    const std::string near = hint(word, root, c);
    refuse(fmt::format("\"{}\" is no command of {}{}", shown(word), where(c),
                       near.empty() ? fmt::format("; it has {}", names_of(c)) : near));
  } catch (const CLI::ParseError& e) {
    const Command& c = selected(app, root, &last);
    for (const Option& o : c.options)
      if (o.is_argument && o.is_required && e.get_name() == "RequiredError" &&
          std::string_view{e.what()}.find(o.name) != std::string_view::npos)
        refuse(fmt::format("{} needs {}: {}", where(c), o.value, o.what));
    for (const Command* owner : {&c, static_cast<const Command*>(&root)})
      for (const Option& o : owner->options)
        if (e.get_name() == "ArgumentMismatch" && std::string_view{e.what()}.find(o.name) != std::string_view::npos)
          refuse(fmt::format("{} wants exactly one {}", o.name, o.value));
    refuse(fmt::format("{}: {}", where(c), e.what()));
  }
  call.wants_version = wants_version;
  call.command = &selected(app, root, &last);
  if (!call.wants_version && !call.command->run)
    refuse(call.command == &root
               ? fmt::format("what is to be done? one of {}; \"{} --help\" tells more", names_of(root), root.name)
               : fmt::format("{} needs one of {}", where(*call.command), names_of(*call.command)));
  return call;
}

namespace {

bool find_path(const Command& from, const Command& command, std::string& path) {
  if (&from == &command) {
    path = from.name;
    return true;
  }
  for (const auto& c : from.commands) {
    if (find_path(*c, command, path)) {
      path.insert(0, from.name + " ");
      return true;
    }
  }
  return false;
}

}  // namespace

std::string path_of(const Command& root, const Command& command) {
  std::string path;
  find_path(root, command, path);
  return path;
}

}  // namespace shaftlog
