#include "app/pack.hpp"

#include "app/export.hpp"
#include "base/error.hpp"
#include "storage/exchange_repository.hpp"
#include "storage/finding_repository.hpp"
#include "storage/log_repository.hpp"
#include "storage/register_repository.hpp"
#include "storage/verification_repository.hpp"
#include "support/log_text.hpp"
#include "support/sparse.hpp"
#include "support/temp_db.hpp"

#include <map>
#include <random>

#include <catch2/catch.hpp>
#include <fmt/format.h>

using namespace shaftlog;
using namespace shaftlog::test;

namespace {

const FixedClock kClock{from_unix(1'790'000'000)};

/// A file of a fleet.
struct Node {
  explicit Node(std::string called) : name{std::move(called)}, db{Database::create(dir / "shaftlog.db")} {}

  std::string make(const std::string& to, Instant now = from_unix(1'790'000'000), bool own_only = false) {
    PackResult result;
    return make_pack(db, FixedClock{now}, {to, own_only, name}, result);
  }
  UnpackResult take(const std::string& pack, bool join = false) {
    UnpackOptions options;
    options.join = join;
    return take_pack(db, pack, "x.pack", options);
  }
  /// \return what it says
  std::string refuses(const std::string& pack) {
    const auto before = text();
    try {
      take(pack);
    } catch (const Error& e) {
      CHECK(text() == before);
      return e.what();
    }
    FAIL("was taken in");
    return {};
  }
  std::map<std::string, std::string> text() {
    export_folder(db, dir / "export", {{}, true});
    return read_folder(dir / "export");
  }
  void set_up_register() {
    const RegisterRepository reg{db};
    const RegisterRepository::Change change{day(0).utc, "tester", false};
    WriteTransaction transaction{db};
    Grease g;
    g.code = "G-1";
    g.density = Density::from_base(920);
    reg.put(g, change);
    for (int v = 0; v < 5; ++v) {
      Vessel vessel;
      vessel.code = vessel.name = fmt::format("T-0{}", v);
      vessel.time_zone = "UTC";
      reg.put(vessel, change);
      ShaftSetting s;
      s.cavity = cm3(400);
      s.grease = g.id;
      reg.put_shaft(vessel.id, "port", s, change);
    }
    transaction.commit();
  }
  void set_cavity(const std::string& vessel, std::int64_t cavity_cm3, Instant at) {
    const RegisterRepository reg{db};
    const Register all = reg.load();
    WriteTransaction transaction{db};
    for (const Shaft& s : all.shafts) {
      for (const Vessel& v : all.vessels) {
        if (v.id != s.vessel || v.code != vessel) continue;
        ShaftSetting setting = s.settings.at(0);
        setting.cavity = cm3(cavity_cm3);
        reg.put_shaft(v.id, s.code, setting, {at, "tester", true});
      }
    }
    transaction.commit();
  }
  Entry hours(const std::string& vessel, std::uint64_t id, std::int64_t h) {
    const Register all = RegisterRepository{db}.load();
    Entry e;
    e.head.id = nth_id(id);
    e.head.at = day(1 + static_cast<int>(h % 300));
    e.head.recorded_at = e.head.at;
    e.head.by = "2/E";
    e.head.source = "typed";
    for (const Vessel& v : all.vessels) {
      if (v.code == vessel) e.vessel = v.id;
    }
    for (const Shaft& s : all.shafts) {
      if (s.vessel == e.vessel) e.shaft = s.id;
    }
    e.detail = Hours{HoursReading::from_base(h * 3600), false, std::nullopt};
    return e;
  }
  void add(const Entry& e) { LogRepository{db}.add(e); }
  void add_remark(const std::string& vessel, std::uint64_t id) {
    FindingRemark r;
    r.id = nth_id(id);
    r.finding = make_uuid_v8(vessel);
    r.kind = "seal_wear";
    r.vessel = hours(vessel, 1, 1).vessel;
    r.says = "grease is on order";
    r.at = r.recorded_at = day(9);
    FindingRepository{db}.add(r);
  }

  /// A verification of a record that may not be here yet.
  void verify(const std::string& vessel, std::uint64_t record, std::uint64_t id, const std::string& by) {
    VerificationRepository{db}.add({nth_id(id), nth_id(record), hours(vessel, 1, 1).vessel, day(9), by});
  }
  std::vector<Verification> verified(const std::string& vessel, std::uint64_t record) {
    return VerificationRepository{db}.of(hours(vessel, 1, 1).vessel, nth_id(record));
  }

  TempDir dir;
  std::string name;
  Database db;
};

bool has(const std::string& text, const std::string& part) { return text.find(part) != std::string::npos; }

}  // namespace

TEST_CASE("pack: names from before there was a limit travel as they are", "[app][pack]") {
  Node ship{"T-01"}, office{"office"};
  office.set_up_register();
  const std::string endless(5000, 'x');
  Vessel vessel;
  vessel.code = vessel.name = endless;
  vessel.time_zone = "UTC";
  RegisterRepository{office.db}.put(vessel, {day(0).utc, endless, false});
  Entry e = office.hours("T-01", 1, 10);
  e.head.by = endless;
  office.add(e);
  ship.take(office.make(""), true);
  CHECK(ship.text() == office.text());
}

TEST_CASE("pack: records, remarks and the register go from ship to office and back", "[app][pack]") {
  Node ship{"T-01"}, office{"office"};
  office.set_up_register();
  CHECK(ship.take(office.make("")).has_joined);
  for (int n = 1; n <= 70; ++n) ship.add(ship.hours("T-01", static_cast<std::uint64_t>(n), n));
  const UnpackResult first = office.take(ship.make("office"));
  CHECK(first.added == 70);
  office.add_remark("T-01", 500);
  const UnpackResult back = ship.take(office.make("T-01"));
  CHECK(back.added == 1);
  CHECK(back.known == 0);
  CHECK(ship.text() == office.text());
  CHECK(check(ship.db).faults == std::vector<std::string>{});
  CHECK(check(office.db).faults == std::vector<std::string>{});
  // Nothing new: nothing but the manifest, and it says so.
  CHECK(office.take(ship.make("office")).added == 0);
  CHECK(ship.make("office").size() < 1'000);
}

TEST_CASE("pack: taken in twice it adds nothing", "[app][pack]") {
  Node ship{"T-01"}, office{"office"};
  office.set_up_register();
  ship.take(office.make(""));
  ship.add(ship.hours("T-01", 1, 1));
  const std::string pack = ship.make("office");
  CHECK(office.take(pack).added == 1);
  const auto before = office.text();
  CHECK(office.take(pack).added == 0);
  CHECK(office.text() == before);
}

TEST_CASE("pack: cut anywhere, altered anywhere, it changes nothing and says why", "[app][pack]") {
  Node ship{"T-01"}, office{"office"};
  office.set_up_register();
  ship.take(office.make(""));
  ship.add(ship.hours("T-01", 1, 1));
  const std::string pack = ship.make("office");
  for (std::size_t n = 0; n < pack.size(); n += 7 * kSparse) {
    const auto said = office.refuses(pack.substr(0, n));
    CHECK((has(said, "is cut short") || has(said, "is not a pack")));
  }
  for (std::size_t n = 0; n < pack.size(); n += 3 * kSparse) {
    std::string altered = pack;
    altered[n] = static_cast<char>(altered[n] ^ 0x10);
    CHECK(has(office.refuses(altered), "x.pack: is"));
  }
  CHECK(has(office.refuses(pack + "x"), "is altered"));
  CHECK(has(office.refuses(""), "is not a pack"));
  std::string later = pack;
  later[7] = 9;
  CHECK(has(office.refuses(later), "format 9, this program knows 1 to 4"));
}

TEST_CASE("pack: a true checksum over wrong content is refused all the same", "[app][pack]") {
  Node ship{"T-01"}, office{"office"};
  office.set_up_register();
  ship.take(office.make(""));
  for (int n = 1; n <= 3; ++n) ship.add(ship.hours("T-01", static_cast<std::uint64_t>(n), n));
  const Pack good = read_pack(ship.make("office"));
  REQUIRE(good.manifest.strands.size() == 1);
  for (std::size_t n = 0; n < good.content.size(); n += kSparse) {
    Pack bad = good;
    bad.content[n] = static_cast<char>(bad.content[n] ^ 1);
    office.refuses(write_pack(bad));
  }
  Pack bad = good;
  bad.manifest.strands[0].last = 1'000'000'000'000;
  CHECK(has(office.refuses(write_pack(bad)), "ends too early"));
  bad = good;
  bad.manifest.strands[0].after[3] ^= 1;
  CHECK(has(office.refuses(write_pack(bad)), "do not come out"));
  bad = good;
  bad.content.push_back('\0');
  CHECK(has(office.refuses(write_pack(bad)), "more follows"));
  CHECK(office.take(write_pack(good)).added == 3);
}

TEST_CASE("pack: two who verify one record both stand, wherever packs come first", "[app][pack]") {
  Node ship{"T-01"}, office{"office"}, second{"second office"};
  office.set_up_register();
  ship.take(office.make(""));
  ship.add(ship.hours("T-01", 1, 1));
  const std::string before = ship.make("office");
  CHECK(before[7] == '\1');  // what holds no verification keeps the format that older programs read
  office.take(before);
  second.take(office.make(""));
  ship.take(office.make("T-01"));
  ship.verify("T-01", 1, 600, "chief");
  office.verify("T-01", 1, 601, "relief chief");
  const std::string aboard = ship.make(""), ashore = office.make("");
  CHECK(aboard[7] == '\3');
  for (const std::string* pack : {&aboard, &ashore, &aboard}) second.take(*pack);
  office.take(aboard);
  ship.take(ashore);
  CHECK(ship.verified("T-01", 1).size() == 2);
  CHECK(ship.text() == office.text());
  CHECK(second.text() == office.text());
  CHECK(has(ship.text()["verifications.csv"], "relief chief"));
  for (Node* node : {&ship, &office, &second}) CHECK(check(node->db).faults == std::vector<std::string>{});
  CHECK(office.take(aboard).added == 0);
}

TEST_CASE("pack: a verification may come before its record", "[app][pack]") {
  Node ship{"T-01"}, office{"office"}, second{"second office"};
  office.set_up_register();
  ship.take(office.make(""));
  second.take(office.make(""));
  ship.add(ship.hours("T-01", 1, 1));
  office.take(ship.make("office"));
  office.verify("T-01", 1, 600, "chief");
  CHECK(second.take(office.make("", from_unix(1'790'000'000), /*own_only=*/true)).added == 1);
  CHECK(check(second.db).faults == std::vector<std::string>{});
  second.take(ship.make(""));
  CHECK(second.verified("T-01", 1).size() == 1);
  CHECK(second.text() == office.text());
}

TEST_CASE("pack: a verification in a format that has none is refused, whatever its hashes say", "[app][pack]") {
  Node ship{"T-01"}, office{"office"};
  office.set_up_register();
  ship.take(office.make(""));
  ship.add(ship.hours("T-01", 1, 1));
  ship.verify("T-01", 1, 600, "chief");
  Pack pack = read_pack(ship.make("office"));
  CHECK(pack.has_verifications);
  pack.has_verifications = false;
  CHECK(has(office.refuses(write_pack(pack)), "record 2 of T-01: is a verification"));
  pack.has_verifications = true;
  CHECK(office.take(write_pack(pack)).added == 2);
}

TEST_CASE("pack: one verification with two contents is kept twice and passes the check", "[app][pack]") {
  Node ship{"T-01"}, office{"office"};
  office.set_up_register();
  ship.take(office.make(""));
  ship.add(ship.hours("T-01", 1, 1));
  office.take(ship.make("office"));
  ship.verify("T-01", 1, 600, "chief");
  office.verify("T-01", 1, 600, "somebody else");
  const UnpackResult r = office.take(ship.make(""));
  REQUIRE(r.conflicts.size() == 1);
  CHECK(has(r.conflicts[0], "verification " + format_uuid(nth_id(600)) + " is here with other content"));
  CHECK(check(office.db).faults == std::vector<std::string>{});
}

TEST_CASE("pack: of another fleet, or with records of its own, a file takes nothing in unasked", "[app][pack]") {
  Node ship{"T-01"}, office{"office"}, other{"other"}, stranger{"stranger"};
  office.set_up_register();
  other.set_up_register();
  ship.take(office.make(""));
  CHECK(has(ship.refuses(other.make("")), "is of another fleet"));
  stranger.set_up_register();
  stranger.add(stranger.hours("T-02", 9, 9));
  CHECK(has(stranger.refuses(office.make("")), "--join"));
  CHECK(stranger.take(office.make(""), /*join=*/true).has_joined);
  office.take(stranger.make("office"));
  CHECK(office.text() == stranger.text());
}

TEST_CASE("pack: a gap is refused and said how to close", "[app][pack]") {
  Node ship{"T-01"}, office{"office"}, second{"second office"};
  office.set_up_register();
  ship.take(office.make(""));
  ship.add(ship.hours("T-01", 1, 1));
  office.take(ship.make("office"));
  ship.take(office.make("T-01"));
  ship.add(ship.hours("T-01", 2, 2));
  const std::string rest = ship.make("office");
  second.take(office.make("T-01"));  // knows the fleet, and of the ship nothing
  CHECK(has(second.refuses(rest), "has the records of T-01 from number 2 on, and this file has 0 of them"));
  CHECK(second.take(ship.make("")).added == 2);
}

TEST_CASE("pack: of two contradictory corrections both are kept and told", "[app][pack]") {
  Node ship{"T-01"}, office{"office"};
  office.set_up_register();
  ship.take(office.make(""));
  const Entry e = ship.hours("T-01", 1, 10);
  ship.add(e);
  office.take(ship.make("office"));
  ship.take(office.make("T-01"));
  Entry aboard = ship.hours("T-01", 2, 11);
  aboard.head.replaces = e.head.id;
  ship.add(aboard);
  Entry ashore = office.hours("T-01", 3, 12);
  ashore.head.replaces = e.head.id;
  office.add(ashore);
  const UnpackResult r = office.take(ship.make("office"));
  REQUIRE(r.conflicts.size() == 1);
  CHECK(has(r.conflicts[0], "was corrected or withdrawn twice"));
  ship.take(office.make("T-01"));
  CHECK(ship.text() == office.text());
}

TEST_CASE("pack: one id with two contents is kept twice and passes the check", "[app][pack]") {
  Node ship{"T-01"}, office{"office"}, third{"third"};
  office.set_up_register();
  ship.take(office.make(""));
  ship.add(ship.hours("T-01", 1, 10));
  office.add(office.hours("T-01", 1, 20));
  const UnpackResult r = office.take(ship.make("office"));
  REQUIRE(r.conflicts.size() == 1);
  CHECK(has(r.conflicts[0], "is here with other content"));
  CHECK(r.added == 0);
  CHECK(check(office.db).faults == std::vector<std::string>{});
  third.take(office.make(""));  // both strands whole, the ship's with what the ship has
  CHECK(check(third.db).faults == std::vector<std::string>{});
  third.take(ship.make(""));
}

TEST_CASE("pack: of a row of the register the one put right last counts everywhere", "[app][pack]") {
  Node ship{"T-01"}, office{"office"};
  office.set_up_register();
  ship.take(office.make(""));
  ship.set_cavity("T-01", 500, day(10).utc);
  office.set_cavity("T-01", 600, day(11).utc);
  const UnpackResult r = office.take(ship.make("office"));
  CHECK(r.registered.kept == std::vector<std::string>{"shaft port of T-01"});
  CHECK(ship.take(office.make("T-01")).registered.replaced == std::vector<std::string>{"shaft port of T-01"});
  CHECK(ship.text() == office.text());
  CHECK(has(ship.text()["shafts.csv"], "600"));
  Node third{"third"};
  third.take(ship.make(""));
  office.set_cavity("T-01", 700, day(12).utc);
  third.take(office.make(""));
  CHECK(third.text() == office.text());
}

TEST_CASE("pack: an older copy of a file gets back what others have of it, and goes on beside it", "[app][pack]") {
  Node ship{"T-01"}, office{"office"};
  office.set_up_register();
  ship.take(office.make(""));
  ship.add(ship.hours("T-01", 1, 1));
  backup(ship.db, ship.dir / "old.db");
  ship.add(ship.hours("T-01", 2, 2));
  office.take(ship.make("office"));
  Database old = Database::open(ship.dir / "old.db", Database::Mode::read_write);
  PackResult ignored;
  const std::string pack = make_pack(office.db, kClock, {"", false, ""}, ignored);
  const UnpackResult r = take_pack(old, pack, "x.pack", {});
  CHECK(r.added == 1);
  CHECK(r.is_older_copy);
  LogRepository{old}.add(ship.hours("T-01", 3, 3));
  CHECK(check(old).faults == std::vector<std::string>{});
  CHECK(office.take(make_pack(old, kClock, {"", false, "T-01"}, ignored)).added == 1);
  // The ship's first file goes on, too: its next record takes a place of the common strand.
  ship.add(ship.hours("T-01", 4, 4));
  CHECK(office.take(ship.make("")).added == 1);
}

TEST_CASE("pack: two copies of one file that were both written to are refused", "[app][pack]") {
  Node ship{"T-01"}, office{"office"};
  office.set_up_register();
  ship.take(office.make(""));
  ship.add(ship.hours("T-01", 1, 1));
  backup(ship.db, ship.dir / "twin.db");
  Database twin = Database::open(ship.dir / "twin.db", Database::Mode::read_write);
  ship.add(ship.hours("T-01", 2, 2));
  LogRepository{twin}.add(ship.hours("T-01", 3, 3));
  office.take(ship.make("office"));
  PackResult ignored;
  CHECK(has(office.refuses(make_pack(twin, kClock, {"office", false, "T-01"}, ignored)), "part at number 2"));
}

TEST_CASE("pack: a name is asked for, and whoever is not known is said", "[app][pack]") {
  Node office{""};
  CHECK_THROWS_WITH(office.make(""), Catch::Contains("no name yet"));
  office.name = "office";
  office.make("");
  CHECK_THROWS_WITH(office.make("T-09"), Catch::Contains("no pack of \"T-09\""));
}

TEST_CASE("pack: an hour of a ship's log costs less than 2 kB", "[app][pack]") {
  Node ship{"T-01"}, office{"office"};
  office.set_up_register();
  ship.take(office.make(""));
  office.take(ship.make("office"));
  ship.take(office.make("T-01"));
  for (int n = 1; n <= 8; ++n) ship.add(ship.hours("T-01", static_cast<std::uint64_t>(n), n));
  const auto bytes = ship.make("office").size();
  INFO(bytes << " bytes");
  CHECK(bytes < 2'000);
}

// Packs are lost, come late, twice and in any order; in the end every file has everything, in the same bytes.
TEST_CASE("pack: five ships and two offices come to the same files whatever the mail does", "[app][pack]") {
  std::mt19937 random{2026};
  const auto below = [&](std::size_t n) { return static_cast<std::size_t>(random() % n); };
  std::vector<std::unique_ptr<Node>> nodes;
  for (int n = 0; n < 5; ++n) nodes.push_back(std::make_unique<Node>(fmt::format("T-0{}", n)));
  nodes.push_back(std::make_unique<Node>("office"));
  nodes.push_back(std::make_unique<Node>("second office"));
  nodes[5]->set_up_register();
  const std::string first = nodes[5]->make("");
  for (auto& node : nodes) {
    if (node != nodes[5]) node->take(first);
  }
  std::vector<std::pair<std::size_t, std::string>> mail;       // to whom
  std::vector<std::pair<std::string, std::uint64_t>> written;  // ship and record
  std::uint64_t id = 0;
  std::int64_t now_s = 1'780'000'000;
  constexpr int kRounds = 1000 / static_cast<int>(kSparse);
  for (int round = 0; round < kRounds; ++round) {
    now_s += 60;
    const std::size_t who = below(nodes.size());
    Node& node = *nodes[who];
    const auto vessel = fmt::format("T-0{}", who < 5 ? who : below(5));
    ++id;
    if (who >= 5 && below(3) == 0) {
      node.add_remark(vessel, id);
    } else if (!written.empty() && below(4) == 0) {
      // Of any ship; it may not be here yet, or somebody may have verified it already.
      const auto& [of, record] = written[below(written.size())];
      node.verify(of, record, id, fmt::format("chief {}", who));
    } else {
      node.add(node.hours(vessel, id, static_cast<std::int64_t>(id)));
      written.emplace_back(vessel, id);
    }
    if (below(20) == 0)
      node.set_cavity(vessel, 300 + static_cast<std::int64_t>(below(300)), from_unix(now_s / 600 * 600));
    std::size_t to = below(nodes.size());
    if (to == who) to = (to + 1) % nodes.size();
    std::string receiver = nodes[to]->name;
    for (const Strand& s : ExchangeRepository{node.db}.strands()) {
      if (s.name == receiver) receiver.clear();
    }
    const bool is_known = receiver.empty();
    mail.emplace_back(to, node.make(is_known ? nodes[to]->name : "", from_unix(now_s)));
    while (mail.size() > below(12)) {
      const std::size_t which = below(mail.size());
      const auto [receiver_at, pack] = mail[which];
      const std::size_t fate = below(10);
      if (fate != 0) mail.erase(mail.begin() + static_cast<std::ptrdiff_t>(which));  // else it comes once more
      if (fate < 3 && fate > 0) continue;                                            // lost
      try {
        nodes[receiver_at]->take(pack);
      } catch (const Error& e) {
        FAIL(e.what());  // a pack begins where its receiver said it was: none can come before one it builds on
      }
    }
  }
  // Then the mail works for two turns.
  for (int turn = 0; turn < 2; ++turn) {
    for (auto& from : nodes) {
      const std::string pack = from->make("", from_unix(now_s + 60 + turn));
      for (auto& to : nodes) {
        if (to != from) to->take(pack);
      }
    }
  }
  const auto expected = nodes[0]->text();
  for (auto& node : nodes) {
    CHECK(node->text() == expected);
    CHECK(check(node->db).faults == std::vector<std::string>{});
  }
  std::size_t lines = 0;
  for (const auto& [name, text] : expected)
    lines += static_cast<std::size_t>(std::count(text.begin(), text.end(), '\n'));
  CHECK(lines > kRounds);
  const std::string& verified = expected.at("verifications.csv");
  CHECK(std::count(verified.begin(), verified.end(), '\n') > kRounds / 8);
}
