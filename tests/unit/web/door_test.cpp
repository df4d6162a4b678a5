#include "web/door.hpp"

#include "base/error.hpp"
#include "support/temp_db.hpp"

#include <catch2/catch.hpp>

using namespace shaftlog;
using namespace shaftlog::web;
using namespace shaftlog::test;
using namespace std::chrono_literals;

namespace {

const std::string kPhrase = "a long phrase of mine";

struct Accounts {
  TempDir folder;
  std::filesystem::path file = folder / "people";
  Accounts() {
    add_account(file, {"mate", Account::Role::crew, "T-01", {}}, kPhrase);
    add_account(file, {"office", Account::Role::superintendent, {}, {}}, kPhrase);
  }
};

const Tick kStart = Tick{} + 1000h;

void fail(Door& door, const std::string& name, const std::string& address, Tick now) {
  const Door::Entered e = door.enter(name, "a wrong phrase", address, now);
  REQUIRE(e.session.empty());
  REQUIRE(e.wait.count() == 0);
}

}  // namespace

TEST_CASE("door: a session ends two hours after it was last used, and after twelve in any case", "[web][door]") {
  const Accounts a;
  Door door{a.file};
  const std::string session = door.enter("mate", kPhrase, "192.0.2.1", kStart).session;
  REQUIRE_FALSE(session.empty());
  Tick now = kStart;
  for (; now - kStart <= Door::kLongest; now += 119min) CHECK(door.who(session, now).role == Role::crew);
  CHECK(door.who(session, kStart + Door::kLongest).vessel == "T-01");
  CHECK(door.who(session, kStart + Door::kLongest + 1s).role == Role::nobody);
  CHECK(door.who(session, kStart).role == Role::nobody);  // gone for good

  const std::string other = door.enter("mate", kPhrase, "192.0.2.1", kStart).session;
  CHECK(door.who(other, kStart + Door::kIdle).role == Role::crew);
  CHECK(door.who(other, kStart + 2 * Door::kIdle + 1s).role == Role::nobody);
}

TEST_CASE("door: who leaves or loses the account is out at once; a token is of one session", "[web][door]") {
  const Accounts a;
  Door door{a.file};
  const std::string mate = door.enter("mate", kPhrase, "192.0.2.1", kStart).session;
  const std::string office = door.enter("office", kPhrase, "192.0.2.2", kStart).session;
  CHECK(door.is_token(mate, door.token(mate)));
  CHECK_FALSE(door.is_token(office, door.token(mate)));
  CHECK_FALSE(door.is_token(mate, ""));
  door.leave(mate);
  CHECK(door.who(mate, kStart).role == Role::nobody);
  CHECK(door.who(office, kStart).role == Role::superintendent);
  remove_account(a.file, "office");
  std::filesystem::last_write_time(a.file,
                                   std::filesystem::last_write_time(a.file) + 1s);  // clocks of files are coarse
  CHECK(door.who(office, kStart).role == Role::nobody);
}

TEST_CASE("door: five wrong tries shut it to the right passphrase too, and it opens again", "[web][door]") {
  const Accounts a;
  Door door{a.file};
  for (int i = 0; i < Door::kFreeTries; ++i) fail(door, "office", "192.0.2.1", kStart);
  CHECK(door.enter("office", kPhrase, "198.51.100.9", kStart).wait == Door::kFirstWait);  // the name, from anywhere
  CHECK(door.enter("mate", kPhrase, "192.0.2.1", kStart).wait == Door::kFirstWait);       // the address, by any name
  CHECK_FALSE(door.enter("mate", kPhrase, "198.51.100.9", kStart).session.empty());
  CHECK(door.enter("office", kPhrase, "192.0.2.1", kStart + Door::kFirstWait - 1s).wait == 1s);
  CHECK_FALSE(door.enter("office", kPhrase, "192.0.2.1", kStart + Door::kFirstWait).session.empty());
  // Who got in begins anew.
  for (int i = 0; i < Door::kFreeTries - 1; ++i) fail(door, "office", "192.0.2.1", kStart + 1h);
  CHECK_FALSE(door.enter("office", kPhrase, "192.0.2.1", kStart + 1h).session.empty());
}

TEST_CASE("door: each further wrong try shuts it for twice as long, half an hour at most", "[web][door]") {
  const Accounts a;
  Door door{a.file};
  Tick now = kStart;
  for (int i = 0; i < Door::kFreeTries; ++i) fail(door, "nobody-of-that-name", "192.0.2.1", now);
  auto expected = std::chrono::seconds{Door::kFirstWait};
  for (int i = 0; i < 8; ++i) {
    const auto wait = door.enter("nobody-of-that-name", "a wrong phrase", "192.0.2.1", now).wait;
    CHECK(wait == expected);
    expected = std::min<std::chrono::seconds>(2 * expected, Door::kLongestWait);
    now += wait;
    fail(door, "nobody-of-that-name", "192.0.2.1", now);
  }
  CHECK(door.enter("nobody-of-that-name", "a wrong phrase", "192.0.2.1", now).wait == Door::kLongestWait);
}

TEST_CASE("door: a file of accounts that is spoilt or readable by others lets nobody in", "[web][door]") {
  const Accounts a;
  Door door{a.file};
  const std::string session = door.enter("office", kPhrase, "192.0.2.1", kStart).session;
  std::filesystem::permissions(a.file, std::filesystem::perms::others_read, std::filesystem::perm_options::add);
  std::filesystem::last_write_time(a.file, std::filesystem::last_write_time(a.file) + 1s);
  CHECK(door.who(session, kStart).role == Role::nobody);
  CHECK_THROWS_WITH(door.enter("office", kPhrase, "192.0.2.1", kStart), Catch::Contains("others may read it"));
}
