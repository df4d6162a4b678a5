// What a person at a terminal sees: the program runs behind a pseudo-terminal.
#include "support/run.hpp"

#include <poll.h>
#include <pty.h>
#include <unistd.h>

#include <catch2/catch.hpp>

using namespace shaftlog::test;
using Catch::Matchers::Contains;

namespace {

const std::filesystem::path kShip = std::filesystem::path{SHAFTLOG_SOURCE_DIR} / "tests/errors/ship";

struct Seen {
  std::string screen;
  int code = -1;
};

/// Types each answer when the program waits with the question that goes with it.
Seen at_terminal(const std::filesystem::path& folder, std::vector<std::string> args,
                 const std::vector<std::pair<std::string, std::string>>& answers,
                 const std::vector<std::string>& env = {}) {
  args.insert(args.begin(), SHAFTLOG_BINARY);
  std::vector<char*> words;
  for (std::string& a : args) words.push_back(a.data());
  words.push_back(nullptr);
  int terminal = -1;
  winsize size{};
  size.ws_row = 40;
  size.ws_col = 100;
  const pid_t child = ::forkpty(&terminal, nullptr, nullptr, &size);
  REQUIRE(child >= 0);
  if (child == 0) {
    ::setenv("SHAFTLOG_BY", "2/E", 1);
    ::unsetenv("SHAFTLOG_DB");
    ::unsetenv("NO_COLOR");
    ::unsetenv("COLUMNS");
    ::setenv("TERM", "xterm", 1);
    for (const std::string& e : env) ::putenv(const_cast<char*>(e.c_str()));
    if (::chdir(folder.c_str()) == 0) ::execv(words[0], words.data());
    ::_exit(127);
  }
  Seen seen;
  std::size_t next = 0;
  std::size_t from = 0;
  for (;;) {
    pollfd waiting{terminal, POLLIN, 0};
    if (::poll(&waiting, 1, 20'000) <= 0) {  // it waits for an answer that nobody has
      ::kill(child, SIGKILL);
      break;
    }
    char bytes[4096];
    const ssize_t n = ::read(terminal, bytes, sizeof bytes);
    if (n <= 0) break;  // EIO: the program has ended
    seen.screen.append(bytes, static_cast<std::size_t>(n));
    if (next >= answers.size()) continue;
    const std::size_t question = seen.screen.find(answers[next].first, from);
    if (question == std::string::npos) continue;
    from = question + answers[next].first.size();
    const std::string line = answers[next].second + "\n";
    if (::write(terminal, line.data(), line.size()) < 0) break;
    ++next;
  }
  int status = 0;
  ::waitpid(child, &status, 0);
  ::close(terminal);
  seen.code = WIFEXITED(status) ? WEXITSTATUS(status) : -1;
  std::erase(seen.screen, '\r');
  return seen;
}

}  // namespace

TEST_CASE("terminal: add asks for what is missing, shows what was last, and asks again after a bad answer",
          "[e2e][terminal]") {
  const Aboard aboard;
  aboard.ok({"init"});
  aboard.ok({"import", kShip.string()});
  const Seen seen = at_terminal(aboard.dir.path(), {"add", "greasing", "--at", "2026-02-20T10:00"},
                                {{"shaft (fin_port, fin_stbd): ", "fin_prt"},
                                 {"shaft (fin_port, fin_stbd): ", "fin_port"},
                                 {"ended (", "pressure"},
                                 {"amount (", "6o"},
                                 {"amount (", "60 strokes"},
                                 {"purge (", ""}});
  INFO(seen.screen);
  CHECK(seen.code == 0);
  CHECK_THAT(seen.screen, Contains("\"fin_prt\" is not a shaft of vessel T-01"));
  CHECK_THAT(seen.screen, Contains("last: 60 cm3, pressure, 2026-02-03 09:00"));
  CHECK_THAT(seen.screen, Contains("\"6o\" is not a number"));
  CHECK_THAT(seen.screen, Contains("60 strokes of gun1 = 78 cm3, pressure"));  // the only gun goes without saying
}

TEST_CASE("terminal: work is asked for its shaft or its lubricator, and may be of the whole ship", "[e2e][terminal]") {
  const Aboard aboard;
  aboard.ok({"init"});
  aboard.ok({"import", kShip.string()});
  const auto add_work = [&](const std::vector<std::pair<std::string, std::string>>& answers) {
    return at_terminal(aboard.dir.path(), {"add", "work", "at=2026-02-20T10:00"}, answers);
  };
  const Seen seal = add_work({{"work (", "seal_replaced"}, {"shaft (fin_port, fin_stbd): ", "fin_stbd"}});
  INFO(seal.screen);
  CHECK_THAT(seal.screen, Contains("kept: work T-01 fin_stbd, ") && !Contains("lubricator ("));
  const Seen shaft = add_work({{"work (", "bled"},
                               {"shaft (fin_port, fin_stbd; empty where it is not about one): ", ""},
                               {"lubricator (lub1; empty where it is not about one): ", ""},
                               {"bled: expected a shaft or a lubricator", "fin_port"}});
  INFO(shaft.screen);
  CHECK_THAT(shaft.screen, Contains("kept: work T-01 fin_port, 2026-02-20 10:00 (09:00 UTC): bled"));
  const Seen lubricator = add_work({{"work (", "lubricator_off"}, {"lubricator (lub1; ", "lub1"}});
  INFO(lubricator.screen);
  CHECK_THAT(lubricator.screen, Contains("kept: work T-01 lub1, "));
  const Seen ship = add_work({{"work (", "other"}, {"shaft (", ""}, {"lubricator (", ""}});
  INFO(ship.screen);
  CHECK(ship.code == 0);
  CHECK_THAT(ship.screen, Contains(": other"));
  const Seen docked = add_work({{"work (", "docked"}});
  INFO(docked.screen);
  CHECK(docked.code == 0);
  const Seen named =
      at_terminal(aboard.dir.path(), {"add", "work", "work=bled", "at=2026-02-21"}, {{"shaft (", "fin_stbd"}});
  INFO(named.screen);
  CHECK_THAT(named.screen, Contains("kept: work T-01 fin_stbd"));
}

TEST_CASE("terminal: a number below 0 is no amount, and its unit is asked for after it", "[e2e][terminal]") {
  const Aboard aboard;
  aboard.ok({"init"});
  aboard.ok({"import", kShip.string()});
  const Seen seen = at_terminal(aboard.dir.path(), {"add", "greasing", "shaft=fin_port", "at=2026-02-20T10:00"},
                                {{"ended (", "pressure"},
                                 {"amount (", "-5"},
                                 {"amount: -5 is below 0; expected 0 or more", "78"},
                                 {"unit (", "cm3"},
                                 {"purge (", ""}});
  INFO(seen.screen);
  CHECK(seen.code == 0);
  CHECK_THAT(seen.screen, Contains("): 78 cm3, pressure"));
}

TEST_CASE("terminal: an alarm is asked for in the order of a watch: when, where, what, and whether it has gone",
          "[e2e][terminal]") {
  const Aboard aboard;
  aboard.ok({"init"});
  aboard.ok({"import", kShip.string()});
  const Seen seen = at_terminal(
      aboard.dir.path(), {"add", "alarm"},
      {{"raised_at (", "2026-02-20T10:00"}, {"alarm (", "low_level"}, {"cleared_at (", "2026-02-20T10:30"}});
  INFO(seen.screen);
  CHECK_THAT(seen.screen, Contains("kept: alarm T-01 lub1, 2026-02-20 10:00 (09:00 UTC): low level, cleared"));
}

TEST_CASE("terminal: a greasing that was not done is asked why, and questioned where nobody says", "[e2e][terminal]") {
  const Aboard aboard;
  aboard.ok({"init"});
  aboard.ok({"import", kShip.string()});
  const std::vector<std::string> args{"add", "greasing", "shaft=fin_port", "at=2026-02-20T10:00"};
  const Seen why = at_terminal(aboard.dir.path(), args,
                               {{"ended (", "not_done"}, {"remark (why it was not done): ", "hatch under cargo"}});
  INFO(why.screen);
  CHECK(why.code == 0);
  CHECK_THAT(why.screen, !Contains("odd:"));
  CHECK_THAT(aboard.ok({"list", "--from", "2026-02-20", "--csv"}), Contains("hatch under cargo"));
  const Seen no =
      at_terminal(aboard.dir.path(), args, {{"ended (", "not_done"}, {"remark (", ""}, {"with it: ", "no"}});
  INFO(no.screen);
  CHECK_THAT(no.screen, Contains("odd: not done, and no remark says why"));
  CHECK_THAT(no.screen, Contains("nothing was kept"));
}

TEST_CASE("terminal: an odd value is kept only when the person says so, with the remark", "[e2e][terminal]") {
  const Aboard aboard;
  aboard.ok({"init"});
  aboard.ok({"import", kShip.string()});
  const std::vector<std::string> args{"add", "hours", "shaft=fin_port", "meter_h=900", "at=2026-02-15T08:00"};
  const Seen no = at_terminal(aboard.dir.path(), args, {{"or a remark to keep with it: ", "no"}});
  INFO(no.screen);
  CHECK_THAT(no.screen, Contains("odd: the meter shows 900.0 h"));
  CHECK_THAT(no.screen, Contains("nothing was kept"));
  CHECK(aboard.ok({"list", "--from", "2026-02-15"}) == "no record\n");
  const Seen yes = at_terminal(aboard.dir.path(), args, {{"or a remark to keep with it: ", "meter looked at twice"}});
  CHECK(yes.code == 0);
  CHECK_THAT(aboard.ok({"list", "--from", "2026-02-15", "--csv"}), Contains("meter looked at twice"));
}

TEST_CASE("terminal: a whole ship is verified only when the person says yes", "[e2e][terminal]") {
  const Aboard aboard;
  aboard.ok({"init"});
  aboard.ok({"import", kShip.string()});
  const std::vector<std::string> args{"verify", "--vessel", "T-01"};
  const Seen no = at_terminal(aboard.dir.path(), args, {{"verify 4 records of T-01 as 2/E? yes or no: ", ""}});
  INFO(no.screen);
  CHECK_THAT(no.screen, Contains("nothing was kept"));
  CHECK_THAT(aboard.ok({"check"}), !Contains("verification"));
  const Seen yes = at_terminal(aboard.dir.path(), args, {{"yes or no: ", "yes"}});
  CHECK(yes.code == 0);
  CHECK_THAT(aboard.ok({"check"}), Contains(", 4 verifications,"));
}

TEST_CASE("terminal: when the input ends nothing is kept", "[e2e][terminal]") {
  const Aboard aboard;
  aboard.ok({"init"});
  aboard.ok({"import", kShip.string()});
  const Seen seen = at_terminal(aboard.dir.path(), {"add", "hours"}, {{"shaft (fin_port, fin_stbd): ", "\x04"}});
  INFO(seen.screen);
  CHECK(seen.code == 2);
  CHECK_THAT(seen.screen, Contains("nothing was kept"));
}

TEST_CASE("terminal: colour on a terminal, none with NO_COLOR", "[e2e][terminal]") {
  const Aboard aboard;
  aboard.ok({"init"});
  aboard.ok({"import", kShip.string()});
  CHECK(at_terminal(aboard.dir.path(), {"review"}, {}).screen.find('\x1b') != std::string::npos);
  CHECK(at_terminal(aboard.dir.path(), {"review"}, {}, {"NO_COLOR=1"}).screen.find('\x1b') == std::string::npos);
}

TEST_CASE("terminal: a name that turns the direction of writing is shown, not obeyed", "[e2e][terminal]") {
  const Aboard aboard;
  aboard.ok({"init"});
  aboard.ok({"import", kShip.string()});
  aboard.ok({"add", "hours", "shaft=fin_port", "at=2026-02-15T08:00", "meter_h=120", "by=2\xE2\x80\xAE/E\x1b[8m"});
  const Seen seen = at_terminal(aboard.dir.path(), {"list", "--from", "2026-02-15"}, {});
  INFO(seen.screen);
  CHECK_THAT(seen.screen, Contains("2\\u202e/E\\x1b[8m"));
  CHECK_THAT(seen.screen, !Contains("\xE2\x80\xAE"));
}
