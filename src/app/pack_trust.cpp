#include "app/pack_trust.hpp"

#include "base/error.hpp"
#include "base/text.hpp"

#include <algorithm>

#include <fmt/format.h>

namespace shaftlog {
namespace {

/// The newest proves all before it; a few more tell where a rewriting began.
constexpr std::size_t kMostCheckpoints = 16;
/// A file that renews its key every year reaches this after a century.
constexpr std::size_t kMostSuccessions = 100;

[[noreturn]] void refuse(const std::string& what) { throw Error{Errc::conflict, what}; }

}  // namespace

void append_checkpoints(std::vector<Checkpoint>& out, const std::vector<Checkpoint>& known, std::int64_t after) {
  std::vector<Checkpoint> chosen;
  for (std::size_t i = known.size(); i-- > 0 && chosen.size() < kMostCheckpoints;) {
    if (known[i].position > after || chosen.empty()) chosen.push_back(known[i]);
  }
  out.insert(out.end(), chosen.rbegin(), chosen.rend());
}

std::vector<Succession> successions_to(const PublicKey& key, const std::vector<Signer>& signers) {
  std::vector<Succession> out;
  PublicKey at = key;
  while (out.size() < kMostSuccessions) {
    const auto it = std::find_if(signers.begin(), signers.end(), [&](const Signer& s) { return s.key == at; });
    if (it == signers.end() || !it->succession) break;
    out.push_back(*it->succession);
    at = it->succession->before;
  }
  return out;
}

PackTrust::PackTrust(Database& db, const Pack& pack, const UnpackOptions& options)
    : pack_{&pack}, options_{&options}, keys_{db}, exchange_{db} {}

const Signer* PackTrust::find(const PublicKey& key) const {
  const auto it = std::find_if(signers_.begin(), signers_.end(), [&](const Signer& s) { return s.key == key; });
  return it == signers_.end() ? nullptr : &*it;
}

std::optional<Strand> PackTrust::sender() const {
  for (Strand& s : exchange_.strands()) {
    if (s.id == pack_->manifest.from) return std::move(s);
  }
  return std::nullopt;
}

std::string PackTrust::called() const {
  const PackManifest& m = pack_->manifest;
  return m.from_name.empty() ? format_uuid(m.from) : shown(m.from_name);
}

bool PackTrust::has_key(std::int64_t origin) const {
  return std::any_of(signers_.begin(), signers_.end(), [&](const Signer& s) { return s.speaks_for(origin); });
}

void PackTrust::judge_sender(UnpackResult& result) {
  signers_ = keys_.signers();
  if (!options_->accept_key.empty() && !parse_fingerprint(options_->accept_key)) {
    throw Error{Errc::usage, fmt::format("--accept-key: \"{}\" is not a fingerprint; expected 32 hexadecimal digits",
                                         shown(options_->accept_key))};
  }
  result.signer = pack_->signer;
  if (pack_->signer) {
    judge_key(*pack_->signer, result);
  } else if (!options_->accept_key.empty()) {
    refuse("is not signed: there is no key to accept");
  } else if (!options_->take_unsigned) {
    judge_unsigned();
  }
}

/// Whoever strips a signature must not be better off than whoever forges one. Another id under a known name is the same
/// trick; a file that knows keys asks a person about each new sender.
void PackTrust::judge_unsigned() const {
  const auto from = sender();
  const Signer* of_sender = nullptr;
  for (const Signer& s : signers_) {
    const bool is_sender = (from && s.speaks_for(from->origin)) ||
                           (!pack_->manifest.from_name.empty() && s.name == pack_->manifest.from_name);
    if (is_sender && (of_sender == nullptr || s.is_trusted())) of_sender = &s;
  }
  if (of_sender != nullptr) {
    refuse(
        fmt::format("is not signed, and {} signs its packs with the key {}; ask for a signed one; --unsigned only if "
                    "you know for certain who made it",
                    called(), fingerprint(of_sender->key)));
  }
  const bool knows_keys = std::any_of(signers_.begin(), signers_.end(), [](const Signer& s) { return !s.own; });
  if (knows_keys && !from) {
    refuse(fmt::format(
        "is not signed, and is from {}, from whom nothing was taken in yet; --unsigned only if you know for "
        "certain who made it",
        called()));
  }
}

void PackTrust::judge_key(const PublicKey& key, UnpackResult& result) {
  const Signer* known = find(key);
  bool is_by_hand = false;
  if (known != nullptr && known->decision == Decision::distrusted) {
    refuse(fmt::format("is signed with the key {} of {}, which is not trusted any more since {}{}", fingerprint(key),
                       shown(known->name), format_utc(known->decided),
                       known->by.empty() ? "" : " (" + shown(known->by) + ")"));
  }
  if (known != nullptr && known->decision == Decision::replaced && !known->own) {
    refuse(fmt::format("is signed with the key {}, which {} has replaced since; a newer pack holds the same",
                       fingerprint(key), shown(known->name)));
  }
  if (known == nullptr) {
    if (follow(key)) {
      result.is_key_renewed = true;
    } else if (accept_by_hand(key)) {
      is_by_hand = result.is_key_accepted = true;
    } else {
      refuse(
          fmt::format("is signed with a key not known here, {}{}; ask {} for its fingerprint by another way than this "
                      "pack, and if it is the same: --accept-key FINGERPRINT",
                      fingerprint(key), known_so_far(), called()));
    }
    signers_ = keys_.signers();
  }
  bind_sender(key, is_by_hand);
  signers_ = keys_.signers();
}

std::string PackTrust::known_so_far() const {
  const auto from = sender();
  for (const Signer& s : signers_) {
    if (from && s.speaks_for(from->origin) && s.is_trusted()) {
      return fmt::format(", and {} has signed with {} so far", called(), fingerprint(s.key));
    }
  }
  return {};
}

bool PackTrust::accept_by_hand(const PublicKey& key) {
  if (options_->accept_key.empty()) return false;
  if (*parse_fingerprint(options_->accept_key) != fingerprint(key)) {
    refuse(fmt::format("is signed with the key {}, not with {}", fingerprint(key),
                       *parse_fingerprint(options_->accept_key)));
  }
  Signer s;
  s.key = key;
  s.name = pack_->manifest.from_name.empty() ? called() : pack_->manifest.from_name;
  s.decision = Decision::compared;
  s.decided = options_->now;
  s.by = options_->by;
  keys_.add(s);
  return true;
}

/// By the sender's own statements, from the new key back to one that is believed.
bool PackTrust::follow(const PublicKey& key) {
  std::vector<const Succession*> way;
  PublicKey at = key;
  const Signer* trusted = nullptr;
  while (trusted == nullptr && way.size() < kMostSuccessions) {
    const auto& all = pack_->manifest.successions;
    const auto it = std::find_if(all.begin(), all.end(), [&](const Succession& s) { return s.after == at; });
    if (it == all.end() || !holds(*it)) return false;
    way.push_back(&*it);
    at = it->before;
    if (const Signer* before = find(at)) {
      if (!before->is_trusted() || before->own) return false;
      trusted = before;
    }
  }
  if (trusted == nullptr) return false;
  const Signer first = *trusted;
  PublicKey before = first.key;
  for (auto it = way.rbegin(); it != way.rend(); ++it) {
    Signer s;
    s.key = (*it)->after;
    s.name = first.name;
    s.succession = **it;
    s.decision = Decision::followed;
    s.decided = options_->now;
    s.by = options_->by;
    s.strands = first.strands;
    keys_.add(s);
    keys_.decide(before, Decision::replaced, options_->now, options_->by);
    before = s.key;
  }
  return true;
}

/// A key that is believed may not speak for whom it likes: only for the files it is known for, for one nobody heard of
/// (a new strand of its file), or one of its own name.
void PackTrust::bind_sender(const PublicKey& key, bool is_by_hand) {
  const Signer& signer = *find(key);
  const auto from = sender();
  if (from && signer.speaks_for(from->origin)) return;
  const auto other = std::find_if(signers_.begin(), signers_.end(), [&](const Signer& s) {
    return s.key != key &&
           ((from && s.speaks_for(from->origin)) || (!from && s.name == pack_->manifest.from_name && s.is_trusted()));
  });
  const bool is_another_name = from && !from->name.empty() && from->name != signer.name;
  if (!is_by_hand && (other != signers_.end() || is_another_name)) {
    refuse(fmt::format("is from {}, and signed with the key of {}, {}; if that is right: key trust {} --of NAME",
                       called(), shown(signer.name), fingerprint(key), fingerprint(key)));
  }
  keys_.bind(exchange_.find_or_add(pack_->manifest.from), key);
}

void PackTrust::require_vouched(std::int64_t origin, const PackStrand& strand, const std::string& name) const {
  if (options_->take_unsigned || !has_key(origin)) return;
  std::int64_t reaches = 0;
  for (const Signer& s : signers_) {
    if (!s.speaks_for(origin)) continue;
    if (pack_->signer == s.key) return;
    if (s.decision == Decision::distrusted) continue;
    for (const Checkpoint& c : pack_->manifest.checkpoints) {
      if (c.key != s.key || c.origin != strand.origin || !holds(c)) continue;
      reaches = std::max(reaches, c.position);
      if (c.position == strand.last && c.hash == strand.after) return;
    }
  }
  refuse(fmt::format("brings records of {} up to number {}, which {}'s key has signed {}; ask {} for a pack", name,
                     strand.last, name, reaches == 0 ? "none of" : fmt::format("up to {} only", reaches), name));
}

void PackTrust::take_checkpoints() const {
  const auto strands = exchange_.strands();
  for (const Checkpoint& c : pack_->manifest.checkpoints) {
    const auto strand = std::find_if(strands.begin(), strands.end(), [&](const Strand& s) { return s.id == c.origin; });
    const Signer* signer = find(c.key);
    if (strand == strands.end() || signer == nullptr) continue;
    if (!signer->speaks_for(strand->origin)) {
      // An earlier strand of the sender's file, from before it was restored or its key was known.
      if (c.key != pack_->signer || has_key(strand->origin) || strand->name != signer->name) continue;
      keys_.bind(strand->origin, c.key);
    }
    if (!holds(c)) throw Error{Errc::bad_data, "is wrong: a checkpoint in it was not signed by the key it names"};
    if (c.position > strand->position) continue;  // it comes again with the records
    if (exchange_.hash_at(strand->origin, c.position) != c.hash) {
      refuse(
          fmt::format("has what {} signed on {} of {} records up to number {}, and this file has others; run \"check\" "
                      "here",
                      shown(strand->name), format_utc(c.at), strand->own ? "this file's own" : "its", c.position));
    }
    keys_.add_checkpoint(strand->origin, c);
  }
}

std::optional<Checkpoint> PackTrust::find_checkpoint_from(std::int64_t origin, std::int64_t position) const {
  for (const Checkpoint& c : keys_.checkpoints(origin)) {
    if (c.position >= position) return c;
  }
  return std::nullopt;
}

}  // namespace shaftlog
