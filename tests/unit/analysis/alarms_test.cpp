#include "analysis/alarms.hpp"

#include "base/error.hpp"

#include <catch2/catch.hpp>

using namespace shaftlog;

namespace {

const Instant kStart = from_unix(1'700'000'000);

Instant in_minutes(int m) { return kStart + std::chrono::minutes{m}; }

Uuid id_of(std::uint8_t n) {
  Uuid u;
  u.bytes[15] = n;
  return u;
}

Logged<Alarm> an_alarm(std::uint8_t n, int raised_min, std::optional<int> cleared_min,
                       AlarmKind kind = AlarmKind::no_pressure) {
  Logged<Alarm> a;
  a.id = id_of(n);
  a.at = in_minutes(raised_min);
  a.lubricator = LubricatorId{1};
  a.what.alarm = kind;
  if (cleared_min) a.what.cleared = Stamp{in_minutes(*cleared_min), std::chrono::minutes{0}, Precision::minute};
  return a;
}

struct Watched {
  std::vector<AlarmEpisode> episodes;
  std::vector<double> hours;
  void add(double h) {
    const auto n = static_cast<std::uint8_t>(episodes.size() + 1);
    const Instant t = kStart + std::chrono::seconds{static_cast<std::int64_t>(h * 7200)};
    episodes.push_back({AlarmKind::no_pressure, LubricatorId{1}, {}, t, t, {id_of(n)}});
    hours.push_back(h);
  }
};

}  // namespace

TEST_CASE("alarms: chatter is one episode with all its records", "[analysis][alarms]") {
  const std::vector<Logged<Alarm>> log{an_alarm(1, 0, 5), an_alarm(2, 20, 22), an_alarm(3, 40, 50),
                                       an_alarm(4, 500, 510)};
  const auto e = merge_alarms(log, in_minutes(10000));
  REQUIRE(e.size() == 2);
  CHECK(e[0].records == std::vector<Uuid>{id_of(1), id_of(2), id_of(3)});
  CHECK(e[0].cleared == in_minutes(50));
  CHECK(e[1].raised == in_minutes(500));
}

TEST_CASE("alarms: another kind at the same time is another episode", "[analysis][alarms]") {
  const std::vector<Logged<Alarm>> log{an_alarm(1, 0, 5), an_alarm(2, 1, 6, AlarmKind::empty)};
  CHECK(merge_alarms(log, in_minutes(100)).size() == 2);
}

TEST_CASE("alarms: standing until cleared, as far as is known at the moment asked for", "[analysis][alarms]") {
  const std::vector<Logged<Alarm>> log{an_alarm(1, 0, 500), an_alarm(2, 2000, std::nullopt)};
  CHECK_FALSE(merge_alarms(log, in_minutes(100)).at(0).cleared.has_value());
  const auto e = merge_alarms(log, in_minutes(3000));
  REQUIRE(e.size() == 2);
  CHECK(e[0].cleared == in_minutes(500));
  CHECK_FALSE(e[1].cleared.has_value());
}

TEST_CASE("alarms: a standing alarm older than 30 days that comes anew had cleared unnoticed", "[analysis][alarms]") {
  const int day = 24 * 60;
  const std::vector<Logged<Alarm>> near{an_alarm(1, 0, std::nullopt), an_alarm(2, 29 * day, 29 * day + 5)};
  CHECK(merge_alarms(near, in_minutes(100 * day)).size() == 1);
  const std::vector<Logged<Alarm>> far{an_alarm(1, 0, std::nullopt), an_alarm(2, 31 * day, 31 * day + 5)};
  const auto e = merge_alarms(far, in_minutes(100 * day));
  REQUIRE(e.size() == 2);
  CHECK(e[0].cleared == in_minutes(31 * day));
}

// Garwood 1936, exact Poisson limits for a count of 10, 90 %: 5.4254 and 16.9622 (standard tables, from memory).
TEST_CASE("alarms: rate with its exact interval", "[analysis][alarms][reference]") {
  Watched w;
  for (int i = 0; i < 10; ++i) w.add(50 + 200.0 * i);
  const auto r = rate_alarms(w.episodes, w.hours, 0, 2000);
  CHECK(r.episodes == 10);
  CHECK(r.per_1000h.value == Approx(5));
  CHECK(r.per_1000h.low == Approx(5.4254 / 2).epsilon(1e-4));
  CHECK(r.per_1000h.high == Approx(16.9622 / 2).epsilon(1e-4));
  CHECK_FALSE(r.rise.has_value());
}

TEST_CASE("alarms: none in a watched time has an upper limit above 0", "[analysis][alarms]") {
  const auto r = rate_alarms({}, {}, 0, 1000);
  CHECK(r.per_1000h.low == 0);
  CHECK(r.per_1000h.high == Approx(2.9957).epsilon(1e-4));  // -ln 0.05
}

TEST_CASE("alarms: five times as many is found with its beginning", "[analysis][alarms]") {
  Watched w;
  for (int i = 0; i < 8; ++i) w.add(250 + 500.0 * i);
  for (int i = 0; i < 14; ++i) w.add(4100 + 100.0 * i);
  const auto r = rate_alarms(w.episodes, w.hours, 0, 5500);
  REQUIRE(r.rise);
  CHECK(r.rise->factor.low > 1.5);
  CHECK(r.rise->factor.value == Approx(5).epsilon(0.35));
  const Instant truth = kStart + std::chrono::seconds{4000 * 7200};
  CHECK(r.rise->began.low <= truth + std::chrono::days{9});
  CHECK(r.rise->began.high >= truth);
  CHECK(r.rise->began.low <= r.rise->began.estimate);
  CHECK(r.rise->first_seen > truth);
  CHECK(r.rise->strength > 2.9);

  // Seen then with what was known then: the same without the later episodes.
  std::size_t k = 0;
  while (w.episodes[k].raised < r.rise->first_seen) ++k;
  const std::span<const AlarmEpisode> early{w.episodes.data(), k + 1};
  const auto then = rate_alarms(early, {w.hours.data(), k + 1}, 0, w.hours[k]);
  REQUIRE(then.rise);
  CHECK(then.rise->first_seen == r.rise->first_seen);
  CHECK_FALSE(rate_alarms({w.episodes.data(), k}, {w.hours.data(), k}, 0, w.hours[k - 1]).rise);
}

TEST_CASE("alarms: one burst is no trend", "[analysis][alarms]") {
  Watched w;
  for (int i = 0; i < 6; ++i) w.add(300 + 500.0 * i);
  for (int i = 0; i < 20; ++i) w.add(3200 + 1.0 * i);
  CHECK_FALSE(rate_alarms(w.episodes, w.hours, 0, 3600).rise);
}

TEST_CASE("alarms: a rise that went back is no longer told", "[analysis][alarms]") {
  Watched w;
  for (int i = 0; i < 8; ++i) w.add(250 + 500.0 * i);
  for (int i = 0; i < 14; ++i) w.add(4100 + 100.0 * i);
  CHECK(rate_alarms(w.episodes, w.hours, 0, 5500).rise);
  CHECK_FALSE(rate_alarms(w.episodes, w.hours, 0, 14000).rise);
}

TEST_CASE("alarms: hours that fall or do not match are refused", "[analysis][alarms]") {
  Watched w;
  w.add(100);
  w.add(200);
  CHECK_THROWS_WITH(rate_alarms(w.episodes, std::vector<double>{1.0}, 0, 300),
                    Catch::Contains("2 alarm episodes with 1"));
  CHECK_THROWS_WITH(rate_alarms(w.episodes, std::vector<double>{200, 100}, 0, 300), Catch::Contains("episode 2"));
  CHECK_THROWS_AS(rate_alarms(w.episodes, w.hours, 300, 100), Error);
}
