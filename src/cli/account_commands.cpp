#include "app/accounts.hpp"
#include "app/look_up.hpp"
#include "app/maintenance.hpp"
#include "app/record.hpp"
#include "base/error.hpp"
#include "base/text.hpp"
#include "cli/guard.hpp"
#include "cli/program.hpp"

#include <filesystem>
#include <system_error>
#include <termios.h>
#include <unistd.h>

#include <fmt/format.h>

namespace shaftlog {

namespace {

/// Nothing of what is typed is shown while this lives.
class Unseen {
 public:
  Unseen() {
    if (::tcgetattr(STDIN_FILENO, &before_) != 0) return;
    is_changed_ = true;
    ::termios quiet = before_;
    quiet.c_lflag &= ~static_cast<tcflag_t>(ECHO);
    ::tcsetattr(STDIN_FILENO, TCSAFLUSH, &quiet);
  }
  ~Unseen() {
    if (is_changed_) ::tcsetattr(STDIN_FILENO, TCSAFLUSH, &before_);
  }
  Unseen(const Unseen&) = delete;
  Unseen& operator=(const Unseen&) = delete;

 private:
  ::termios before_{};
  bool is_changed_ = false;
};

/// Typed twice on a terminal, else one line of standard input; never a word of the command line, which others can see.
std::string read_passphrase(Console& console) {
  if (!console.can_ask()) {
    const auto line = console.read_line();
    if (!line) throw Error{Errc::usage, "expected the passphrase as a line of standard input"};
    return *line;
  }
  const Unseen unseen;
  const auto first = console.ask("passphrase: ");
  console.err("\n");
  const auto again = console.ask("once more: ");
  console.err("\n");
  if (!first || first != again) throw Error{Errc::usage, "the two are not the same; nothing was changed"};
  return *first;
}

struct AccountWords {
  std::optional<std::string> name, role, vessel, file;
};

std::filesystem::path file_of(const AccountWords& words) {
  if (!words.file || words.file->empty()) throw Error{Errc::usage, "--accounts is missing: the file of accounts"};
  return *words.file;
}

/// The same, that is there.
std::filesystem::path kept_file_of(const AccountWords& words) {
  std::filesystem::path file = file_of(words);
  std::error_code ec;
  if (!std::filesystem::exists(file, ec))
    throw Error{Errc::not_found, fmt::format("--accounts: \"{}\" is not there; expected a file made by account add",
                                             shown(*words.file))};
  return file;
}

Command& add_one(Command& account, AccountWords& words, const char* name, std::string what, bool with_name,
                 std::string_view of_file = "the file of accounts") {
  Command& c = account.add(name, std::move(what));
  if (with_name) c.argument("NAME", words.name, "whose", true);
  c.option("--accounts", "FILE", words.file, std::string{of_file});
  return c;
}

}  // namespace

void add_account_commands(Command& root, const Surroundings& around) {
  Command& account = root.add("account", "who may come in over the network: serve --accounts FILE");
  account.more =
      "The file holds hashes only (Argon2id), is for its owner only, and is no part of the database: that is copied "
      "and "
      "mailed. The passphrase is asked for, or read as a line of standard input.";

  const auto add_words = std::make_shared<AccountWords>();
  Command& add =
      add_one(account, *add_words, "add", "let somebody in", true, "the file of accounts; made when it is not there");
  add.option("--role", "ROLE", add_words->role, "crew, chief_engineer, superintendent or reader");
  add.option("--vessel", "CODE", add_words->vessel, "whose log the crew or the chief engineer keeps");
  add.run = [&around, add_words](Console& console) {
    const auto role = parse_account_role(add_words->role.value_or(""));
    if (!role)
      throw Error{Errc::usage, fmt::format("--role: \"{}\" is not crew, chief_engineer, superintendent or reader",
                                           shown(add_words->role.value_or("")))};
    const auto file = file_of(*add_words);
    if (add_words->vessel) {
      Database db = open_to_read(around.database());
      static_cast<void>(get_vessel(load_register(db), *add_words->vessel));
    }
    add_account(file, {*add_words->name, *role, add_words->vessel.value_or(""), {}}, read_passphrase(console));
    console.out(fmt::format("account {} may come in as {}\n", *add_words->name, name_of(*role)));
    return kDone;
  };

  const auto list_words = std::make_shared<AccountWords>();
  Command& list = add_one(account, *list_words, "list", "who may come in", false);
  list.run = [list_words](Console& console) {
    const std::vector<Account> accounts = load_accounts(kept_file_of(*list_words));
    if (accounts.empty()) console.out("no account\n");
    for (const Account& a : accounts)
      console.out(fmt::format("{} {}{}{}\n", a.name, name_of(a.role), a.vessel.empty() ? "" : " of ", a.vessel));
    return kDone;
  };

  const auto remove_words = std::make_shared<AccountWords>();
  Command& remove = add_one(account, *remove_words, "remove", "let somebody in no more; sessions end at once", true);
  remove.run = [remove_words](Console& console) {
    remove_account(kept_file_of(*remove_words), *remove_words->name);
    console.out(fmt::format("account {} is gone\n", *remove_words->name));
    return kDone;
  };

  const auto phrase_words = std::make_shared<AccountWords>();
  Command& phrase = add_one(account, *phrase_words, "passphrase", "change a passphrase", true);
  phrase.run = [phrase_words](Console& console) {
    const auto file = kept_file_of(*phrase_words);
    change_passphrase(file, *phrase_words->name, read_passphrase(console));
    console.out(fmt::format("account {} has a new passphrase\n", *phrase_words->name));
    return kDone;
  };
}

}  // namespace shaftlog
