#pragma once

#include "app/pack.hpp"
#include "domain/checkpoint.hpp"
#include "interchange/pack_file.hpp"
#include "storage/exchange_repository.hpp"
#include "storage/key_repository.hpp"

#include <optional>
#include <string>
#include <vector>

namespace shaftlog {

/// Those the receiver may lack, oldest first, and always the newest: it proves all before it.
/// \param after position up to which the receiver has the strand
void append_checkpoints(std::vector<Checkpoint>& out, const std::vector<Checkpoint>& known, std::int64_t after);

/// How a key came after the first of its file, newest first.
std::vector<Succession> successions_to(const PublicKey& key, const std::vector<Signer>& signers);

/// Whether who sends a pack is believed, and what of others' records it may bring. Within the caller's transaction.
class PackTrust {
 public:
  PackTrust(Database& db, const Pack& pack, const UnpackOptions& options);

  /// \throws Error{conflict} in one sentence that says what a person can do; Error{usage} accept_key is no fingerprint
  void judge_sender(UnpackResult& result);
  /// A strand with a key of its own may be added to by a pack signed with that, or as far as a checkpoint in the pack
  /// reaches. \throws Error{conflict}
  void require_vouched(std::int64_t origin, const PackStrand& strand, const std::string& name) const;
  /// Keeps those of keys that are known for their strand. \throws Error{conflict} one does not fit what is here;
  /// Error{bad_data} one is none
  void take_checkpoints() const;
  /// The oldest at or behind that position.
  [[nodiscard]] std::optional<Checkpoint> find_checkpoint_from(std::int64_t origin, std::int64_t position) const;

 private:
  void judge_unsigned() const;
  void judge_key(const PublicKey& key, UnpackResult& result);
  [[nodiscard]] bool accept_by_hand(const PublicKey& key);
  [[nodiscard]] bool follow(const PublicKey& key);
  void bind_sender(const PublicKey& key, bool is_by_hand);
  [[nodiscard]] const Signer* find(const PublicKey& key) const;
  [[nodiscard]] std::optional<Strand> sender() const;
  [[nodiscard]] std::string called() const;
  [[nodiscard]] std::string known_so_far() const;
  [[nodiscard]] bool has_key(std::int64_t origin) const;

  const Pack* pack_;
  const UnpackOptions* options_;
  KeyRepository keys_;
  ExchangeRepository exchange_;
  std::vector<Signer> signers_;
};

}  // namespace shaftlog
