#pragma once

#include "support/temp_db.hpp"

#include <fcntl.h>
#include <fstream>
#include <iterator>
#include <spawn.h>
#include <stdexcept>
#include <string>
#include <sys/resource.h>
#include <sys/wait.h>
#include <vector>

extern char** environ;

namespace shaftlog::test {

inline std::string read_text(const std::filesystem::path& path) {
  std::ifstream in{path, std::ios::binary};
  if (!in) throw std::runtime_error{path.string() + " cannot be read"};
  return {std::istreambuf_iterator<char>{in}, std::istreambuf_iterator<char>{}};
}

inline void write_text(const std::filesystem::path& path, const std::string& text) {
  std::filesystem::create_directories(path.parent_path());
  std::ofstream out{path, std::ios::binary};
  out << text;
  out.close();
  if (!out) throw std::runtime_error{path.string() + " cannot be written"};
}

struct Ran {
  std::string out, err;
  int code = -1;
};

/// Runs a program in `folder` to its end. Its environment is this one's, without what steers shaftlog, and with `env`
/// ("NAME=value") over it.
inline Ran run_program_file(const std::string& program, const std::vector<std::string>& args,
                            const std::filesystem::path& folder, const std::string& in = "",
                            const std::vector<std::string>& env = {}) {
  const TempDir scratch;
  write_text(scratch / "in", in);
  std::vector<std::string> words{program};
  words.insert(words.end(), args.begin(), args.end());
  std::vector<std::string> settings{"SHAFTLOG_BY=2/E", "COLUMNS=100"};
  settings.insert(settings.end(), env.begin(), env.end());
  for (char** e = environ; *e != nullptr; ++e) {
    const std::string setting = *e;
    const std::string name = setting.substr(0, setting.find('=') + 1);
    bool is_ours = name.starts_with("SHAFTLOG_") || name == "NO_COLOR=";
    for (const std::string& s : settings) is_ours |= s.starts_with(name);
    if (!is_ours) settings.push_back(setting);
  }
  const auto pointers = [](std::vector<std::string>& texts) {
    std::vector<char*> out;
    for (std::string& t : texts) out.push_back(t.data());
    out.push_back(nullptr);
    return out;
  };
  posix_spawn_file_actions_t actions;
  posix_spawn_file_actions_init(&actions);
  posix_spawn_file_actions_addopen(&actions, 0, (scratch / "in").c_str(), O_RDONLY, 0);
  posix_spawn_file_actions_addopen(&actions, 1, (scratch / "out").c_str(), O_WRONLY | O_CREAT | O_TRUNC, 0600);
  posix_spawn_file_actions_addopen(&actions, 2, (scratch / "err").c_str(), O_WRONLY | O_CREAT | O_TRUNC, 0600);
  posix_spawn_file_actions_addchdir_np(&actions, folder.c_str());
  pid_t child = 0;
  const int fault =
      posix_spawn(&child, program.c_str(), &actions, nullptr, pointers(words).data(), pointers(settings).data());
  posix_spawn_file_actions_destroy(&actions);
  if (fault != 0) throw std::runtime_error{program + " cannot be run"};
  int status = 0;
  if (waitpid(child, &status, 0) != child) throw std::runtime_error{program + " was lost"};
  Ran ran{read_text(scratch / "out"), read_text(scratch / "err"), -1};
  ran.code = WIFEXITED(status) ? WEXITSTATUS(status) : 128 + WTERMSIG(status);
  return ran;
}

/// The program under test, in a folder of its own with nothing in it.
class Aboard {
 public:
  Ran operator()(const std::vector<std::string>& args, const std::string& in = "",
                 const std::vector<std::string>& env = {}) const {
    return run_program_file(SHAFTLOG_BINARY, args, dir.path(), in, env);
  }
  /// \throws std::runtime_error unless it ended with 0
  std::string ok(const std::vector<std::string>& args, const std::string& in = "",
                 const std::vector<std::string>& env = {}) const {
    const Ran ran = (*this)(args, in, env);
    if (ran.code != 0) throw std::runtime_error{"exit code " + std::to_string(ran.code) + ": " + ran.err};
    return ran.out;
  }
  TempDir dir;
};

/// Holds `text` to the approved text at tests/golden/`name`. With SHAFTLOG_APPROVE=1 the text is approved, and the run
/// fails all the same: approving is no pass. Returns what is wrong; empty when nothing is.
inline std::string not_approved(const std::string& name, const std::string& text) {
  const std::filesystem::path path = std::filesystem::path{SHAFTLOG_SOURCE_DIR} / "tests/golden" / name;
  const char* approve = std::getenv("SHAFTLOG_APPROVE");
  if (approve != nullptr && std::string_view{approve} == "1") {
    write_text(path, text);
    return name + ": approved, run again";
  }
  if (!std::filesystem::exists(path)) return name + ": nothing is approved yet; got\n" + text;
  const std::string approved = read_text(path);
  return approved == text ? "" : name + " differs; approved\n" + approved + "\ngot\n" + text;
}

}  // namespace shaftlog::test
