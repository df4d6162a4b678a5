#include "base/lot.hpp"

namespace shaftlog {

std::uint64_t lot_of(std::string_view key, std::uint64_t place) noexcept {
  std::uint64_t h = 14695981039346656037U;
  const auto take = [&h](std::uint64_t byte) { h = (h ^ byte) * 1099511628211U; };
  for (const char c : key) take(static_cast<unsigned char>(c));
  for (int i = 0; i < 8; ++i) take((place >> (8 * i)) & 0xFFU);
  h = (h ^ (h >> 30U)) * 0xBF58476D1CE4E5B9U;
  h = (h ^ (h >> 27U)) * 0x94D049BB133111EBU;
  return h ^ (h >> 31U);
}

}  // namespace shaftlog
