#include "storage/exchange_repository.hpp"
#include "storage/key_repository.hpp"

#include <algorithm>

#include <fmt/format.h>

namespace shaftlog {
namespace {

class CheckpointCheck {
 public:
  CheckpointCheck(Database& db, CheckResult& result)
      : keys_{db}, exchange_{db}, signers_{keys_.signers()}, result_{result} {}

  void run() {
    for (const Signer& s : signers_) {
      if (s.succession && !holds(*s.succession)) {
        fault(fmt::format("key {} of {} is not signed by the key it says it follows", fingerprint(s.key), s.name));
      }
    }
    for (const Strand& s : exchange_.strands()) check_strand(s);
  }

 private:
  void fault(std::string what) { result_.faults.push_back(std::move(what)); }

  /// From the first that does not fit on, all hashes are others: it alone is told.
  void check_strand(const Strand& strand) {
    const std::string name = strand.name.empty() ? format_uuid(strand.id) : strand.name;
    std::int64_t proven = 0;
    for (const Checkpoint& c : keys_.checkpoints(strand.origin)) {
      if (!is_genuine(c, strand)) {
        fault(fmt::format("the checkpoint of {} at number {} of strand {} was not signed by a key of that strand",
                          format_utc(c.at), c.position, name));
        continue;
      }
      if (c.position > strand.position) {
        fault(fmt::format("strand {} ends at number {}, but its records up to number {} were signed on {}", name,
                          strand.position, c.position, format_utc(c.at)));
        return;
      }
      if (exchange_.hash_at(strand.origin, c.position) != c.hash) {
        fault(
            fmt::format("record {} of strand {} differs from what was signed on {}: of numbers {} to {} at least one "
                        "was altered and the hashes made anew",
                        c.position, name, format_utc(c.at), proven + 1, c.position));
        return;
      }
      proven = c.position;
      ++result_.checkpoints;
    }
  }

  [[nodiscard]] bool is_genuine(const Checkpoint& c, const Strand& strand) const {
    return holds(c) && std::any_of(signers_.begin(), signers_.end(),
                                   [&](const Signer& s) { return s.key == c.key && s.speaks_for(strand.origin); });
  }

  KeyRepository keys_;
  ExchangeRepository exchange_;
  std::vector<Signer> signers_;
  CheckResult& result_;
};

}  // namespace

void check_checkpoints(Database& db, CheckResult& result) { CheckpointCheck{db, result}.run(); }

}  // namespace shaftlog
