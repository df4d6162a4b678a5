#pragma once

#include <filesystem>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace shaftlog {

/// Who may come in over the network. Kept in a text file of their own, never in the database: that is copied, mailed
/// and handed on.
struct Account {
  enum class Role { reader, crew, chief_engineer, superintendent };
  std::string name;
  Role role = Role::reader;
  std::string vessel;  ///< code; of those aboard only
  std::string hash;    ///< Argon2id with salt and cost, as libsodium writes it
};
std::string_view name_of(Account::Role role) noexcept;
/// Whether accounts of that role are of one vessel: crew and chief engineer.
bool is_aboard(Account::Role role) noexcept;
std::optional<Account::Role> parse_account_role(std::string_view word) noexcept;

/// A line an account: name, role, vessel and hash, parted by tabs.
/// \param file for the message  \throws Error{bad_data} for a line that cannot be read, or a name that comes twice
std::vector<Account> parse_accounts(std::string_view text, std::string_view file);
/// The same of a file; one that is not there holds none.
/// \throws Error{bad_data} for a line that cannot be read; Error{io}, also where others than its owner may read it
std::vector<Account> load_accounts(const std::filesystem::path& file);
/// As it is written, with the line end.
std::string account_line(const Account& a);
/// Written whole or not at all, for its owner's eyes only. \throws Error{io}
void save_accounts(const std::filesystem::path& file, const std::vector<Account>& accounts);

/// Adds one. \throws Error{usage} the name or the passphrase will not do; Error{conflict} the name is taken
void add_account(const std::filesystem::path& file, Account account, const std::string& passphrase);
/// \throws Error{not_found}
void remove_account(const std::filesystem::path& file, std::string_view name);
/// \throws Error{not_found}; Error{usage} the passphrase will not do
void change_passphrase(const std::filesystem::path& file, std::string_view name, const std::string& passphrase);

/// Argon2id (RFC 9106) by libsodium, interactive cost: 64 MiB and about a tenth of a second.
std::string hash_passphrase(const std::string& passphrase);
bool is_passphrase(const std::string& hash, const std::string& passphrase) noexcept;

}  // namespace shaftlog
