#include "analysis/contradictions.hpp"

#include "domain/amount.hpp"

#include <algorithm>

#include <catch2/catch.hpp>

using namespace shaftlog;

namespace {

const Instant kDay0 = from_unix(1'770'000'000);  // 2026-02-02T02:40Z
const Instant kEnd = kDay0 + std::chrono::days{2000};

Instant at_h(double h) { return kDay0 + std::chrono::seconds{static_cast<std::int64_t>(h * 3600)}; }

Uuid id_of(int n) {
  Uuid u;
  u.bytes[14] = static_cast<std::uint8_t>(n / 256);
  u.bytes[15] = static_cast<std::uint8_t>(n % 256);
  return u;
}

Amount amount_of(std::string_view typed, Unit unit = Unit::cm3) {
  return make_amount(*parse_decimal(typed), unit, {Density::from_base(920), Volume::from_base(1300), std::nullopt});
}

VesselLog a_log() {
  VesselLog log;
  log.vessel = {VesselId{1}, "T-11", "Test", std::nullopt, "UTC", std::nullopt};
  log.people = {"", "second", "third"};
  log.origins = {"", "typed", "sheet"};
  Grease g;
  g.id = GreaseId{1};
  g.density = Density::from_base(920);
  log.greases.push_back(g);
  for (int i = 1; i <= 2; ++i) {
    Shaft s;
    s.id = ShaftId{i};
    s.code = i == 1 ? "port" : "stbd";
    ShaftSetting set;
    set.cavity = cm3(400);
    set.grease = GreaseId{1};
    s.settings.push_back(set);
    log.shafts.push_back(s);
  }
  Lubricator l;
  l.id = LubricatorId{1};
  l.settings.push_back({std::nullopt, cm3(5000), std::nullopt, GreaseId{1}});
  log.lubricators.push_back(l);
  return log;
}

template <class What>
Logged<What> logged(int id, double h, std::uint32_t by = 1, double recorded_after_h = 0.1) {
  Logged<What> r;
  r.id = id_of(id);
  r.at = at_h(h);
  r.recorded_at = at_h(h + recorded_after_h);
  r.by = by;
  r.origin = 1;
  return r;
}

Logged<Greasing> a_greasing(int id, double h, std::string_view cm3_typed, std::uint32_t by = 1,
                            double recorded_after_h = 0.1) {
  auto g = logged<Greasing>(id, h, by, recorded_after_h);
  g.shaft = ShaftId{1};
  g.what.amount = amount_of(cm3_typed);
  return g;
}

Logged<Refill> a_refill(int id, double h, std::string_view cm3_typed, std::optional<int> before = {},
                        std::optional<int> after = {}, std::uint32_t by = 1) {
  auto r = logged<Refill>(id, h, by);
  r.lubricator = LubricatorId{1};
  if (!cm3_typed.empty()) r.what.amount = amount_of(cm3_typed);
  if (before) r.what.before = Level::from_base(*before * 100);
  if (after) r.what.after = Level::from_base(*after * 100);
  return r;
}

const Suspect* find(const std::vector<Suspect>& all, SuspectKind kind) {
  const auto it = std::find_if(all.begin(), all.end(), [&](const Suspect& s) { return s.kind == kind; });
  return it == all.end() ? nullptr : &*it;
}

bool has(const VesselLog& log, SuspectKind kind) { return find(find_contradictions(log, kEnd), kind) != nullptr; }

}  // namespace

TEST_CASE("contradictions: a plain log has none", "[analysis][contradictions]") {
  VesselLog log = a_log();
  for (int i = 0; i < 20; ++i) log.greasings.push_back(a_greasing(i, i * 300.0, "80"));
  for (int i = 0; i < 10; ++i) log.refills.push_back(a_refill(100 + i, i * 500.0, "2000", 50, 90));
  CHECK(find_contradictions(log, kEnd).empty());
}

TEST_CASE("duplicates: two persons twenty minutes apart, recorded days apart, count once",
          "[analysis][contradictions]") {
  VesselLog log = a_log();
  log.greasings = {a_greasing(1, 100, "80", 1), a_greasing(2, 100.3333, "80", 2, 216)};
  const auto all = find_contradictions(log, kEnd);
  REQUIRE(all.size() == 1);
  CHECK(all[0].kind == SuspectKind::duplicate);
  CHECK(all[0].record == id_of(2));
  CHECK(all[0].against == std::vector<Uuid>{id_of(1)});
  CHECK(all[0].seen_at == at_h(100.3333));
  CHECK_THAT(all[0].says,
             Catch::Contains("80 cm3") && Catch::Contains("two persons") && Catch::Contains("counted once"));
  CHECK(uncounted(all) == std::vector<Uuid>{id_of(2)});
  CHECK(find_contradictions(log, at_h(100.1)).empty());  // not known yet
}

TEST_CASE("duplicates: the later recorded is the one not counted", "[analysis][contradictions]") {
  VesselLog log = a_log();
  log.greasings = {a_greasing(1, 100, "80", 1, 300), a_greasing(2, 100.3, "80", 2, 0.1)};
  CHECK(uncounted(find_contradictions(log, kEnd)) == std::vector<Uuid>{id_of(1)});
}

TEST_CASE("duplicates: port and starboard with the same amount are none", "[analysis][contradictions]") {
  VesselLog log = a_log();
  log.greasings = {a_greasing(1, 100, "80", 1), a_greasing(2, 100.3333, "80", 2, 216)};
  log.greasings[1].shaft = ShaftId{2};
  CHECK(find_contradictions(log, kEnd).empty());
}

TEST_CASE("duplicates: another amount, or a broken-off greasing taken up again, is none",
          "[analysis][contradictions]") {
  VesselLog log = a_log();
  log.greasings = {a_greasing(1, 100, "80", 1), a_greasing(2, 100.3, "60", 2, 216)};
  CHECK_FALSE(has(log, SuspectKind::duplicate));
  log.greasings = {a_greasing(1, 100, "80"), a_greasing(2, 100.3, "80")};
  log.greasings[0].what.ended = Ended::stopped;
  CHECK_FALSE(has(log, SuspectKind::duplicate));
  log.greasings[0].what.ended = Ended::pressure;  // a full cavity cannot take 80 again at once
  CHECK(has(log, SuspectKind::duplicate));
}

TEST_CASE("duplicates: the same day on paper and typed", "[analysis][contradictions]") {
  VesselLog log = a_log();
  log.greasings = {a_greasing(1, 100, "80"), a_greasing(2, 106, "80")};
  log.greasings[1].precision = Precision::day;
  log.greasings[1].origin = 2;
  CHECK(has(log, SuspectKind::duplicate));
  log.greasings[1] = a_greasing(2, 160, "80");
  log.greasings[1].origin = 2;
  CHECK_FALSE(has(log, SuspectKind::duplicate));
}

TEST_CASE("duplicates: two pails in a row by one person are two pails", "[analysis][contradictions]") {
  VesselLog log = a_log();
  log.refills = {a_refill(1, 10, "2000"), a_refill(2, 10.2, "2000")};
  CHECK_FALSE(has(log, SuspectKind::duplicate));
  log.refills = {a_refill(1, 10, "2000", 20, 60), a_refill(2, 10.2, "2000", 60, 100)};
  CHECK_FALSE(has(log, SuspectKind::duplicate));
  log.refills = {a_refill(1, 10, "2000", 20, 60), a_refill(2, 10.2, "2000", 20, 60)};  // levels say one
  CHECK(has(log, SuspectKind::duplicate));
  log.refills = {a_refill(1, 10, "3000"), a_refill(2, 10.2, "3000")};  // two do not fit
  CHECK(has(log, SuspectKind::duplicate));
  log.refills = {a_refill(1, 10, "2000"), a_refill(2, 10.2, "2000", {}, {}, 2)};
  log.refills[1].recorded_at = at_h(300);
  CHECK(has(log, SuspectKind::duplicate));
}

TEST_CASE("future: a date after it was recorded, beyond a day", "[analysis][contradictions]") {
  VesselLog log = a_log();
  log.greasings = {a_greasing(1, 100, "80", 1, -20)};
  CHECK_FALSE(has(log, SuspectKind::future_date));
  log.greasings = {a_greasing(1, 100, "80", 1, -240)};
  const auto all = find_contradictions(log, kEnd);
  REQUIRE(all.size() == 1);
  CHECK(all[0].kind == SuspectKind::future_date);
  CHECK(all[0].seen_at == at_h(-140));
  CHECK_THAT(all[0].says, Catch::Contains("10 days after"));
  log = a_log();
  log.future.push_back({id_of(9), Kind::greasing, at_h(9000), at_h(10), ShaftId{1}, {}});
  CHECK(uncounted(find_contradictions(log, at_h(20))) == std::vector<Uuid>{id_of(9)});
}

TEST_CASE("capacity: 650 into 400 is more than can be held, 440 may be the drawing", "[analysis][contradictions]") {
  VesselLog log = a_log();
  log.greasings = {a_greasing(1, 0, "80"), a_greasing(2, 290, "650")};
  const auto all = find_contradictions(log, kEnd);
  REQUIRE(all.size() == 1);
  CHECK(all[0].kind == SuspectKind::amount_beyond_capacity);
  CHECK(all[0].record == id_of(2));
  CHECK_THAT(all[0].says, Catch::Contains("650 cm3") && Catch::Contains("400 cm3"));
  CHECK(uncounted(all).empty());
  log.greasings[1] = a_greasing(2, 290, "440");
  CHECK_FALSE(has(log, SuspectKind::amount_beyond_capacity));
  log.greasings[1] = a_greasing(2, 290, "650");
  auto purge = logged<Work>(3, 291);
  purge.shaft = ShaftId{1};
  purge.what.work = WorkKind::purged;
  log.work = {purge};
  CHECK_FALSE(has(log, SuspectKind::amount_beyond_capacity));
  log.work.clear();
  log.shafts[0].settings[0].cavity.reset();  // unknown: nothing can be said
  CHECK_FALSE(has(log, SuspectKind::amount_beyond_capacity));
}

TEST_CASE("capacity: a refill larger than its reservoir", "[analysis][contradictions]") {
  VesselLog log = a_log();
  log.refills = {a_refill(1, 10, "5200")};
  CHECK_FALSE(has(log, SuspectKind::amount_beyond_capacity));
  log.refills = {a_refill(1, 10, "20000")};
  CHECK(has(log, SuspectKind::amount_beyond_capacity));
}

TEST_CASE("levels: amount and rise agree within the reading", "[analysis][contradictions]") {
  VesselLog log = a_log();
  log.refills = {a_refill(1, 10, "2000", 50, 86)};  // 1800 by level
  CHECK_FALSE(has(log, SuspectKind::level_contradiction));
  log.refills = {a_refill(1, 10, "2000", 50, 60)};
  CHECK(has(log, SuspectKind::level_contradiction));
  log.refills = {a_refill(1, 10, "", 90, 40)};
  const auto all = find_contradictions(log, kEnd);
  REQUIRE(all.size() == 1);
  CHECK_THAT(all[0].says, Catch::Contains("90 %") && Catch::Contains("40 %") && Catch::Contains("fell"));
}

TEST_CASE("levels: a refill far smaller than the rise around it is noted, a part and a second refill are not",
          "[analysis][contradictions]") {
  VesselLog log = a_log();
  const auto level = [](int id, double h, int pct) {
    auto l = logged<LevelReading>(id, h);
    l.lubricator = LubricatorId{1};
    l.what.level = Level::from_base(pct * 100);
    return l;
  };
  log.levels = {level(11, 1, 30), level(12, 100, 95)};  // 3250 cm3
  log.refills = {a_refill(1, 50, "3.3")};
  const auto all = find_contradictions(log, kEnd);
  REQUIRE(all.size() == 1);
  CHECK(all[0].kind == SuspectKind::level_contradiction);
  CHECK(all[0].record == id_of(1));
  CHECK(all[0].seen_at == at_h(100));
  CHECK(all[0].says ==
        "3.3 cm3 poured, but the level rose from 30 % on 2026-02-02 to 95 % on 2026-02-06, which is 3250 cm3 at least");
  CHECK(find_contradictions(log, at_h(99)).empty());  // not before the level is read
  log.refills = {a_refill(1, 50, "3300")};
  CHECK(find_contradictions(log, kEnd).empty());
  log.refills = {a_refill(1, 50, "1500")};  // another reason than a slip: a refill that nobody wrote down
  CHECK(find_contradictions(log, kEnd).empty());
  log.refills = {a_refill(1, 50, "3.3"), a_refill(2, 70, "3300")};
  CHECK(find_contradictions(log, kEnd).empty());
  log.refills = {a_refill(1, 99, "3.3")};
  log.refills[0].precision = Precision::day;  // before or after the reading of that day
  CHECK(find_contradictions(log, kEnd).empty());
  log.refills = {a_refill(1, 50, "3.3", {}, 95)};
  log.levels.pop_back();
  CHECK(has(log, SuspectKind::level_contradiction));
}

TEST_CASE("levels: more poured than there was room for", "[analysis][contradictions]") {
  VesselLog log = a_log();
  log.refills = {a_refill(1, 10, "1000", 82)};  // room 900
  CHECK_FALSE(has(log, SuspectKind::level_contradiction));
  log.refills = {a_refill(1, 10, "2000", 90)};  // room 500
  CHECK(has(log, SuspectKind::level_contradiction));
}

TEST_CASE("alarms that cleared before they were raised", "[analysis][contradictions]") {
  VesselLog log = a_log();
  auto a = logged<Alarm>(1, 100);
  a.lubricator = LubricatorId{1};
  a.what.cleared = Stamp{at_h(101), std::chrono::minutes{0}, Precision::minute};
  log.alarms = {a};
  CHECK(find_contradictions(log, kEnd).empty());
  log.alarms[0].what.cleared->utc = at_h(90);
  CHECK(has(log, SuspectKind::cleared_before_raised));
  log.alarms[0].what.cleared->precision = Precision::day;  // the day alone: 10 h say nothing
  CHECK_FALSE(has(log, SuspectKind::cleared_before_raised));
}

TEST_CASE("dates: a year off among records written promptly", "[analysis][contradictions]") {
  VesselLog log = a_log();
  for (int i = 0; i < 20; ++i) log.greasings.push_back(a_greasing(i, 9000 + i * 300.0, "80"));
  CHECK_FALSE(has(log, SuspectKind::date_slip));
  log.greasings.insert(log.greasings.begin(), a_greasing(50, 9000 + 2900 - 365 * 24, "81", 1, 365 * 24));
  const auto all = find_contradictions(log, kEnd);
  REQUIRE(all.size() == 1);
  CHECK(all[0].kind == SuspectKind::date_slip);
  CHECK(all[0].record == id_of(50));
  // A whole log typed in later from paper is late everywhere and says nothing.
  for (auto& g : log.greasings) g.recorded_at = at_h(20000);
  CHECK_FALSE(has(log, SuspectKind::date_slip));
}

// --- slips of the amount: weighed against the other amounts of the shaft ---------------------------------------------

namespace {

struct Slipping {
  VesselLog log = a_log();
  std::map<ShaftId, ShaftHistory> histories;
  std::map<ShaftId, WashoutResult> washouts;
  std::map<ShaftId, WashoutPrior> priors;
  int next_id = 1;
  double now_h = 0;

  Slipping() {  // a careful crew
    for (int shaft = 1; shaft <= 2; ++shaft) {
      WashoutPrior& p = priors[ShaftId{shaft}];
      p.fill_sd_cm3 = 6;
      p.relative_sd = 0.04;
      p.duty_sd = 0.06;
      p.season_sd = 0.05;
    }
  }
  void add(int shaft, double h, std::string_view typed, Unit unit = Unit::cm3, double run_h = 300, double expected = 80,
           double half = 25) {
    auto g = a_greasing(next_id++, h, "1");
    g.shaft = ShaftId{shaft};
    g.what.amount = amount_of(typed, unit);
    g.what.gun = GunId{unit == Unit::strokes ? 1 : 0};
    log.greasings.push_back(g);
    auto& history = histories[ShaftId{shaft}];
    history.cavity_cm3 = 400;
    history.first_is_full = true;
    GreasingInterval i;
    i.id = g.id;
    i.at = g.at;
    i.from = history.intervals.empty() ? g.at - std::chrono::hours{720} : history.intervals.back().at;
    i.run_h = run_h;
    i.taken_cm3 = in_cm3(*g.what.amount->volume);
    history.intervals.push_back(i);
    WashoutStep s;
    s.at = g.at;
    s.record = g.id;
    s.expected_cm3 = expected;
    s.expected_low = expected - half;
    s.expected_high = expected + half;
    washouts[ShaftId{shaft}].steps.push_back(s);
  }
  /// Amounts about `cm3` every 720 h, 300 of them run.
  void usual(int shaft, int times, int cm3 = 80) {
    for (int i = 0; i < times; ++i) {
      add(shaft, now_h, std::to_string(cm3 + (i % 3 - 1) * std::max(1, cm3 / 20)));
      now_h += 720;
    }
  }
  void next(int shaft, std::string_view typed, Unit unit = Unit::cm3) {
    add(shaft, now_h, typed, unit);
    now_h += 720;
  }
  [[nodiscard]] std::vector<Suspect> suspects() const { return find_amount_slips(log, histories, washouts, priors); }
};

}  // namespace

TEST_CASE("slips: a factor of ten that does not last", "[analysis][contradictions]") {
  Slipping s;
  s.usual(1, 6);
  s.next(1, "8");
  s.usual(1, 2);
  const auto all = s.suspects();
  REQUIRE(all.size() == 1);
  CHECK(all[0].kind == SuspectKind::amount_slip);
  CHECK(all[0].record == id_of(7));
  CHECK_THAT(all[0].says, Catch::Contains("80 cm3 would fit"));
  CHECK(all[0].strength > 1.5);
}

TEST_CASE("slips: ten times what any change makes of it is seen at once", "[analysis][contradictions]") {
  Slipping s;
  s.usual(1, 6, 30);
  s.next(1, "300");
  const auto all = s.suspects();
  REQUIRE(all.size() == 1);
  CHECK(all[0].seen_at == all[0].at);
  CHECK_THAT(all[0].says, Catch::Contains("30 cm3 would fit"));
}

TEST_CASE("slips: doses that stayed away explain no more than the loss they were to cover",
          "[analysis][contradictions]") {
  const auto with = [](std::string_view odd) {
    Slipping s;
    s.usual(1, 6, 30);
    s.next(1, odd);
    s.usual(1, 3, 30);
    for (GreasingInterval& i : s.histories[ShaftId{1}].intervals) {
      i.delivered_cm3 = 40;  // 70 lost in 300 h
      i.delivered_sd_cm3 = 2;
    }
    return s.suspects();
  };
  CHECK(with("70").empty());
  const auto all = with("300");
  REQUIRE(all.size() == 1);
  CHECK(all[0].record == id_of(7));
  CHECK_THAT(all[0].says, Catch::Contains("30 cm3 would fit"));
}

TEST_CASE("slips: a level that lasts is a change of the bearing", "[analysis][contradictions]") {
  Slipping s;
  s.usual(1, 6);
  s.next(1, "195");
  CHECK(s.suspects().empty());  // 2.5 times: open as long as nothing follows
  s.usual(1, 3, 200);
  CHECK(s.suspects().empty());
}

TEST_CASE("slips: what was cut short is made up by the next", "[analysis][contradictions]") {
  Slipping s;
  s.usual(1, 6);
  s.next(1, "25");
  s.next(1, "138");
  s.usual(1, 2);
  CHECK(s.suspects().empty());
}

TEST_CASE("slips: kilograms written as grams", "[analysis][contradictions]") {
  Slipping s;
  s.usual(1, 6);
  s.next(1, "0.074", Unit::g);
  s.usual(1, 2);
  const auto all = s.suspects();
  REQUIRE(all.size() == 1);
  CHECK_THAT(all[0].says, Catch::Contains("written as g but meant in kg"));
}

TEST_CASE("slips: digits exchanged, named with what else it may be", "[analysis][contradictions]") {
  Slipping s;
  s.usual(1, 6, 130);
  s.next(1, "310");
  s.usual(1, 3, 130);
  const auto all = s.suspects();
  REQUIRE(all.size() == 1);
  CHECK_THAT(all[0].says, Catch::Contains("310 typed for 130, two digits exchanged"));
}

TEST_CASE("slips: grams written as cubic centimetres cannot be told from the scatter", "[analysis][contradictions]") {
  Slipping s;
  s.usual(1, 6);
  s.next(1, "74");
  CHECK(s.suspects().empty());
}

TEST_CASE("slips: port and starboard exchanged, and one shaft that holds both", "[analysis][contradictions]") {
  const auto pair = [](int port_cm3, int stbd_cm3, std::string_view port, std::string_view stbd) {
    Slipping s;
    s.usual(1, 6, port_cm3);
    s.now_h = 1;
    s.usual(2, 6, stbd_cm3);
    s.add(1, s.now_h, port);
    s.add(2, s.now_h + 1, stbd);
    s.now_h += 720;
    s.usual(1, 2, port_cm3);
    s.now_h -= 1439;
    s.usual(2, 2, stbd_cm3);
    return s.suspects();
  };
  auto all = pair(240, 40, "41", "238");
  REQUIRE(all.size() == 1);
  CHECK(all[0].kind == SuspectKind::swapped_shafts);
  CHECK(all[0].record == id_of(13));
  CHECK(all[0].against == std::vector<Uuid>{id_of(14)});

  all = pair(80, 80, "160", "0");
  REQUIRE(all.size() == 1);
  CHECK_THAT(all[0].says, Catch::Contains("holds both"));

  CHECK(pair(80, 80, "85", "75").empty());
}

TEST_CASE("slips: a greasing dated a year too early spoils two intervals and leaves one too long",
          "[analysis][contradictions]") {
  Slipping s;
  std::vector<double> days;
  for (int d = 0; d <= 720; d += 30) {
    if (d != 480) days.push_back(d);
  }
  days.push_back(115);  // of day 480
  std::sort(days.begin(), days.end());
  double before = -30;
  for (const double d : days) {
    s.add(1, 24 * d, "80", Unit::cm3, 10 * (d - before));
    before = d;
  }
  s.washouts.clear();
  for (const auto& i : s.histories[ShaftId{1}].intervals) {
    s.washouts[ShaftId{1}].steps.emplace_back();
    s.washouts[ShaftId{1}].steps.back().record = i.id;
  }
  bool is_told = false;
  for (const Suspect& x : s.suspects()) {
    if (x.kind != SuspectKind::date_slip) continue;
    is_told = true;
    CHECK(x.at == at_h(24 * 115));
    CHECK(x.seen_at == at_h(24 * 510));
    CHECK_THAT(x.says, Catch::Contains("is the date wrong"));
  }
  CHECK(is_told);
}

TEST_CASE("meters: readings of two shafts exchanged are one matter", "[analysis][contradictions]") {
  VesselLog log = a_log();
  std::map<ShaftId, std::optional<double>> rollovers{{ShaftId{1}, std::nullopt}, {ShaftId{2}, std::nullopt}};
  int id = 1;
  for (int d = 0; d < 70; d += 7) {
    for (int shaft = 1; shaft <= 2; ++shaft) {
      auto h = logged<Hours>(id++, 24.0 * d + shaft);
      h.shaft = ShaftId{shaft};
      const int meter = (d == 35) == (shaft == 1) ? 9000 : 4000;
      h.what.reading = HoursReading::from_base((meter + 10 * d) * 3600LL);
      log.hours.push_back(h);
    }
  }
  const Instant end = at_h(24 * 100);
  std::vector<Suspect> suspects;
  for (int shaft = 1; shaft <= 2; ++shaft) {
    std::vector<Logged<Hours>> of_shaft;
    for (const auto& h : log.hours)
      if (h.shaft == ShaftId{shaft}) of_shaft.push_back(h);
    for (const Suspect& s : build_hours(of_shaft, std::nullopt, end).suspects) suspects.push_back(s);
  }
  REQUIRE(suspects.size() == 2);
  name_exchanged_meters(log, rollovers, end, suspects);
  REQUIRE(suspects.size() == 1);
  CHECK(suspects[0].kind == SuspectKind::swapped_shafts);
  CHECK(suspects[0].against.size() == 1);
}

TEST_CASE("slips: eight times the same round number over unequal hours", "[analysis][contradictions]") {
  Slipping s;
  for (int i = 0; i < 8; ++i) s.add(1, i * 400.0, "90", Unit::cm3, 150 + 70.0 * (i % 4), 100, 40);
  const auto all = s.suspects();
  REQUIRE(all.size() == 1);
  CHECK(all[0].kind == SuspectKind::too_regular);
  CHECK(all[0].against.size() == 7);

  Slipping seven;
  for (int i = 0; i < 7; ++i) seven.add(1, i * 400.0, "90", Unit::cm3, 150 + 70.0 * (i % 4), 100, 40);
  CHECK(seven.suspects().empty());
  Slipping odd;
  for (int i = 0; i < 8; ++i)
    odd.add(1, i * 400.0, i % 2 == 0 ? "90" : "110", Unit::cm3, 150 + 70.0 * (i % 4), 100, 40);
  CHECK(odd.suspects().empty());
}
