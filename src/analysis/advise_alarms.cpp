#include "analysis/advise.hpp"
#include "analysis/distributions.hpp"
#include "analysis/event_rates.hpp"
#include "analysis/multiple_testing.hpp"
#include "analysis/shrinkage.hpp"

#include <algorithm>
#include <tuple>

namespace shaftlog {
namespace {

constexpr std::size_t kFewestUnits = 4;
constexpr double kPer1000h = 1000;

Estimate per_1000h(double rate, const Interval& limits) {
  return {kPer1000h * rate, kPer1000h * limits.low, kPer1000h * limits.high};
}

/// P(N >= n) of a unit whose rate is drawn from the gamma law (negative binomial), or is the one rate (Poisson).
double at_least(int n, double exposure, const GammaPoisson& law) {
  if (n <= 0) return 1;
  if (law.one_rate) return chi_square_cdf(2 * exposure * law.pooled_rate, 2.0 * n);
  return beta_cdf(exposure / (exposure + law.rate), n, law.shape);
}

}  // namespace

std::vector<PeerAlarms> compare_alarms(std::span<const OwnAlarms> lubricators, double q) {
  std::vector<const OwnAlarms*> units;
  for (const OwnAlarms& u : lubricators)
    if (u.run_h > 0) units.push_back(&u);
  std::sort(units.begin(), units.end(), [](const OwnAlarms* a, const OwnAlarms* b) { return a->key < b->key; });
  std::vector<double> counts, exposures;
  for (const OwnAlarms* u : units) {
    counts.push_back(u->episodes);
    exposures.push_back(u->run_h);
  }
  const bool has_any = std::any_of(counts.begin(), counts.end(), [](double n) { return n > 0; });
  if (units.size() < kFewestUnits || !has_any) return {};
  const GammaPoisson law = shrink_rates(counts, exposures);
  std::vector<PeerAlarms> out;
  std::vector<double> p;
  for (std::size_t i = 0; i < units.size(); ++i) {
    const OwnAlarms& u = *units[i];
    const Rate own = event_rate(u.episodes, u.run_h);
    const ShrunkRate& shrunk = law.units[i];
    PeerAlarms& peer = out.emplace_back();
    peer.vessel = u.vessel;
    peer.lubricator = u.lubricator;
    peer.episodes = u.episodes;
    peer.run_h = u.run_h;
    peer.own_per_1000h = per_1000h(own.rate, own.limits);
    peer.shrunk_per_1000h = per_1000h(shrunk.shrunk, shrunk.limits);
    peer.factor = own.rate / law.pooled_rate;
    peer.p = at_least(u.episodes, u.run_h, law);
    p.push_back(peer.p);
  }
  const std::vector<double> adjusted = adjust_p(p);
  for (std::size_t i = 0; i < out.size(); ++i) {
    out[i].adjusted_p = adjusted[i];
    out[i].stands_out = adjusted[i] <= q;
  }
  // Stable: by key where neither tells.
  std::stable_sort(out.begin(), out.end(), [](const PeerAlarms& a, const PeerAlarms& b) {
    return std::tie(a.adjusted_p, a.p) < std::tie(b.adjusted_p, b.p);
  });
  return out;
}

}  // namespace shaftlog
