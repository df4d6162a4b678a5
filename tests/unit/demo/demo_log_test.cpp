// The demo fleet's log says what demo_db/README.md tells: the stories are there, and no others. Sums here are plain on
// purpose; the analysis is judged elsewhere.

#include "base/decimal.hpp"
#include "base/time.hpp"
#include "base/uuid.hpp"
#include "demo_files.hpp"
#include "domain/record.hpp"
#include "domain/register.hpp"

#include <algorithm>
#include <fstream>
#include <map>
#include <optional>
#include <set>
#include <sstream>
#include <stdexcept>
#include <string>
#include <vector>

#include <catch2/catch.hpp>

using namespace shaftlog;

namespace {

using Row = std::map<std::string, std::string>;

std::vector<std::string> split(const std::string& line) {
  std::vector<std::string> cells(1);
  bool is_quoted = false;
  for (const char c : line) {
    if (c == '"')
      is_quoted = !is_quoted;
    else if (c == ',' && !is_quoted)
      cells.emplace_back();
    else
      cells.back() += c;
  }
  return cells;
}

std::vector<Row> read(const std::string& name) {
  for (const EmbeddedFile& file : demo_files()) {
    if (file.name != name + ".csv") continue;
    std::istringstream in{std::string{file.text}};
    std::string line;
    std::getline(in, line);
    const std::vector<std::string> columns = split(line);
    std::vector<Row> rows;
    while (std::getline(in, line)) {
      const std::vector<std::string> cells = split(line);
      if (cells.size() != columns.size()) throw std::runtime_error{name + ": " + line};
      Row row;
      for (std::size_t i = 0; i < cells.size(); ++i) row[columns[i]] = cells[i];
      rows.push_back(row);
    }
    return rows;
  }
  throw std::runtime_error{"no file " + name};
}

const std::vector<std::string> kLogFiles{"hours",     "cycles", "levels", "refills",
                                         "greasings", "alarms", "work",   "inspections"};

const Zone& zone_of(const std::string& vessel) {
  static const std::map<std::string, Zone> zones = [] {
    std::map<std::string, Zone> out;
    for (const Row& v : read("vessels")) out.emplace(v.at("vessel"), Zone{v.at("time_zone")});
    return out;
  }();
  return zones.at(vessel);
}

Instant moment(const Row& row, const std::string& column) {
  const auto stamp = parse_stamp(row.at(column), zone_of(row.at("vessel")));
  if (!stamp) throw std::runtime_error{"no time: " + row.at(column)};
  return stamp->utc;
}
Instant at(const Row& row) { return moment(row, row.count("raised_at") != 0 ? "raised_at" : "at"); }
Instant day(const char* text) { return parse_stamp(std::string{text} + "T00:00Z", Zone::utc())->utc; }

double number(const std::string& text) { return parse_decimal(text).value().value(); }

std::vector<Row> of(const std::vector<Row>& rows, const std::string& vessel, const std::string& column = "",
                    const std::string& value = "") {
  std::vector<Row> out;
  for (const Row& r : rows)
    if (r.at("vessel") == vessel && (column.empty() || r.at(column) == value)) out.push_back(r);
  return out;
}

double cm3_of(const Row& greasing) {
  const double n = number(greasing.at("amount"));
  if (greasing.at("unit") == "cm3") return n;
  if (greasing.at("unit") == "g") return n / 0.92;
  std::optional<double> per_stroke;  // of the last calibration before it
  for (const Row& gun : read("guns"))
    if (gun.at("vessel") == greasing.at("vessel") && gun.at("gun") == greasing.at("gun") &&
        moment(gun, "calibrated_on") <= at(greasing))
      per_stroke = number(gun.at("cm3_per_stroke"));
  if (per_stroke) return n * *per_stroke;
  throw std::runtime_error{"no such gun: " + greasing.at("gun")};
}

/// Running hours between two moments from the meter readings alone, a straight line between them; where a reading falls
/// or leaps, the run before it is taken as nothing.
double hours_run(const std::string& vessel, const std::string& shaft, Instant from, Instant until) {
  static const std::vector<Row> all = read("hours");
  double sum = 0;
  std::optional<Instant> then;
  double shown = 0;
  for (const Row& r : of(all, vessel, "shaft", shaft)) {
    const Instant now = at(r);
    const double m = number(r.at("meter_h"));
    const double run = m - shown;
    if (then && run > 0 && run < 400) {
      const double inside = hours_between(std::max(*then, from), std::min(now, until));
      if (inside > 0) sum += run * inside / hours_between(*then, now);
    }
    then = now;
    shown = m;
  }
  return sum;
}

/// cm3 taken per running hour between two days, by the sum of greasings over the hours from the first to the last.
double rate(const std::string& vessel, const std::string& shaft, const char* from, const char* until) {
  static const std::vector<Row> all = read("greasings");
  double sum = 0;
  std::optional<Instant> first;
  Instant last{};
  for (const Row& r : of(all, vessel, "shaft", shaft)) {
    if (at(r) < day(from) || at(r) > day(until)) continue;
    if (first)
      sum += cm3_of(r);
    else if (r.at("ended") == "pressure" || r.at("ended") == "packed")
      first = at(r);
    last = at(r);
  }
  return sum / hours_run(vessel, shaft, *first, last);
}

/// What left the reservoir over what the doses took, between the first and the last level reading of a span.
double delivery_ratio(const std::string& vessel, double reservoir_cm3, int shafts, const char* from,
                      const char* until) {
  double first = -1, last = -1, poured_kg = 0;
  Instant begin{}, end{};
  for (const Row& r : of(read("levels"), vessel)) {
    if (at(r) < day(from) || at(r) > day(until)) continue;
    last = number(r.at("level_pct"));
    end = at(r);
    if (first < 0) first = last, begin = end;
  }
  for (const Row& r : of(read("refills"), vessel))
    if (at(r) > begin && at(r) < end) poured_kg += number(r.at("amount"));
  const double used = (first - last) / 100 * reservoir_cm3 + poured_kg * 1000 / 0.92;
  const std::string shaft = of(read("feeds"), vessel).front().at("shaft");
  return used / (hours_run(vessel, shaft, begin, end) * shafts * 0.25 * 4);
}

}  // namespace

TEST_CASE("demo log: what is compiled in is what lies in the folder", "[demo]") {
  REQUIRE(demo_files().size() == 14);
  for (const EmbeddedFile& file : demo_files()) {
    std::ifstream in{std::string{SHAFTLOG_SOURCE_DIR} + "/demo_db/log/" + std::string{file.name}, std::ios::binary};
    std::ostringstream text;
    text << in.rdbuf();
    INFO(file.name);
    REQUIRE(text.str().size() > 50);
    CHECK((text.str() == file.text));
  }
}

TEST_CASE("demo log: every word, key, id and moment is one that the records know", "[demo]") {
  std::set<std::string> shafts, lubricators;
  for (const Row& r : read("shafts")) shafts.insert(r.at("vessel") + "/" + r.at("shaft"));
  for (const Row& r : read("lubricators")) lubricators.insert(r.at("vessel") + "/" + r.at("lubricator"));
  CHECK(shafts.size() == 39);
  CHECK(lubricators.size() == 5);
  for (const Row& r : read("greases")) CHECK(parse_thickener(r.at("thickener")));
  for (const std::string& file : kLogFiles) {
    const std::vector<Row> rows = read(file);
    REQUIRE(rows.size() > 20);
    for (const Row& r : rows) {
      INFO(file << " " << r.at("vessel") << " " << r.at("recorded_at"));
      if (r.count("shaft") != 0 && !r.at("shaft").empty())
        REQUIRE(shafts.count(r.at("vessel") + "/" + r.at("shaft")) == 1);
      if (r.count("lubricator") != 0 && !r.at("lubricator").empty())
        REQUIRE(lubricators.count(r.at("vessel") + "/" + r.at("lubricator")) == 1);
      REQUIRE(moment(r, "recorded_at") >= at(r));
      REQUIRE(at(r) >= day("2023-09-30"));
      REQUIRE(moment(r, "recorded_at") < day("2026-10-01") + std::chrono::hours{12});
      REQUIRE_FALSE(r.at("by").empty());
      for (const char* id : {"id", "replaces", "withdraws"})
        if (!r.at(id).empty()) REQUIRE(parse_uuid(r.at(id)));
      if (file == "greasings") {
        REQUIRE(parse_unit(r.at("unit")));
        REQUIRE(parse_ended(r.at("ended")));
        if (!r.at("purge").empty()) REQUIRE(parse_purge(r.at("purge")));
      }
      if (file == "alarms") REQUIRE(parse_alarm_kind(r.at("alarm")));
      if (file == "work") REQUIRE(parse_work_kind(r.at("work")));
    }
  }
}

TEST_CASE("demo log: hour meters run on, but for the stories about them", "[demo]") {
  std::vector<std::string> odd;
  std::map<std::string, Row> before;
  for (const Row& r : read("hours")) {
    const std::string key = r.at("vessel") + "/" + r.at("shaft");
    const auto previous = before.find(key);
    if (previous != before.end()) {
      const double run = number(r.at("meter_h")) - number(previous->second.at("meter_h"));
      // 1.1 h: a reading is kept to 0.1 h, aboard Tarndale to 1 h
      if (run < 0 || run > hours_between(at(previous->second), at(r)) + 1.1)
        odd.push_back(key + " " + r.at("at").substr(0, 10));
    }
    before[key] = r;
  }
  CHECK(odd == std::vector<std::string>{"aldervane/rudder_stock 2024-06-30", "aldervane/rudder_stock 2026-07-26",
                                        "quillhaven/thruster 2025-01-26", "quillhaven/fin_stbd 2025-09-12",
                                        "quillmark/fin_port 2025-08-20", "quillmark/fin_port 2025-08-21"});
}

TEST_CASE("demo log: healthy shafts keep their rate", "[demo]") {
  const struct {
    const char *vessel, *shaft;
    double truth;
  } healthy[] = {{"aldermoor", "fin_port", 0.25},     {"aldermoor", "fin_stbd", 0.26},
                 {"aldermoor", "rudder_stock", 0.16}, {"aldervane", "fin_port", 0.26},
                 {"quillhaven", "fin_stbd", 0.25},    {"marlfirth", "fin_stbd", 0.24},
                 {"fenhollow", "fin_port", 0.25},     {"fenhollow", "fin_stbd", 0.24},
                 {"ostermere", "rudder_stock", 0.15}, {"brackensound", "thruster", 0.26}};
  for (const auto& h : healthy)
    for (const auto& [from, until] : {std::pair{"2023-11-01", "2025-01-31"}, std::pair{"2025-02-01", "2026-10-01"}}) {
      INFO(h.vessel << " " << h.shaft << " from " << from);
      CHECK(rate(h.vessel, h.shaft, from, until) == Approx(h.truth).epsilon(0.12));
    }
}

TEST_CASE("demo log: washout steps, wears and comes back where the story says", "[demo]") {
  // 18 months of 0.20 per 1000 h, 9 h a day: e^1.0 at the end
  const double worn = rate("aldervane", "fin_stbd", "2026-05-01", "2026-10-01") /
                      rate("aldervane", "fin_stbd", "2023-10-01", "2025-03-31");
  CHECK(worn > 2.0);
  CHECK(worn < 3.0);
  const double struck = rate("quillhaven", "fin_port", "2026-06-01", "2026-10-01") /
                        rate("quillhaven", "fin_port", "2023-10-01", "2026-05-10");
  CHECK(struck == Approx(2.45).epsilon(0.15));
  for (const char* fin : {"fin_fwd_port", "fin_fwd_stbd", "fin_aft_port", "fin_aft_stbd"}) {
    INFO(fin);
    const double changed =
        rate("kestrelholm", fin, "2026-03-01", "2026-10-01") / rate("kestrelholm", fin, "2023-10-01", "2026-02-15");
    CHECK(changed == Approx(1.96).epsilon(0.15));
  }
  const double before_repair = rate("marlfirth", "fin_port", "2025-02-01", "2025-05-10");
  const double after_repair = rate("marlfirth", "fin_port", "2025-05-15", "2026-10-01");
  CHECK(before_repair > 0.55);
  CHECK(after_repair == Approx(0.25).epsilon(0.12));
}

TEST_CASE("demo log: reservoirs give what the story says", "[demo]") {
  CHECK(delivery_ratio("tarnwick", 5000, 4, "2023-10-01", "2026-02-08") == Approx(1.0).epsilon(0.03));
  CHECK(delivery_ratio("tarnwick", 5000, 4, "2026-02-12", "2026-10-01") == Approx(0.75).epsilon(0.04));
  CHECK(delivery_ratio("vespergale", 5000, 4, "2023-10-01", "2026-05-26") == Approx(1.0).epsilon(0.03));
  CHECK(delivery_ratio("vespergale", 5000, 4, "2026-05-30", "2026-10-01") == Approx(1.52).epsilon(0.04));
  CHECK(delivery_ratio("tarndale", 5000, 4, "2026-05-06", "2026-10-01") == Approx(0.0).margin(0.05));
  CHECK(delivery_ratio("ostermere", 3000, 2, "2023-10-01", "2026-05-13") == Approx(1.0).epsilon(0.04));
  CHECK(delivery_ratio("brackensound", 4000, 2, "2023-10-01", "2026-10-01") == Approx(1.0).epsilon(0.04));
}

TEST_CASE("demo log: a lubricator left off counts no cycle while the hours go on", "[demo]") {
  std::set<std::string> counts;
  for (const Row& r : of(read("cycles"), "tarndale"))
    if (at(r) > day("2026-05-06")) counts.insert(r.at("count"));
  CHECK(counts.size() == 1);
  CHECK(hours_run("tarndale", "fin_fwd_port", day("2026-05-06"), day("2026-10-01")) > 1000);
  CHECK(of(read("alarms"), "tarndale").back().at("raised_at") < "2026-04-20");
}

TEST_CASE("demo log: a ship falls silent, a shaft is emptied, an alarm stands", "[demo]") {
  for (const std::string& file : kLogFiles)
    for (const Row& r : of(read(file), "ostermere")) REQUIRE(at(r) < day("2026-05-14"));
  int emptied = 0;
  for (const Row& r : of(read("greasings"), "fenhollow", "shaft", "rudder_stock"))
    if (r.at("ended") == "limit") {
      CHECK(r.at("amount") == "400");
      ++emptied;
    }
  CHECK(emptied == 3);
  std::vector<std::string> standing;
  for (const Row& r : read("alarms"))
    if (r.at("cleared_at").empty()) standing.push_back(r.at("vessel") + " " + r.at("alarm"));
  CHECK(standing == std::vector<std::string>{"brackensound cycle_fault"});
  CHECK(number(of(read("levels"), "brackensound").back().at("level_pct")) < 20);
}

TEST_CASE("demo log: the slips aboard Quillmark are the ones told", "[demo]") {
  const std::vector<Row> all = of(read("greasings"), "quillmark");
  int beyond_cavity = 0, replaced = 0, withdrawn = 0, second_tablet = 0, late_by_a_year = 0;
  for (const Row& r : all) {
    beyond_cavity += number(r.at("amount")) > 400 ? 1 : 0;
    second_tablet += r.at("by") == "Hal" ? 1 : 0;
    late_by_a_year += moment(r, "recorded_at") - at(r) > std::chrono::hours{24 * 300} ? 1 : 0;
    for (const char* column : {"replaces", "withdraws"}) {
      if (r.at(column).empty()) continue;
      (std::string{column} == "replaces" ? replaced : withdrawn) += 1;
      CHECK_FALSE(r.at("reason").empty());
      CHECK(std::count_if(all.begin(), all.end(), [&](const Row& o) { return o.at("id") == r.at(column); }) == 1);
    }
  }
  CHECK(beyond_cavity == 2);  // one found out by nobody, one corrected
  CHECK(replaced == 1);
  CHECK(withdrawn == 1);
  CHECK(second_tablet == 1);
  CHECK(late_by_a_year == 1);
}
