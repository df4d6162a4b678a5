#pragma once

#include "base/time.hpp"
#include "base/uuid.hpp"
#include "domain/checkpoint.hpp"

#include <array>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace shaftlog {

// The file by which ship and shore exchange what they have; docs/pack-format.md has it byte by byte.

/// Largest pack that is read, and largest content it may unfold to [bytes].
constexpr std::size_t kMostPackBytes = std::size_t{256} << 20;
constexpr std::size_t kMostPackContent = std::size_t{1} << 30;

using Sha256 = std::array<std::uint8_t, 32>;

struct PackStrand {
  Uuid origin;
  std::string name;                  ///< of the file that wrote it; may be empty
  std::int64_t first = 1, last = 0;  ///< positions in the pack; last = first - 1: none
  Sha256 before{};                   ///< hash of the link before `first`
  Sha256 after{};                    ///< hash of the link at `last`
};

struct PackManifest {
  Uuid fleet, from;
  std::string from_name;
  std::string made_by;  ///< program and version
  Instant made_at{};
  std::vector<PackStrand> strands;
  std::vector<std::pair<Uuid, std::int64_t>> has;  ///< how far the sender has each strand
  Sha256 register_hash{};                          ///< of the sender's register
  bool has_register = false;                       ///< it follows the strands
  std::vector<std::pair<Uuid, Sha256>> seen;       ///< registers of others that the sender has taken in
  std::vector<Checkpoint> checkpoints;             ///< the sender's own, and others' that it has
  std::vector<Succession> successions;             ///< by which the sender's key came after earlier ones
};

struct Pack {
  PackManifest manifest;
  std::string content;              ///< parts; see PartReader
  std::optional<PublicKey> signer;  ///< whose signature was found right; empty: not signed
  bool has_verifications = false;   ///< among the content; only then does it take a format that knows them
};

/// The bytes of a pack, signed when there is a key. The same pack gives the same bytes. `pack.signer` is not looked at.
std::string write_pack(const Pack& pack, const SecretKey* key = nullptr);
/// Whether to believe the signer is not asked here. \throws Error{bad_data} cut short, altered, no pack, wrongly
/// signed, too large, or of a later format: says which
Pack read_pack(std::string_view bytes);

/// One piece of the content: its length, then its bytes.
void append_part(std::string& out, std::string_view part);
class PartReader {
 public:
  explicit PartReader(std::string_view content) : left_{content} {}
  /// \throws Error{bad_data} when there is none
  std::string_view next();
  [[nodiscard]] bool is_at_end() const noexcept { return left_.empty(); }

 private:
  std::string_view left_;
};

}  // namespace shaftlog
