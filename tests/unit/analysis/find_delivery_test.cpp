// What is told of a lubricator and of the bearings that depend on it.
#include "analysis/due.hpp"
#include "analysis/prior_learner.hpp"
#include "analysis/review.hpp"
#include "analysis/review_context.hpp"
#include "support/poured.hpp"

#include <catch2/catch.hpp>

using namespace shaftlog;
using Catch::Matchers::Contains;

namespace {

constexpr LubricatorId kPump{1};
constexpr ShaftId kPort{1}, kStbd{2};
Instant day(int d) { return from_unix(1704067200) + std::chrono::days{d}; }  // 2024-01-01 and so on

/// Two shafts of 12 h a day and 400 cm3, fed 0.1 cm3 each 15 min from 5000 cm3: read every week, 0.4 cm3/h each.
struct Ship {
  int until = 728;        ///< the last day on which anything is read
  double loss = 0.3;      ///< of fin_port [cm3/h]; fin_stbd loses 0.3
  int greased_every = 0;  ///< days; 0: never by hand
  int greased_until = 728;
  int counted_until = 728;  ///< the counter stands from here on
  int runs_until = 728;     ///< grease leaves the reservoir up to here
  VesselLog log;
  std::uint16_t n = 0;

  Ship() {
    log.vessel = {VesselId{1}, "tess", "Tess", std::nullopt, "UTC", std::nullopt};
    ShaftSetting setting;
    setting.cavity = cm3(400);
    log.shafts = {{kPort, VesselId{1}, "fin_port", {setting}}, {kStbd, VesselId{1}, "fin_stbd", {setting}}};
    Lubricator l;
    l.id = kPump;
    l.vessel = VesselId{1};
    l.code = "lub1";
    l.settings.push_back({std::nullopt, cm3(5000), std::nullopt, {}});
    log.lubricators.push_back(l);
    for (const ShaftId s : {kPort, kStbd}) log.feeds.push_back({kPump, s, std::nullopt, Volume::from_base(100), 900});
  }
  template <class What>
  Logged<What> logged(int d) {
    Logged<What> r;
    r.id.bytes[14] = static_cast<std::uint8_t>(++n >> 8);
    r.id.bytes[15] = static_cast<std::uint8_t>(n);
    r.at = r.recorded_at = day(d) + std::chrono::hours{8};
    return r;
  }
  void work(int d, WorkKind kind) {
    Logged<Work> w = logged<Work>(d);
    w.lubricator = kPump;
    w.what.work = kind;
    log.work.push_back(w);
  }
  void write() {
    double left = 4500;
    for (int d = 0; d <= until; d += 7) {
      for (const ShaftId s : {kPort, kStbd}) {
        Logged<Hours> h = logged<Hours>(d);
        h.shaft = s;
        h.what.reading = HoursReading::from_base(std::int64_t{d} * 12 * 3600);
        log.hours.push_back(h);
      }
      Logged<Cycles> c = logged<Cycles>(d);
      c.lubricator = kPump;
      c.what.count = 48 * std::min(d, counted_until);
      log.cycles.push_back(c);
      if (d > 0 && d <= runs_until) left -= 7 * 9.6;
      if (left < 1000) {
        Logged<Refill> r = logged<Refill>(d);
        r.lubricator = kPump;
        r.what = test::poured(3500);
        log.refills.push_back(r);
        left += 3500;
      }
      Logged<LevelReading> l = logged<LevelReading>(d);
      l.lubricator = kPump;
      l.what.level = Level::from_base(100 * static_cast<std::int64_t>(left / 50 + 0.5));
      log.levels.push_back(l);
    }
    for (int d = greased_every; greased_every > 0 && d <= std::min(greased_until, until); d += greased_every)
      for (const ShaftId s : {kPort, kStbd}) {
        const double lost = (s == kPort ? loss : 0.3) - 0.4;
        Logged<Greasing> g = logged<Greasing>(d);
        g.shaft = s;
        Amount a;
        a.volume = cm3(std::clamp<std::int64_t>(static_cast<std::int64_t>(lost * 12 * greased_every), 5, 400));
        g.what.amount = a;
        g.what.ended = Ended::pressure;
        log.greasings.push_back(g);
      }
  }
  [[nodiscard]] VesselReview review(int as_of) const {
    const std::vector<VesselLog> fleet{log};
    return review_fleet(fleet, day(as_of), 1).vessels[0];
  }
};

const Finding* find(const VesselReview& r, FindingKind kind) {
  for (const Finding& f : r.findings)
    if (f.kind == kind) return &f;
  return nullptr;
}

const ShaftState& state_of(const VesselReview& r, ShaftId shaft) { return r.shafts.at(shaft == kPort ? 0 : 1); }

}  // namespace

TEST_CASE("silent ship: a fed cavity below its reserve is told still, as it was last known", "[analysis][delivery]") {
  Ship ship;  // fin_port loses twice its dose: 400 cm3 less 0.4 x 12 h x 80 d is below the reserve of 80 cm3
  ship.loss = 0.8;
  ship.greased_every = 60;
  ship.greased_until = 600;
  ship.until = 686;
  ship.write();
  const VesselReview read = ship.review(690);
  REQUIRE(find(read, FindingKind::starved) != nullptr);
  REQUIRE(state_of(read, kPort).cavity_fill_pct);
  const VesselReview silent = ship.review(686 + 75);
  const Finding* f = find(silent, FindingKind::starved);
  REQUIRE(f != nullptr);
  CHECK(f->urgency == Urgency::act);
  CHECK_THAT(f->summary, Contains("was estimated at") && Contains("on 2025-11-17, below its reserve") &&
                             Contains("no level, refill or count has told since") && Contains("at least"));
  for (const ShaftId s : {kPort, kStbd}) {  // of what is not known no hours either
    CHECK_FALSE(state_of(silent, s).cavity_fill_pct);
    CHECK_FALSE(state_of(silent, s).starved_h);
  }
}

TEST_CASE("silent ship: doses that are taken as nil need nobody to vouch for them", "[analysis][delivery]") {
  Ship ship;
  ship.greased_every = 60;
  ship.greased_until = 420;
  ship.until = 490;
  ship.counted_until = ship.runs_until = 420;
  ship.write();
  const VesselReview silent = ship.review(490 + 90);  // 0.3 x 12 x 160 d of 400 cm3, and no dose since
  REQUIRE(state_of(silent, kPort).cavity_fill_pct);
  CHECK(state_of(silent, kPort).cavity_fill_pct->value < 20);
  const Finding* f = find(silent, FindingKind::missed_cycles);
  REQUIRE(f != nullptr);
  CHECK_THAT(f->summary, Contains("fin_port is below its reserve") && Contains("no hours were read since 2025-05-05"));
}

TEST_CASE("words: a moment that is known to the day stands after since and after on", "[analysis][review]") {
  const When one{day(0), day(0), day(0)}, range{day(1), day(0), day(2)};
  CHECK(days_text(one, Zone{"UTC"}) == "2024-01-01");
  CHECK(on_days_text(one, Zone{"UTC"}) == "on 2024-01-01");
  CHECK(days_text(range, Zone{"UTC"}) == "about 2024-01-02 (2024-01-01 to 2024-01-03)");
  CHECK(on_days_text(range, Zone{"UTC"}) == days_text(range, Zone{"UTC"}));
}

TEST_CASE("off: bearings that get nothing since a lubricator was recorded off are told", "[analysis][delivery]") {
  Ship ship;
  ship.counted_until = ship.runs_until = 595;
  ship.work(595, WorkKind::lubricator_off);
  ship.write();
  const VesselReview late = ship.review(730);  // 133 x 12 h, 0.4 cm3/h each of 400 cm3
  const Finding* f = find(late, FindingKind::missed_cycles);
  REQUIRE(f != nullptr);
  CHECK(f->urgency == Urgency::act);
  CHECK_THAT(f->summary, Contains("recorded off since 2025-08-18") &&
                             Contains("fin_port and fin_stbd have run 1596 h since without a dose and without "
                                      "greasing by hand: these bearings get no grease"));
  CHECK(f->likely_causes.size() == 1);
  CHECK_THAT(f->likely_causes.front(), Contains("not set going again"));
  const std::vector<DueItem> due = list_due({&late, 1}, day(730), 30);
  REQUIRE(due.size() == 1);
  CHECK(due[0].is_to_set_going);
  CHECK(due[0].lubricator == kPump);
  CHECK(*due[0].overdue_days == Approx(730 - 595).margin(1));
  const VesselReview early = ship.review(620);
  REQUIRE(find(early, FindingKind::missed_cycles) != nullptr);
  CHECK(find(early, FindingKind::missed_cycles)->urgency == Urgency::plan);
  CHECK(find(early, FindingKind::missed_cycles)->id == f->id);
  CHECK(find(ship.review(600), FindingKind::missed_cycles) == nullptr);  // a short repair
  ship.work(623, WorkKind::lubricator_on);
  CHECK(find(ship.review(630), FindingKind::missed_cycles) == nullptr);
}

TEST_CASE("off: shafts that stand or are greased by hand as their interval asks are sound", "[analysis][delivery]") {
  SECTION("standing") {
    Ship ship;
    ship.counted_until = ship.runs_until = 595;
    ship.work(595, WorkKind::lubricator_off);
    ship.write();
    for (Logged<Hours>& h : ship.log.hours)
      if (h.at > day(596)) h.what.reading = HoursReading::from_base(std::int64_t{595} * 12 * 3600);
    CHECK(find(ship.review(730), FindingKind::missed_cycles) == nullptr);
  }
  // 100 cm3 by hand every 28 days, as the interval asks, once the lubricator is off.
  const auto kept_by_hand = [](int off) {
    Ship ship;
    for (Shaft& s : ship.log.shafts) s.settings[0].interval = RunTime::from_base(340 * 3600);
    ship.greased_every = 28;
    ship.counted_until = ship.runs_until = off;
    ship.work(off, WorkKind::lubricator_off);
    ship.write();
    for (Logged<Greasing>& g : ship.log.greasings)
      if (g.at > day(off)) g.what.amount->volume = cm3(100);
    return ship;
  };
  SECTION("greased by hand") {
    const Ship ship = kept_by_hand(0);
    CHECK(find(ship.review(725), FindingKind::missed_cycles) == nullptr);
  }
  SECTION("greased by hand, and the lubricator was in use before: after 500 h it is asked") {
    const Ship ship = kept_by_hand(595);
    CHECK(find(ship.review(625), FindingKind::missed_cycles) == nullptr);
    const VesselReview late = ship.review(725);
    const Finding* f = find(late, FindingKind::missed_cycles);
    REQUIRE(f != nullptr);
    CHECK(f->urgency == Urgency::watch);
    CHECK_THAT(f->summary, Contains("greased by hand in time: is it to stay off?"));
    const std::vector<DueItem> due = list_due({&late, 1}, day(725), 30);
    CHECK(std::none_of(due.begin(), due.end(), [](const DueItem& d) { return d.is_to_set_going; }));
  }
}

TEST_CASE("off: what goes on although it is recorded off is a record that is missing", "[analysis][delivery]") {
  Ship ship;
  ship.work(600, WorkKind::lubricator_off);
  ship.write();
  const VesselReview r = ship.review(730);
  CHECK(find(r, FindingKind::missed_cycles) == nullptr);
  const Finding* f = find(r, FindingKind::records_missing);
  REQUIRE(f != nullptr);
  CHECK(f->urgency == Urgency::note);
  CHECK_THAT(f->summary, Contains("recorded off on 2025-08-23") && Contains("its counter goes on"));
  REQUIRE(r.lubricators[0].cycle_ratio);
  CHECK(r.lubricators[0].cycle_ratio->value == Approx(1).margin(0.05));
  CHECK_FALSE(r.lubricators[0].next_refill.stands_since);
}

TEST_CASE("off: what is counted in a time that is written as off makes no ratio to nothing", "[analysis][delivery]") {
  Ship ship;
  ship.work(602, WorkKind::lubricator_off);
  ship.work(721, WorkKind::lubricator_on);
  ship.write();
  const VesselReview r = ship.review(730);
  REQUIRE(r.lubricators[0].cycle_ratio);
  CHECK(r.lubricators[0].cycle_ratio->high < 1.2);
}

TEST_CASE("off: hours that nobody reads while it is off put no cycle in doubt", "[analysis][delivery]") {
  Ship ship;
  ship.counted_until = ship.runs_until = 602;
  ship.work(602, WorkKind::lubricator_off);
  ship.write();
  std::erase_if(ship.log.hours, [](const Logged<Hours>& h) { return h.at > day(603); });
  const VesselReview r = ship.review(730);
  REQUIRE(r.lubricators[0].cycle_ratio);
  CHECK(r.lubricators[0].cycle_ratio->low > 0.9);
}

TEST_CASE("counter: it stands, and the reservoir empties as the hours call for", "[analysis][delivery]") {
  Ship ship;
  ship.counted_until = 600;
  ship.write();
  const VesselReview r = ship.review(730);
  const Finding* f = find(r, FindingKind::missed_cycles);
  REQUIRE(f != nullptr);
  CHECK(f->urgency == Urgency::watch);
  CHECK_THAT(f->summary, Contains("the counter stands since") && Contains("empties as the running hours call for") &&
                             !Contains("not delivered"));
  CHECK_THAT(f->likely_causes.front(), Contains("cycle counter"));
  CHECK_FALSE(r.lubricators[0].cycle_ratio);
  REQUIRE(r.lubricators[0].delivery_ratio);
  CHECK(r.lubricators[0].delivery_ratio->value == Approx(1).margin(0.05));
  CHECK_FALSE(r.lubricators[0].next_refill.stands_since);

  const VesselReview early = ship.review(625);  // not sure yet
  REQUIRE(find(early, FindingKind::missed_cycles) != nullptr);
  CHECK_THAT(find(early, FindingKind::missed_cycles)->summary, Contains("the counter may be at fault"));

  Ship stopped;  // and where the level stands, too, nothing is delivered
  stopped.counted_until = stopped.runs_until = 600;
  stopped.write();
  const VesselReview s = stopped.review(730);
  REQUIRE(find(s, FindingKind::missed_cycles) != nullptr);
  CHECK(find(s, FindingKind::missed_cycles)->urgency == Urgency::act);
  CHECK_THAT(find(s, FindingKind::missed_cycles)->summary, Contains("not delivered") && !Contains("may be at fault"));
}
