#include "domain/checkpoint.hpp"

#include "storage/exchange_repository.hpp"
#include "storage/key_repository.hpp"
#include "support/tampering.hpp"
#include "support/temp_db.hpp"

#include <catch2/catch.hpp>
#include <fmt/format.h>

using namespace shaftlog;
using namespace shaftlog::test;

namespace {

/// A file with a key, 30 records, and a checkpoint after every tenth.
struct SignedDb : TempDb {
  SignedDb() {
    WriteTransaction transaction{db};
    const KeyRepository keys{db};
    Signer s;
    s.key = key.public_key();
    s.own = 1;
    s.decided = day(0).utc;
    keys.add(s);
    for (std::uint64_t n = 1; n <= 30; ++n) {
      LogRepository{db}.add(entry(Kind::work, n));
      if (n % 10 == 0) sign(static_cast<int>(n));
    }
    transaction.commit();
  }
  void sign(int at_day) {
    const Strand own = ExchangeRepository{db}.own();
    KeyRepository{db}.bind(own.origin, key.public_key());
    KeyRepository{db}.add_checkpoint(own.origin, sign_checkpoint(key, own.id, own.position, own.hash, day(at_day).utc));
  }
  std::vector<std::string> faults() { return check(db).faults; }

  SecretKey key = SecretKey::make();
};

PublicKey nth_key(std::uint8_t n) {
  PublicKey key{};
  key[0] = n;
  return key;
}

}  // namespace

TEST_CASE("checkpoint: what was signed holds, and is counted", "[storage][checkpoint]") {
  SignedDb t;
  const CheckResult r = check(t.db);
  CHECK(r.faults == std::vector<std::string>{});
  CHECK(r.checkpoints == 3);
}

TEST_CASE("checkpoint: a rewriting with all hashes made anew is found and where it can be", "[storage][checkpoint]") {
  for (const int n : {1, 10, 11, 20, 25, 30}) {
    INFO("record " << n);
    SignedDb t;
    const std::string name = format_uuid(ExchangeRepository{t.db}.own().id);
    rewrite(t.db, fmt::format("UPDATE entry SET remark = 'was not so' WHERE entry_id = {}", n));
    const int last = (n + 9) / 10 * 10;
    CHECK(t.faults() ==
          std::vector<std::string>{fmt::format(
              "record {} of strand {} differs from what was signed on {}: of numbers {} to {} at least one was altered "
              "and the hashes made anew",
              last, name, format_utc(day(last).utc), last - 9, last)});
  }
}

TEST_CASE("checkpoint: a strand that was cut short is found", "[storage][checkpoint]") {
  SignedDb t;
  tamper(t.db, {"DELETE FROM link WHERE position > 25", "DELETE FROM work WHERE entry_id > 25",
                "DELETE FROM entry WHERE entry_id > 25"});
  const auto faults = t.faults();
  REQUIRE(faults.size() == 1);
  CHECK_THAT(faults[0], Catch::Contains("ends at number 25, but its records up to number 30 were signed on"));
}

TEST_CASE("checkpoint: one that was altered, or signed by who has no say, is a fault", "[storage][checkpoint]") {
  for (const char* sql : {"UPDATE checkpoint SET at_utc_s = at_utc_s + 1 WHERE position = 20",
                          "UPDATE checkpoint SET hash = zeroblob(32) WHERE position = 20",
                          "UPDATE checkpoint SET signature = zeroblob(64) WHERE position = 20",
                          "UPDATE checkpoint SET position = 21 WHERE position = 20", "DELETE FROM signer_strand"}) {
    INFO(sql);
    SignedDb t;
    tamper(t.db, {sql});
    const auto faults = t.faults();
    REQUIRE_FALSE(faults.empty());
    CHECK_THAT(faults[0], Catch::Contains("was not signed by a key of that strand"));
  }
  SignedDb t;
  const SecretKey stranger = SecretKey::make();
  const Strand own = ExchangeRepository{t.db}.own();
  KeyRepository{t.db}.add_checkpoint(own.origin,
                                     sign_checkpoint(stranger, own.id, own.position, own.hash, day(40).utc));
  CHECK(t.faults().size() == 1);
}

TEST_CASE("checkpoint: a signature stands for one place in one strand at one time", "[storage][checkpoint]") {
  const SecretKey key = SecretKey::make();
  const Checkpoint good = sign_checkpoint(key, nth_id(1), 7, {}, day(1).utc);
  CHECK(holds(good));
  const auto not_with = [&](const auto& change) {
    Checkpoint bad = good;
    change(bad);
    CHECK_FALSE(holds(bad));
  };
  not_with([](Checkpoint& c) { c.origin = nth_id(2); });
  not_with([](Checkpoint& c) { c.position = 8; });
  not_with([](Checkpoint& c) { c.hash[31] = 1; });
  not_with([](Checkpoint& c) { c.at += std::chrono::seconds{1}; });
  not_with([](Checkpoint& c) { c.key = SecretKey::make().public_key(); });
  const Succession next = sign_succession(key, nth_key(1), day(1).utc);
  CHECK(holds(next));
  Succession bad = next;
  bad.after = nth_key(2);
  CHECK_FALSE(holds(bad));
}

TEST_CASE("checkpoint: keys, decisions and checkpoints are never changed or removed", "[storage][checkpoint]") {
  SignedDb t;
  for (const std::string table : {"signer", "trust", "checkpoint"}) {
    for (const std::string& sql :
         {fmt::format("UPDATE {0} SET public_key = public_key", table), fmt::format("DELETE FROM {}", table)}) {
      INFO(sql);
      CHECK_THROWS_WITH(execute(handle_of(t.db), sql),
                        Catch::Contains("is never changed") || Catch::Contains("is never removed"));
    }
  }
  CHECK_THROWS_WITH(execute(handle_of(t.db), "DELETE FROM signer_strand"), Catch::Contains("is never removed"));
}
