#include "support/run.hpp"

#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

using namespace shaftlog::test;
using Catch::Matchers::Contains;
using Catch::Matchers::StartsWith;
using nlohmann::json;

namespace {

class Demo : public Aboard {
 public:
  Demo() { ok({"demo"}); }
  json dossier(const std::string& vessel, const std::string& shaft, const std::string& until = "2026-09-30") const {
    return json::parse(ok({"history", vessel, shaft, "--until", until, "--json"}));
  }
};

const json* find(const json& list, const char* key, const std::string& value) {
  for (const json& x : list)
    if (x.at(key) == value) return &x;
  return nullptr;
}

/// One ship whose shaft lives through what each case writes.
class Ship : public Aboard {
 public:
  Ship() {
    ok({"init"});
    write("vessels.csv", "vessel,name,time_zone\nT-01,Testholm,Europe/Oslo\n");
    write("greases.csv", "grease,density_g_cm3\ng2,0.92\n");
    write("shafts.csv",
          "vessel,shaft,cavity_cm3,interval_h,grease\nT-01,fin_port,400,400,g2\nT-01,fin_stbd,400,400,g2\n"
          "T-01,bare,,,g2\n");
  }
  void write(const std::string& name, const std::string& text) const { write_text(dir / ("log/" + name), text); }
  void import() const { ok({"import", "log"}); }
  json dossier(const std::string& shaft, const std::string& until) const {
    return json::parse(ok({"history", "T-01", shaft, "--until", until, "--json"}));
  }
};

std::string cal(int n) {  // days from 2024-01-01
  static constexpr int kDays[]{31, 29, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31};
  int year = 2024, month = 0;
  while (n >= kDays[month] - (month == 1 && year != 2024 ? 1 : 0)) {
    n -= kDays[month] - (month == 1 && year != 2024 ? 1 : 0);
    if (++month == 12) {
      month = 0;
      ++year;
    }
  }
  const auto two = [](int x) { return std::to_string(100 + x).substr(1); };
  return std::to_string(year) + "-" + two(month + 1) + "-" + two(n + 1);
}

/// 12 running hours a day, read every ten days; greased every 30 days with `taken` cm3.
void steady(const Ship& ship, const std::string& shaft, int from, int to, std::string& hours, std::string& greasings,
            int taken = 90) {
  for (int n = from; n <= to; n += 10)
    hours += "T-01," + shaft + "," + cal(n) + "T08:00," + std::to_string(1000 + 12 * n) + "," + cal(n) + "T08:05\n";
  for (int n = from; n <= to; n += 30)
    greasings += "T-01," + shaft + "," + cal(n) + "T09:00," + std::to_string(taken + n / 30 % 3) + ",cm3,pressure,A," +
                 cal(n) + "T09:10\n";
  (void)ship;
}

const std::string kHours = "vessel,shaft,at,meter_h,recorded_at\n";
const std::string kGreasings = "vessel,shaft,at,amount,unit,ended,by,recorded_at\n";

}  // namespace

TEST_CASE("history: a contact and the step of the loss stand in order, with how sure that is", "[e2e][history]") {
  const Demo demo;
  const json d = demo.dossier("quillhaven", "fin_port");
  const json* contact = find(d.at("changes"), "channel", "contact");
  const json* loss = find(d.at("changes"), "channel", "washout");
  REQUIRE(contact != nullptr);
  REQUIRE(loss != nullptr);
  CHECK(loss->at("when").at("low") < "2026-05-18");  // the true day of both
  CHECK(loss->at("when").at("high") > "2026-05-18");
  CHECK(contact->at("p_first") > 0.3);   // both were on one day
  CHECK(contact->at("p_first") < 0.95);  // the ranges overlap: not certain, and not said to be
  CHECK(contact->at("p_first").get<double>() + loss->at("p_first").get<double>() == Approx(1).margin(0.02));
  const json* cause = find(d.at("causes"), "kind", "abnormal_washout");
  REQUIRE(cause != nullptr);
  const json* sign = find(cause->at("symptoms"), "symptom", "after_contact");
  REQUIRE(sign != nullptr);
  CHECK(sign->at("seen") == "present");
  CHECK_THAT(cause->at("causes")[0].at("cause").get<std::string>(), Contains("contact"));
  CHECK_FALSE(cause->at("deciding").empty());
}

TEST_CASE("history: a device that sticks is told by the balance, and the other shafts' are not blamed",
          "[e2e][history]") {
  const Demo demo;
  const json d = demo.dossier("tarnwick", "fin_aft_port");
  const json* ratio = find(d.at("changes"), "channel", "lub1 delivery ratio");
  REQUIRE(ratio != nullptr);
  CHECK(ratio->at("when").at("low") < "2026-02-10");  // truth: stuck since 2026-02-10
  CHECK(ratio->at("when").at("high") > "2026-02-10");
  CHECK_THAT(ratio->at("text").get<std::string>(), Contains("this shaft"));
  const json other = demo.dossier("tarnwick", "fin_fwd_port");
  const json* seen = find(other.at("changes"), "channel", "lub1 delivery ratio");
  REQUIRE(seen != nullptr);
  CHECK_THAT(seen->at("text").get<std::string>(), Contains("another shaft"));
  REQUIRE(find(d.at("peers"), "kind", "twin") != nullptr);
  CHECK(find(d.at("peers"), "kind", "twin")->at("shaft") == "tarnwick/fin_aft_stbd");
  CHECK(find(d.at("peers"), "kind", "sister") != nullptr);
}

TEST_CASE("history: corrections and withdrawals stand with old value, new value, reason and author", "[e2e][history]") {
  const Demo demo;
  const auto says = [](const json& d, const std::string& kind) {
    std::string out;
    for (const json& t : d.at("timeline"))
      if (t.at("kind") == kind) out += t.at("says").get<std::string>() + " by " + t.value("by", "") + '\n';
    return out;
  };
  CHECK_THAT(says(demo.dossier("quillmark", "fin_stbd"), "correction"),
             Contains("1500") && Contains("150") && Contains("because: "));
  CHECK_THAT(says(demo.dossier("quillmark", "fin_port"), "withdrawal"),
             Contains("does not count any more") && Contains("because: "));
  // Before the correction was written nothing of it is known.
  const json then = json::parse(
      demo.ok({"history", "quillmark", "fin_stbd", "--until", "2025-04-30", "--known", "2025-03-24", "--json"}));
  CHECK(says(then, "correction").empty());
  CHECK_THAT(says(then, "record"), Contains("1500 cm3"));
}

TEST_CASE("history: a new seal is a new baseline of the same bearing, and whether it helped is said",
          "[e2e][history]") {
  const Demo demo;
  const json d = demo.dossier("marlfirth", "fin_port");
  REQUIRE(d.at("bearings").size() == 1);
  CHECK(d.at("bearings")[0].at("seals_replaced").size() == 1);
  const json* loss =
      find(d.at("changes"), "channel", "washout");  // mended since: the review of today is silent about it
  REQUIRE(loss != nullptr);
  CHECK(loss->at("when").at("low") < "2024-03-31");  // truth: worn from March 2024
  CHECK(loss->at("when").at("high") > "2024-03-01");
  bool is_told = false;
  for (const json& s : d.at("answer"))
    is_told |= s.get<std::string>().starts_with("The seal was replaced on 2025-05-14");
  CHECK(is_told);
}

TEST_CASE("history: shafts that rise together are one moment, not the one that happened to be seen first",
          "[e2e][history]") {
  const Demo demo;
  const json d = demo.dossier("kestrelholm", "fin_fwd_port");
  const json* loss = find(d.at("changes"), "channel", "washout");
  REQUIRE(loss != nullptr);
  CHECK_THAT(loss->at("text").get<std::string>(), Contains("3 of 3 other shafts of the ship rose with it"));
  CHECK(loss->at("when").at("low") < "2026-02-17");  // truth: 2026-02-16
  CHECK(loss->at("when").at("high") > "2026-02-16");
  const json* grease = find(d.at("changes"), "channel", "grease");
  REQUIRE(grease != nullptr);
  // As the review has it: one common cause, which the rise follows.
  CHECK(loss->at("role") == "consequence");
  CHECK(grease->at("p_first") > 0.9);
  CHECK_THAT(grease->at("text").get<std::string>(), Contains("4 shafts lose more since"));
  CHECK_THAT(d.at("answer").dump(), Contains("What changed first: grease") && Contains("Then: washout"));
  CHECK(find(d.at("causes"), "kind", "grease_mixed") != nullptr);
  CHECK(find(d.at("causes"), "kind", "abnormal_washout") == nullptr);
}

TEST_CASE("history: what a failing device explains is not told as a rise of loss, and a healthy shaft changed nothing",
          "[e2e][history]") {
  const Demo demo;
  for (const char* shaft : {"fin_aft_port", "fin_fwd_port"}) {
    INFO(shaft);
    const json d = demo.dossier("tarnwick", shaft);
    CHECK(find(d.at("changes"), "channel", "washout") == nullptr);
    CHECK(find(d.at("changes"), "channel", "lub1 delivery ratio")->at("p_first") > 0.99);
  }
  for (const auto& [vessel, shaft] :
       {std::pair{"fenhollow", "fin_port"}, {"quillmark", "fin_port"}, {"marlfirth", "fin_stbd"}}) {
    INFO(vessel << ' ' << shaft);
    const json d = demo.dossier(vessel, shaft);
    for (const json& m : d.at("changes")) CHECK(m.at("role") == "event");
  }
  // A neighbour's wear is told beside this shaft's own story, not as its first change.
  const json twin = demo.dossier("aldervane", "fin_port");
  REQUIRE(find(twin.at("changes"), "channel", "other shafts") != nullptr);
  CHECK(find(twin.at("changes"), "channel", "other shafts")->at("role") == "event");
}

TEST_CASE("history: greasings with back-pressure are counted to the end, and an early change is no habit left",
          "[e2e][history]") {
  const auto told = [](const std::string& ends) {  // one letter a greasing: p pressure, s stopped, l limit
    const Ship ship;
    std::string hours = kHours, greasings = kGreasings;
    for (int n = 0; n <= 30 * static_cast<int>(ends.size()); n += 10)
      hours += "T-01,fin_port," + cal(n) + "T08:00," + std::to_string(1000 + 12 * n) + "," + cal(n) + "T08:05\n";
    for (std::size_t i = 0; i < ends.size(); ++i) {
      const std::string day = cal(30 * static_cast<int>(i) + 1);
      greasings += "T-01,fin_port," + day + "T09:00,90,cm3," +
                   (ends[i] == 'p'   ? "pressure"
                    : ends[i] == 's' ? "stopped"
                                     : "limit") +
                   ",A," + day + "T09:10\n";
    }
    ship.write("hours.csv", hours);
    ship.write("greasings.csv", greasings);
    ship.import();
    const json d = ship.dossier("fin_port", cal(30 * static_cast<int>(ends.size())));
    const json* seen = find(d.at("looked_at"), "channel", "end of greasings");
    REQUIRE(seen != nullptr);
    const json* change = find(d.at("changes"), "channel", "end of greasings");
    return seen->at("result").get<std::string>() + ": " + (change != nullptr ? *change : *seen).value("text", "");
  };
  CHECK(told("ppsppppppppp") == "unchanged: 11 of 12 ended with back-pressure");
  CHECK(told("ppllllllllll") ==
        "unknown: 2 of 12 ended with back-pressure; only 2 before the first that did not: too few to speak of a habit");
  CHECK_THAT(told("ppsppppllllll"),
             Contains("changed: a greasing did not reach back-pressure (90.0 cm3 went in), after 6 that had and 1 that "
                      "had not"));
}

TEST_CASE("history: what the meter shows and what is assumed since its last reading are told apart", "[e2e][history]") {
  const Ship ship;
  std::string hours = kHours, greasings = kGreasings;
  steady(ship, "fin_port", 0, 300, hours, greasings);
  ship.write("hours.csv", hours);
  ship.write("greasings.csv", greasings);
  ship.import();
  const json read = ship.dossier("fin_port", cal(300));
  CHECK_THAT(read.at("answer")[0].get<std::string>(), Contains("3600 running hours by the meter"));
  const json d = ship.dossier("fin_port", cal(400));
  const json& life = d.at("bearings")[0];
  CHECK(life.at("running_h").get<double>() - life.at("assumed_h").get<double>() == Approx(3600).margin(0.1));
  CHECK(life.at("assumed_h") == Approx(1200).margin(15));
  CHECK(d.at("phases")[0].at("use_h_per_day") == Approx(12).margin(0.01));
  CHECK(life.at("after_last_greasing_h") == Approx(1200).margin(15));
  CHECK_THAT(d.at("answer")[0].get<std::string>(),
             Contains("3600 running hours by the meter, last read on " + cal(300)) && Contains("are assumed since") &&
                 Contains("lie between its greasings") && Contains("after the last of them"));
  const json* habit = find(d.at("looked_at"), "channel", "greasing interval");
  REQUIRE(habit != nullptr);
  CHECK(habit->at("result") == "unknown");
  CHECK_THAT(habit->at("text").get<std::string>(), Contains("none recorded for 1") && Contains("cannot be told"));
}

TEST_CASE("history: greasings are counted in one way, and what was taken together or left out is said",
          "[e2e][history]") {
  const Ship ship;
  std::string hours = kHours, greasings = kGreasings;
  steady(ship, "fin_port", 0, 360, hours, greasings);  // 13 greasings
  greasings += "T-01,fin_port," + cal(89) + "T09:00,30,cm3,stopped,A," + cal(89) + "T09:10\n";
  greasings += "T-01,fin_port," + cal(359) + "T09:00,40,cm3,stopped,A," + cal(359) + "T09:10\n";
  ship.write("hours.csv", hours);
  ship.write("greasings.csv", greasings);
  ship.import();
  const json d = ship.dossier("fin_port", cal(361));
  const json& phase = d.at("phases")[0];
  CHECK(phase.at("greasings") == 13);
  CHECK(phase.at("with_pressure") == 13);
  CHECK(phase.at("greasing_records") == 15);
  CHECK(d.at("peers")[0].at("intervals") == 12);
  CHECK(d.at("peers")[0].at("usual_gap_h") == Approx(phase.at("usual_gap_h").get<double>()));
  CHECK_THAT(
      find(d.at("looked_at"), "channel", "end of greasings")->at("text").get<std::string>(),
      Contains("13 of 13 ended with back-pressure; of 15 records, what was broken off and finished within 3 days"));
  CHECK_THAT(ship.ok({"history", "T-01", "fin_port", "--until", cal(361)}), Contains("13 greasings are 15 records"));
}

TEST_CASE("history: each bearing has its own total, named by its replacements", "[e2e][history]") {
  const Ship ship;
  std::string hours = kHours, greasings = kGreasings;
  steady(ship, "fin_port", 0, 300, hours, greasings);
  // 180 days with no greasing: 2160 h at 0.25 cm3/h, below the reserve after 1280 h.
  for (int n = 310; n <= 900; n += 10)
    hours += "T-01,fin_port," + cal(n) + "T08:00," + std::to_string(1000 + 12 * n) + "," + cal(n) + "T08:05\n";
  greasings += "T-01,fin_port," + cal(480) + "T09:00,400,cm3,limit,A," + cal(480) + "T09:10\n";
  greasings += "T-01,fin_port," + cal(501) + "T09:00,400,cm3,packed,A," + cal(501) + "T09:10\n";
  for (int n = 531; n <= 891; n += 30)
    greasings += "T-01,fin_port," + cal(n) + "T09:00,91,cm3,pressure,A," + cal(n) + "T09:10\n";
  ship.write("hours.csv", hours);
  ship.write("greasings.csv", greasings);
  ship.write("work.csv", "vessel,shaft,at,work\nT-01,fin_port," + cal(500) + ",bearing_replaced\nT-01,fin_port," +
                             cal(700) + ",seal_replaced\n");
  ship.import();
  const json d = ship.dossier("fin_port", cal(905));
  REQUIRE(d.at("bearings").size() == 2);
  const json &old = d.at("bearings")[0], &now = d.at("bearings")[1];
  CHECK(d.at("focus") == 0);
  CHECK(old.at("to").get<std::string>().substr(0, 10) == cal(500));
  CHECK(old.at("starved_h").at("least") < 880);
  CHECK(old.at("starved_h").at("most") > 880);
  CHECK(now.at("starved_h").at("most") < 1);
  CHECK(now.at("seals_replaced").size() == 1);
  CHECK(now.at("starved_h_since_last_seal").at("most") < 1);
  CHECK(old.at("ended_with") == now.at("began_with"));
  // The packing of 400 cm3 is no greasing of the new bearing.
  const json* since = find(d.at("phases"), "name", "since it was replaced");
  REQUIRE(since != nullptr);
  CHECK(since->at("greasings") == 13);
  CHECK(since->at("taken_cm3") == 13 * 91);
  CHECK(since->at("packings") == 1);
  CHECK(since->at("packed_cm3") == 400);
  const json* gap = nullptr;
  for (const json& t : d.at("timeline"))
    if (t.at("kind") == "gap" && gap == nullptr) gap = &t;
  REQUIRE(gap != nullptr);
  CHECK_THAT(gap->at("says").get<std::string>(),
             Contains("no greasing recorded for 180 days") && Contains("running hours"));
}

TEST_CASE("history: little or nothing known is said, never counted as none", "[e2e][history]") {
  const Ship ship;
  std::string hours = kHours, greasings = kGreasings;
  steady(ship, "bare", 0, 300, hours, greasings);
  ship.write("hours.csv", hours);
  ship.write("greasings.csv", greasings);
  ship.import();
  const json bare = ship.dossier("bare", cal(310));
  CHECK(bare.at("bearings")[0].at("starved_h").is_null());
  CHECK_THAT(bare.at("answer").dump(), Contains("the capacity of the cavity is not known"));
  const json empty = ship.dossier("fin_port", cal(310));
  CHECK(empty.at("bearings")[0].at("running_h").is_null());
  CHECK(empty.at("bearings")[0].at("starved_h").is_null());
  CHECK(empty.at("changes").empty());
  const json* loss = find(empty.at("looked_at"), "channel", "washout");
  REQUIRE(loss != nullptr);
  CHECK(loss->at("result") == "unknown");
}

TEST_CASE("history: a capacity that was put right later is told as it was", "[e2e][history]") {
  const Ship ship;
  std::string hours = kHours, greasings = kGreasings;
  steady(ship, "fin_port", 0, 300, hours, greasings);
  ship.write("hours.csv", hours);
  ship.write("greasings.csv", greasings);
  ship.import();
  CHECK_THAT(json::parse(ship.ok({"history", "T-01", "fin_port", "--json"})).at("caveats").dump(),
             Contains("none of its rows that bear on this shaft was put right later"));
  write_text(ship.dir / "later/shafts.csv", "vessel,shaft,cavity_cm3,interval_h,grease\nT-01,fin_port,300,400,g2\n");
  ship.ok({"import", "later", "--update-register"});
  const json d = json::parse(ship.ok({"history", "T-01", "fin_port", "--json"}));
  CHECK(d.at("bearings")[0].at("cavity_cm3") == 300);
  CHECK_THAT(d.at("caveats").dump(), Contains("1 of its rows that bear on this shaft was put right later"));
  std::string told;
  for (const json& t : d.at("timeline"))
    if (t.at("kind") == "correction") told += t.at("says").get<std::string>();
  CHECK_THAT(told, Contains("shaft setting put right") && Contains("400000"));  // mm3, as the file kept it
  CHECK(d.at("lateness").at("corrected") == 0);                                 // no record was
  // Before it was known nothing of it is told; of the other shaft it is no matter.
  CHECK_THAT(json::parse(ship.ok({"history", "T-01", "fin_stbd", "--json"})).at("caveats").dump(),
             Contains("none of its rows that bear on this shaft"));
}

TEST_CASE("history: a log brought in without its times of writing claims nothing of what was known", "[e2e][history]") {
  const Ship ship;
  std::string greasings = "vessel,shaft,at,amount,unit,ended\n";
  for (int n = 0; n < 300; n += 30) greasings += "T-01,fin_port," + cal(n) + "T09:00,90,cm3,pressure\n";
  ship.write("greasings.csv", greasings);
  ship.import();
  const json d = ship.dossier("fin_port", cal(310));
  CHECK_THAT(d.at("answer").dump(), Contains("What the program would have said at the time cannot be told"));
  CHECK_THAT(d.at("caveats").dump(), Contains("carry the same moment of writing"));
}

TEST_CASE("history: the same bytes on any clock, with any decimal comma", "[e2e][history]") {
  const Demo demo;
  const std::vector<std::string> call{"history", "fenhollow", "rudder_stock", "--until", "2026-09-30"};
  for (const char* form : {"", "--json", "--csv"}) {
    std::vector<std::string> args = call;
    if (*form != 0) args.emplace_back(form);
    CHECK(demo.ok(args) == demo.ok(args, "", {"TZ=Pacific/Chatham", "LC_ALL=de_DE.UTF-8"}));
  }
}

TEST_CASE("history: what somebody typed is no markup of the page, and the page needs nothing from elsewhere",
          "[e2e][history]") {
  const Ship ship;
  std::string hours = kHours, greasings = "vessel,shaft,at,amount,unit,ended,by,recorded_at,remark\n";
  std::string plain = kGreasings;
  steady(ship, "fin_port", 0, 300, hours, plain);
  greasings +=
      "T-01,fin_port,2024-01-05T09:00,90,cm3,pressure,A,2024-01-05T09:10,\"<script>x</script> & \"\"so\"\"\"\n";
  ship.write("hours.csv", hours);
  ship.write("greasings.csv", greasings);
  ship.import();
  ship.ok({"history", "T-01", "fin_port", "--until", cal(310), "--out", "page.html"});
  const std::string page = read_text(ship.dir / "page.html");
  CHECK(page.find("<script>x") == std::string::npos);
  CHECK_THAT(page, Contains("&lt;script&gt;x&lt;/script&gt; &amp; "));
  for (const char* fetch : {"src=\"http", "href=\"http", "url(http", "@import"})
    CHECK(page.find(fetch) == std::string::npos);
  ship.ok({"history", "T-01", "fin_port", "--until", cal(310), "--out", "page.pdf"});
  CHECK_THAT(read_text(ship.dir / "page.pdf"), StartsWith("%PDF-"));
  CHECK_THAT(page, Contains("<svg") && Contains("@media print") && Contains("</html>"));
}
