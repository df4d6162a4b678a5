#include "base/signature.hpp"

#include "base/error.hpp"
#include "base/uuid.hpp"

#include <span>

#include <sodium.h>

namespace shaftlog {
namespace {

static_assert(crypto_sign_PUBLICKEYBYTES == 32 && crypto_sign_BYTES == 64 && crypto_sign_SEEDBYTES == 32);

void start_sodium() {
  static const int started = sodium_init();  // 1 when it was started already
  if (started < 0) throw Error{Errc::io, "the system's source of random numbers does not answer"};
}

/// As libsodium wants it, for the moment of one signature.
struct WholeKey {
  std::array<std::uint8_t, crypto_sign_SECRETKEYBYTES> bytes{};
  ~WholeKey() { sodium_memzero(bytes.data(), bytes.size()); }
};

const std::uint8_t* bytes_of(std::string_view text) { return reinterpret_cast<const std::uint8_t*>(text.data()); }

/// So many digits, without what may stand between them, in small letters.
std::optional<std::string> hex_digits(std::string_view text, std::size_t wanted) {
  std::string out;
  for (char c : text) {
    if (c == ' ' || c == '-') continue;
    if (c >= 'A' && c <= 'F') c = static_cast<char>(c - 'A' + 'a');
    if (!((c >= '0' && c <= '9') || (c >= 'a' && c <= 'f')) || out.size() == wanted) return std::nullopt;
    out.push_back(c);
  }
  return out.size() == wanted ? std::optional{out} : std::nullopt;
}

std::string in_groups(const std::string& digits) {
  std::string out;
  for (std::size_t i = 0; i < digits.size(); ++i) {
    if (i > 0 && i % 4 == 0) out.push_back('-');
    out.push_back(digits[i]);
  }
  return out;
}

}  // namespace

SecretKey SecretKey::make() {
  start_sodium();
  Seed seed{};
  randombytes_buf(seed.data(), seed.size());
  SecretKey key{seed};
  sodium_memzero(seed.data(), seed.size());
  return key;
}

SecretKey::SecretKey(const Seed& seed) : seed_{seed} {
  start_sodium();
  WholeKey whole;
  crypto_sign_seed_keypair(public_key_.data(), whole.bytes.data(), seed_.data());
}

SecretKey::~SecretKey() { sodium_memzero(seed_.data(), seed_.size()); }

Signature SecretKey::sign(std::string_view message) const {
  WholeKey whole;
  PublicKey again{};
  crypto_sign_seed_keypair(again.data(), whole.bytes.data(), seed_.data());
  Signature out{};
  crypto_sign_detached(out.data(), nullptr, bytes_of(message), message.size(), whole.bytes.data());
  return out;
}

bool is_signed(std::string_view message, const Signature& signature, const PublicKey& key) {
  start_sodium();
  return crypto_sign_verify_detached(signature.data(), bytes_of(message), message.size(), key.data()) == 0;
}

std::string fingerprint(const PublicKey& key) {
  const auto hash = sha256({reinterpret_cast<const char*>(key.data()), key.size()});
  return in_groups(hex(std::span{hash}.first<16>()));
}

std::optional<std::string> parse_fingerprint(std::string_view text) {
  const auto digits = hex_digits(text, 32);
  return digits ? std::optional{in_groups(*digits)} : std::nullopt;
}

std::optional<PublicKey> parse_public_key(std::string_view text) {
  const auto digits = hex_digits(text, 64);
  if (!digits) return std::nullopt;
  const auto value = [&](std::size_t i) { return (*digits)[i] <= '9' ? (*digits)[i] - '0' : (*digits)[i] - 'a' + 10; };
  PublicKey key{};
  for (std::size_t i = 0; i < key.size(); ++i) key[i] = static_cast<std::uint8_t>(value(2 * i) * 16 + value(2 * i + 1));
  return key;
}

void wipe(std::string& text) noexcept {
  sodium_memzero(text.data(), text.size());
  text.clear();
}

void wipe(SecretKey::Seed& seed) noexcept { sodium_memzero(seed.data(), seed.size()); }

}  // namespace shaftlog
