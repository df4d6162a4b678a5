#include "base/uuid.hpp"

#include "base/error.hpp"

#include <algorithm>
#include <mutex>

#include <sodium.h>

namespace shaftlog {
namespace {

constexpr const char* kHexDigits = "0123456789abcdef";

void start_sodium() {
  static const int started = sodium_init();  // returns 1 when already started, below 0 on failure
  if (started < 0) throw Error{Errc::io, "the system's source of random numbers does not answer"};
}

int hex_value(char c) noexcept {
  if (c >= '0' && c <= '9') return c - '0';
  if (c >= 'a' && c <= 'f') return c - 'a' + 10;
  if (c >= 'A' && c <= 'F') return c - 'A' + 10;
  return -1;
}

void set_version(Uuid& id, std::uint8_t version) noexcept {
  id.bytes[6] = static_cast<std::uint8_t>((id.bytes[6] & 0x0F) | (version << 4));
  id.bytes[8] = static_cast<std::uint8_t>((id.bytes[8] & 0x3F) | 0x80);
}

}  // namespace

std::string hex(std::span<const std::uint8_t> bytes) {
  std::string out;
  out.reserve(bytes.size() * 2);
  for (const std::uint8_t b : bytes) {
    out.push_back(kHexDigits[b >> 4]);
    out.push_back(kHexDigits[b & 15]);
  }
  return out;
}

std::string format_uuid(const Uuid& id) {
  std::string out;
  out.reserve(36);
  for (std::size_t i = 0; i < 16; ++i) {
    if (i == 4 || i == 6 || i == 8 || i == 10) out.push_back('-');
    out.push_back(kHexDigits[id.bytes[i] >> 4]);
    out.push_back(kHexDigits[id.bytes[i] & 15]);
  }
  return out;
}

std::optional<Uuid> parse_uuid(std::string_view text) {
  if (text.size() != 36) return std::nullopt;
  Uuid id;
  std::size_t at = 0;
  for (std::size_t i = 0; i < 36; ++i) {
    if (i == 8 || i == 13 || i == 18 || i == 23) {
      if (text[i] != '-') return std::nullopt;
      continue;
    }
    const int v = hex_value(text[i]);
    if (v < 0) return std::nullopt;
    id.bytes[at / 2] = static_cast<std::uint8_t>((id.bytes[at / 2] << 4) | v);
    ++at;
  }
  return id;
}

Uuid make_uuid_v7(std::chrono::system_clock::time_point now) {
  static std::mutex mutex;
  static std::uint64_t last = 0;  // milliseconds << 12 | counter
  start_sodium();
  const auto ms = static_cast<std::uint64_t>(
      std::max<std::int64_t>(0, std::chrono::duration_cast<std::chrono::milliseconds>(now.time_since_epoch()).count()));
  std::uint64_t stamp = 0;
  {
    const std::lock_guard lock{mutex};
    stamp = std::max(ms << 12, last + 1);  // a clock that stands still or goes back keeps the order
    last = stamp;
  }
  Uuid id;
  randombytes_buf(id.bytes.data() + 8, 8);
  const std::uint64_t time = stamp >> 12;
  for (std::size_t i = 0; i < 6; ++i) id.bytes[i] = static_cast<std::uint8_t>(time >> (40 - 8 * i));
  id.bytes[6] = static_cast<std::uint8_t>((stamp >> 8) & 0x0F);
  id.bytes[7] = static_cast<std::uint8_t>(stamp);
  set_version(id, 7);
  return id;
}

std::array<std::uint8_t, 32> sha256(std::string_view content) {
  std::array<std::uint8_t, 32> digest{};
  crypto_hash_sha256(digest.data(), reinterpret_cast<const unsigned char*>(content.data()), content.size());
  return digest;
}

Uuid make_uuid_v8(std::string_view content) {
  const auto digest = sha256(content);
  Uuid id;
  std::copy_n(digest.begin(), 16, id.bytes.begin());
  set_version(id, 8);
  return id;
}

}  // namespace shaftlog
