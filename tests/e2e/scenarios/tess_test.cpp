// A ship with fixed numbers: three shafts run 12 h a day and lose 0.3 cm3/h of 400 cm3, read every week and greased
// every 28 days, for two years from 2024-01-01. Each case changes one thing in the records.
#include "support/run.hpp"

#include <chrono>
#include <cmath>
#include <functional>

#include <catch2/catch.hpp>
#include <fmt/format.h>
#include <nlohmann/json.hpp>

using namespace shaftlog::test;
using Catch::Matchers::Contains;
using nlohmann::json;

namespace {

constexpr int kDays = 730;
const std::vector<std::string> kShafts{"fin_port", "fin_stbd", "rudder"};

/// Local time `day` days after 2024-01-01 08:00.
std::string at(double day) {
  using namespace std::chrono;
  const sys_seconds t = sys_days{year{2024} / 1 / 1} + hours{8} + seconds{std::llround(day * 86400)};
  const auto date = floor<days>(t);
  const year_month_day ymd{date};
  const auto minute = duration_cast<minutes>(t - date).count();
  return fmt::format("{:04}-{:02}-{:02}T{:02}:{:02}", static_cast<int>(ymd.year()), static_cast<unsigned>(ymd.month()),
                     static_cast<unsigned>(ymd.day()), minute / 60, minute % 60);
}

class Tess {
 public:
  std::function<double(const std::string&, double)> run_h = [](const std::string&, double day) { return 12 * day; };
  std::function<double(const std::string&, double)> taken_cm3 = [](const std::string&, double) { return 100.0; };
  double last_day = kDays;  ///< of readings and greasings
  std::function<bool(const std::string&, double)> is_greased = [](const std::string&, double) { return true; };
  std::string work;  ///< lines: vessel,shaft,at,work

  void enter() {
    const auto put = [&](const std::string& name, const std::string& text) {
      write_text(aboard.dir / ("log/" + name + ".csv"), text);
    };
    std::string shafts = "vessel,shaft,cavity_cm3,interval_h,grease\n", hours = "vessel,shaft,at,meter_h\n",
                greasings = "vessel,shaft,at,amount,unit,ended\n";
    for (std::size_t k = 0; k < kShafts.size(); ++k) {
      const std::string& s = kShafts[k];
      shafts += fmt::format("tess,{},400,340,g1\n", s);
      for (int day = 0; day < kDays && day <= last_day; day += 7)
        hours += fmt::format("tess,{},{},{:.1f}\n", s, at(day), 1000 + 100 * static_cast<double>(k) + run_h(s, day));
      constexpr double kOff[]{0, 6, -5, 3, -6, 4, -2};
      for (int i = 1; 28 * i < kDays && 28 * i <= last_day; ++i)
        if (is_greased(s, 28 * i))
          greasings += fmt::format("tess,{},{},{:.1f},cm3,pressure\n", s, at(28 * i + 0.1),
                                   taken_cm3(s, 28 * i) + kOff[(static_cast<std::size_t>(i) + k) % 7]);
    }
    put("vessels", "vessel,name,time_zone\ntess,Tess,UTC\n");
    put("greases", "grease,density_g_cm3\ng1,0.92\n");
    put("shafts", shafts);
    put("hours", hours);
    put("greasings", greasings);
    if (!work.empty()) put("work", "vessel,shaft,at,work\n" + work);
    aboard.ok({"init"});
    aboard.ok({"import", "log"});
  }
  json review(const std::string& as_of) const { return json::parse(aboard.ok({"review", "--json", "--as-of", as_of})); }
  std::string text(const std::vector<std::string>& args) const {
    std::string out;
    for (const char c : aboard.ok(args))
      if (c != ' ' && c != '\n')
        out += c;
      else if (!out.empty() && out.back() != ' ')
        out += ' ';
    return out;
  }
  Aboard aboard;
};

}  // namespace

TEST_CASE("tess: a ship recorded as docked does not run, and is asked about when that lasts", "[e2e][scenario]") {
  Tess tess;
  tess.last_day = 600;
  tess.work = "tess,," + at(600) + ",docked\n";
  tess.enter();
  const json then = tess.review("2025-10-17");
  CHECK(then.at("findings").empty());
  for (const json& s : then.at("shafts")) {
    CHECK(s.at("cavity_fill_pct").at("value").get<double>() > 80);
    CHECK(s.at("next_greasing").at("due_at").is_null());  // nobody knows when she runs again
    CHECK(s.at("next_greasing").at("due_h").get<double>() > 100);
  }
  const std::string text = tess.text({"review", "--as-of", "2025-10-17", "--all"});
  CHECK_THAT(text, Contains("tess is recorded as docked since 2025-08-23: no running is assumed from then on"));
  CHECK_THAT(text, Contains("running h"));

  const json late = tess.review("2025-12-30");
  REQUIRE(late.at("findings").size() == 1);
  CHECK(late.at("findings")[0].at("kind") == "records_missing");
  CHECK(late.at("findings")[0].at("urgency") == "note");
  CHECK_THAT(late.at("findings")[0].at("summary").get<std::string>(),
             Contains("recorded as docked since 2025-08-23") && Contains("is she out again"));
  for (const json& s : late.at("shafts")) {
    CHECK(s.at("cavity_fill_pct").is_null());
    CHECK(s.at("next_greasing").at("due_h").is_null());
  }
}

TEST_CASE("tess: meters that run deny a docking whose end nobody wrote", "[e2e][scenario]") {
  Tess tess;
  tess.work = "tess,," + at(600) + ",docked\n";
  tess.enter();
  const json review = tess.review("2025-12-30");
  CHECK(review.at("findings").empty());
  for (const json& s : review.at("shafts")) CHECK_FALSE(s.at("next_greasing").at("due_at").is_null());
}

TEST_CASE(
    "tess: of a log imported long after its dates the dossier says once that it cannot be told what would have "
    "been said",
    "[e2e][scenario]") {
  Tess tess;
  tess.taken_cm3 = [](const std::string& s, double day) { return s == "fin_port" && day > 300 ? 200.0 : 100.0; };
  tess.work = "tess,fin_port," + at(500) + ",seal_replaced\n";
  tess.enter();
  const std::vector<std::string> call{"history", "tess", "fin_port", "--until", "2025-12-30"};
  const std::string text = tess.text(call);
  CHECK_THAT(text, Contains("would have said at the time cannot be told"));
  CHECK_THAT(text, !Contains("would have said nothing"));
  std::vector<std::string> as_json = call;
  as_json.emplace_back("--json");
  CHECK(json::parse(tess.aboard.ok(as_json)).at("told").is_null());
  // The sums under other assumptions stand above the caveats.
  CHECK_THAT(text, !Contains("sensitivities below"));
}

TEST_CASE("tess: a meter that stands while the others run hides nothing", "[e2e][scenario]") {
  Tess tess;
  tess.run_h = [](const std::string& s, double day) { return 12 * (s == "fin_port" ? std::min(day, 546.0) : day); };
  SECTION("and no greasing is recorded") {
    tess.is_greased = [](const std::string& s, double day) { return s != "fin_port" || day <= 560; };
    tess.enter();
    const json review = tess.review("2025-12-30");
    REQUIRE(review.at("findings").size() == 1);
    const json& f = review.at("findings")[0];
    CHECK(f.at("kind") == "records_missing");
    CHECK(f.at("shaft") == "fin_port");
    CHECK(f.at("urgency") == "plan");
    CHECK(f.at("began").at("estimate").get<std::string>().substr(0, 10) == "2025-06-30");
    CHECK(f.at("first_seen").get<std::string>().substr(0, 10) == "2025-08-04");  // the first reading 30 days later
    CHECK_THAT(
        f.at("summary").get<std::string>(),
        Contains("the hour meter shows 7552.0 h since 2025-06-30 while fin_stbd and rudder ran at least 2184 h") &&
            Contains("either the shaft was out of use or the meter is stuck"));
    const json& shaft = review.at("shafts")[0];
    CHECK(shaft.at("cavity_fill_pct").is_null());
    CHECK(shaft.at("next_greasing").at("due_h").is_null());
    CHECK(shaft.at("washout_cm3_per_h").at("value").get<double>() == Approx(0.3).margin(0.02));
    CHECK(tess.review("2025-07-28").at("findings").empty());
  }
  SECTION("and greasings took what they used to: it ran") {
    tess.enter();
    const json review = tess.review("2025-12-30");
    REQUIRE(review.at("findings").size() == 1);
    CHECK_THAT(review.at("findings")[0].at("summary").get<std::string>(),
               Contains("a shaft that stands loses none, so it ran"));
    CHECK_THAT(review.at("findings")[0].at("likely_causes")[0].get<std::string>(), Contains("stuck"));
  }
  SECTION("and a work record may say why") {
    tess.is_greased = [](const std::string& s, double day) { return s != "fin_port" || day <= 560; };
    tess.work = "tess,fin_port," + at(550) + ",other\n";
    tess.enter();
    const json review = tess.review("2025-12-30");
    REQUIRE(review.at("findings").size() == 1);
    CHECK(review.at("findings")[0].at("urgency") == "note");
  }
}

TEST_CASE("tess: fins that are stowed, and a ship that lies still, are no stuck meters", "[e2e][scenario]") {
  Tess tess;
  SECTION("both fins stowed") {
    tess.run_h = [](const std::string& s, double day) { return 12 * (s == "rudder" ? day : std::min(day, 546.0)); };
  }
  SECTION("a fin that never went with the others") {
    tess.run_h = [](const std::string& s, double day) {
      const double season = std::floor(day / 182) * 91 + std::min(std::fmod(day, 182.0), 91.0);
      return 12 * (s == "fin_port" ? season : day);
    };
  }
  SECTION("the whole ship") {
    tess.run_h = [](const std::string&, double day) { return 12 * std::min(day, 546.0); };
  }
  tess.is_greased = [](const std::string&, double day) { return day <= 560; };
  tess.enter();
  const json review = tess.review("2025-12-30");
  for (const json& f : review.at("findings"))
    CHECK_THAT(f.at("summary").get<std::string>(), !Contains("the hour meter shows"));
}
