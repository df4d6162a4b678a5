#pragma once

#include "base/signature.hpp"
#include "base/time.hpp"
#include "domain/checkpoint.hpp"
#include "storage/database.hpp"

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace shaftlog {

/// How a key came to be believed, or not.
enum class Decision : std::uint8_t {
  own,        ///< made for this file
  compared,   ///< a person compared its fingerprint
  followed,   ///< the key before it, which was believed, named it
  replaced,   ///< it named another in its place
  distrusted  ///< a person did
};
std::string_view word_of(Decision decision) noexcept;

/// A key this file has met, with the decision that counts.
struct Signer {
  PublicKey key{};
  std::string name;                 ///< what its file was called when the key was met
  std::optional<std::int64_t> own;  ///< n-th key of this file; empty: another file's
  std::optional<Succession> succession;
  Decision decision = Decision::own;
  Instant decided{};
  std::string by;                     ///< who decided; may be empty
  std::vector<std::int64_t> strands;  ///< origins it may speak for

  [[nodiscard]] bool is_trusted() const noexcept {
    return decision != Decision::replaced && decision != Decision::distrusted;
  }
  [[nodiscard]] bool speaks_for(std::int64_t origin) const noexcept;
};

/// Keys, decisions about them, and checkpoints. Opens no transaction: the caller in app/ does.
class KeyRepository {
 public:
  explicit KeyRepository(Database& db) noexcept : db_{&db} {}

  /// The file's own first, then by name.
  [[nodiscard]] std::vector<Signer> signers() const;
  [[nodiscard]] std::optional<Signer> find(const PublicKey& key) const;
  /// The key this file signs with, as it says; whether the secret one is there is not known here.
  [[nodiscard]] std::optional<Signer> own() const;
  void add(const Signer& signer) const;  ///< with its decision
  void decide(const PublicKey& key, Decision decision, Instant at, const std::string& by) const;
  void bind(std::int64_t origin, const PublicKey& key) const;

  /// Oldest first. One that is there already stays as it is.
  [[nodiscard]] std::vector<Checkpoint> checkpoints(std::int64_t origin) const;
  void add_checkpoint(std::int64_t origin, const Checkpoint& checkpoint) const;

 private:
  Database* db_;
};

/// Holds every checkpoint to the strand it is about. Each fault is one sentence.
void check_checkpoints(Database& db, CheckResult& result);

}  // namespace shaftlog
