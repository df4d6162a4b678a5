#include "storage/key_repository.hpp"

#include "base/error.hpp"
#include "storage/key_sql.hpp"
#include "storage/query.hpp"

#include <algorithm>
#include <array>
#include <cstring>

namespace shaftlog {
namespace {

constexpr std::array<std::string_view, 5> kDecisions{"own", "compared", "followed", "replaced", "distrusted"};

Decision decision_of(std::string_view word) {
  const auto it = std::find(kDecisions.begin(), kDecisions.end(), word);
  if (it == kDecisions.end()) throw Error{Errc::damaged, "the file is damaged: a decision about a key is none"};
  return static_cast<Decision>(it - kDecisions.begin());
}

template <std::size_t n>
BlobView view(const std::array<std::uint8_t, n>& bytes) {
  return {{reinterpret_cast<const char*>(bytes.data()), bytes.size()}};
}

Signature signature_of(const Query& row, int column) {
  const std::string_view bytes = row.blob(column);
  Signature out{};
  if (bytes.size() != out.size()) throw Error{Errc::damaged, "the file is damaged: a signature is not 64 bytes long"};
  std::memcpy(out.data(), bytes.data(), out.size());
  return out;
}

}  // namespace

std::string_view word_of(Decision decision) noexcept { return kDecisions[static_cast<std::size_t>(decision)]; }

bool Signer::speaks_for(std::int64_t origin) const noexcept {
  return std::find(strands.begin(), strands.end(), origin) != strands.end();
}

std::vector<Signer> KeyRepository::signers() const {
  std::vector<Signer> out;
  Query row{*db_, key_sql::kSigners};
  Query strand{*db_, key_sql::kStrandsOf};
  while (row.step()) {
    Signer& s = out.emplace_back();
    s.key = row.hash(0);
    s.name = row.text(1);
    s.own = row.maybe_integer(2);
    if (!row.is_null(3)) s.succession = {row.hash(3), s.key, from_unix(row.integer(4)), signature_of(row, 5)};
    s.decided = from_unix(row.integer(6));
    s.by = row.text(7);
    s.decision = decision_of(row.text(8));
    strand.bind(view(s.key));
    while (strand.step()) s.strands.push_back(strand.integer(0));
  }
  return out;
}

std::optional<Signer> KeyRepository::find(const PublicKey& key) const {
  for (Signer& s : signers()) {
    if (s.key == key) return std::move(s);
  }
  return std::nullopt;
}

std::optional<Signer> KeyRepository::own() const {
  std::optional<Signer> newest;
  for (Signer& s : signers()) {
    if (s.own && (!newest || *s.own > *newest->own)) newest = std::move(s);
  }
  return newest;
}

void KeyRepository::add(const Signer& s) const {
  std::optional<BlobView> before, signature;
  std::optional<Instant> since;
  if (s.succession) {
    before = view(s.succession->before);
    signature = view(s.succession->signature);
    since = s.succession->at;
  }
  Query{*db_, key_sql::kAddSigner}.run(view(s.key), s.name, s.own, before, since, signature);
  decide(s.key, s.decision, s.decided, s.by);
  for (const std::int64_t origin : s.strands) bind(origin, s.key);
}

void KeyRepository::decide(const PublicKey& key, Decision decision, Instant at, const std::string& by) const {
  Query{*db_, key_sql::kDecide}.run(view(key), at, by, word_of(decision));
}

void KeyRepository::bind(std::int64_t origin, const PublicKey& key) const {
  Query{*db_, key_sql::kBind}.run(origin, view(key));
}

std::vector<Checkpoint> KeyRepository::checkpoints(std::int64_t origin) const {
  std::vector<Checkpoint> out;
  Query row{*db_, key_sql::kCheckpoints};
  row.bind(origin);
  while (row.step()) {
    out.push_back(
        {row.uuid(0), row.integer(1), row.hash(2), from_unix(row.integer(3)), row.hash(4), signature_of(row, 5)});
  }
  return out;
}

void KeyRepository::add_checkpoint(std::int64_t origin, const Checkpoint& c) const {
  Query{*db_, key_sql::kAddCheckpoint}.run(origin, c.position, view(c.key), c.hash, c.at, view(c.signature));
}

}  // namespace shaftlog
