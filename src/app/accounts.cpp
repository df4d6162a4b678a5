#include "app/accounts.hpp"

#include "base/error.hpp"
#include "base/text.hpp"
#include "interchange/new_file.hpp"

#include <algorithm>
#include <fstream>
#include <sstream>
#include <sys/stat.h>

#include <fmt/format.h>
#include <sodium.h>

namespace shaftlog {

namespace {

constexpr std::size_t kShortest = 10, kLongest = 200;

bool is_plain_name(std::string_view name) {
  return !name.empty() && name.size() <= 40 && std::all_of(name.begin(), name.end(), [](char c) {
    return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') || c == '_' || c == '-' ||
           c == '.';
  });
}

void require_name(std::string_view name) {
  if (!is_plain_name(name))
    throw Error{Errc::usage, fmt::format("name: \"{}\" is not 1 to 40 letters, digits, '.', '-' or '_'", shown(name))};
}

void require_passphrase(const std::string& passphrase) {
  if (passphrase.size() < kShortest || passphrase.size() > kLongest || find_bad_utf8(passphrase))
    throw Error{Errc::usage, fmt::format("the passphrase has {} bytes; expected {} to {} of text", passphrase.size(),
                                         kShortest, kLongest)};
}

Account& get_account(std::vector<Account>& accounts, std::string_view name) {
  const auto at = std::find_if(accounts.begin(), accounts.end(), [name](const Account& a) { return a.name == name; });
  if (at == accounts.end()) throw Error{Errc::not_found, fmt::format("there is no account \"{}\"", shown(name))};
  return *at;
}

}  // namespace

std::string_view name_of(Account::Role role) noexcept {
  switch (role) {
    case Account::Role::reader:
      return "reader";
    case Account::Role::crew:
      return "crew";
    case Account::Role::chief_engineer:
      return "chief_engineer";
    case Account::Role::superintendent:
      return "superintendent";
  }
  return "";
}

bool is_aboard(Account::Role role) noexcept {
  return role == Account::Role::crew || role == Account::Role::chief_engineer;
}

std::optional<Account::Role> parse_account_role(std::string_view word) noexcept {
  for (const Account::Role r :
       {Account::Role::reader, Account::Role::crew, Account::Role::chief_engineer, Account::Role::superintendent})
    if (word == name_of(r)) return r;
  return std::nullopt;
}

std::vector<Account> parse_accounts(std::string_view text, std::string_view file) {
  std::vector<Account> out;
  for (int n = 1; !text.empty(); ++n) {
    const std::size_t line_end = std::min(text.find('\n'), text.size());
    const std::string_view line = text.substr(0, line_end);
    text.remove_prefix(std::min(line_end + 1, text.size()));
    std::vector<std::string> parts;
    for (std::size_t at = 0; at <= line.size();) {
      const std::size_t end = std::min(line.find('\t', at), line.size());
      parts.emplace_back(line.substr(at, end - at));
      at = end + 1;
    }
    const auto role = parts.size() == 4 ? parse_account_role(parts[1]) : std::nullopt;
    if (!role || !is_plain_name(parts[0]) || parts[3].empty() || is_aboard(*role) == parts[2].empty())
      throw Error{Errc::bad_data,
                  fmt::format("{}: line {} is no account; expected name, role, vessel and hash", shown(file), n)};
    for (const Account& a : out)
      if (a.name == parts[0])
        throw Error{Errc::bad_data,
                    fmt::format("{}: line {}: account \"{}\" was there before", shown(file), n, a.name)};
    out.push_back({parts[0], *role, parts[2], parts[3]});
  }
  return out;
}

std::vector<Account> load_accounts(const std::filesystem::path& file) {
  struct ::stat about {};
  if (::stat(file.c_str(), &about) != 0) {
    if (errno == ENOENT) return {};
    throw Error{Errc::io, fmt::format("{}: cannot be read", shown(file.string()))};
  }
  if (!S_ISREG(about.st_mode)) throw Error{Errc::io, fmt::format("{}: is not a regular file", shown(file.string()))};
  if ((about.st_mode & 077) != 0)
    throw Error{Errc::io, fmt::format("{}: others may read it; expected a file for its owner only (chmod 600)",
                                      shown(file.string()))};
  std::ifstream in{file, std::ios::binary};
  std::ostringstream text;
  if (about.st_size > 0) text << in.rdbuf();
  if (!in || !text) throw Error{Errc::io, fmt::format("{}: cannot be read", shown(file.string()))};
  return parse_accounts(text.str(), file.string());
}

std::string account_line(const Account& a) {
  return fmt::format("{}\t{}\t{}\t{}\n", a.name, name_of(a.role), a.vessel, a.hash);
}

void save_accounts(const std::filesystem::path& file, const std::vector<Account>& accounts) {
  std::string text;
  for (const Account& a : accounts) text += account_line(a);
  const ::mode_t before = ::umask(077);
  try {
    NewFile out{file};
    out.write(text);
    out.sync();
    out.keep();
  } catch (...) {
    ::umask(before);
    throw;
  }
  ::umask(before);
}

void add_account(const std::filesystem::path& file, Account account, const std::string& passphrase) {
  require_name(account.name);
  require_passphrase(passphrase);
  if (is_aboard(account.role) == account.vessel.empty())
    throw Error{Errc::usage, "the roles crew and chief_engineer have one vessel, the others none"};
  std::vector<Account> accounts = load_accounts(file);
  for (const Account& a : accounts)
    if (a.name == account.name) throw Error{Errc::conflict, fmt::format("account \"{}\" is there", a.name)};
  account.hash = hash_passphrase(passphrase);
  accounts.push_back(std::move(account));
  save_accounts(file, accounts);
}

void remove_account(const std::filesystem::path& file, std::string_view name) {
  std::vector<Account> accounts = load_accounts(file);
  get_account(accounts, name);
  std::erase_if(accounts, [name](const Account& a) { return a.name == name; });
  save_accounts(file, accounts);
}

void change_passphrase(const std::filesystem::path& file, std::string_view name, const std::string& passphrase) {
  require_passphrase(passphrase);
  std::vector<Account> accounts = load_accounts(file);
  get_account(accounts, name).hash = hash_passphrase(passphrase);
  save_accounts(file, accounts);
}

std::string hash_passphrase(const std::string& passphrase) {
  if (sodium_init() < 0) throw Error{Errc::io, "the cryptographic library cannot be used"};
  char hash[crypto_pwhash_STRBYTES];
  if (crypto_pwhash_str_alg(hash, passphrase.data(), passphrase.size(), crypto_pwhash_OPSLIMIT_INTERACTIVE,
                            crypto_pwhash_MEMLIMIT_INTERACTIVE, crypto_pwhash_ALG_ARGON2ID13) != 0)
    throw Error{Errc::io, "not enough memory to hash a passphrase"};
  return hash;
}

bool is_passphrase(const std::string& hash, const std::string& passphrase) noexcept {
  if (sodium_init() < 0 || hash.size() >= crypto_pwhash_STRBYTES) return false;
  char padded[crypto_pwhash_STRBYTES] = {};
  std::copy(hash.begin(), hash.end(), padded);
  return crypto_pwhash_str_verify(padded, passphrase.data(), passphrase.size()) == 0;
}

}  // namespace shaftlog
