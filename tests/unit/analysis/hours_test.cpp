#include "analysis/hours.hpp"

#include <algorithm>
#include <string>
#include <vector>

#include <catch2/catch.hpp>

using namespace shaftlog;

namespace {

const Zone kUtc = Zone::utc();

Instant at(std::string_view text) { return parse_stamp(text, kUtc)->utc; }

class Readings {
 public:
  Logged<Hours>& add(std::string_view when, double meter_h) {
    Logged<Hours> r;
    r.id.bytes[15] = static_cast<std::uint8_t>(list_.size() + 1);
    const Stamp s = *parse_stamp(when, kUtc);
    r.at = s.utc;
    r.precision = s.precision;
    r.what.reading = HoursReading::from_base(static_cast<std::int64_t>(meter_h * 3600.0 + 0.5));
    list_.push_back(r);
    return list_.back();
  }
  [[nodiscard]] const std::vector<Logged<Hours>>& list() const { return list_; }
  [[nodiscard]] HoursResult build(std::optional<double> rollover = std::nullopt) const {
    return build_hours(list_, rollover, at("2027-01-01T00:00Z"));
  }

 private:
  std::vector<Logged<Hours>> list_;
};

double total(const HoursResult& r) { return r.curve.points().back().hours; }

}  // namespace

TEST_CASE("hours: no readings give an empty curve and no suspects", "[analysis][hours]") {
  const HoursResult r = Readings{}.build();
  CHECK(r.curve.is_empty());
  CHECK(r.suspects.empty());
  CHECK(r.curve.run_h(at("2026-01-01"), at("2026-02-01")) == 0);
  CHECK_FALSE(r.curve.time_of(10));
}

TEST_CASE("hours: one reading tells no use", "[analysis][hours]") {
  Readings x;
  x.add("2026-03-01T08:00Z", 512.5);
  const HoursResult r = x.build();
  CHECK(r.meter_now_h == Approx(512.5));
  CHECK(r.curve.use_h_per_day() == 0);
  CHECK_FALSE(r.curve.time_of(10));
  CHECK(r.curve.run_sd_h(at("2026-03-01T08:00Z"), at("2026-03-08T08:00Z")) > 20);
}

TEST_CASE("hours: a five-digit meter that starts again at 0 loses nothing", "[analysis][hours]") {
  Readings x;
  x.add("2026-03-01T08:00Z", 9998.4);
  x.add("2026-03-02T08:00Z", 12.6);
  const HoursResult r = x.build(10000.0);
  CHECK(r.suspects.empty());
  CHECK(total(r) == Approx(14.2));
  CHECK(x.build().suspects.size() == 1);  // with no roll-over known it is a contradiction
}

TEST_CASE("hours: a marked new meter goes on from the old one's last reading", "[analysis][hours]") {
  Readings x;
  x.add("2026-03-01T08:00Z", 8400);
  auto& change = x.add("2026-03-02T08:00Z", 0);
  change.what.is_new_meter = true;
  change.what.old_meter = HoursReading::from_base(8412 * 3600);
  x.add("2026-03-04T08:00Z", 23);
  const HoursResult r = x.build();
  CHECK(r.suspects.empty());
  CHECK(total(r) == Approx(35.0));  // 8400 + 35 = 8435
  CHECK(r.meter_now_h == Approx(23));
}

TEST_CASE("hours: a new meter with no old reading leaves an estimated run", "[analysis][hours]") {
  Readings x;
  x.add("2026-03-01T00:00Z", 1000);
  x.add("2026-03-11T00:00Z", 1100);
  x.add("2026-03-13T00:00Z", 0).what.is_new_meter = true;
  x.add("2026-03-23T00:00Z", 100);
  const HoursResult r = x.build();
  REQUIRE(r.curve.points().size() == 4);
  CHECK(r.curve.points()[2].is_estimated);
  CHECK(r.curve.points()[2].sd_h > 0);
  CHECK(total(r) == Approx(220.0));  // 10 h a day on both sides
}

TEST_CASE("hours: exchanged digits are named, and the earlier reading is kept", "[analysis][hours]") {
  Readings x;
  x.add("2026-03-01T08:00Z", 8412);
  x.add("2026-03-08T08:00Z", 8142);
  const HoursResult r = x.build(10000.0);
  REQUIRE(r.suspects.size() == 1);
  CHECK(r.suspects[0].record == x.list()[1].id);
  CHECK(r.suspects[0].kind == SuspectKind::digits_swapped);
  CHECK(r.suspects[0].seen_at == x.list()[1].at);
  CHECK(r.curve.points().size() == 1);
}

TEST_CASE("hours: 31 h in one day are refused", "[analysis][hours]") {
  Readings x;
  x.add("2026-03-01T08:00Z", 250);
  x.add("2026-03-02T08:00Z", 281);
  const HoursResult r = x.build();
  REQUIRE(r.suspects.size() == 1);
  CHECK(r.suspects[0].kind == SuspectKind::hours_impossible);
  CHECK(r.suspects[0].says == "31.0 h of running in 24.0 h of time, from 250.0 h to 281.0 h");
}

TEST_CASE("hours: a reading that later ones fall behind is the suspect, seen when two of them agree",
          "[analysis][hours]") {
  Readings x;
  x.add("2026-03-01T08:00Z", 2000);
  x.add("2026-03-08T08:00Z", 2156);  // possible by itself
  x.add("2026-03-15T08:00Z", 2110);
  x.add("2026-03-18T08:00Z", 2140);
  x.add("2026-03-22T08:00Z", 2170);
  const HoursResult r = x.build();
  REQUIRE(r.suspects.size() == 1);
  CHECK(r.suspects[0].record == x.list()[1].id);
  CHECK(r.suspects[0].seen_at == x.list()[3].at);
  CHECK(total(r) == Approx(170));
}

TEST_CASE("hours: a year written wrong is told from a broken meter", "[analysis][hours]") {
  Readings x;
  for (int m = 1; m <= 9; ++m) x.add("2025-0" + std::to_string(m) + "-01T08:00Z", 1000 + 300 * m);
  Readings y;
  y.add("2025-01-14T08:00Z", 5005);  // of January 2026
  for (const auto& r : x.list()) y.add(format_utc(r.at), in_h(r.what.reading));
  for (int m = 1; m <= 3; ++m) y.add("2026-0" + std::to_string(m) + "-01T08:00Z", 4600 + 300 * m);
  auto sorted = y.list();
  std::sort(sorted.begin(), sorted.end(), [](const auto& a, const auto& b) { return a.at < b.at; });
  const HoursResult r = build_hours(sorted, std::nullopt, at("2026-04-01"));
  REQUIRE(r.suspects.size() == 1);
  CHECK(r.suspects[0].record == y.list()[0].id);
  CHECK(r.suspects[0].kind == SuspectKind::date_slip);
}

TEST_CASE("hours: an unmarked meter change is one matter and needs three confirming readings to be believed",
          "[analysis][hours]") {
  Readings x;
  for (int d = 1; d <= 9; ++d) x.add("2026-03-0" + std::to_string(d) + "T08:00Z", 5000 + 10 * d);
  for (int d = 10; d <= 12; ++d) x.add("2026-03-" + std::to_string(d) + "T08:00Z", 10 * (d - 10) + 3);
  const HoursResult early = x.build();
  REQUIRE(early.suspects.size() == 1);
  CHECK(early.suspects[0].kind == SuspectKind::unmarked_meter_change);
  CHECK(early.suspects[0].seen_at == at("2026-03-10T08:00Z"));
  CHECK(total(early) == Approx(80));  // not believed yet
  x.add("2026-03-13T08:00Z", 33);
  const HoursResult r = x.build();
  REQUIRE(r.suspects.size() == 1);
  CHECK(r.suspects[0].kind == SuspectKind::unmarked_meter_change);
  CHECK(r.suspects[0].seen_at == at("2026-03-10T08:00Z"));
  CHECK(total(r) == Approx(80 + 10 + 30).margin(1));
}

TEST_CASE("hours: a clock set back one hour and a stamp of a day alone contradict nothing", "[analysis][hours]") {
  Readings x;
  x.add("2026-10-25T00:30Z", 100.0);
  x.add("2026-10-25T00:00Z", 100.5);
  x.add("2026-10-26", 130.0);  // somewhere within that day
  std::vector<Logged<Hours>> sorted = x.list();
  std::swap(sorted[0], sorted[1]);
  const HoursResult r = build_hours(sorted, std::nullopt, at("2027-01-01"));
  CHECK(r.suspects.empty());
  for (std::size_t i = 1; i < r.curve.points().size(); ++i)
    CHECK(r.curve.points()[i].hours >= r.curve.points()[i - 1].hours);
}

TEST_CASE("hours: the leap day counts", "[analysis][hours]") {
  Readings x;
  x.add("2024-02-28T00:00Z", 0);
  x.add("2024-03-01T00:00Z", 48);
  const HoursResult r = x.build();
  CHECK(r.suspects.empty());
  CHECK(r.curve.run_h(at("2024-02-29T00:00Z"), at("2024-03-01T00:00Z")) == Approx(24));
}

TEST_CASE("hours: doubt is nothing at readings, most between them, and grows beyond the last", "[analysis][hours]") {
  Readings x;
  for (int w = 0; w < 20; ++w) x.add(format_utc(at("2026-01-01T00:00Z") + std::chrono::days{7 * w}), 70.0 * w + w % 3);
  const HoursCurve c = x.build().curve;
  const auto day = [](int d) { return at("2026-01-01T00:00Z") + std::chrono::days{d}; };
  CHECK(c.run_sd_h(day(7), day(14)) < 0.5);
  CHECK(c.run_sd_h(day(7), day(10)) > c.run_sd_h(day(7), day(8)));
  CHECK(c.run_sd_h(day(133), day(140)) < c.run_sd_h(day(133), day(200)));
  CHECK(c.use_h_per_day() == Approx(10).margin(0.3));
  CHECK(c.weekly_use().size() == 19);
  CHECK(c.hours_at(*c.time_of(333.0)) == Approx(333.0).margin(0.01));
  CHECK(c.hours_at(*c.time_of(2000.0)) == Approx(2000.0).margin(0.01));
}

TEST_CASE("hours: beyond the last reading a ship in dock does not run", "[analysis][hours]") {
  Readings x;
  for (int w = 0; w < 20; ++w) x.add(format_utc(at("2026-01-01T00:00Z") + std::chrono::days{7 * w}), 70.0 * w);
  HoursCurve c = x.build().curve;  // last read on day 133, 10 h a day
  const auto day = [](int d) { return at("2026-01-01T00:00Z") + std::chrono::days{d}; };
  const double free = c.run_sd_h(day(133), day(143));
  c.rest({{day(100), day(110)}, {day(143), day(163)}});
  CHECK(c.run_h(day(133), day(143)) == Approx(100));
  CHECK(c.run_h(day(133), day(163)) == Approx(100));
  CHECK(c.run_h(day(133), day(173)) == Approx(200));
  CHECK(c.run_h(day(98), day(112)) == Approx(140));  // readings are believed
  CHECK(c.run_sd_h(day(133), day(163)) == Approx(free));
  CHECK(c.time_of(1330 + 90) == day(142));
  CHECK(c.time_of(1330 + 150) == day(168));
  CHECK_FALSE(c.rests_since(day(140)));
  CHECK(c.rests_since(day(150)) == day(143));
  c.rest({{day(143), kLatest}});
  CHECK(c.run_h(day(133), day(1000)) == Approx(100));
  CHECK_FALSE(c.time_of(1330 + 150));
}
