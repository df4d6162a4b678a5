#pragma once

#include "base/signature.hpp"
#include "base/time.hpp"
#include "base/uuid.hpp"

#include <array>
#include <cstdint>

namespace shaftlog {

/// A signed word on how a strand stood: who writes all its hashes anew cannot make it fit.
struct Checkpoint {
  Uuid origin;                ///< of the strand
  std::int64_t position = 0;  ///< of its last link then
  std::array<std::uint8_t, 32> hash{};
  Instant at{};  ///< by the signer's clock
  PublicKey key{};
  Signature signature{};
  friend bool operator==(const Checkpoint&, const Checkpoint&) = default;
};

/// A key's word that another takes its place.
struct Succession {
  PublicKey before{}, after{};
  Instant at{};
  Signature signature{};  ///< by `before`
};

// What is signed begins with words of its own, so that no signature can be passed off as one on something else. Frozen:
// signatures are kept. docs/pack-format.md has the bytes.

Checkpoint sign_checkpoint(const SecretKey& key, const Uuid& origin, std::int64_t position,
                           const std::array<std::uint8_t, 32>& hash, Instant at);
[[nodiscard]] bool holds(const Checkpoint& checkpoint);

Succession sign_succession(const SecretKey& before, const PublicKey& after, Instant at);
[[nodiscard]] bool holds(const Succession& succession);

/// \param hash SHA-256 of all that stands before it in the pack
Signature sign_pack(const SecretKey& key, const std::array<std::uint8_t, 32>& hash);
[[nodiscard]] bool is_pack_signed(const std::array<std::uint8_t, 32>& hash, const Signature& signature,
                                  const PublicKey& key);

}  // namespace shaftlog
