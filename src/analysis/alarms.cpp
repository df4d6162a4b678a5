#include "analysis/alarms.hpp"

#include "analysis/distributions.hpp"
#include "base/error.hpp"

#include <algorithm>
#include <cmath>
#include <map>
#include <tuple>

#include <fmt/format.h>

namespace shaftlog {
namespace {

// Episodes within so many running hours are one burst: they count once in the search for a change.
constexpr double kBurst_h = 12.0;
// Counts vary more than a Poisson law lets them: counts and hours are divided by this (quasi-likelihood).
constexpr double kDispersion = 1.1;
// Chance of a lasting change per running hour.
constexpr double kHazard_per_h = 1.0 / 4000.0;
// Gamma priors, shape 1: about 2 alarms per 1000 h before, about 7 after a change.
constexpr double kBefore_h = 500.0, kAfter_h = 150.0;
// A rate that was not watched for so long is no rate to compare with.
constexpr double kLearn_h = 300.0;
constexpr double kPracticalFactor = 1.5;
constexpr double kOpens = 0.95, kCloses = 0.50;
constexpr double kNegligible = 1e-6;  // weight of a place that is not worth a beta law
constexpr auto kForgotten = std::chrono::days{30};

/// \param log_n ln(gamma(1 + n)); it is shared by all places between the same two bursts
double log_marginal(double n, double h, double prior_h, double log_n) {
  return std::log(prior_h) - (1 + n) * std::log(prior_h + h) + log_n;
}

/// One place where the rate may have changed, with the posterior weight of it.
struct Place {
  double at_h = 0, weight = 0;
  double n0 = 0, h0 = 0, n1 = 0, h1 = 0;  // tempered counts and hours before and after

  /// P(rate after > factor x rate before): b0 x before / (b0 x before + b1 x after) follows a beta law.
  [[nodiscard]] double beyond(double factor) const {
    const double b0 = kBefore_h + h0, b1 = kAfter_h + h1;
    return beta_cdf_in_double(b0 / (b0 + factor * b1), 1 + n0, 1 + n1);
  }
};

struct Posterior {
  std::vector<Place> places;
  double p_rise = 0;
};

/// What was known at `now_h` from the bursts up to then.
Posterior look(std::span<const double> bursts, double from_h, double now_h) {
  Posterior out;
  std::vector<double> logs;
  const auto n = static_cast<double>(bursts.size());
  const double whole_h = now_h - from_h;
  const double none = log_marginal(n / kDispersion, whole_h / kDispersion, kBefore_h, log_gamma(1 + n / kDispersion)) -
                      kHazard_per_h * whole_h;
  for (std::size_t k = 0; k <= bursts.size(); ++k) {
    const double a = std::max(k == 0 ? from_h : bursts[k - 1], from_h + kLearn_h);
    const double b = k == bursts.size() ? now_h : bursts[k];
    if (b <= a) continue;
    constexpr int kPieces = 4;
    const double n0 = static_cast<double>(k) / kDispersion, n1 = (n - static_cast<double>(k)) / kDispersion;
    const double log_n0 = log_gamma(1 + n0), log_n1 = log_gamma(1 + n1);
    for (int i = 0; i < kPieces; ++i) {
      Place p;
      p.at_h = a + (b - a) * (i + 0.5) / kPieces;
      p.n0 = n0;
      p.n1 = n1;
      p.h0 = (p.at_h - from_h) / kDispersion;
      p.h1 = (now_h - p.at_h) / kDispersion;
      logs.push_back(std::log(kHazard_per_h * (b - a) / kPieces) + log_marginal(p.n0, p.h0, kBefore_h, log_n0) +
                     log_marginal(p.n1, p.h1, kAfter_h, log_n1));
      out.places.push_back(p);
    }
  }
  std::vector<double> all = logs;
  all.push_back(none);
  const double total = log_sum_exp(all);
  double change = 0;
  for (std::size_t i = 0; i < logs.size(); ++i) change += out.places[i].weight = std::exp(logs[i] - total);
  if (change < kCloses) return out;  // p_rise can only be smaller: both limits are decided
  for (const Place& p : out.places) {
    if (p.weight > kNegligible) out.p_rise += p.weight * p.beyond(kPracticalFactor);
  }
  return out;
}

double factor_quantile(const Posterior& p, double q) {
  double total = 0;
  for (const Place& x : p.places) total += x.weight;
  const auto off = [&](double log_factor) {  // falls as the factor rises
    const double factor = std::exp(log_factor);
    double above = (q - 1) * total;
    for (const Place& x : p.places) {
      if (x.weight > kNegligible) above += x.weight * x.beyond(factor);
    }
    return above;
  };
  // Halved until the two ends are near, then by the secant, the end that stays weighing less each time (Illinois).
  double low = std::log(1e-3), high = std::log(1e4), at_low = 0, at_high = 0;
  for (int i = 0; i < 6; ++i) {
    const double mid = 0.5 * (low + high), y = off(mid);
    (y > 0 ? low : high) = mid;
    (y > 0 ? at_low : at_high) = y;
  }
  constexpr double kClose = 1e-8;
  for (int i = 0; i < 40 && high - low > kClose; ++i) {
    const bool is_known = at_low > 0 && at_high < 0;
    const double mid = is_known ? (low * at_high - high * at_low) / (at_high - at_low) : 0.5 * (low + high);
    const double y = off(mid);
    if (std::abs(y) < 1e-11 * total) return std::exp(mid);
    (y > 0 ? low : high) = mid;
    (y > 0 ? at_low : at_high) = y;
    (y > 0 ? at_high : at_low) *= 0.5;
  }
  return std::exp(0.5 * (low + high));
}

double place_quantile(const Posterior& p, double q) {
  double total = 0, sum = 0;
  std::vector<const Place*> kept;
  for (const Place& x : p.places) {
    if (x.weight > kNegligible) kept.push_back(&x);
  }
  for (const Place* x : kept) total += x->weight * x->beyond(kPracticalFactor);
  for (const Place* place : kept) {
    const Place& x = *place;
    sum += x.weight * x.beyond(kPracticalFactor);
    if (sum >= q * total) return x.at_h;
  }
  return p.places.back().at_h;
}

double log_odds(double p) {
  const double held = std::clamp(p, 1e-12, 1 - 1e-12);
  return std::log(held / (1 - held));
}

}  // namespace

std::vector<AlarmEpisode> merge_alarms(std::span<const Logged<Alarm>> alarms, Instant as_of,
                                       std::chrono::minutes apart) {
  std::vector<const Logged<Alarm>*> sorted;
  for (const Logged<Alarm>& a : alarms) {
    if (a.at <= as_of) sorted.push_back(&a);
  }
  std::sort(sorted.begin(), sorted.end(),
            [](const auto* a, const auto* b) { return std::tie(a->at, a->id) < std::tie(b->at, b->id); });
  std::map<std::tuple<AlarmKind, LubricatorId, ShaftId>, AlarmEpisode> open;
  std::vector<AlarmEpisode> out;
  for (const Logged<Alarm>* a : sorted) {
    std::optional<Instant> cleared;
    // Cleared before it was raised is a slip of the pen: the alarm did clear, when is not known.
    if (a->what.cleared && a->what.cleared->utc <= as_of) cleared = std::max(a->what.cleared->utc, a->at);
    const auto key = std::tuple{a->what.alarm, a->lubricator, a->shaft};
    const auto found = open.find(key);
    if (found != open.end()) {
      AlarmEpisode& e = found->second;
      const bool goes_on = e.cleared ? a->at <= *e.cleared + apart : a->at - e.raised <= kForgotten;
      if (goes_on) {
        // One contact cannot stand twice: the newer record says whether it stands.
        e.cleared = e.cleared && cleared ? std::max(*e.cleared, *cleared) : cleared;
        e.records.push_back(a->id);
        continue;
      }
      if (!e.cleared) e.cleared = a->at;  // cleared unnoticed some time before
      out.push_back(std::move(e));
      open.erase(found);
    }
    open.emplace(key, AlarmEpisode{a->what.alarm, a->lubricator, a->shaft, a->at, cleared, {a->id}});
  }
  for (auto& [key, e] : open) out.push_back(std::move(e));
  std::sort(out.begin(), out.end(), [](const AlarmEpisode& a, const AlarmEpisode& b) {
    return std::tie(a.raised, a.records.front()) < std::tie(b.raised, b.records.front());
  });
  return out;
}

AlarmRateResult rate_alarms(std::span<const AlarmEpisode> episodes, std::span<const double> run_h_at,
                            double watched_from_h, double watched_to_h) {
  if (episodes.size() != run_h_at.size()) {
    throw Error{Errc::bad_data, fmt::format("{} alarm episodes with {} running hours: one each is expected",
                                            episodes.size(), run_h_at.size())};
  }
  if (!std::isfinite(watched_from_h) || !std::isfinite(watched_to_h) || watched_to_h < watched_from_h) {
    throw Error{Errc::bad_data, fmt::format("alarms watched from {} h to {} h: the end must not be before the start",
                                            watched_from_h, watched_to_h)};
  }
  AlarmRateResult out;
  out.run_h = watched_to_h - watched_from_h;
  std::vector<std::size_t> kept;
  double before = -1e300;
  for (std::size_t i = 0; i < episodes.size(); ++i) {
    if (!std::isfinite(run_h_at[i]) || run_h_at[i] < before) {
      throw Error{Errc::bad_data,
                  fmt::format("running hours at alarm episode {}: {} is not finite or falls", i + 1, run_h_at[i])};
    }
    before = run_h_at[i];
    if (run_h_at[i] >= watched_from_h && run_h_at[i] <= watched_to_h) kept.push_back(i);
  }
  out.episodes = static_cast<int>(kept.size());
  if (out.run_h <= 0) return out;
  const auto n = static_cast<double>(kept.size());
  const Interval count = poisson_interval(out.episodes, 0.9);
  const double per = 1000.0 / out.run_h;
  out.per_1000h = {n * per, count.low * per, count.high * per};
  if (kept.empty()) return out;
  double sum = 0;
  for (const std::size_t i : kept) sum += run_h_at[i] - watched_from_h;
  out.laplace_u = (sum / n - out.run_h / 2) / (out.run_h * std::sqrt(1 / (12 * n)));

  std::vector<double> bursts;
  std::vector<std::size_t> opener;  // the episode that opens each burst
  double latest = -1e300;
  for (const std::size_t i : kept) {
    if (run_h_at[i] - latest > kBurst_h) {
      bursts.push_back(run_h_at[i]);
      opener.push_back(i);
    }
    latest = run_h_at[i];
  }
  std::optional<Instant> first_seen;
  Posterior now;
  for (std::size_t k = 2; k <= bursts.size() + 1; ++k) {
    const bool is_end = k > bursts.size();
    const std::size_t known = std::min(k, bursts.size());
    now = look({bursts.data(), known}, watched_from_h, is_end ? watched_to_h : bursts[k - 1]);
    if (first_seen && now.p_rise < kCloses) first_seen.reset();
    if (!first_seen && !is_end && now.p_rise >= kOpens) first_seen = episodes[opener[k - 1]].raised;
  }
  if (!first_seen) return out;

  // Calendar time of an hour count, along the line through the episodes.
  const auto time_at = [&](double h) {
    std::size_t j = 1;
    while (j + 1 < kept.size() && run_h_at[kept[j]] < h) ++j;
    if (kept.size() < 2) return episodes[kept[0]].raised;
    const double ha = run_h_at[kept[j - 1]], hb = run_h_at[kept[j]];
    const Instant a = episodes[kept[j - 1]].raised, b = episodes[kept[j]].raised;
    double pace = hb > ha ? static_cast<double>((b - a).count()) / (hb - ha) : 3600.0;
    if (h < ha || h > hb) {
      const double whole = run_h_at[kept.back()] - run_h_at[kept.front()];
      pace = whole > 0
                 ? static_cast<double>((episodes[kept.back()].raised - episodes[kept.front()].raised).count()) / whole
                 : 3600.0;
    }
    return a + std::chrono::seconds{std::llround(std::clamp((h - ha) * pace, -3e9, 3e9))};
  };
  AlarmShift s;
  s.factor = {factor_quantile(now, 0.5), factor_quantile(now, 0.05), factor_quantile(now, 0.95)};
  const double began_h = place_quantile(now, 0.5);
  s.began = {time_at(began_h), time_at(place_quantile(now, 0.05)), time_at(place_quantile(now, 0.95))};
  s.first_seen = *first_seen;
  s.strength = log_odds(now.p_rise);
  int since = 0;
  for (const std::size_t i : kept) {
    if (run_h_at[i] < began_h) continue;
    ++since;
    s.evidence.insert(s.evidence.end(), episodes[i].records.begin(), episodes[i].records.end());
  }
  const double since_h = watched_to_h - began_h;
  const Interval c = poisson_interval(since, 0.9);
  s.per_1000h = {1000 * since / since_h, 1000 * c.low / since_h, 1000 * c.high / since_h};
  out.rise = std::move(s);
  return out;
}

}  // namespace shaftlog
