#include "app/keys.hpp"
#include "app/pack.hpp"
#include "base/error.hpp"
#include "interchange/pack_file.hpp"
#include "storage/exchange_repository.hpp"
#include "storage/log_repository.hpp"
#include "storage/restore.hpp"
#include "support/run.hpp"
#include "support/tampering.hpp"
#include "support/temp_db.hpp"

#include <sys/stat.h>

#include <catch2/catch.hpp>
#include <fmt/format.h>

using namespace shaftlog;
using namespace shaftlog::test;
namespace fs = std::filesystem;

namespace {

bool has(const std::string& text, const std::string& part) { return text.find(part) != std::string::npos; }

/// A file of a fleet: T-01's register, records of works.
struct Node {
  explicit Node(std::string called) : name{std::move(called)}, db{Database::create(dir / "shaftlog.db")} {}
  Node(const Node& other, const std::string& copy_called) : name{copy_called}, db{copy_of(other, dir)} {}

  static Database copy_of(const Node& other, const TempDir& to) {
    Database from = Database::open(other.db.path(), Database::Mode::read_only);
    backup(from, to / "shaftlog.db");
    return Database::open(to / "shaftlog.db", Database::Mode::read_write);
  }
  void register_vessel() {
    Vessel v;
    v.code = v.name = "T-01";
    v.time_zone = "UTC";
    WriteTransaction transaction{db};
    RegisterRepository{db}.put(v, {day(0).utc, "tester", false});
    transaction.commit();
  }
  void add(std::uint64_t n) {
    Entry e;
    e.head.id = nth_id(n);
    e.head.at = e.head.recorded_at = day(static_cast<int>(n));
    e.head.by = "2/E";
    e.head.source = "typed";
    e.kind = Kind::work;
    e.vessel = RegisterRepository{db}.load().vessels.at(0).id;
    e.detail = Work{WorkKind::other};
    REQUIRE(LogRepository{db}.add(e));
  }
  PublicKey make_key() { return shaftlog::make_key(db, clock, "2/E", false).key; }
  std::string pack(bool is_unsigned = false, const std::string& to = "") {
    PackResult r;
    return make_pack(db, clock, {to, false, name, is_unsigned}, r);
  }
  UnpackResult take(const std::string& pack, const std::string& accept_key = "", bool take_unsigned = false) {
    return take_pack(db, pack, "x.pack", {false, false, "chief", day(30).utc, accept_key, take_unsigned});
  }
  UnpackResult accept(const std::string& pack) { return take(pack, fingerprint(*read_pack(pack).signer)); }
  std::int64_t records() { return single_integer(handle_of(db), "SELECT count(*) FROM entry"); }
  /// \return what it says; nothing may have changed
  std::string refuses(const std::string& pack, const std::string& accept_key = "", bool take_unsigned = false) {
    std::ostringstream before, after;
    const auto dump = [&] {
      std::string out;
      for (const char* table : {"entry", "link", "origin", "signer", "trust", "signer_strand", "checkpoint", "peer"})
        out += fmt::format("{} ", single_integer(handle_of(db), fmt::format("SELECT count(*) FROM {}", table)));
      return out;
    };
    const std::string was = dump();
    try {
      take(pack, accept_key, take_unsigned);
    } catch (const Error& e) {
      CHECK(dump() == was);
      return e.what();
    }
    FAIL("was taken in");
    return {};
  }

  TempDir dir;
  std::string name;
  FixedClock clock{day(20).utc};
  Database db;
};

/// Office and ship of one fleet; each has a key and believes the other's.
struct Fleet {
  Fleet() {
    office.register_vessel();
    office.make_key();
    ship.accept(office.pack());
    ship.make_key();
    for (std::uint64_t n = 1; n <= 3; ++n) ship.add(n);
    office.accept(ship.pack());
  }
  Node office{"office"}, ship{"T-01"};
};

std::vector<std::string> faults(Node& n) { return check(n.db).faults; }

}  // namespace

TEST_CASE("keys: the secret one is for its owner only, and a copy of the database cannot sign", "[app][key]") {
  Node n{"T-01"};
  const PublicKey key = n.make_key();
  const fs::path file = key_file_of(n.db.path());
  struct ::stat about {};
  REQUIRE(::stat(file.c_str(), &about) == 0);
  CHECK((about.st_mode & 0777) == 0600);
  CHECK(signing_key(n.db)->public_key() == key);
  const std::string secret = hex(signing_key(n.db)->seed());
  CHECK(has(read_text(file), secret));

  Node copy{n, "T-01"};
  CHECK_THROWS_WITH(copy.pack(), Catch::Contains("this file's secret key is not there"));
  CHECK_NOTHROW(copy.pack(/*is_unsigned=*/true));
  // Neither the secret's digits nor its bytes are in the database or a pack.
  const auto seed = signing_key(n.db)->seed();
  const std::string bytes{reinterpret_cast<const char*>(seed.data()), seed.size()};
  execute(handle_of(n.db), "PRAGMA wal_checkpoint(TRUNCATE)");
  for (const std::string& text : {read_text(n.db.path()), n.pack()}) {
    CHECK_FALSE(has(text, secret));
    CHECK_FALSE(has(text, bytes));
  }
}

TEST_CASE("keys: a secret key that others may read, is none, or is another's is not used", "[app][key]") {
  Node n{"T-01"}, other{"other"};
  n.make_key();
  other.make_key();
  const fs::path file = key_file_of(n.db.path());
  fs::permissions(file, fs::perms{0640});
  CHECK_THROWS_WITH(n.pack(), Catch::Contains("others may read it"));
  fs::permissions(file, fs::perms{0600});
  CHECK_NOTHROW(n.pack());
  const std::string good = read_text(file);
  for (const std::string& bad :
       {std::string{}, good.substr(0, 40), good.substr(1), good + "0", std::string(200, 'a')}) {
    write_text(file, bad);
    CHECK_THROWS_WITH(n.pack(), Catch::Contains("is not a secret key"));
  }
  write_text(file, read_text(key_file_of(other.db.path())));
  CHECK_THROWS_WITH(n.pack(), Catch::Contains("expected this file's own"));
  fs::remove(file);
  fs::create_directory(file);
  CHECK_THROWS_WITH(n.pack(), Catch::Contains("is not a file"));
}

TEST_CASE("keys: made once, taken up again, made anew only when lost", "[app][key]") {
  Node n{"T-01"};
  const Node before{n, "T-01"};
  const PublicKey key = n.make_key();
  CHECK_THROWS_WITH(n.make_key(), Catch::Contains("key renew"));
  // A database from before the key, put back beside it.
  fs::copy_file(key_file_of(n.db.path()), key_file_of(before.db.path()));
  Node back{before, "T-01"};
  fs::copy_file(key_file_of(n.db.path()), key_file_of(back.db.path()));
  const OwnKey taken = make_key(back.db, back.clock, "", false);
  CHECK(taken.how == OwnKey::How::taken_up);
  CHECK(taken.key == key);
  CHECK_NOTHROW(back.pack());
  fs::remove(key_file_of(n.db.path()));
  CHECK_THROWS_WITH(make_key(n.db, n.clock, "", false), Catch::Contains("key make --lost"));
  CHECK(make_key(n.db, n.clock, "", true).key != key);
  CHECK_NOTHROW(n.pack());
}

TEST_CASE("keys: a renewal broken off before its last step is finished", "[app][key]") {
  Node n{"T-01"};
  n.make_key();
  const fs::path file = key_file_of(n.db.path());
  const std::string before = read_text(file);
  const PublicKey key = renew_key(n.db, n.clock, "").key;
  fs::rename(file, file.string() + ".new");
  std::ofstream{file} << before;
  fs::permissions(file, fs::perms{0600});
  CHECK(signing_key(n.db)->public_key() == key);
  CHECK_FALSE(fs::exists(file.string() + ".new"));
}

TEST_CASE("trust: a key not known is a person's decision, with the fingerprint in hand", "[app][pack][trust]") {
  Node office{"office"}, ship{"T-01"};
  office.register_vessel();
  const PublicKey key = office.make_key();
  const std::string pack = office.pack();
  CHECK(has(ship.refuses(pack), "is signed with a key not known here, " + fingerprint(key)));
  CHECK(has(ship.refuses(pack, fingerprint(SecretKey::make().public_key())), "not with"));
  CHECK(has(ship.refuses(pack, "abc"), "is not a fingerprint"));
  CHECK(has(ship.refuses(pack, "", /*take_unsigned=*/true), "not known here"));
  const UnpackResult r = ship.take(pack, fingerprint(key));
  CHECK(r.is_key_accepted);
  CHECK(r.signer == key);
  const auto known = list_keys(ship.db);
  REQUIRE(known.size() == 1);
  CHECK(known[0].is_trusted());
  CHECK(known[0].name == "office");
  CHECK(known[0].by == "chief");
  CHECK(known[0].decided == day(30).utc);
  CHECK_FALSE(ship.take(pack).is_key_accepted);
}

TEST_CASE("trust: any byte of a signed pack changed in any way is refused", "[app][pack][trust]") {
  Fleet f;
  f.ship.add(4);
  const std::string pack = f.ship.pack(false, "office");
  REQUIRE(pack.size() < 3'000);
  std::int64_t refused = 0;
  for (std::size_t at = 0; at < pack.size(); ++at) {
    for (const int change : {0x01, 0x80, 0xff}) {
      std::string bad = pack;
      bad[at] = static_cast<char>(bad[at] ^ change);
      try {
        f.office.take(bad);
        FAIL(fmt::format("byte {} changed by {} was taken in", at, change));
      } catch (const Error&) {
        ++refused;
      }
    }
  }
  CHECK(refused == static_cast<std::int64_t>(pack.size()) * 3);
  // With the checksum put right after the change, the signature alone stands in the way.
  for (std::size_t at = 8; at + 96 < pack.size(); at += 5) {
    std::string bad = pack;
    bad[at] = static_cast<char>(bad[at] ^ 0x01);
    const auto hash = sha256(std::string_view{bad}.substr(0, bad.size() - 96));
    bad.replace(bad.size() - 96, 32, reinterpret_cast<const char*>(hash.data()), 32);
    CHECK(has(f.office.refuses(bad), "x.pack: i"));  // "is altered", "its manifest is wrong"
  }
  CHECK(f.office.records() == 3);
  CHECK(f.office.take(pack).added == 1);
}

TEST_CASE("trust: with the signature taken off, or under the sender's name, a pack is refused", "[app][pack][trust]") {
  Fleet f;
  f.ship.add(4);
  Pack stripped = read_pack(f.ship.pack());
  const std::string without = write_pack(stripped);
  CHECK(has(f.office.refuses(without), "is not signed, and T-01 signs its packs with the key"));
  CHECK(has(f.office.refuses(f.ship.pack(/*is_unsigned=*/true)), "is not signed"));
  stripped.manifest.from = nth_id(77);  // as another file of the same name
  CHECK(has(f.office.refuses(write_pack(stripped)), "is not signed"));
  stripped.manifest.from_name = "T-02";  // as one nobody heard of
  CHECK(has(f.office.refuses(write_pack(stripped)), "from whom nothing was taken in yet"));
  CHECK(f.office.take(write_pack(stripped), "", /*take_unsigned=*/true).added == 1);
}

TEST_CASE("trust: who has no key goes on without, and hands on what was signed", "[app][pack][trust]") {
  Fleet f;
  Node plain{"T-05"};
  plain.take(f.office.pack(/*is_unsigned=*/true));
  CHECK(has(f.office.refuses(plain.pack()), "from whom nothing was taken in yet"));
  f.office.take(plain.pack(), "", /*take_unsigned=*/true);
  plain.add(100);
  CHECK(f.office.take(plain.pack()).added == 1);
  f.ship.add(4);
  Pack handed_on = read_pack(f.ship.pack());
  handed_on.manifest.from = ExchangeRepository{plain.db}.own().id;
  handed_on.manifest.from_name = "T-05";
  const auto checkpoints = handed_on.manifest.checkpoints;
  handed_on.manifest.checkpoints.clear();
  CHECK(has(f.office.refuses(write_pack(handed_on)), "which T-01's key has signed none of"));
  handed_on.manifest.checkpoints = checkpoints;
  CHECK(f.office.take(write_pack(handed_on)).added == 1);
}

TEST_CASE("trust: others may hand on only what the key of its writer has signed", "[app][pack][trust]") {
  Fleet f;
  Node relay{"T-02"};
  relay.accept(f.office.pack());
  relay.make_key();
  f.office.accept(relay.pack());
  f.ship.add(4);
  const std::string signed_pack = f.ship.pack();
  relay.accept(signed_pack);
  CHECK(f.office.take(relay.pack()).added == 1);  // up to the ship's checkpoint
  // The relay adds to the ship's strand what the ship never wrote.
  f.ship.add(5);
  Pack forged = read_pack(f.ship.pack());
  forged.manifest.from = ExchangeRepository{relay.db}.own().id;
  forged.manifest.from_name = "T-02";
  std::erase_if(forged.manifest.checkpoints, [](const Checkpoint& c) { return c.position == 5; });
  const SecretKey relay_key = *signing_key(relay.db);
  CHECK(has(f.office.refuses(write_pack(forged, &relay_key)),
            "brings records of T-01 up to number 5, which T-01's key has signed up to 4 only"));
  CHECK(has(f.office.refuses(write_pack(forged)), "is not signed"));  // the relay has a key, too
  CHECK(f.office.take(f.ship.pack()).added == 1);
}

TEST_CASE("trust: a believed key speaks for its own file only", "[app][pack][trust]") {
  Fleet f;
  Node other{"T-02"};
  other.accept(f.office.pack());
  other.make_key();
  f.office.accept(other.pack());
  const SecretKey key = *signing_key(other.db);
  Pack posing = read_pack(f.ship.pack());
  CHECK(has(f.office.refuses(write_pack(posing, &key)), "is from T-01, and signed with the key of T-02"));
  posing.manifest.from = nth_id(78);  // as a new strand of the ship's
  CHECK(has(f.office.refuses(write_pack(posing, &key)), "signed with the key of T-02"));
  posing.manifest.from = ExchangeRepository{f.office.db}.own().id;
  posing.manifest.from_name = "office";
  CHECK(has(f.office.refuses(write_pack(posing, &key)), "signed with the key of T-02"));
}

TEST_CASE("trust: a renewed key is believed for the word of the one before, which is not any more",
          "[app][pack][trust]") {
  Fleet f;
  f.ship.add(4);
  const std::string late = f.ship.pack();
  const SecretKey first = *signing_key(f.ship.db);
  renew_key(f.ship.db, f.ship.clock, "2/E");
  f.ship.add(5);
  const PublicKey last = renew_key(f.ship.db, f.ship.clock, "2/E").key;  // twice between two packs
  const std::string pack = f.ship.pack();
  const UnpackResult r = f.office.take(pack);
  CHECK(r.is_key_renewed);
  CHECK(r.signer == last);
  CHECK(r.added == 2);
  CHECK(faults(f.office) == std::vector<std::string>{});
  CHECK(faults(f.ship) == std::vector<std::string>{});
  CHECK(has(f.office.refuses(late), "has replaced since"));
  // Who stole the first key can neither sign nor name a successor.
  Pack forged = read_pack(pack);
  CHECK(has(f.office.refuses(write_pack(forged, &first)), "has replaced since"));
  const SecretKey thief = SecretKey::make();
  forged.manifest.successions = {sign_succession(first, thief.public_key(), day(21).utc)};
  CHECK(has(f.office.refuses(write_pack(forged, &thief)), "is signed with a key not known here"));
  forged.manifest.successions = {sign_succession(thief, thief.public_key(), day(21).utc)};
  CHECK(has(f.office.refuses(write_pack(forged, &thief)), "T-01 has signed with " + fingerprint(last) + " so far"));
}

TEST_CASE("trust: a key that is distrusted brings nothing more, until a person trusts it again", "[app][pack][trust]") {
  Fleet f;
  const std::string print = fingerprint(signing_key(f.ship.db)->public_key());
  CHECK_FALSE(distrust_key(f.office.db, f.office.clock, print, "chief").is_trusted());
  f.ship.add(4);
  const std::string pack = f.ship.pack();
  CHECK(has(f.office.refuses(pack), "is not trusted any more since"));
  CHECK(has(f.office.refuses(pack, print), "is not trusted any more since"));
  CHECK(has(f.office.refuses(f.ship.pack(true)), "is not signed"));
  renew_key(f.ship.db, f.ship.clock, "2/E");
  CHECK(has(f.office.refuses(f.ship.pack()), "not known here"));
  CHECK(faults(f.office) == std::vector<std::string>{});  // what it signed before still proves
  CHECK(trust_key(f.office.db, f.office.clock, print, "", "chief").is_trusted());
  CHECK(f.office.take(f.ship.pack()).is_key_renewed);
  CHECK_THROWS_WITH(distrust_key(f.office.db, f.office.clock, fingerprint(get_own_key(f.office.db).key), ""),
                    Catch::Contains("this file's own key"));
  CHECK_THROWS_WITH(distrust_key(f.office.db, f.office.clock, "12", ""), Catch::Contains("is not a fingerprint"));
}

TEST_CASE("trust: a whole public key can be trusted by hand for a file that is known", "[app][pack][trust]") {
  Node office{"office"}, ship{"T-01"};
  office.register_vessel();
  ship.take(office.pack());
  ship.add(1);
  office.take(ship.pack());
  const PublicKey key = ship.make_key();
  CHECK_THROWS_WITH(trust_key(office.db, office.clock, hex(key), "", ""), Catch::Contains("--of is missing"));
  CHECK_THROWS_WITH(trust_key(office.db, office.clock, hex(key), "T-09", ""), Catch::Contains("\"T-09\""));
  CHECK_THROWS_WITH(trust_key(office.db, office.clock, fingerprint(key), "T-01", ""), Catch::Contains("no key with"));
  trust_key(office.db, office.clock, hex(key), "T-01", "chief");
  ship.add(2);
  CHECK(has(office.refuses(ship.pack(true)), "is not signed"));
  CHECK(office.take(ship.pack()).added == 1);
}

TEST_CASE("trust: history that was written anew on board shows ashore, and on board by what was signed",
          "[app][pack][trust]") {
  Fleet f;
  rewrite(f.ship.db, "UPDATE entry SET remark = 'was not so' WHERE entry_id = 2");
  CHECK(has(faults(f.ship).at(0), "record 3 of strand T-01 differs from what was signed on"));
  CHECK_THROWS_WITH(f.ship.pack(), Catch::Contains("are not what was signed on"));
  CHECK_THROWS_WITH(sign_database(f.ship.db, f.ship.clock), Catch::Contains("nothing is signed"));
  // With the key stolen, and the checkpoint taken away too: the office has its copy.
  tamper(f.ship.db, {"DELETE FROM checkpoint"});
  CHECK(faults(f.ship) == std::vector<std::string>{});
  f.ship.add(4);
  CHECK(has(f.office.refuses(f.ship.pack()), "from what its key signed on"));
  CHECK(has(f.office.refuses(f.ship.pack(false, "office")), "from what its key signed on"));
  CHECK(faults(f.office) == std::vector<std::string>{});
  // And the office's next pack tells those on board who did not do it.
  CHECK(has(f.ship.refuses(f.office.pack(false, "T-01")),
            "has what T-01 signed on 2026-01-21T00:00:00Z of this file's own"));
}

TEST_CASE("trust: history that was written anew ashore shows there", "[app][pack][trust]") {
  Fleet f;
  rewrite(f.office.db, "UPDATE entry SET recorded_at_utc_s = recorded_at_utc_s - 86400 WHERE entry_id = 1");
  CHECK(has(faults(f.office).at(0), "record 3 of strand T-01 differs from what was signed on"));
}

TEST_CASE("trust: checkpoints are made once a state, and travel on", "[app][pack][trust]") {
  Fleet f;
  const auto kept = [](Node& n) { return single_integer(handle_of(n.db), "SELECT count(*) FROM checkpoint"); };
  const auto before = kept(f.ship);
  f.ship.pack();
  CHECK(kept(f.ship) == before);
  CHECK(sign_database(f.ship.db, f.ship.clock) == 0);
  f.ship.add(4);
  CHECK(sign_database(f.ship.db, f.ship.clock) == 1);
  f.ship.add(5);
  f.office.take(f.ship.pack());
  const Strand own = ExchangeRepository{f.ship.db}.own();
  const ExchangeRepository ashore{f.office.db};
  CHECK(KeyRepository{f.office.db}.checkpoints(ashore.find_or_add(own.id)) ==
        KeyRepository{f.ship.db}.checkpoints(own.origin));
  Node none{"T-03"};
  CHECK_THROWS_WITH(sign_database(none.db, none.clock), Catch::Contains("has no key to sign with"));
}

TEST_CASE("trust: a reader without keys takes a format 1 pack that carries checkpoints", "[app][pack][trust]") {
  Fleet f;
  const std::string pack = f.office.pack(/*is_unsigned=*/true);
  CHECK(pack[7] == 1);
  CHECK(f.office.pack()[7] == 2);
  CHECK_FALSE(read_pack(pack).manifest.checkpoints.empty());
  Node plain{"T-04"};
  CHECK(plain.take(pack).added == 3);
  CHECK(check(plain.db).checkpoints == 0);  // of keys it does not know it believes nothing
}

TEST_CASE("trust: a restored file goes on beside its old strand, with its key", "[app][pack][trust]") {
  Fleet f;
  backup(f.ship.db, f.ship.dir / "old.db");
  f.ship.add(4);
  f.office.take(f.ship.pack());
  const fs::path file = f.ship.db.path();
  f.ship.db = Database::create(f.ship.dir / "elsewhere.db");
  restore(f.ship.dir / "old.db", file, day(21).utc, false);
  f.ship.db = Database::open(file, Database::Mode::read_write);
  f.ship.add(5);  // before the office's pack: in the old strand it would take the place of record 4
  CHECK(f.office.take(f.ship.pack()).added == 1);
  const UnpackResult back = f.ship.take(f.office.pack());
  CHECK(back.added == 1);
  CHECK_FALSE(back.is_older_copy);
  f.ship.add(6);
  CHECK(f.office.take(f.ship.pack()).added == 1);
  CHECK(faults(f.ship) == std::vector<std::string>{});
  CHECK(faults(f.office) == std::vector<std::string>{});
  CHECK(f.ship.records() == f.office.records());
}
