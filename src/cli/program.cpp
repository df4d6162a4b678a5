#include "cli/program.hpp"

#include "app/maintenance.hpp"
#include "base/error.hpp"
#include "cli/guard.hpp"

#include <cstdlib>
#include <pwd.h>
#include <unistd.h>

#include <fmt/format.h>

namespace shaftlog {

namespace {

std::string environment(const char* name) {
  const char* value = std::getenv(name);
  return value == nullptr ? "" : value;
}

constexpr const char* kMore =
    R"(Keeps refills, manual greasings, alarms and running hours of ships' shaft bearings (stabiliser fins, rudder stocks, thrusters), adds them up, and says which bearing does not get or does not keep its grease, how sure that is, since when, and what to check.

Files and environment
  SHAFTLOG_DB   the database when --db is not given; without both ./shaftlog.db
  SHAFTLOG_BY   who records, when --by is not given; without both the login name
  NO_COLOR      not empty: no colour
  COLUMNS       width of the text; else that of the terminal, else 100

Exit codes
  0   done
  1   done, and there is something to see to, where a command says so
  2   wrong use
  3   bad input data
  4   trouble with the database or a file
  70  a fault of the program itself

Begin with
  shaftlog --db demo.db demo
  shaftlog --db demo.db review --as-of 2026-10-01

Cautions
A hand never comes before a grease nozzle: grease under pressure goes through the skin, and such a wound is an emergency even when it looks small. Fins, rudders and thrusters move: isolate and lock them before work. Never force more pressure than the seal is made for. Grease overboard is pollution. Findings advise checks; makers' instructions, class, flag and licensed practice decide.)";

}  // namespace

std::filesystem::path Surroundings::database() const {
  if (db) {
    if (db->empty()) throw Error{Errc::usage, "--db is empty; expected the name of a file"};
    return *db;
  }
  const std::string named = environment("SHAFTLOG_DB");
  return named.empty() ? "shaftlog.db" : named;
}

std::string Surroundings::by() {
  const std::string named = environment("SHAFTLOG_BY");
  if (!named.empty()) return named;
  const passwd* user = ::getpwuid(::getuid());
  return user == nullptr ? "" : user->pw_name;
}

std::string Surroundings::by(const std::optional<std::string>& given) {
  if (!given) return by();
  // An empty variable of a script would else leave a record that nobody answers for.
  if (given->find_first_not_of(' ') == std::string::npos)
    throw Error{Errc::usage, "--by is empty; give a name, or leave it out for SHAFTLOG_BY or the login name"};
  return *given;
}

std::unique_ptr<Command> make_commands(Surroundings& around) {
  auto root = std::make_unique<Command>();
  root->name = "shaftlog";
  root->what = "maintenance log and trend analyser for the grease of ships' shaft bearings";
  root->more = kMore;
  root->option("--db", "FILE", around.db, "the database file");
  add_entry_commands(*root, around);
  add_verify_command(*root, around);
  add_log_commands(*root, around);
  add_review_commands(*root, around);
  add_report_commands(*root, around);
  add_sheet_command(*root, around);
  add_replay_command(*root, around);
  add_advise_command(*root, around);
  add_history_commands(*root, around);
  add_finding_commands(*root, around);
  add_exchange_commands(*root, around);
  add_pack_commands(*root, around);
  add_key_commands(*root, around);
  add_side_command(*root, around);
  add_maintenance_commands(*root, around);
  add_safety_commands(*root, around);
  add_account_commands(*root, around);
  add_shell_commands(*root);
  return root;
}

int run_program(const std::vector<std::string>& words,
                const std::function<void(Command& root, const Surroundings& around)>& extend) {
  Console console;
  return guarded(console, [&] {
    Surroundings around;
    const std::unique_ptr<Command> root = make_commands(around);
    if (extend) extend(*root, around);
    const Call call = parse_call(*root, words);
    if (call.wants_help) {
      console.out(help_text(*root, *call.command, console.style().width));
      return kDone;
    }
    if (call.wants_version) {
      console.out(fmt::format("shaftlog {}\n", program_version()));
      return kDone;
    }
    return call.command->run(console);
  });
}

}  // namespace shaftlog
