#pragma once

#include "app/pack_register.hpp"
#include "base/signature.hpp"
#include "base/time.hpp"
#include "base/uuid.hpp"
#include "storage/database.hpp"

#include <cstdint>
#include <filesystem>
#include <map>
#include <optional>
#include <set>
#include <string>
#include <string_view>
#include <vector>

namespace shaftlog {

struct PackOptions {
  std::string to;            ///< name or id of the file it is for; empty: for anyone, everything
  bool own_only = false;     ///< only what was first written here
  std::string name;          ///< what this file is called from now on; empty: as before
  bool is_unsigned = false;  ///< although this file has a key
};

struct PackedStrand {
  std::string name;  ///< of the file that wrote it, or its id
  std::int64_t first = 1, last = 0;
};
struct PackResult {
  std::vector<PackedStrand> strands;  ///< those with anything in it
  std::int64_t records = 0;           ///< remarks on findings included
  bool has_register = false;
  std::uint64_t bytes = 0;
  std::optional<PublicKey> signer;  ///< empty: not signed
};

/// What the other side lacks by what it said last, as the bytes of a pack. \throws Error{not_found} nobody of that name
/// has sent a pack; Error{usage} this file has no name yet and none is given; of a file with a key, as signing_key()
/// and sign_strands()
std::string make_pack(Database& db, const Clock& clock, const PackOptions& options, PackResult& result);
/// The same into a new file. \throws Error{conflict} it is there already; Error{io}
PackResult pack(Database& db, const Clock& clock, const std::filesystem::path& file, const PackOptions& options);

struct UnpackOptions {
  bool dry_run = false;
  bool join = false;       ///< this file has records, and belongs to no fleet, or to one of which nobody else is known
  std::string by;          ///< who decides about keys
  Instant now{};           ///< when
  std::string accept_key;  ///< fingerprint that a person was told: a key that has it is believed from now on
  bool take_unsigned = false;  ///< although a key is known for the sender, or for whose records it has
};

struct UnpackResult {
  std::string from;  ///< name of the file it came from, or its id
  Instant made_at{};
  std::int64_t added = 0;  ///< records and remarks that were not here
  std::int64_t known = 0;  ///< that were
  RegisterMerge registered;
  std::map<std::string, std::set<Uuid>> verified;  ///< by whom which records, where that was not here
  std::vector<std::string> conflicts;              ///< a sentence each
  bool has_joined = false;                         ///< this file belongs to the pack's fleet from now on
  bool is_older_copy = false;  ///< others have more of this file's own records: it writes a new strand now
  bool is_kept = false;
  std::optional<PublicKey> signer;  ///< empty: not signed
  bool is_key_accepted = false;     ///< by --accept-key
  bool is_key_renewed = false;      ///< the key believed so far named this one
};

/// Takes in a pack, whole or not at all; a union, so neither order nor repetition matters. \param name of the file, for
/// messages \throws Error{bad_data} what is no whole and true pack; Error{conflict} another fleet, a gap, a strand that
/// goes another way here, a signer who is not believed, no signature where one is expected; Error{busy}, Error{io}
UnpackResult take_pack(Database& db, std::string_view bytes, const std::string& name, const UnpackOptions& options);
UnpackResult unpack(Database& db, const std::filesystem::path& file, const UnpackOptions& options);

}  // namespace shaftlog
