// Alarm rates that rise among streams that come in bursts: false rises, delays, and the limit that knows everything.
#include "analysis/rate_rise.hpp"

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <cstdio>
#include <cstdlib>
#include <limits>
#include <vector>

#include <catch2/catch.hpp>

using namespace shaftlog;

namespace {

// Settings are chosen with SHAFTLOG_TUNE=1 and judged without.
std::uint64_t first_seed() { return std::getenv("SHAFTLOG_TUNE") != nullptr ? 100 : 20'261'125; }

// splitmix64 (public domain algorithm, from memory): the same figures on every machine.
class Chance {
 public:
  explicit Chance(std::uint64_t seed) : s_{seed} {
    for (int i = 0; i < 2; ++i) s_ ^= static_cast<std::uint64_t>(uniform() * 1e18);  // neighbouring seeds part
  }
  double uniform() {
    s_ += 0x9e3779b97f4a7c15ULL;
    std::uint64_t z = s_;
    z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9ULL;
    z = (z ^ (z >> 27)) * 0x94d049bb133111ebULL;
    z ^= z >> 31;
    return (static_cast<double>(z >> 11) + 0.5) / 9007199254740992.0;
  }
  double uniform(double a, double b) { return a + (b - a) * uniform(); }
  double exponential(double mean) { return -mean * std::log(uniform()); }

 private:
  std::uint64_t s_;
};

constexpr double kRun_h_a_year = 3000;

struct Stream {
  std::vector<double> events, triggers;  // [h]
  double rate_per_h = 0, change_h = 0, factor = 1, end_h = 0;
};

/// Triggers by chance alone, of a rate that is a little higher in winter; a share of them bring further alarms within
/// hours. Bursts: a tenth to a half of the triggers, four further alarms on the mean, 0.5 to 5 h apart.
Stream a_stream(Chance& c, double years, double per_1000h, double change_h, double factor) {
  Stream s{{}, {}, per_1000h / 1000, change_h, factor, years * kRun_h_a_year};
  const double burst_share = c.uniform(0.1, 0.5), apart = c.uniform(0.5, 5.0), season = c.uniform(0, 0.3);
  const double phase = c.uniform(0, 6.283);
  for (double h = 0; h < s.end_h;) {
    const double most = s.rate_per_h * (1 + season) * std::max(1.0, factor);
    h += c.exponential(1 / most);
    const double rate =
        s.rate_per_h * (1 + season * std::sin(phase + 6.283 * h / kRun_h_a_year)) * (h >= change_h ? factor : 1);
    if (h >= s.end_h || c.uniform() > rate / most) continue;
    s.triggers.push_back(h);
    s.events.push_back(h);
    if (c.uniform() > burst_share) continue;
    double t = h;
    for (int more = 1 + static_cast<int>(c.exponential(3.5)); more > 0; --more) {
      t += c.exponential(apart);
      if (t < s.end_h) s.events.push_back(t);
    }
  }
  std::sort(s.events.begin(), s.events.end());
  return s;
}

/// Bursts per 1000 h of a healthy subject, evenly on the scale of logarithms.
double a_rate(Chance& c) { return 0.7 * std::pow(9.0, c.uniform()); }

constexpr double kNever = std::numeric_limits<double>::infinity();

/// The limit: knows the rate before, the factor and which alarms open a burst; cumulative likelihood ratio.
/// \return moments at which it speaks, started anew after each [h]
std::vector<double> oracle(const Stream& s, double factor, double threshold) {
  std::vector<double> out;
  double sum = 0, last = 0;
  for (const double t : s.triggers) {
    sum = std::max(0.0, sum - s.rate_per_h * (factor - 1) * (t - last)) + std::log(factor);
    last = t;
    if (sum < threshold) continue;
    out.push_back(t);
    sum = 0;
  }
  return out;
}

/// The limit of who knows the factor and which alarms open a burst, but learns the rate before from the same record.
std::vector<double> learner(const Stream& s, double factor, double threshold) {
  std::vector<double> out;
  std::size_t from = 0;
  constexpr double kShape = 1, kHours = 500;
  for (std::size_t n = 1; n <= s.triggers.size(); ++n) {
    const double now = s.triggers[n - 1];
    const double all = kShape + static_cast<double>(n);
    double best = 0;
    for (std::size_t k = std::max<std::size_t>(from, 1); k < n; ++k) {
      const double since = now - s.triggers[k - 1];
      best = std::max(best, static_cast<double>(n - k) * std::log(factor) -
                                all * std::log1p((factor - 1) * since / (kHours + now)));
    }
    if (best < threshold) continue;
    out.push_back(now);
    from = n;
  }
  return out;
}

/// Threshold at which the limit speaks falsely twice in 100 years.
template <class Limit>
double threshold_of(const Limit& limit, double factor) {
  Chance c{first_seed() + 7};
  std::vector<Stream> healthy;
  for (int i = 0; i < 400; ++i) healthy.push_back(a_stream(c, 5, a_rate(c), kNever, 1));
  double low = 0, high = 20;
  for (int k = 0; k < 30; ++k) {
    const double middle = 0.5 * (low + high);
    std::size_t n = 0;
    for (const Stream& s : healthy) n += limit(s, factor, middle).size();
    (static_cast<double>(n) > 0.02 * 400 * 5 ? low : high) = middle;
  }
  return high;
}

/// Moments at which a rise is first seen [h].
std::vector<double> openings(const Stream& s) {
  std::vector<double> out;
  for (const std::size_t i : watch_rate(s.events, 0, s.end_h).opened) out.push_back(s.events[i]);
  return out;
}

double median(std::vector<double> x) {
  if (x.empty()) return kNever;
  std::sort(x.begin(), x.end());
  return x[x.size() / 2];
}

int count_between(const std::vector<double>& x, double a, double b) {
  return static_cast<int>(std::count_if(x.begin(), x.end(), [&](double v) { return v > a && v <= b; }));
}

}  // namespace

TEST_CASE("simulation: false rises of healthy alarm rates", "[simulation][alarms]") {
  Chance c{first_seed()};
  constexpr double kYears = 5;
  constexpr int kStreams = 400;
  std::size_t found = 0;
  for (int i = 0; i < kStreams; ++i) {
    found += openings(a_stream(c, kYears, a_rate(c), kNever, 1)).size();
  }
  const double per_100y = 100.0 * static_cast<double>(found) / (kStreams * kYears);
  std::printf("alarm rises, healthy: %zu false in %.0f subject-years, %.2f per 100\n", found, kStreams * kYears,
              per_100y);
  CHECK(per_100y <= 2);
}

TEST_CASE("simulation: delay of alarm rates that rise, against the limit", "[simulation][alarms]") {
  for (const double factor : {3.0, 5.0, 8.0}) {
    const double threshold = threshold_of(oracle, factor), threshold_learner = threshold_of(learner, factor);
    Chance c{first_seed() + static_cast<std::uint64_t>(factor)};
    constexpr int kStreams = 150;
    int observable = 0, found = 0, found_all = 0, covered = 0, began = 0, early = 0, observable_learner = 0;
    std::vector<double> delay, delay_limit, delay_learner, records, records_limit;
    for (int i = 0; i < kStreams; ++i) {
      const double change = kRun_h_a_year * c.uniform(0.8, 2.0);
      const Stream s = a_stream(c, 3, a_rate(c), change, factor);
      const auto after = [&](const std::vector<double>& x) {
        const auto it = std::upper_bound(x.begin(), x.end(), change);
        return it == x.end() ? kNever : *it;
      };
      const double limit = after(oracle(s, factor, threshold));
      const double at = after(openings(s));
      const auto r = watch_rate(s.events, 0, s.end_h).standing;
      if (r && s.events[r->seen_at] <= change) ++early;
      const bool is_found = at < kNever || (r && s.events[r->seen_at] <= change);
      found_all += is_found;
      if (r) {
        covered += r->factor.low <= factor && factor <= r->factor.high;
        began += r->began_h.low <= change && change <= r->began_h.high;
      }
      const double learnt = after(learner(s, factor, threshold_learner));
      observable_learner += learnt < kNever;
      if (limit == kNever) continue;
      delay_learner.push_back(learnt - change);
      ++observable;
      found += is_found;
      delay_limit.push_back(limit - change);
      records_limit.push_back(count_between(s.events, change, limit));
      delay.push_back(at - change);
      records.push_back(count_between(s.events, change, at));
    }
    const int standing = found_all;
    std::printf(
        "rate x%.0f: limit sees %d of %d, found %d of them; median delay %.0f h (limit %.0f, learning "
        "%.0f sees %d), %.0f alarms (limit %.0f); factor in its interval %d, beginning %d, of %d; open before %d\n",
        factor, observable, kStreams, found, median(delay), median(delay_limit), median(delay_learner),
        observable_learner, median(records), median(records_limit), covered, began, standing, early);
    CHECK(found >= 0.8 * observable);
    CHECK(covered >= 0.8 * standing);
    CHECK(began >= 0.8 * standing);
  }
}
