#include "analysis/advise.hpp"
#include "analysis/dossier.hpp"
#include "analysis/intake.hpp"
#include "analysis/review.hpp"

#include <algorithm>
#include <cmath>
#include <functional>
#include <random>

#include <catch2/catch.hpp>

using namespace shaftlog;

// One ship of three shafts, greased by hand every 28 days of 12 h for two years, about 100 cm3 a time: nothing by
// chance.

namespace {

constexpr int kPort = 0, kStbd = 1, kRudder = 2;

Instant day(double n) { return from_unix(1704096000 + static_cast<std::int64_t>(n * 86400)); }

class Tess {
 public:
  using AmountOf = std::function<double(int shaft, int day, double usual)>;

  explicit Tess(const AmountOf& amount_of, int last = 730) : last_{last} {
    log_.vessel = {VesselId{1}, "tess", "Tess", std::nullopt, "UTC", std::nullopt};
    ShaftSetting setting;
    setting.cavity = cm3(400);
    setting.interval = RunTime::from_base(340 * 3600);
    for (int k = 0; k < 3; ++k) {
      const std::int64_t key = k + 1;
      log_.shafts.push_back({ShaftId{key},
                             VesselId{1},
                             k == 0   ? "fin_port"
                             : k == 1 ? "fin_stbd"
                                      : "rudder",
                             {setting}});
      for (int d = 0; d < last; d += 7) {
        auto& h = add(log_.hours, k, d);
        h.what.reading = HoursReading::from_base((1000 + 100 * k + std::int64_t{12} * d) * 3600);
      }
      int i = k;
      for (int d = 28; d < last; d += 28) {
        constexpr std::array<double, 7> kOff{0, 6, -5, 3, -6, 4, -2};
        const double amount = amount_of(k, d, 100 + kOff[static_cast<std::size_t>(i++ % 7)]);
        auto& g = add(log_.greasings, k, d + 0.1);
        g.what.amount =
            Amount{"", Unit::cm3, Volume::from_base(static_cast<std::int64_t>(amount * 1000)), std::nullopt};
      }
    }
  }

  Tess& work(WorkKind kind, int shaft, int d) {
    add(log_.work, shaft, d).what.work = kind;
    return *this;
  }

  /// From a day on it shows a share of the hours run.
  Tess& slow_meter(int shaft, int from, double share) {
    for (Logged<Hours>& h : log_.hours)
      if (h.shaft == ShaftId{shaft + 1} && h.at > day(from)) {
        const double beyond_h = 12 * (static_cast<double>((h.at - day(from)).count()) / 86400);
        h.what.reading =
            HoursReading::from_base(h.what.reading.base() - static_cast<std::int64_t>((1 - share) * beyond_h * 3600));
      }
    return *this;
  }

  [[nodiscard]] VesselReview review() const {
    return review_fleet(std::vector<VesselLog>{log_}, day(last_ - 1), 1, true).vessels.at(0);
  }
  [[nodiscard]] ShaftAdvice advise(const VesselReview& r, int shaft) const {
    return advise_shaft(log_, r, r.shaft_details.at(static_cast<std::size_t>(shaft)), day(last_ - 1));
  }

  [[nodiscard]] Dossier history(int shaft) const {
    const VesselReview r = review();
    std::vector<ShaftHistory> group;
    for (const ShaftDetail& d : r.shaft_details) group.push_back(d.history);
    const FleetPrior prior = fit_fleet_prior(group);
    return make_dossier({log_, {}, prior, {}, group, ShaftId{shaft + 1}, day(last_ - 1)});
  }

 private:
  template <class What>
  Logged<What>& add(std::vector<Logged<What>>& to, int shaft, double d) {
    Logged<What>& r = to.emplace_back();
    r.id.bytes[14] = static_cast<std::uint8_t>(++ids_ / 256);
    r.id.bytes[15] = static_cast<std::uint8_t>(ids_ % 256);
    r.at = r.recorded_at = day(d);
    r.shaft = ShaftId{shaft + 1};
    return r;
  }

  VesselLog log_;
  int last_ = 0, ids_ = 0;
};

const Finding* find(const VesselReview& r, FindingKind kind, int shaft = -1) {
  const ShaftId id = shaft < 0 ? ShaftId{} : ShaftId{shaft + 1};
  const auto it = std::find_if(r.findings.begin(), r.findings.end(),
                               [&](const Finding& f) { return f.kind == kind && f.shaft == id; });
  return it == r.findings.end() ? nullptr : &*it;
}
long count(const VesselReview& r, FindingKind kind) {
  return std::count_if(r.findings.begin(), r.findings.end(), [&](const Finding& f) { return f.kind == kind; });
}
double figure(const Finding& f, std::string_view name) {
  const auto it = std::find_if(f.figures.begin(), f.figures.end(), [&](const Figure& x) { return x.name == name; });
  return it == f.figures.end() ? -1 : it->estimate.value;
}

}  // namespace

TEST_CASE("less grease: a bearing that takes a fifth at back-pressure is told, and its fill is not known",
          "[analysis][review]") {
  const Tess tess{[](int k, int d, double usual) { return k == kPort && d > 450 ? 20 + (d / 28) % 3 : usual; }};
  const VesselReview r = tess.review();
  const Finding* const f = find(r, FindingKind::less_grease_taken, kPort);
  REQUIRE(f != nullptr);
  CHECK(r.findings.size() == 1);
  CHECK(f->urgency == Urgency::plan);
  CHECK(figure(*f, "factor") == Approx(0.21).margin(0.02));
  REQUIRE(f->began);
  CHECK(f->began->low >= day(420));
  CHECK(f->began->low <= day(450));
  CHECK(f->began->high >= day(450));
  CHECK(f->began->high <= day(505));
  CHECK(f->first_seen > day(476));
  CHECK(f->first_seen < day(540));
  CHECK_THAT(f->summary, Catch::Contains("in 336 running hours as before"));
  CHECK_THAT(f->summary, Catch::Contains("is known only if the grease reaches the bearing"));
  CHECK_THAT(f->likely_causes.at(0), Catch::Contains("the grease path is blocked"));
  CHECK_FALSE(r.shafts[kPort].cavity_fill_pct);
  CHECK_FALSE(r.shafts[kPort].washout_cm3_per_h);
  CHECK(r.shafts[kPort].is_judged);  // what is found of it is no want of records
  CHECK(r.shafts[kStbd].cavity_fill_pct);

  const ShaftAdvice a = tess.advise(r, kPort);
  CHECK(a.verdict == AdviceVerdict::unknown);
  CHECK_FALSE(a.causes_first.empty());
  CHECK_THAT(a.says.at(0), Catch::Contains("find out first whether the grease reaches the bearing"));
  CHECK(tess.advise(r, kStbd).reason.empty());
}

TEST_CASE("less grease: the history of the bearing tells it as what changed first", "[analysis][dossier]") {
  const Tess tess{[](int k, int d, double usual) { return k == kPort && d > 450 ? 20 + (d / 28) % 3 : usual; }};
  const Dossier h = tess.history(kPort);
  const auto mark =
      std::find_if(h.marks.begin(), h.marks.end(), [](const Mark& m) { return m.channel == "grease taken"; });
  REQUIRE(mark != h.marks.end());
  CHECK(mark->role == MarkRole::change);
  REQUIRE(mark->factor);
  CHECK(mark->factor->value == Approx(0.21).margin(0.02));
  CHECK(mark->p_first > 0.9);
  const auto loss =
      std::find_if(h.looked_at.begin(), h.looked_at.end(), [](const LookedAt& l) { return l.channel == "washout"; });
  REQUIRE(loss != h.looked_at.end());
  CHECK(loss->result == LookedAt::Result::unknown);
}

TEST_CASE("less grease: next to nothing six times in a row is acted upon, from the second on", "[analysis][review]") {
  const auto blocked = [](int k, int d, double usual) { return k == kPort && d > 560 ? 5 + (d / 28) % 3 : usual; };
  const VesselReview r = Tess{blocked}.review();
  const Finding* const f = find(r, FindingKind::less_grease_taken, kPort);
  REQUIRE(f != nullptr);
  CHECK(f->urgency == Urgency::act);
  CHECK(f->first_seen == day(616.1));
  CHECK(Tess{blocked, 600}.review().findings.empty());
  CHECK(find(Tess{blocked, 620}.review(), FindingKind::less_grease_taken, kPort) != nullptr);
}

TEST_CASE("less grease: amounts that are alike since it fell are of the fall, not a habit of writing",
          "[analysis][review]") {
  const auto alike = [](int k, int d, double usual) { return k == kPort && d > 400 ? 20.0 : usual; };
  const VesselReview r = Tess{alike}.review();
  CHECK(find(r, FindingKind::less_grease_taken, kPort) != nullptr);
  CHECK(count(r, FindingKind::record_suspect) == 0);
  // Where they are nearly as large as before, they are of their own.
  const VesselReview by_habit =
      Tess{[](int k, int d, double usual) { return k == kPort && d > 400 ? 85.0 : usual; }}.review();
  CHECK(count(by_habit, FindingKind::record_suspect) == 1);
  const Finding* const f = find(by_habit, FindingKind::record_suspect, kPort);
  REQUIRE(f != nullptr);
  REQUIRE(f->likely_causes.size() == 2);
  CHECK_THAT(f->likely_causes[1], Catch::Contains("meets pressure in the grease path"));
}

TEST_CASE("less grease: all shafts on one day are one matter of unit or gun", "[analysis][review]") {
  const VesselReview r = Tess{[](int, int d, double usual) { return d > 600 ? usual / 10 : usual; }}.review();
  REQUIRE(count(r, FindingKind::less_grease_taken) == 1);
  const Finding* const f = find(r, FindingKind::less_grease_taken);
  REQUIRE(f != nullptr);
  CHECK(f->urgency == Urgency::plan);
  CHECK(f->shafts.size() == 3);
  CHECK_THAT(f->summary, Catch::Contains("look at the unit and the gun first"));
  CHECK_THAT(f->likely_causes.at(0), Catch::Contains("unit, gun or volume per stroke"));
  // From the second greasing on, and the amounts are no slips each by itself.
  const VesselReview early = Tess{[](int, int d, double usual) { return d > 600 ? usual / 10 : usual; }, 646}.review();
  CHECK(find(early, FindingKind::less_grease_taken) != nullptr);
  CHECK(early.findings.size() == 1);
}

TEST_CASE("less grease: a quarter less, a slip, a loss that came back and new seals are no fall",
          "[analysis][review]") {
  const auto none = [](const Tess& t) { return count(t.review(), FindingKind::less_grease_taken); };
  CHECK(none(Tess{[](int k, int d, double usual) { return k == kPort && d > 450 ? 0.75 * usual : usual; }}) == 0);
  CHECK(none(Tess{[](int k, int d, double usual) { return k == kPort && d == 28 * 17 ? 0.1 * usual : usual; }}) == 0);
  CHECK(none(Tess{[](int k, int d, double usual) { return k == kPort && d == 28 * 10 ? 10 * usual : usual; }}) == 0);
  CHECK(none(Tess{[](int k, int d, double usual) { return k == kPort && d > 200 && d < 500 ? 3 * usual : usual; }}) ==
        0);
  Tess renewed{[](int k, int d, double usual) { return k == kPort && d > 450 ? 0.3 * usual : usual; }};
  CHECK(none(renewed) == 1);
  CHECK(none(renewed.work(WorkKind::seal_replaced, kPort, 450)) == 0);
}

TEST_CASE("less grease: a path that is open again ends it", "[analysis][review]") {
  const VesselReview r =
      Tess{[](int k, int d, double usual) { return k == kPort && d > 450 && d < 600 ? 20 : usual; }}.review();
  CHECK(count(r, FindingKind::less_grease_taken) == 0);
  CHECK(r.shafts[kPort].cavity_fill_pct);
}

TEST_CASE("less grease: what one shaft gains the other loses: are the two exchanged?", "[analysis][review]") {
  // One fin loses 2.5 times the other; from day 450 on the records of the two are exchanged.
  const VesselReview r = Tess{[](int k, int d, double usual) {
                           const double large = 1.6 * usual, small = 0.64 * usual;
                           if (k == kRudder) return usual;
                           return (k == kPort) == (d <= 450) ? large : small;
                         }}.review();
  const Finding* const rise = find(r, FindingKind::abnormal_washout, kStbd);
  const Finding* const fall = find(r, FindingKind::less_grease_taken, kPort);
  REQUIRE(rise != nullptr);
  REQUIRE(fall != nullptr);
  CHECK_THAT(rise->summary, !Catch::Contains("other shafts stay as they were"));
  CHECK_THAT(rise->summary, Catch::Contains("fin_port fell to 0.4"));
  CHECK_THAT(rise->summary, Catch::Contains("are the two exchanged in the records, or their lines?"));
  CHECK_THAT(fall->summary, Catch::Contains("fin_stbd rose"));
  CHECK_THAT(rise->likely_causes.at(0), Catch::Contains("two shafts are exchanged"));
  CHECK_THAT(fall->likely_causes.at(0), Catch::Contains("two shafts are exchanged"));
}

TEST_CASE("washout: a new seal that brings nothing back does not end the matter", "[analysis][review]") {
  const auto risen = [](double after) {
    return [after](int k, int d, double usual) {
      if (k != kPort || d <= 300) return usual;
      return d <= 504 ? 2 * usual : after * usual;
    };
  };
  const VesselReview before = Tess{risen(2), 500}.review();
  const Finding* const first = find(before, FindingKind::abnormal_washout, kPort);
  REQUIRE(first != nullptr);

  Tess tess{risen(2)};
  tess.work(WorkKind::seal_replaced, kPort, 500);
  const VesselReview r = tess.review();
  const Finding* const f = find(r, FindingKind::abnormal_washout, kPort);
  REQUIRE(f != nullptr);
  CHECK(f->id == first->id);
  CHECK(f->first_seen == first->first_seen);
  CHECK(figure(*f, "factor") == Approx(2).margin(0.2));
  CHECK(figure(*f, "baseline") == Approx(0.3).margin(0.03));
  CHECK_THAT(f->summary, Catch::Contains("did not come back after the new seal of 2025-05-15"));
  CHECK_THAT(f->likely_causes.at(0), Catch::Contains("another cause than the part that was renewed"));
  CHECK_FALSE(tess.advise(r, kPort).causes_first.empty());
  CHECK(tess.advise(r, kPort).verdict != AdviceVerdict::may_be_longer);

  Tess mended{risen(1)};
  CHECK(mended.work(WorkKind::seal_replaced, kPort, 500).review().findings.empty());
  Tess early{risen(2), 540};  // one greasing since tells nothing yet
  CHECK(find(early.work(WorkKind::seal_replaced, kPort, 500).review(), FindingKind::abnormal_washout, kPort) ==
        nullptr);
}

TEST_CASE("washout: a rise by what its hour meter fell behind the others names the meter", "[analysis][review]") {
  const auto usual = [](int, int, double x) { return x; };
  const VesselReview r = Tess{usual}.slow_meter(kPort, 400, 0.4).review();
  const Finding* f = find(r, FindingKind::abnormal_washout, kPort);
  if (f == nullptr) f = find(r, FindingKind::seal_wear, kPort);
  REQUIRE(f != nullptr);
  CHECK_THAT(f->summary, Catch::Contains("its hour meter shows 0.4") && Catch::Contains("if it runs slow"));
  CHECK_THAT(f->likely_causes.front(), Catch::Contains("the hour meter runs slow"));
  // A true rise on a meter that goes as the others do is none of it.
  const VesselReview risen = Tess{[](int k, int d, double x) { return k == kPort && d > 400 ? 2.5 * x : x; }}.review();
  f = find(risen, FindingKind::abnormal_washout, kPort);
  if (f == nullptr) f = find(risen, FindingKind::seal_wear, kPort);
  REQUIRE(f != nullptr);
  CHECK_THAT(f->summary, !Catch::Contains("hour meter"));
}

TEST_CASE("less grease: among errors of fill, duty and season falls are told and sound bearings are not",
          "[analysis][washout]") {
  std::mt19937_64 random{20};
  const auto uniform = [&] { return static_cast<double>(random() >> 11U) * 0x1p-53; };
  const auto normal = [&] {
    double sum = -6;
    for (int i = 0; i < 12; ++i) sum += uniform();
    return sum;
  };
  constexpr int kShafts = 100, kGreasings = 36, kFrom = 20;
  WashoutPrior prior;
  prior.fill_sd_cm3 = 12;
  prior.duty_sd = 0.15;
  // Two years of 250 h between greasings; from the 21st on it takes `factor` of what it took. `share`: of a washout
  // that is large beside the errors of fill.
  const auto told = [&](double factor, double season, double share = 1) {
    int n = 0;
    for (int k = 0; k < kShafts; ++k) {
      ShaftHistory h;
      h.first_is_full = true;
      const double rate = share * (0.15 + 0.35 * uniform()), phase = uniform();
      double level = 12 * normal();
      for (int i = 0; i < kGreasings; ++i) {
        GreasingInterval g;
        g.from = day(21 * i);
        g.at = day(21 * (i + 1));
        g.run_h = 150 + 200 * uniform();
        const double wave = 1 + season * std::sin(6.283185 * (i / 17.4 + phase));
        const double full = 12 * normal();
        const double taken = rate * g.run_h * wave * (1 + 0.15 * normal()) + level - full;
        g.taken_cm3 = std::max(0.0, std::round((i < kFrom ? 1 : factor) * taken));
        level = full;
        h.intervals.push_back(g);
      }
      n += fall_of_intake(h, prior).has_value();
    }
    return n;
  };
  CHECK(told(0.05, 0) >= 98);
  CHECK(told(0.2, 0) >= 98);
  CHECK(told(0.4, 0) >= 90);
  CHECK(told(0.75, 0) <= 2);
  CHECK(told(1, 0) == 0);
  CHECK(told(1, 0.2) <= 1);
  // 12 to 40 cm3 a greasing, as much as the errors of fill.
  CHECK(told(0.1, 0, 0.3) >= 90);
  CHECK(told(1, 0, 0.3) <= 1);
  CHECK(told(1, 0.2, 0.3) <= 1);
}
