#pragma once

#include <cstdint>
#include <optional>
#include <span>
#include <vector>

namespace shaftlog::salvage {

// The record format of SQLite's files ("Database File Format", section 2.1), read without SQLite and without trust: any
// bytes may come.

using Bytes = std::span<const std::uint8_t>;

struct Varint {
  std::uint64_t value = 0;
  std::size_t length = 0;  ///< 1 to 9 bytes
};
/// Big-endian, seven bits a byte, the ninth byte whole. Empty: the bytes end inside the number.
std::optional<Varint> read_varint(Bytes bytes) noexcept;

/// Big-endian and unsigned; `bytes` must hold them.
std::uint32_t read_u16(Bytes bytes, std::size_t at) noexcept;
std::uint32_t read_u32(Bytes bytes, std::size_t at) noexcept;

/// One value of a row. `bytes` points into the payload it was decoded from.
struct Value {
  enum class Kind : std::uint8_t { null, integer, real, text, blob };
  Kind kind = Kind::null;
  std::int64_t integer = 0;
  double real = 0;
  Bytes bytes;
  friend bool operator==(const Value& a, const Value& b) noexcept;
};

/// The values of a record. \return false, with `out` of no use, unless the payload is exactly one record as SQLite
/// writes it: sizes that add up to the last byte, integers in the fewest bytes, no serial type that is reserved.
bool decode_record(Bytes payload, std::vector<Value>& out);

}  // namespace shaftlog::salvage
