#pragma once

#include <array>
#include <chrono>
#include <compare>
#include <cstdint>
#include <functional>
#include <optional>
#include <span>
#include <string>
#include <string_view>

namespace shaftlog {

/// RFC 9562 UUID. Ordered by its bytes, so version 7 ids sort by time of making.
struct Uuid {
  std::array<std::uint8_t, 16> bytes{};
  friend constexpr auto operator<=>(const Uuid&, const Uuid&) = default;
  [[nodiscard]] bool is_nil() const noexcept { return *this == Uuid{}; }
};

/// "0190b5e2-7c1a-7f3e-8a11-2f6c1d0b9a77", lower case.
std::string format_uuid(const Uuid& id);

/// Inverse of format_uuid; takes upper case too. Empty when the text is not 8-4-4-4-12 hexadecimal digits.
std::optional<Uuid> parse_uuid(std::string_view text);

/// Version 7 (RFC 9562 5.7): 48-bit milliseconds, a counter that keeps ids of one process in order, random bits.
Uuid make_uuid_v7(std::chrono::system_clock::time_point now);

/// Version 8 (RFC 9562 5.8) from content: the first 122 free bits of SHA-256 of `content`. Same content, same id.
Uuid make_uuid_v8(std::string_view content);

/// SHA-256 of `content` (FIPS 180-4, by libsodium).
std::array<std::uint8_t, 32> sha256(std::string_view content);

/// Lower-case hexadecimal digits of `bytes`.
std::string hex(std::span<const std::uint8_t> bytes);

}  // namespace shaftlog

template <>
struct std::hash<shaftlog::Uuid> {
  std::size_t operator()(const shaftlog::Uuid& id) const noexcept {
    std::uint64_t h = 0;
    for (std::size_t i = 8; i < 16; ++i) h = (h << 8) | id.bytes[i];
    for (std::size_t i = 0; i < 8; ++i) h = h * 31 + id.bytes[i];
    return static_cast<std::size_t>(h);
  }
};
