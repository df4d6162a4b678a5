// The life of a finding through the program: shown, taken in hand, closed, judged by the records since, reopened,
// carried by export and import. The ship is that of the scenario with a step of the loss on one shaft.
#include "support/run.hpp"

#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

using namespace shaftlog::test;
using Catch::Matchers::Contains;
using nlohmann::json;

namespace {

const std::string kShip = std::string{SHAFTLOG_SOURCE_DIR} + "/tests/e2e/scenarios/04_step";

/// Without line ends and runs of blanks: where a text is broken does not matter here.
std::string flat(const std::string& text) {
  std::string out;
  for (const char c : text) {
    const char blank = c == '\n' ? ' ' : c;
    if (blank != ' ' || out.empty() || out.back() != ' ') out += blank;
  }
  return out;
}

const std::string kFound = "2025-08-20";  // the day after the third high greasing

struct Case : Aboard {
  Case() {
    ok({"init"});
    ok({"import", kShip});
  }
  [[nodiscard]] json review_json(const std::string& as_of) const {
    return json::parse(ok({"review", "--json", "--as-of", as_of}));
  }
  /// The finding about the loss of the port shaft.
  [[nodiscard]] json finding(const std::string& as_of) const {
    const json review = review_json(as_of);
    for (const json& f : review.at("findings"))
      if (f.at("kind") == "abnormal_washout" && f.at("shaft") == "port") return f;
    throw std::runtime_error{"no finding about the port shaft"};
  }
  [[nodiscard]] std::string id() const { return finding(kFound).at("id"); }
  void close(const std::string& id) const {
    ok({"finding", "take", id, "--by", "Supt. A", "--at", "2025-08-20T10:00"});
    ok({"finding", "note", id, "seal ordered", "--by", "Supt. A", "--at", "2025-08-20T10:05"});
    ok({"finding", "close", id, "--action", "seal renewed", "--by", "Supt. B", "--at", "2025-08-20T12:00"});
  }
  /// Three more greasings of 300 hours each, of that amount on the port shaft.
  void go_on(int cm3) const {
    std::string hours = "vessel,shaft,at,meter_h\n";
    std::string greasings = "vessel,shaft,at,amount,unit,ended\n";
    const char* days[] = {"2025-08-20T13:00Z", "2025-09-14T08:00Z", "2025-10-09T08:00Z", "2025-11-03T08:00Z"};
    for (int i = 0; i < 4; ++i) {
      for (const char* shaft : {"port", "stbd"}) {
        hours += std::string{"T-02,"} + shaft + "," + days[i] + "," + std::to_string(3712 + 300 * i) + "\n";
        const int amount = i == 0 ? 3 : std::string_view{shaft} == "port" ? cm3 : 75;
        greasings += std::string{"T-02,"} + shaft + "," + days[i] + "," + std::to_string(amount) + ",cm3,pressure\n";
      }
    }
    write_text(dir / "more" / "hours.csv", hours);
    write_text(dir / "more" / "greasings.csv", greasings);
    ok({"import", "more"});
  }
  [[nodiscard]] json show(const std::string& id, const std::string& as_of) const {
    return json::parse(ok({"finding", "show", id, "--as-of", as_of, "--json"}));
  }
};

}  // namespace

TEST_CASE("finding show: figures, causes with their signs, checks, cautions and records", "[e2e][finding]") {
  const Case c;
  const std::string text = c.ok({"finding", "show", c.id().substr(0, 8), "--as-of", kFound});
  for (const char* part : {"abnormal washout", "Figures", "factor", "Likely causes", "not known:", "Checks",
                           "Before any of these checks", "Records it rests on", "195 cm3", "nobody has it in hand"})
    CHECK_THAT(text, Contains(part));
  const json shown = c.show(c.id(), kFound);
  CHECK(shown.at("finding") == c.finding(kFound));
  CHECK(shown.at("records").size() == shown.at("finding").at("evidence").size());
  CHECK(shown.at("records").at(0).at("id") == shown.at("finding").at("evidence").at(0));
  REQUIRE_FALSE(shown.at("causes").empty());
  for (const json& cause : shown.at("causes"))
    for (const char* part : {"present", "absent", "unknown"}) CHECK(cause.at(part).is_array());
}

TEST_CASE("finding: in hand and closed are told by the review, which loses neither", "[e2e][finding]") {
  const Case c;
  const std::string id = c.id();
  c.ok({"finding", "take", id, "--by", "Supt. A", "--at", "2025-08-20T10:00"});
  CHECK_THAT(flat(c.ok({"review", "--as-of", kFound})), Contains("in hand of Supt. A since 2025-08-20 10:00"));
  CHECK(c.finding(kFound).at("status") == "in_hand");
  CHECK(c({"review", "--as-of", kFound, "--exit-code"}).code == 1);

  c.ok({"finding", "close", id, "--action", "seal renewed", "--by", "Supt. B", "--at", "2025-08-20T12:00"});
  const std::string text = flat(c.ok({"review", "--as-of", "2025-08-21"}));
  CHECK_THAT(text, Contains("1 closed and still standing"));
  CHECK_THAT(text, Contains("Closed, still standing"));
  CHECK_THAT(text, Contains("closed on 2025-08-20 12:00 by Supt. B: seal renewed; still standing"));
  const json f = c.finding("2025-08-21");
  CHECK(f.at("status") == "closed");
  CHECK(f.at("status_by") == "Supt. B");
  CHECK(f.at("outcome").at("verdict") == "too_early");
  CHECK(c.finding("2025-08-20T11:00Z").at("status") == "in_hand");  // it was not closed yet
}

TEST_CASE("finding: after closing, the records since say whether the numbers came back", "[e2e][finding]") {
  SECTION("at the baseline again") {
    const Case c;
    const std::string id = c.id();
    c.close(id);
    c.go_on(75);
    const json shown = c.show(id, "2025-11-04");
    const json& outcome = shown.at("case").at("outcome");
    CHECK(outcome.at("verdict") == "came_back");
    CHECK(outcome.at("records") == 3);
    CHECK(outcome.at("factor").at("value").get<double>() == Approx(1).margin(0.12));
    CHECK_THAT(flat(c.ok({"finding", "list", "--closed", "--as-of", "2025-11-04"})), Contains("the numbers came back"));
  }
  SECTION("still where it was") {
    const Case c;
    const std::string id = c.id();
    c.close(id);
    c.go_on(185);
    CHECK(c.show(id, "2025-11-04").at("case").at("outcome").at("verdict") == "not_back");
    CHECK_THAT(flat(c.ok({"review", "--as-of", "2025-11-04"})), Contains("the numbers have not come back"));
  }
}

TEST_CASE("finding: what cannot be is refused and keeps nothing", "[e2e][finding]") {
  const Case c;
  const std::string id = c.id();
  const auto refused = [&](const std::vector<std::string>& words, int code, const char* says) {
    const Ran ran = c(words);
    INFO(ran.out << ran.err);
    CHECK(ran.code == code);
    CHECK_THAT(ran.err, Contains(says));
  };
  refused({"finding", "reopen", id, "--reason", "x", "--at", kFound}, 3, "is not closed");
  c.close(id);
  refused({"finding", "close", id, "--action", "again"}, 3,
          "was closed on 2025-08-20 12:00 by Supt. B; reopen it first");
  refused({"finding", "take", id}, 3, "reopen it first");
  refused({"finding", "note", id, ""}, 2, "finding note needs TEXT");
  refused({"finding", "note", id, "x", "--at", "2099-01-01"}, 2, "lies in the future");
  refused({"finding", "show", "0000000000"}, 3, "no finding 0000000000");
  refused({"finding", "show", "zz"}, 2, "is no id of a finding");
  CHECK(c.show(id, "2025-08-21").at("remarks").size() == 3);
  c.ok({"finding", "reopen", id, "--reason", "leaks again", "--at", "2025-08-20T13:00"});
  CHECK(c.finding("2025-08-21").at("status") == "open");
  CHECK_THAT(flat(c.ok({"finding", "show", id, "--as-of", "2025-08-21"})), Contains("reopened on 2025-08-20 13:00"));
}

TEST_CASE("finding: a closed one that is not found any more can still be read", "[e2e][finding]") {
  const Case c;
  const std::string id = c.id();
  c.close(id);
  // As of a day before anything was found nothing is, and nothing had been done: nobody knows of it.
  CHECK(c({"finding", "show", id, "--as-of", "2025-03-01"}).code == 3);
  c.ok({"withdraw", c.finding(kFound).at("evidence").at(0), "--reason", "never happened"});
  c.go_on(75);
  bool is_found = false;
  const json review = c.review_json("2025-11-04");
  for (const json& f : review.at("findings")) is_found |= f.at("id") == id;
  const json shown = c.show(id, "2025-11-04");
  CHECK(shown.at("case").at("still_found") == is_found);
  CHECK_THAT(shown.at("case").at("summary").get<std::string>(), Contains("the washout stepped up"));
}

TEST_CASE("finding: remarks go along in an export, and a second import adds none", "[e2e][finding]") {
  const Case c;
  const std::string id = c.id();
  c.close(id);
  c.ok({"export", "out"});
  const Aboard other;
  other.ok({"init"});
  other.ok({"import", (c.dir / "out").string()});
  const std::vector<std::string> show{"finding", "show", id, "--as-of", "2025-08-21"};
  CHECK(other.ok(show) == c.ok(show));
  CHECK_THAT(other.ok({"check"}), Contains("3 remarks on findings, schema 7"));
  const json again = json::parse(other.ok({"import", (c.dir / "out").string(), "--json"}));
  for (const json& file : again.at("files")) CHECK(file.at("added") == 0);
  other.ok({"export", "out"});
  CHECK(read_text(other.dir / "out/findings.csv") == read_text(c.dir / "out/findings.csv"));
}

TEST_CASE("finding: what was said of an id that has moved follows the one matter it can be about", "[e2e][finding]") {
  const Case c;
  const std::string began = c.finding(kFound).at("began").at("estimate");
  const auto remark = [&](const std::string& shaft, const std::string& since) {
    write_text(c.dir / "said" / "findings.csv",
               "vessel,shaft,finding,kind,did,at,says,was_summary,was_began,by\nT-02," + shaft +
                   ",01234567-89ab-8cde-8f01-23456789abcd,abnormal_washout,closed,2025-08-20T10:00Z,seal renewed,"
                   "the washout stepped up," +
                   since + ",Supt. A\n");
    c.ok({"import", "said"});
  };
  SECTION("of the same shaft and time") {
    remark("port", began);
    CHECK(c.finding("2025-08-21").at("status") == "closed");
    CHECK(c.show("01234567", "2025-08-21").at("case").at("id") == c.id());
    c.ok({"finding", "reopen", c.id(), "--reason", "leaks", "--at", "2025-08-20T12:00Z"});
    CHECK(c.finding("2025-08-21").at("status") == "open");
  }
  SECTION("of another time") {
    remark("port", "2025-02-01");
    CHECK(c.finding("2025-08-21").at("status") == "open");
    CHECK(c.show("01234567", "2025-08-21").at("case").at("still_found") == false);
  }
  SECTION("of another shaft") {
    remark("stbd", began);
    CHECK(c.finding("2025-08-21").at("status") == "open");
  }
}

TEST_CASE("finding: a change of grease names the evidence on record, and judges nothing", "[e2e][finding]") {
  const Aboard aboard;
  aboard.ok({"init"});
  aboard.ok({"import", std::string{SHAFTLOG_SOURCE_DIR} + "/tests/e2e/scenarios/19_grease_change"});
  const auto summary = [&] {
    const json review = json::parse(aboard.ok({"review", "--json", "--as-of", "2025-09-14"}));
    for (const json& f : review.at("findings"))
      if (f.at("kind") == "grease_mixed") return f.at("summary").get<std::string>();
    throw std::runtime_error{"no finding about the grease"};
  };
  CHECK_THAT(summary(), Contains("evidence of compatibility: none on record"));
  write_text(aboard.dir / "evidence" / "grease_evidence.csv",
             "grease,other_grease,evidence,reference\nCS-2,WG-2,test_report,R-7 of 2025-06-01: softens\n"
             "WG-2,CS-2,none,\n");
  aboard.ok({"import", "evidence"});
  aboard.ok({"import", "evidence"});
  CHECK_THAT(summary(), Contains("evidence of compatibility: test report (R-7 of 2025-06-01: softens); none, by what "
                                 "was asked"));
}
