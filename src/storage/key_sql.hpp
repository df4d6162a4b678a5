#pragma once

// Every statement about keys and checkpoints, in one place so that a test can prepare and explain each.

#include <string>
#include <vector>

namespace shaftlog::key_sql {

/// With the decision that counts.
inline constexpr const char* kSigners = R"sql(
SELECT s.public_key, s.name, s.own, s.before_key, s.since_utc_s, s.signature, t.at_utc_s, t.by_name, t.decision
FROM signer s JOIN trust t ON t.trust_id = (SELECT max(trust_id) FROM trust WHERE public_key = s.public_key)
ORDER BY s.own IS NULL, s.own, s.name, t.trust_id )sql";
inline constexpr const char* kAddSigner = R"sql(
INSERT INTO signer (public_key, name, own, before_key, since_utc_s, signature)
VALUES (:key, :name, :own, :before, :since, :signature) )sql";
inline constexpr const char* kDecide = R"sql(
INSERT INTO trust (trust_id, public_key, at_utc_s, by_name, decision)
SELECT ifnull(max(trust_id), 0) + 1, :key, :at, :by, :decision FROM trust )sql";
inline constexpr const char* kStrandsOf = R"sql(
SELECT origin_id FROM signer_strand WHERE public_key = :key ORDER BY origin_id )sql";
inline constexpr const char* kBind = R"sql(
INSERT INTO signer_strand (origin_id, public_key) VALUES (:origin, :key) ON CONFLICT DO NOTHING )sql";
inline constexpr const char* kAddCheckpoint = R"sql(
INSERT INTO checkpoint (origin_id, position, public_key, hash, at_utc_s, signature)
VALUES (:origin, :position, :key, :hash, :at, :signature) ON CONFLICT DO NOTHING )sql";
inline constexpr const char* kCheckpoints = R"sql(
SELECT o.uuid, c.position, c.hash, c.at_utc_s, c.public_key, c.signature
FROM checkpoint c JOIN origin o ON o.origin_id = c.origin_id
WHERE c.origin_id = :origin ORDER BY c.position, c.at_utc_s, c.public_key )sql";

inline std::vector<std::string> all() {
  return {kSigners, kAddSigner, kDecide, kStrandsOf, kBind, kAddCheckpoint, kCheckpoints};
}

}  // namespace shaftlog::key_sql
