// What must hold of any log, asked of the program as its users run it: on a fleet of a dozen ships and three years, and
// on a small log full of corrections, withdrawals and remarks in many scripts.
#include "support/csv_rows.hpp"
#include "support/run.hpp"

#include <algorithm>
#include <functional>
#include <map>
#include <random>
#include <set>
#include <tuple>

#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

using namespace shaftlog::test;
using nlohmann::json;

namespace {

using Files = std::map<std::string, std::string>;
using Words = std::vector<std::string>;

const std::string kToday = "2026-10-01";

Files read_folder(const std::filesystem::path& folder) {
  Files out;
  for (const auto& item : std::filesystem::directory_iterator{folder})
    out[item.path().filename().string()] = read_text(item.path());
  return out;
}

void write_folder(const std::filesystem::path& folder, const Files& files) {
  for (const auto& [name, text] : files) write_text(folder / name, text);
}

Files exported(const Aboard& aboard) {
  const TempDir out;
  aboard.ok({"export", (out / "log").string()});
  return read_folder(out / "log");
}

void import(const Aboard& aboard, const Files& files) {
  const TempDir in;
  write_folder(in / "log", files);
  aboard.ok({"import", (in / "log").string()});
}

std::string review(const Aboard& aboard, const std::string& as_of, const Words& more = {}) {
  Words words{"review", "--json", "--as-of", as_of};
  words.insert(words.end(), more.begin(), more.end());
  return aboard.ok(words);
}

void make_fleet(const Aboard& aboard) {
  aboard.ok({"demo", "--folder", "fleet"});
  aboard.ok({"init"});
  aboard.ok({"import", "fleet"});
}

std::string correct(const Aboard& aboard, const std::string& id, const Words& values) {
  Words words{"correct", id, "--reason", "misread, \"so they say\"", "--json"};
  words.insert(words.end(), values.begin(), values.end());
  return json::parse(aboard.ok(words)).at("record").at("id");
}

std::string withdraw(const Aboard& aboard, const std::string& id) {
  return json::parse(aboard.ok({"withdraw", id, "--reason", "wrong ship; é", "--json"})).at("record").at("id");
}

/// A ship with records of every kind, some corrected, some withdrawn, with what may stand in a remark.
void make_corrected(const Aboard& aboard) {
  write_folder(
      aboard.dir / "ship",
      {{"vessels.csv", "vessel,name,time_zone\nT-01,\"Prøve, \"\"Éins\"\"\",Europe/Oslo\n"},
       {"greases.csv", "grease,thickener,density_g_cm3\nG-1,lithium_complex,0.92\nG-2,calcium,1.013\n"},
       {"guns.csv", "vessel,gun,cm3_per_stroke,calibrated_on\nT-01,gun1,1.3,2026-01-01\n"},
       {"lubricators.csv", "vessel,lubricator,reservoir_cm3,grease\nT-01,lub1,4000,G-1\n"},
       {"shafts.csv", "vessel,shaft,cavity_cm3,interval_h,grease\nT-01,port,400,300,G-1\nT-01,stbd,400,,G-1\n"},
       {"feeds.csv", "vessel,lubricator,shaft,from,dose_cm3,cycle_min\nT-01,lub1,port,2026-01-01,0.25,15\n"},
       {"hours.csv",
        "vessel,shaft,at,meter_h\nT-01,port,2026-01-05T08:00,1000\nT-01,port,2026-02-05,1400.25\n"
        "T-01,port,2026-03-29T02:30Z,1900\nT-01,stbd,2026-01-05,1000\n"}});
  aboard.ok({"init"});
  aboard.ok({"import", "ship"});
  const auto add = [&](Words words) {
    words.insert(words.begin(), "add");
    words.insert(words.end(), {"--vessel", "T-01", "--json"});
    return json::parse(aboard.ok(words)).at("record").at("id").get<std::string>();
  };
  const std::string greasing =
      add({"greasing", "--shaft", "port", "--at", "2026-02-02T10:00", "--amount", "60", "--unit", "strokes", "--gun",
           "gun1", "--ended", "pressure", "--remark", "Grüße — \"søt\", 油 \xF0\x9F\x9A\xA2\nsecond line; e\xCC\x81"});
  add({"greasing", "--shaft", "stbd", "--at", "2026-02-02T11:00", "--amount", "2.50", "--unit", "oz", "--ended",
       "limit", "--grease", "G-2", "--purge", "water"});
  const std::string level = add({"level", "--lubricator", "lub1", "--at", "2026-02-03", "--level-pct", "61.5"});
  add({"refill", "--lubricator", "lub1", "--at", "2026-02-04T07:00+05:30", "--amount", "1.2", "--unit", "kg",
       "--level-before-pct", "40", "--batch", "B;7"});
  const std::string alarm =
      add({"alarm", "--lubricator", "lub1", "--raised-at", "2026-02-06T01:00", "--alarm", "no_pressure"});
  add({"work", "--shaft", "port", "--at", "2026-02-07", "--work", "seal_replaced", "--remark", "' leading; \ttab"});
  add({"inspection", "--shaft", "port", "--at", "2026-02-08", "--water-pct", "0.1250", "--iron-ppm", "35.5"});
  add({"cycles", "--lubricator", "lub1", "--at", "2026-02-08", "--count", "1234"});
  const std::string second = correct(aboard, greasing, {"--amount", "66"});
  correct(aboard, second, {"--at", "2026-02-02T10:30", "--remark", "once more"});
  withdraw(aboard, level);
  withdraw(aboard, correct(aboard, alarm, {"--cleared-at", "2026-02-06T02:00"}));
}

struct Log {
  const char* name;
  std::function<void(const Aboard&)> make;
};
const std::vector<Log> kLogs{{"the demo fleet", make_fleet}, {"a corrected log", make_corrected}};

std::uint64_t added_of(const std::string& import_json) {
  const json answer = json::parse(import_json);
  std::uint64_t n = 0;
  for (const json& file : answer.at("files")) n += file.at("added").get<std::uint64_t>();
  return n;
}

bool is_register(const std::string& name) {
  static const std::set<std::string> names{"vessels.csv", "greases.csv", "guns.csv",           "lubricators.csv",
                                           "shafts.csv",  "feeds.csv",   "grease_evidence.csv"};
  return names.contains(name);
}

Files shuffled(const Files& files, std::mt19937_64& random) {
  Files out;
  for (const auto& [name, text] : files) {
    CsvRows rows = csv_rows(text);
    std::shuffle(rows.begin() + 1, rows.end(), random);
    std::vector<std::size_t> order(rows[0].size());
    for (std::size_t i = 0; i < order.size(); ++i) order[i] = i;
    std::shuffle(order.begin(), order.end(), random);
    for (auto& row : rows) {
      std::vector<std::string> moved;
      for (const std::size_t i : order) moved.push_back(row[i]);
      row = std::move(moved);
    }
    out[name] = csv_text(rows);
  }
  return out;
}

/// What the review says of one ship, in order.
json of_vessel(const json& review, const std::string& part, const std::string& vessel) {
  json out = json::array();
  for (const json& x : review.at(part))
    if (x.at("vessel") == vessel) out.push_back(x);
  return out;
}

}  // namespace

TEST_CASE("an export imported into an empty database exports the same bytes", "[e2e][laws]") {
  for (const Log& log : kLogs) {
    INFO(log.name);
    const Aboard first, second;
    log.make(first);
    const Files once = exported(first);
    REQUIRE(once.size() == 17);
    second.ok({"init"});
    import(second, once);
    CHECK((exported(second) == once));
    CHECK(second.ok({"check"}) == first.ok({"check"}));
    CHECK(second.ok({"list", "--all-versions", "--json"}) == first.ok({"list", "--all-versions", "--json"}));
    CHECK((review(second, kToday) == review(first, kToday)));
  }
}

TEST_CASE("importing twice adds nothing", "[e2e][laws]") {
  for (const Log& log : kLogs) {
    INFO(log.name);
    const Aboard aboard;
    log.make(aboard);
    const Files before = exported(aboard);
    const std::string check = aboard.ok({"check"});
    write_folder(aboard.dir / "again", before);
    const std::filesystem::path own = aboard.dir / (std::filesystem::exists(aboard.dir / "fleet") ? "fleet" : "ship");
    // Its own export brings the ids along; the folder it came from has none: the values alone must tell.
    CHECK(added_of(aboard.ok({"import", "again", "--json"})) == 0);
    CHECK(added_of(aboard.ok({"import", own.string(), "--json"})) == 0);
    CHECK(aboard.ok({"check"}) == check);
    CHECK((exported(aboard) == before));
  }
}

TEST_CASE("the order of lines, columns and files changes nothing", "[e2e][laws]") {
  for (const Log& log : kLogs) {
    const Aboard aboard;
    log.make(aboard);
    const Files files = exported(aboard);
    const std::string wanted = review(aboard, kToday);
    for (const std::uint64_t seed : {1U, 2U, 3U}) {
      INFO(log.name << ", seed " << seed);
      std::mt19937_64 random{seed};
      const Aboard other;
      other.ok({"init"});
      write_folder(other.dir / "mixed", shuffled(files, random));
      if (seed == 1) {
        other.ok({"import", "mixed"});
      } else {
        // The register in the order in which its files lean on each other, then the log in any order.
        Words order{"greases.csv", "vessels.csv", "shafts.csv", "guns.csv", "lubricators.csv", "feeds.csv"};
        Words of_log;
        for (const auto& [name, text] : files)
          if (!is_register(name)) of_log.push_back(name);
        std::shuffle(of_log.begin(), of_log.end(), random);
        order.insert(order.end(), of_log.begin(), of_log.end());
        for (const std::string& name : order) other.ok({"import", "mixed/" + name});
      }
      CHECK((review(other, kToday) == wanted));  // in brackets: no pages of both
      CHECK((exported(other) == files));
    }
  }
}

TEST_CASE("a review of the past is the review of the log as it was then", "[e2e][laws]") {
  const Aboard aboard;
  make_fleet(aboard);
  const Files files = exported(aboard);
  for (const char* const date : {"2024-09-01", "2026-03-01", "2026-08-25"}) {
    INFO(date);
    // Noon UTC of the day, as --as-of reads it. Times are exported with their offset: compared by the program itself,
    // which lists what happened before a moment.
    const json kept = json::parse(aboard.ok({"list", "--all-versions", "--json"}));
    std::set<std::string> later;
    for (const json& r : kept.at("records"))
      if (r.at("at").get<std::string>() > std::string{date} + "T12:00:00Z") later.insert(r.at("id"));
    REQUIRE(!later.empty());
    Files cut = files;
    std::size_t removed = 0;
    for (auto& [name, text] : cut) {
      CsvRows rows = csv_rows(text);
      const auto id = std::find(rows[0].begin(), rows[0].end(), "id") - rows[0].begin();
      if (static_cast<std::size_t>(id) == rows[0].size()) continue;
      removed +=
          std::erase_if(rows, [&](const auto& row) { return later.contains(row[static_cast<std::size_t>(id)]); });
      text = csv_text(rows);
    }
    REQUIRE(removed == later.size());
    const Aboard then;
    then.ok({"init"});
    import(then, cut);
    CHECK((review(then, date) == review(aboard, date)));
  }
}

TEST_CASE("threads, time zone and locale change no byte", "[e2e][laws]") {
  const Aboard aboard;
  make_fleet(aboard);
  Words locale{"LC_ALL=C"};
  // A decimal comma: compiled here, for few machines have it installed.
  const std::string localedef = "/usr/bin/localedef";
  if (std::filesystem::exists(localedef) && std::filesystem::exists("/usr/share/i18n/locales/de_DE")) {
    std::filesystem::create_directory(aboard.dir / "locale");
    run_program_file(localedef, {"-c", "-f", "UTF-8", "-i", "de_DE", "./locale/de_DE.UTF-8"}, aboard.dir.path());
    REQUIRE(std::filesystem::exists(aboard.dir / "locale/de_DE.UTF-8/LC_NUMERIC"));
    locale = {"LC_ALL=de_DE.UTF-8", "LOCPATH=" + (aboard.dir / "locale").string()};
  } else {
    WARN("not asked of a locale with a decimal comma: there is no localedef or no source of one here");
  }
  const std::vector<Words> calls{{"review", "--json", "--as-of", kToday},
                                 {"review", "--all", "--as-of", kToday},
                                 {"due", "--as-of", kToday},
                                 {"list", "--vessel", "quillmark", "--csv"}};
  for (const Words& call : calls) {
    INFO(call[0] << ' ' << call[1]);
    const std::string wanted = aboard.ok(call, "", {"TZ=UTC", "LC_ALL=C"});
    CHECK(aboard.ok(call, "", {"TZ=Pacific/Kiritimati", "LC_ALL=C"}) == wanted);
    Words env = locale;
    env.emplace_back("TZ=America/St_Johns");
    CHECK(aboard.ok(call, "", env) == wanted);
  }
  const std::string wanted = review(aboard, kToday, {"--threads", "1"});
  for (const char* const n : {"2", "3", "16"}) CHECK(review(aboard, kToday, {"--threads", n}) == wanted);
  // What is read and written in files, too.
  const Files files = exported(aboard);
  Words env = locale;
  env.emplace_back("TZ=Asia/Kathmandu");
  aboard.ok({"--db", "other.db", "init"}, "", env);
  aboard.ok({"--db", "other.db", "import", "fleet"}, "", env);
  aboard.ok({"--db", "other.db", "export", "other"}, "", env);
  CHECK(read_folder(aboard.dir / "other") == files);
}

TEST_CASE("one ship's review is its part of the fleet's", "[e2e][laws]") {
  const Aboard aboard;
  make_fleet(aboard);
  const json fleet = json::parse(review(aboard, kToday));
  std::set<std::string> vessels;
  for (const json& s : fleet.at("shafts")) vessels.insert(s.at("vessel"));
  REQUIRE(vessels.size() == 12);
  for (const std::string& vessel : vessels) {
    INFO(vessel);
    const json one = json::parse(review(aboard, kToday, {"--vessel", vessel}));
    for (const char* const part : {"findings", "shafts", "lubricators"})
      CHECK(one.at(part) == of_vessel(fleet, part, vessel));
  }
}

TEST_CASE("a correction withdrawn leaves the review as it was", "[e2e][laws]") {
  const Aboard aboard;
  make_fleet(aboard);
  const std::string before = review(aboard, kToday);
  const json newest = json::parse(aboard.ok({"list", "--vessel", "quillhaven", "--shaft", "fin_port", "--kind",
                                             "greasing", "--newest", "3", "--json"}))
                          .at("records");
  REQUIRE(newest.size() == 3);
  const std::string id = newest[1].at("id");
  const std::string correction = correct(aboard, id, {"--amount", "7"});
  CHECK((review(aboard, kToday) != before));
  withdraw(aboard, correction);
  CHECK((review(aboard, kToday) == before));
  // A correction of the correction, both withdrawn from the newest on.
  const std::string first = correct(aboard, id, {"--amount", "8"});
  const std::string second = correct(aboard, first, {"--amount", "9"});
  const std::string corrected_once = [&] {
    withdraw(aboard, second);
    return review(aboard, kToday);
  }();
  CHECK(corrected_once != before);
  withdraw(aboard, first);
  CHECK((review(aboard, kToday) == before));
  CHECK(aboard({"check"}).code == 0);
}

TEST_CASE("a matter keeps its id while it stays open", "[e2e][laws]") {
  const Aboard aboard;
  make_fleet(aboard);
  using Matter = std::tuple<std::string, std::string, std::string, std::string>;  // kind, vessel, shaft, lubricator
  std::map<Matter, std::set<std::string>> last;
  std::map<Matter, int> closed;       // month in which it was seen last
  std::set<std::string> starved_now;  // ids of those that were not greased yet in the review before
  int carried = 0;
  for (int month = 0; month <= 12; ++month) {
    const int m = 9 + month;  // October 2025 to October 2026
    const std::string date =
        std::to_string(2025 + m / 12) + (m % 12 < 9 ? "-0" : "-") + std::to_string(m % 12 + 1) + "-01";
    INFO(date);
    std::map<Matter, std::set<std::string>> now;
    const json answer = json::parse(review(aboard, date));
    for (const json& f : answer.at("findings")) {
      const auto text = [&](const char* key) { return f.at(key).is_null() ? "" : f.at(key).get<std::string>(); };
      const Matter matter{text("kind"), text("vessel"), text("shaft"), text("lubricator")};
      CHECK(now[matter].insert(text("id")).second);  // one id, one finding
      CHECK(text("first_seen") <= date + "T12:00:00Z");
    }
    for (const auto& [matter, ids] : now) {
      INFO(std::get<0>(matter) << ' ' << std::get<1>(matter) << ' ' << std::get<2>(matter) << std::get<3>(matter));
      const auto before = last.find(matter);
      if (before == last.end()) {
        const auto gone = closed.find(matter);
        if (gone != closed.end()) CHECK(month - gone->second > 3);  // closed and open again within 90 days: flicker
        continue;
      }
      ++carried;
      // Wrong records are one matter each, new ones come while old ones stay; of other kinds a subject has one. A
      // cavity that was starved until it was greased and then again is a new matter.
      if (std::get<0>(matter) == "record_suspect")
        CHECK(std::includes(ids.begin(), ids.end(), before->second.begin(), before->second.end()));
      else if (std::get<0>(matter) != "starved" || starved_now.contains(*before->second.begin()))
        CHECK(ids == before->second);
    }
    for (const auto& [matter, ids] : last)
      if (!now.contains(matter)) closed[matter] = month - 1;
    last = std::move(now);
    starved_now.clear();
    for (const json& f : answer.at("findings"))
      if (f.at("kind") == "starved" && f.at("urgency") == "act") starved_now.insert(f.at("id"));
  }
  CHECK(carried > 40);
}
