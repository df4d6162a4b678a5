// Keys and signed packs through the program: an office and a ship, each in a folder of its own file.
#include "support/run.hpp"
#include "support/tampering.hpp"

#include <sys/stat.h>

#include <catch2/catch.hpp>

using namespace shaftlog;
using namespace shaftlog::test;
using Catch::Matchers::Contains;

namespace {

struct Fleet : Aboard {
  Fleet() {
    office({"init"});
    office({"import", (std::filesystem::path{SHAFTLOG_SOURCE_DIR} / "tests/errors/ship").string()});
    office({"key", "make"});
    office({"pack", "start.pack", "--all", "--name", "office"});
    ship({"init"});
    ship({"unpack", "start.pack", "--accept-key", print_of("office.db")});
    ship({"key", "make"});
    ship({"add", "hours", "shaft=fin_port", "at=2026-03-01", "meter_h=2000"});
    ship({"pack", "first.pack", "--for", "office", "--name", "T-01"});
    office({"unpack", "first.pack", "--accept-key", print_of("ship.db")});
  }
  std::string office(std::vector<std::string> words) const { return of("office.db", std::move(words)); }
  std::string ship(std::vector<std::string> words) const { return of("ship.db", std::move(words)); }
  std::string of(const char* file, std::vector<std::string> words) const {
    words.insert(words.begin(), {"--db", file});
    return ok(words);
  }
  std::string print_of(const char* file) const {
    const std::string said = of(file, {"key", "show"});
    return said.substr(std::string_view{"fingerprint "}.size(), 39);
  }
  Ran refused(const std::string& pack) const { return (*this)({"--db", "office.db", "unpack", pack}); }
};

}  // namespace

TEST_CASE("trust: a changed byte anywhere in a signed pack is refused, and nothing is taken in", "[e2e][trust]") {
  const Fleet f;
  f.ship({"add", "hours", "shaft=fin_port", "at=2026-03-02", "meter_h=2010"});
  f.ship({"pack", "good.pack", "--for", "office"});
  const std::string good = read_text(f.dir / "good.pack");
  const std::string before = f.office({"list", "--csv", "--all-versions"});
  for (std::size_t at = 0; at < good.size(); at += 83) {
    std::string bad = good;
    bad[at] = static_cast<char>(bad[at] ^ 0x04);
    write_text(f.dir / "bad.pack", bad);
    INFO("byte " << at);
    CHECK(f.refused("bad.pack").code == 3);
  }
  CHECK(f.office({"list", "--csv", "--all-versions"}) == before);
  CHECK_THAT(f.office({"unpack", "good.pack"}),
             Contains("1 record added, 0 known\nsigned by T-01 with " + f.print_of("ship.db")));
}

TEST_CASE("trust: a copy of the database cannot sign, and nothing unsigned passes for the ship's", "[e2e][trust]") {
  const Fleet f;
  struct ::stat about {};
  REQUIRE(::stat((f.dir / "ship.db.key").c_str(), &about) == 0);
  CHECK((about.st_mode & 0777) == 0600);
  f.ship({"backup", "copy.db"});
  CHECK(!std::filesystem::exists(f.dir / "copy.db.key"));
  const Ran ran = f({"--db", "copy.db", "pack", "x.pack", "--all"});
  CHECK(ran.code == 3);
  CHECK_THAT(ran.err, Contains("copy.db.key: this file's secret key is not there"));
  CHECK(!std::filesystem::exists(f.dir / "x.pack"));
  f.of("copy.db", {"pack", "x.pack", "--all", "--unsigned"});
  const Ran unsigned_one = f.refused("x.pack");
  CHECK(unsigned_one.code == 3);
  CHECK_THAT(unsigned_one.err, Contains("is not signed, and T-01 signs its packs with the key"));
}

TEST_CASE("trust: check names what was written anew behind right hashes", "[e2e][trust]") {
  const Fleet f;
  f.ship({"check", "--sign"});
  {
    Database db = Database::open(f.dir / "ship.db", Database::Mode::read_write);
    rewrite(db, "UPDATE entry SET remark = 'was not so' WHERE entry_id = (SELECT max(entry_id) FROM entry)");
  }
  const Ran ran = f({"--db", "ship.db", "check", "--sign"});
  CHECK(ran.code == 1);
  CHECK_THAT(ran.out, Contains("record 1 of strand T-01 differs from what was signed on"));
  CHECK_THAT(ran.out, Contains("nothing was signed"));
  CHECK(f({"--db", "ship.db", "pack", "y.pack", "--all"}).code == 4);
  CHECK_THAT(f.office({"check"}), Contains("all is well"));
}
