#include "app/maintenance.hpp"
#include "cli/guard.hpp"
#include "cli/program.hpp"

namespace shaftlog {

void add_shell_commands(Command& root) {
  {
    Command& c = root.add("completion", "print a completion script for the bash shell");
    c.more = "  source <(shaftlog completion)";
    c.run = [&root](Console& console) {
      console.out(bash_completion(root));
      return kDone;
    };
  }
  {
    Command& c = root.add("man", "print the manual page");
    c.more = "  shaftlog man | man -l -";
    c.run = [&root](Console& console) {
      console.out(man_page(root, program_version()));
      return kDone;
    };
  }
}

}  // namespace shaftlog
