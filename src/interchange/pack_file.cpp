#include "interchange/pack_file.hpp"

#include "base/error.hpp"
#include "base/text.hpp"

#include <algorithm>
#include <cstring>
#include <zlib.h>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

namespace shaftlog {
namespace {

constexpr std::string_view kMagic = "SHLPACK";
// Formats. What holds no verification keeps the first two, which programs from before there were any read.
constexpr char kUnsigned = 1, kSigned = 2, kUnsignedVerified = 3, kSignedVerified = 4;
constexpr std::size_t kHead = 8 + 4 + 8 + 8;  // magic and format, lengths of manifest, packed and unfolded content
constexpr std::size_t kMostManifest = std::size_t{16} << 20;
constexpr std::uint64_t kMostFold = 1100;  // deflate folds at most 1032 to 1

[[noreturn]] void refuse(const std::string& what) { throw Error{Errc::bad_data, what}; }

void append_number(std::string& out, std::uint64_t n, int bytes) {
  for (int i = 0; i < bytes; ++i) out.push_back(static_cast<char>(n >> (8 * i)));
}

std::uint64_t number_at(std::string_view bytes, std::size_t at, int size) {
  std::uint64_t n = 0;
  for (int i = size; i-- > 0;) {
    n = (n << 8) | static_cast<std::uint8_t>(bytes[at + static_cast<std::size_t>(i)]);
  }
  return n;
}

std::string_view view(const Sha256& hash) { return {reinterpret_cast<const char*>(hash.data()), hash.size()}; }

using Json = nlohmann::json;

Json json_of(const PackManifest& m, const SecretKey* key) {
  Json out = {{"fleet", format_uuid(m.fleet)}, {"from", format_uuid(m.from)},      {"from_name", m.from_name},
              {"made_by", m.made_by},          {"made_at", format_utc(m.made_at)}, {"register", hex(m.register_hash)},
              {"has_register", m.has_register}};
  out["strands"] = Json::array();
  for (const PackStrand& s : m.strands) {
    out["strands"].push_back({{"origin", format_uuid(s.origin)},
                              {"name", s.name},
                              {"first", s.first},
                              {"last", s.last},
                              {"before", hex(s.before)},
                              {"after", hex(s.after)}});
  }
  out["has"] = Json::array();
  for (const auto& [origin, position] : m.has) out["has"].push_back({format_uuid(origin), position});
  out["seen"] = Json::array();
  for (const auto& [origin, hash] : m.seen) out["seen"].push_back({format_uuid(origin), hex(hash)});
  // Parts that a reader from before there were keys passes over.
  if (key != nullptr) out["key"] = hex(key->public_key());
  for (const Checkpoint& c : m.checkpoints) {
    out["checkpoints"].push_back({{"origin", format_uuid(c.origin)},
                                  {"number", c.position},
                                  {"hash", hex(c.hash)},
                                  {"at", format_utc(c.at)},
                                  {"key", hex(c.key)},
                                  {"signature", hex(c.signature)}});
  }
  for (const Succession& s : m.successions) {
    out["keys_before"].push_back(
        {{"key", hex(s.before)}, {"names", hex(s.after)}, {"at", format_utc(s.at)}, {"signature", hex(s.signature)}});
  }
  return out;
}

Uuid uuid_of(const Json& value) {
  const auto id = parse_uuid(value.get<std::string>());
  if (!id) refuse("its manifest is wrong: an id is none");
  return *id;
}

template <std::size_t n>
std::array<std::uint8_t, n> bytes_of(const Json& value) {
  const std::string text = value.get<std::string>();
  std::array<std::uint8_t, n> out{};
  if (text.size() != 2 * n) refuse(fmt::format("its manifest is wrong: a hash, key or signature is not {} bytes", n));
  const auto digit = [](char c) -> int {
    if (c >= '0' && c <= '9') return c - '0';
    if (c >= 'a' && c <= 'f') return c - 'a' + 10;
    refuse("its manifest is wrong: a hash, key or signature is not in hexadecimal digits");
  };
  for (std::size_t i = 0; i < out.size(); ++i) {
    out[i] = static_cast<std::uint8_t>(digit(text[2 * i]) * 16 + digit(text[2 * i + 1]));
  }
  return out;
}

Sha256 hash_of(const Json& value) { return bytes_of<32>(value); }

Instant moment_of(const Json& value) {
  const auto stamp = parse_stamp(value.get<std::string>(), Zone::utc());
  if (!stamp) refuse("its manifest is wrong: a time is no moment");
  return stamp->utc;
}

std::string name_of(const Json& value) {
  std::string text = value.get<std::string>();
  if (text.size() > 200 || find_bad_utf8(text)) refuse("its manifest is wrong: a name is too long or not UTF-8");
  return text;
}

std::int64_t position_of(const Json& value) {
  const auto n = value.get<std::int64_t>();
  if (!value.is_number_integer() || n < 0 || n > (std::int64_t{1} << 53)) {
    refuse("its manifest is wrong: a position is none");
  }
  return n;
}

PackManifest manifest_of(const std::string& text, std::optional<PublicKey>& key) {
  PackManifest m;
  try {
    const Json json = Json::parse(text);
    if (json.contains("key")) key = bytes_of<32>(json.at("key"));
    m.fleet = uuid_of(json.at("fleet"));
    m.from = uuid_of(json.at("from"));
    m.from_name = name_of(json.at("from_name"));
    m.made_by = name_of(json.at("made_by"));
    m.made_at = moment_of(json.at("made_at"));
    m.register_hash = hash_of(json.at("register"));
    m.has_register = json.at("has_register").get<bool>();
    for (const Json& s : json.at("strands")) {
      PackStrand strand{uuid_of(s.at("origin")),   name_of(s.at("name")),   position_of(s.at("first")),
                        position_of(s.at("last")), hash_of(s.at("before")), hash_of(s.at("after"))};
      if (strand.first < 1 || strand.last < strand.first - 1) refuse("its manifest is wrong: positions go backwards");
      m.strands.push_back(std::move(strand));
    }
    for (const Json& h : json.at("has")) m.has.emplace_back(uuid_of(h.at(0)), position_of(h.at(1)));
    for (const Json& s : json.at("seen")) m.seen.emplace_back(uuid_of(s.at(0)), hash_of(s.at(1)));
    if (json.contains("checkpoints")) {
      for (const Json& c : json.at("checkpoints")) {
        m.checkpoints.push_back({uuid_of(c.at("origin")), position_of(c.at("number")), hash_of(c.at("hash")),
                                 moment_of(c.at("at")), hash_of(c.at("key")), bytes_of<64>(c.at("signature"))});
      }
    }
    if (json.contains("keys_before")) {
      for (const Json& s : json.at("keys_before")) {
        m.successions.push_back(
            {hash_of(s.at("key")), hash_of(s.at("names")), moment_of(s.at("at")), bytes_of<64>(s.at("signature"))});
      }
    }
  } catch (const Json::exception&) {
    refuse("its manifest is wrong: it lacks a part, or a part is of another kind");
  }
  const auto twice = [](std::vector<Uuid> ids) {
    std::sort(ids.begin(), ids.end());
    return std::adjacent_find(ids.begin(), ids.end()) != ids.end();
  };
  std::vector<Uuid> in_pack, had;
  for (const PackStrand& s : m.strands) in_pack.push_back(s.origin);
  for (const auto& h : m.has) had.push_back(h.first);
  if (twice(in_pack) || twice(had)) refuse("its manifest is wrong: a strand is there twice");
  return m;
}

}  // namespace

std::string write_pack(const Pack& pack, const SecretKey* key) {
  const std::string manifest = json_of(pack.manifest, key).dump();
  if (pack.content.size() > kMostPackContent) {
    refuse(
        fmt::format("it would hold {} MiB, more than the {} MiB a pack may; export the log and import it there first",
                    pack.content.size() >> 20, kMostPackContent >> 20));
  }
  uLongf size = compressBound(static_cast<uLong>(pack.content.size()));
  std::string folded(size, '\0');
  if (compress2(reinterpret_cast<Bytef*>(folded.data()), &size, reinterpret_cast<const Bytef*>(pack.content.data()),
                static_cast<uLong>(pack.content.size()), 9) != Z_OK) {
    throw Error{Errc::io, "its content cannot be compressed: no memory"};
  }
  folded.resize(size);
  std::string out{kMagic};
  out.push_back(pack.has_verifications ? (key == nullptr ? kUnsignedVerified : kSignedVerified)
                                       : (key == nullptr ? kUnsigned : kSigned));
  append_number(out, manifest.size(), 4);
  append_number(out, folded.size(), 8);
  append_number(out, pack.content.size(), 8);
  out += manifest;
  out += folded;
  const Sha256 hash = sha256(out);
  out += view(hash);
  if (key != nullptr) {
    const Signature signature = sign_pack(*key, hash);
    out.append(reinterpret_cast<const char*>(signature.data()), signature.size());
  }
  return out;
}

Pack read_pack(std::string_view bytes) {
  if (bytes.size() < kMagic.size() + 1 || !bytes.starts_with(kMagic)) {
    refuse("is not a pack; expected a file made with \"shaftlog pack\"");
  }
  const char format = bytes[kMagic.size()];
  if (format < kUnsigned || format > kSignedVerified) {
    refuse(
        fmt::format("is a pack of format {}, this program knows 1 to 4; update this program, or ask for a log folder "
                    "made with \"export\"",
                    static_cast<unsigned char>(format)));
  }
  const bool is_signed = format == kSigned || format == kSignedVerified;
  const std::size_t signature_size = is_signed ? sizeof(Signature) : 0;
  if (bytes.size() < kHead) refuse(fmt::format("is cut short after {} bytes", bytes.size()));
  const std::uint64_t manifest_size = number_at(bytes, 8, 4);
  const std::uint64_t folded_size = number_at(bytes, 12, 8);
  const std::uint64_t content_size = number_at(bytes, 20, 8);
  if (manifest_size > kMostManifest || folded_size > kMostPackBytes || content_size > kMostPackContent ||
      content_size > (folded_size + 64) * kMostFold) {
    refuse("is altered, or larger than a pack may be");
  }
  const std::uint64_t whole = kHead + manifest_size + folded_size + sizeof(Sha256) + signature_size;
  if (bytes.size() < whole) refuse(fmt::format("is cut short: it has {} of {} bytes", bytes.size(), whole));
  if (bytes.size() > whole) refuse(fmt::format("is altered: it has {} bytes, expected {}", bytes.size(), whole));
  const std::string_view summed = bytes.substr(0, bytes.size() - sizeof(Sha256) - signature_size);
  const Sha256 hash = sha256(summed);
  if (view(hash) != bytes.substr(summed.size(), sizeof(Sha256))) refuse("is altered: its checksum does not hold");

  Pack pack;
  pack.has_verifications = format >= kUnsignedVerified;
  std::optional<PublicKey> key;
  pack.manifest = manifest_of(std::string{bytes.substr(kHead, manifest_size)}, key);
  if (is_signed) {
    Signature signature{};
    std::memcpy(signature.data(), bytes.data() + bytes.size() - signature.size(), signature.size());
    if (!key || !is_pack_signed(hash, signature, *key)) refuse("is altered: its signature does not hold");
    pack.signer = key;
  }
  pack.content.resize(content_size);
  uLongf size = static_cast<uLongf>(content_size);
  uLong taken = static_cast<uLong>(folded_size);
  Bytef none = 0;
  const int rc = uncompress2(content_size == 0 ? &none : reinterpret_cast<Bytef*>(pack.content.data()), &size,
                             reinterpret_cast<const Bytef*>(bytes.data() + kHead + manifest_size), &taken);
  if (rc != Z_OK || size != content_size || taken != folded_size) refuse("is wrong: its content does not unfold");
  return pack;
}

void append_part(std::string& out, std::string_view part) {
  std::uint64_t n = part.size();
  for (; n >= 0x80; n >>= 7) out.push_back(static_cast<char>(n | 0x80));
  out.push_back(static_cast<char>(n));
  out += part;
}

std::string_view PartReader::next() {
  std::uint64_t n = 0;
  for (unsigned shift = 0;; shift += 7) {
    if (left_.empty() || shift > 35) refuse("is wrong: its content ends too early");
    const auto b = static_cast<std::uint8_t>(left_.front());
    left_.remove_prefix(1);
    n |= std::uint64_t{b & 0x7fU} << shift;
    if (b < 0x80) break;
  }
  if (n > left_.size()) refuse("is wrong: its content ends too early");
  const std::string_view part = left_.substr(0, static_cast<std::size_t>(n));
  left_.remove_prefix(part.size());
  return part;
}

}  // namespace shaftlog
