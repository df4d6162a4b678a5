// The chief engineer's mark through the program: a ship and its office.
#include "support/run.hpp"
#include "support/tampering.hpp"

#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

using namespace shaftlog;
using namespace shaftlog::test;
using Catch::Matchers::Contains;
using Json = nlohmann::json;

namespace {

const std::string kFirst = "aaaaaaaa-0000-7000-8000-000000000001";
const std::string kCorrected = "aaaaaaaa-0000-7000-8000-000000000002";
const std::string kCorrection = "bbbbbbbb-0000-7000-8000-000000000003";

struct Ship : Aboard {
  Ship() {
    ok({"init"});
    ok({"import", (std::filesystem::path{SHAFTLOG_SOURCE_DIR} / "tests/errors/ship").string()});
  }
  Json json(std::vector<std::string> words) const {
    words.emplace_back("--json");
    return Json::parse(ok(words));
  }
  std::size_t lines(const std::vector<std::string>& words) const {
    const std::string text = ok(words);
    return static_cast<std::size_t>(std::count(text.begin(), text.end(), '\n'));
  }
};

}  // namespace

TEST_CASE("verify: one record is verified, and everywhere says by whom", "[e2e][verify]") {
  const Ship s;
  CHECK_THAT(s.ok({"show", kFirst}), Contains("verified   no"));
  CHECK(s.json({"show", kFirst}).at("record").at("verified").empty());
  CHECK_THAT(s.ok({"verify", kFirst, "--by", "C/E"}), Contains("verified by C/E: 1 record"));
  CHECK_THAT(s.ok({"show", kFirst}), Contains("by C/E on "));
  const Json of = s.json({"show", kFirst}).at("record").at("verified");
  REQUIRE(of.size() == 1);
  CHECK(of.at(0).at("by") == "C/E");
  CHECK_THAT(s.ok({"list", "--csv"}), Contains(",C/E\n"));
  CHECK_THAT(s.ok({"verify", kFirst, "--by", "C/E"}), Contains("verified by C/E before: 1 record"));
  CHECK_THAT(s.ok({"check"}), Contains(", 1 verification,"));
}

TEST_CASE("verify: a vessel is verified up to a day, and a list shows what is left", "[e2e][verify]") {
  const Ship s;
  const std::size_t all = s.json({"list"}).at("records").size();
  CHECK(all == 4);
  const Json first = s.json({"verify", "--vessel", "T-01", "--until", "2026-02-02", "--by", "C/E"});
  CHECK(first.at("verified").size() == 2);
  const Json left = s.json({"list", "--unverified"}).at("records");
  CHECK(left.size() == 2);
  for (const Json& r : left) CHECK(r.at("verified").empty());
  CHECK_THAT(s.ok({"verify", "--vessel", "T-01", "--by", "C/E"}), Contains("verified by C/E: 2 records"));
  CHECK_THAT(s.ok({"list", "--unverified"}), Contains("no record"));
  CHECK_THAT(s.ok({"verify", "--vessel", "T-01", "--by", "C/E"}), Contains("verified by C/E: 0 records"));
}

TEST_CASE("verify: a doubtful record is told, left out with exit code 1, and verified when it is named",
          "[e2e][verify]") {
  const Ship s;
  s.ok({"add", "hours", "shaft=fin_port", "at=2026-02-15T08:00", "meter_h=120", "by=2/E"});
  s.ok({"add", "hours", "shaft=fin_port", "at=2026-02-22T08:00", "meter_h=1300", "by=2/E"});
  const Ran ran = s({"verify", "--vessel", "T-01", "--by", "C/E"});
  CHECK(ran.code == 1);
  CHECK_THAT(ran.out, Contains("doubtful, left out: "));
  CHECK_THAT(ran.out, Contains("left out as doubtful: 1 record"));
  const Json left = s.json({"list", "--unverified"}).at("records");
  REQUIRE(left.size() == 1);
  const std::string id = left.at(0).at("id");
  CHECK_THAT(s.ok({"verify", id, "--by", "C/E"}), Contains("doubtful: " + id));
  CHECK(s.json({"list", "--unverified"}).at("records").empty());
}

TEST_CASE("verify: a correction is not verified by what was said of the record before", "[e2e][verify]") {
  const Ship s;
  s.ok({"verify", kFirst, "--by", "C/E"});
  s.ok({"correct", kFirst, "--amount", "62", "--reason", "read again"});
  const Json shown = s.json({"show", kFirst});
  CHECK(shown.at("record").at("verified").size() == 1);
  CHECK(shown.at("history").back().at("verified").empty());
  CHECK(s({"verify", kFirst, "--by", "C/E"}).code == 3);
}

TEST_CASE("verify: the review finds the same whether records are verified or not", "[e2e][verify]") {
  const Ship s;
  const std::vector<std::string> review{"review", "--as-of", "2026-06-01", "--json"};
  const std::string before = s.ok(review);
  s.ok({"verify", "--vessel", "T-01", "--by", "C/E"});
  CHECK(s.ok(review) == before);
}

TEST_CASE("verify: a log folder carries verifications, and a second import adds none", "[e2e][verify]") {
  const Ship s;
  s.ok({"verify", "--vessel", "T-01", "--by", "C/E"});
  s.ok({"export", "out"});
  s.ok({"--db", "other.db", "init"});
  s.ok({"--db", "other.db", "import", "out"});
  s.ok({"--db", "other.db", "import", "out"});
  s.ok({"--db", "other.db", "export", "again"});
  CHECK(read_text(s.dir / "again/verifications.csv") == read_text(s.dir / "out/verifications.csv"));
  CHECK_THAT(s.ok({"--db", "other.db", "check"}), Contains(", 4 verifications,"));
  write_text(s.dir / "bad/verifications.csv",
             "vessel,record,at,by\nT-01," + kFirst + ",2026-03-01,\nT-01,x,2026-03-01,C/E\n");
  const Ran ran = s({"import", "bad/verifications.csv"});
  CHECK(ran.code == 3);
  CHECK_THAT(ran.err + ran.out, Contains("by: is missing"));
  CHECK_THAT(ran.err + ran.out, Contains("record: \"x\""));
}

TEST_CASE("verify: packs carry it ashore, where what the ship wrote is not verified", "[e2e][verify]") {
  const Ship s;
  s.ok({"pack", "start.pack", "--all", "--name", "T-01"});
  s.ok({"--db", "office.db", "init"});
  s.ok({"--db", "office.db", "unpack", "start.pack"});
  s.ok({"--db", "office.db", "side", "office"});
  const Ran refused = s({"--db", "office.db", "verify", kFirst, "--by", "superintendent"});
  CHECK(refused.code == 3);
  CHECK_THAT(refused.err,
             Contains("was first written in the file of T-01, and this is an office's file: it is verified "));
  s.ok({"verify", "--vessel", "T-01", "--by", "C/E"});
  s.ok({"pack", "more.pack", "--all"});
  CHECK(read_text(s.dir / "more.pack")[7] == '\3');
  const Json told = s.json({"--db", "office.db", "unpack", "more.pack", "--dry-run"});
  CHECK(told.at("verified") == Json::parse(R"([{"by": "C/E", "records": 4}])"));
  const std::string answer = s.ok({"--db", "office.db", "unpack", "more.pack"});
  CHECK_THAT(answer, Contains("4 records added") && Contains("\n4 records verified by C/E\n"));
  CHECK_THAT(s.ok({"--db", "office.db", "unpack", "more.pack"}), !Contains("verified by"));
  CHECK(s.json({"--db", "office.db", "unpack", "more.pack"}).at("verified").empty());
  CHECK(s.ok({"--db", "office.db", "list", "--csv"}) == s.ok({"list", "--csv"}));
  CHECK_THAT(s.ok({"--db", "office.db", "check"}), Contains("all is well"));
}

TEST_CASE("verify: what recover saves of a file is verified as before", "[e2e][verify]") {
  const Ship s;
  s.ok({"verify", kFirst, kCorrection, "--by", "C/E"});
  s.ok({"recover", "shaftlog.db", "saved.db"});
  CHECK(s.ok({"--db", "saved.db", "list", "--csv"}) == s.ok({"list", "--csv"}));
  CHECK_THAT(s.ok({"--db", "saved.db", "check"}), Contains(", 2 verifications,"));
}

TEST_CASE("verify: check names a verification that somebody altered", "[e2e][verify]") {
  const Ship s;
  s.ok({"verify", kFirst, "--by", "C/E"});
  {
    Database db = Database::open(s.dir / "shaftlog.db", Database::Mode::read_write);
    tamper(db, {"UPDATE verification SET at_utc_s = at_utc_s - 86400"});
  }
  const Ran ran = s({"check"});
  CHECK(ran.code == 1);
  CHECK_THAT(ran.out, Contains("(of record " + kFirst + " of T-01"));
  CHECK_THAT(ran.out, Contains("is not as it was written"));
}

TEST_CASE("verify: a backup that lacks verifications says so before it is put back", "[e2e][verify]") {
  const Ship s;
  s.ok({"backup", "b.db"});
  s.ok({"verify", kFirst, "--by", "C/E"});
  CHECK_THAT(s.ok({"restore", "b.db", "--dry-run"}), Contains("the backup lacks: 1 verification"));
}
