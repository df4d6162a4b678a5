#include "storage/salvage/record_format.hpp"

#include <algorithm>
#include <bit>
#include <cmath>

namespace shaftlog::salvage {
namespace {

struct Serial {
  Value::Kind kind;
  std::uint64_t size;
};

std::optional<Serial> read_serial_type(std::uint64_t type) noexcept {
  constexpr std::uint64_t kIntegerSizes[]{0, 1, 2, 3, 4, 6, 8};
  if (type == 0) return Serial{Value::Kind::null, 0};
  if (type <= 6) return Serial{Value::Kind::integer, kIntegerSizes[type]};
  if (type == 7) return Serial{Value::Kind::real, 8};
  if (type <= 9) return Serial{Value::Kind::integer, 0};
  if (type <= 11) return std::nullopt;  // reserved
  return Serial{type % 2 == 0 ? Value::Kind::blob : Value::Kind::text, (type - 12) / 2};
}

std::int64_t read_signed(Bytes bytes) noexcept {
  std::uint64_t bits = (bytes[0] & 0x80U) != 0 ? ~std::uint64_t{0} : 0;
  for (const std::uint8_t b : bytes) bits = bits << 8 | b;
  return static_cast<std::int64_t>(bits);
}

/// Bytes SQLite spends on an integer.
std::uint64_t least_size(std::int64_t n) noexcept {
  if (n == 0 || n == 1) return 0;
  for (const unsigned size : {1U, 2U, 3U, 4U, 6U}) {
    const std::int64_t limit = std::int64_t{1} << (8 * size - 1);
    if (n >= -limit && n < limit) return size;
  }
  return 8;
}

}  // namespace

std::optional<Varint> read_varint(Bytes bytes) noexcept {
  std::uint64_t value = 0;
  for (std::size_t i = 0; i < 9 && i < bytes.size(); ++i) {
    if (i == 8) return Varint{value << 8 | bytes[i], 9};
    value = value << 7 | (bytes[i] & 0x7fU);
    if ((bytes[i] & 0x80U) == 0) return Varint{value, i + 1};
  }
  return std::nullopt;
}

std::uint32_t read_u16(Bytes bytes, std::size_t at) noexcept {
  return static_cast<std::uint32_t>(bytes[at]) << 8 | bytes[at + 1];
}
std::uint32_t read_u32(Bytes bytes, std::size_t at) noexcept {
  return read_u16(bytes, at) << 16 | read_u16(bytes, at + 2);
}

bool operator==(const Value& a, const Value& b) noexcept {
  return a.kind == b.kind && a.integer == b.integer &&
         std::bit_cast<std::uint64_t>(a.real) == std::bit_cast<std::uint64_t>(b.real) &&
         std::equal(a.bytes.begin(), a.bytes.end(), b.bytes.begin(), b.bytes.end());
}

bool decode_record(Bytes payload, std::vector<Value>& out) {
  out.clear();
  const auto header = read_varint(payload);
  if (!header || header->value < header->length || header->value > payload.size()) return false;
  const auto header_size = static_cast<std::size_t>(header->value);
  std::size_t at = header->length;
  std::size_t body = header_size;
  while (at < header_size) {
    const auto type = read_varint(payload.subspan(at, header_size - at));
    if (!type) return false;
    at += type->length;
    const auto serial = read_serial_type(type->value);
    if (!serial || serial->size > payload.size() - body) return false;
    const Bytes bytes = payload.subspan(body, static_cast<std::size_t>(serial->size));
    body += bytes.size();
    Value value;
    value.kind = serial->kind;
    switch (serial->kind) {
      case Value::Kind::null:
        break;
      case Value::Kind::integer:
        value.integer = bytes.empty() ? static_cast<std::int64_t>(type->value) - 8 : read_signed(bytes);
        if (bytes.size() != least_size(value.integer)) return false;
        break;
      case Value::Kind::real:
        value.real = std::bit_cast<double>(read_signed(bytes));
        if (std::isnan(value.real)) return false;  // SQLite keeps NULL in its place
        break;
      case Value::Kind::text:
      case Value::Kind::blob:
        value.bytes = bytes;
        break;
    }
    out.push_back(value);
  }
  return body == payload.size() && !out.empty();
}

}  // namespace shaftlog::salvage
