#pragma once

#include "base/signature.hpp"
#include "base/time.hpp"
#include "storage/database.hpp"
#include "storage/key_repository.hpp"

#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace shaftlog {

/// Where a database's secret key stands: its name with ".key" after it. Never copied, packed or exported.
std::filesystem::path key_file_of(const std::filesystem::path& database);

/// The key this file signs with; empty when it says it has none. \throws Error{not_found} it has one, and the secret
/// key is not beside it; Error{conflict} another one is; Error{io} cannot be read, or others may read it
std::optional<SecretKey> signing_key(Database& db);

struct OwnKey {
  enum class How { made, taken_up, renewed } how = How::made;
  PublicKey key{};
  std::filesystem::path file;
};
/// Makes a key for this file, or takes up the one that stands beside it. \param is_lost the one it had is lost for
/// good, make another \throws Error{conflict} it has one; Error{not_found} it has one, which is not there; Error{io}
OwnKey make_key(Database& db, const Clock& clock, const std::string& by, bool is_lost);
/// Another key in the place of the present one, which signs it: who believes that will believe this. \throws as
/// signing_key(); Error{not_found} it has none; Error{io}
OwnKey renew_key(Database& db, const Clock& clock, const std::string& by);

/// \throws Error{not_found} it has none
Signer get_own_key(Database& db);
std::vector<Signer> list_keys(Database& db);

/// A person compared. \param key a fingerprint of a key met before, or a whole public key \param of name or id of the
/// file it signs for; empty: as before \throws Error{usage} no key; Error{not_found} no such key or file
Signer trust_key(Database& db, const Clock& clock, std::string_view key, const std::string& of, const std::string& by);
/// Nothing that it signs is believed from now on; what it signed and is here stays.
Signer distrust_key(Database& db, const Clock& clock, std::string_view fingerprint, const std::string& by);

/// Signs how each of this file's own strands stands, unless that was done. Inside the caller's transaction.
/// \return how many were signed now \throws Error{damaged} one is not what was signed before: the key must not vouch
/// for it
std::int64_t sign_strands(Database& db, const SecretKey& key, Instant at);
/// The same in a transaction of its own. \throws Error{not_found} it has no key; as signing_key()
std::int64_t sign_database(Database& db, const Clock& clock);

}  // namespace shaftlog
