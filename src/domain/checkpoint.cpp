#include "domain/checkpoint.hpp"

#include <string>
#include <string_view>

namespace shaftlog {
namespace {

template <std::size_t n>
void append(std::string& out, const std::array<std::uint8_t, n>& bytes) {
  out.append(reinterpret_cast<const char*>(bytes.data()), bytes.size());
}

void append(std::string& out, std::int64_t number) {
  const auto n = static_cast<std::uint64_t>(number);
  for (int i = 0; i < 8; ++i) out.push_back(static_cast<char>(n >> (8 * i)));
}

std::string message_of(const Checkpoint& c) {
  std::string out{"shaftlog checkpoint 1\n"};
  append(out, c.origin.bytes);
  append(out, c.position);
  append(out, c.hash);
  append(out, in_unix_s(c.at));
  return out;
}

std::string message_of(const Succession& s) {
  std::string out{"shaftlog key 1\n"};
  append(out, s.before);
  append(out, s.after);
  append(out, in_unix_s(s.at));
  return out;
}

std::string pack_message(const std::array<std::uint8_t, 32>& hash) {
  std::string out{"shaftlog pack 2\n"};
  append(out, hash);
  return out;
}

}  // namespace

Checkpoint sign_checkpoint(const SecretKey& key, const Uuid& origin, std::int64_t position,
                           const std::array<std::uint8_t, 32>& hash, Instant at) {
  Checkpoint c{origin, position, hash, at, key.public_key(), {}};
  c.signature = key.sign(message_of(c));
  return c;
}

bool holds(const Checkpoint& c) { return is_signed(message_of(c), c.signature, c.key); }

Succession sign_succession(const SecretKey& before, const PublicKey& after, Instant at) {
  Succession s{before.public_key(), after, at, {}};
  s.signature = before.sign(message_of(s));
  return s;
}

bool holds(const Succession& s) { return is_signed(message_of(s), s.signature, s.before); }

Signature sign_pack(const SecretKey& key, const std::array<std::uint8_t, 32>& hash) {
  return key.sign(pack_message(hash));
}

bool is_pack_signed(const std::array<std::uint8_t, 32>& hash, const Signature& signature, const PublicKey& key) {
  return is_signed(pack_message(hash), signature, key);
}

}  // namespace shaftlog
