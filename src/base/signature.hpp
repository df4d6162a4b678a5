#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

namespace shaftlog {

// Signatures: Ed25519 (RFC 8032), by libsodium.

using PublicKey = std::array<std::uint8_t, 32>;
using Signature = std::array<std::uint8_t, 64>;

/// The key that signs. Wiped from memory when it goes.
class SecretKey {
 public:
  using Seed = std::array<std::uint8_t, 32>;
  /// From the system's source of random numbers. \throws Error{io} when that does not answer
  static SecretKey make();
  explicit SecretKey(const Seed& seed);
  SecretKey(const SecretKey& other) = default;
  SecretKey& operator=(const SecretKey& other) = default;
  ~SecretKey();

  [[nodiscard]] const Seed& seed() const noexcept { return seed_; }
  [[nodiscard]] const PublicKey& public_key() const noexcept { return public_key_; }
  [[nodiscard]] Signature sign(std::string_view message) const;

 private:
  Seed seed_{};
  PublicKey public_key_{};
};

[[nodiscard]] bool is_signed(std::string_view message, const Signature& signature, const PublicKey& key);

/// What people compare over the telephone: the first 16 bytes of SHA-256 over the key, as
/// "3f2a-90c1-7b44-e0d2-15c8-66a1-9e3b-0f72".
std::string fingerprint(const PublicKey& key);
/// Inverse of fingerprint(), with or without blanks and hyphens, in capitals or not; the same form comes out. Empty
/// when it is not 32 hexadecimal digits.
std::optional<std::string> parse_fingerprint(std::string_view text);
/// 64 hexadecimal digits, with or without blanks and hyphens.
std::optional<PublicKey> parse_public_key(std::string_view text);

/// Overwrites what held a secret; unlike a plain loop that is not left out because nobody reads it afterwards.
void wipe(std::string& text) noexcept;
void wipe(SecretKey::Seed& seed) noexcept;

}  // namespace shaftlog
