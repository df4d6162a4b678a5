#include "analysis/intake.hpp"

#include <algorithm>
#include <cmath>
#include <span>
#include <utility>

namespace shaftlog {
namespace {

constexpr std::size_t kFewestBefore = 3, kFewestAfter = 3;
constexpr std::size_t kFewestStopped = 2;  ///< after a near-stop: nothing else looks like it twice
constexpr std::size_t kFirst = 8;          ///< greasings by which a bearing's first level is told
constexpr double kOpensFall = 4.0;         ///< log-likelihood ratio at which a fall is told, and let go
constexpr double kOpensByTwo =
    6.0;  ///< the same while only two greasings say so: after too full a cavity two take little
constexpr double kClosesFall = 1.0;
constexpr double kUsualFall = 0.75;  ///< seasons and berths lower a loss to that
constexpr double kIsBack = 0.75;     ///< the last greasings at this share of the usual: the fall is over
/// Most that the square of one reading's error weighs: beyond it, it is a slip.
constexpr double kSlipCost = 9;

/// A greasing that measured what the bearing took.
struct Intake {
  const GreasingInterval* of = nullptr;
  bool follows = false;  ///< on the one before in the list: what that fell short of filling this one makes good
  double share = 0;      ///< taken, of what was usual at first for the hours run
  double var = 0;        ///< of it
  double fill_sd = 0;    ///< of it, by the fill at either end
};

/// \param x values with their weights
double weighted_median_of(std::vector<std::pair<double, double>> x) {
  std::sort(x.begin(), x.end());
  double all = 0, sum = 0;
  for (const auto& [value, weight] : x) all += weight;
  for (const auto& [value, weight] : x) {
    sum += weight;
    if (2 * sum >= all) return value;
  }
  return 0;
}

bool measures(const GreasingInterval& g) {
  return g.ended == Ended::pressure && g.taken_cm3 && g.run_h > 0 && g.delivered_cm3 <= 0 && !g.is_doubtful;
}

/// Those since the last new seal or bearing that began with a full cavity.
std::vector<Intake> intakes_of(const ShaftHistory& h, const WashoutPrior& prior) {
  std::vector<Intake> out;
  if (h.is_automatic) return out;  // what doses had put in is no measure of the path of the gun
  bool is_full = h.first_is_full;
  const GreasingInterval* last = nullptr;
  for (const GreasingInterval& g : h.intervals) {
    if (g.starts_baseline)
      out.clear();
    else if (is_full && measures(g))
      out.push_back({&g, !out.empty() && out.back().of == last, 0, 0, 0});
    is_full = g.ended == Ended::pressure || g.ended == Ended::packed;
    last = &g;
  }
  if (out.size() < kFewestBefore + kFewestStopped) return {};
  std::vector<std::pair<double, double>> first;
  for (std::size_t i = 0; i < std::min(out.size() - kFewestStopped, kFirst); ++i)
    first.emplace_back(*out[i].of->taken_cm3 / out[i].of->run_h, out[i].of->run_h);
  const double usual = weighted_median_of(std::move(first));
  if (!(usual > 0)) return {};
  for (Intake& i : out) {
    const GreasingInterval& g = *i.of;
    const double expected = usual * g.run_h;
    i.share = *g.taken_cm3 / expected;
    i.var = prior.duty_sd * prior.duty_sd + prior.relative_sd * prior.relative_sd +
            (2 * prior.fill_sd_cm3 * prior.fill_sd_cm3 + 1) / (expected * expected) +
            g.run_sd_h * g.run_sd_h / (g.run_h * g.run_h);
    i.fill_sd = prior.fill_sd_cm3 / expected;
  }
  return out;
}

struct Level {
  double mean = 0, var = 0;
  double scatter = 1;  ///< of the readings beside what their errors explain
  double misfit = 0;   ///< sum of the squares of their errors, each at most kSlipCost
};

/// Mean by generalised least squares (A. C. Aitken, Proc. R. Soc. Edinb. 55 (1935) 42-48), for the fill at which one
/// greasing stops stands, the sign turned, in the next; what lies beyond 2.5 sd of the median is drawn in: a slip moves
/// it little.
Level level_of(std::span<const Intake> all) {
  std::vector<std::pair<double, double>> x;
  for (const Intake& i : all) x.emplace_back(i.share, 1 / std::sqrt(i.var));
  const double mid = weighted_median_of(std::move(x));
  double each = 0, sum = 0, squares = 0;
  // Whitened by the factors of the tridiagonal covariance: errors independent, of variance d.
  double weight = 0, moment = 0, d = 0, one = 0, white = 0;
  const Intake* last = nullptr;
  for (const Intake& i : all) {
    const double sd = std::sqrt(i.var), off = std::clamp(i.share - mid, -2.5 * sd, 2.5 * sd);
    each += 1 / i.var;
    sum += off / i.var;
    squares += off * off / i.var;
    const double shared = last != nullptr && i.follows ? -i.fill_sd * last->fill_sd : 0.0;
    const double gain = last != nullptr ? shared / d : 0.0;
    d = i.var - gain * shared;
    one = 1 - gain * one;
    white = off - gain * white;
    weight += one * one / d;
    moment += one * white / d;
    last = &i;
  }
  Level out;
  out.mean = mid + moment / weight;
  for (const Intake& i : all) {
    const double off = i.share - out.mean;
    out.misfit += std::min(off * off / i.var, kSlipCost);
  }
  const auto n = static_cast<double>(all.size());
  if (all.size() > 2) out.scatter = std::clamp((squares - sum * sum / each) / (n - 1), 1.0, 4.0);
  out.var = out.scatter / weight;
  return out;
}

struct Change {
  double before = 0, after = 0;  ///< levels
  double before_var = 0, after_var = 0;
  double misfit = 0;

  [[nodiscard]] double factor() const { return before > 0 ? std::max(after, 0.0) / before : 1; }
};

/// \param k place of the first after the split
Change change_at(std::span<const Intake> all, std::size_t k, const WashoutPrior& prior) {
  const Level before = level_of(all.first(k)), after = level_of(all.subspan(k));
  // What fell back to where it had been at first has not fallen.
  const Level first = level_of(all.first(std::min(k, kFirst)));
  const Level& usual = first.mean < before.mean ? first : before;
  const double season = 0.75 * prior.season_sd * prior.season_sd;  // of each of the two, in part evened out
  return {usual.mean, after.mean, usual.var + season * usual.mean * usual.mean,
          after.var * std::max(1.0, before.scatter / after.scatter) + season * after.mean * after.mean,
          before.misfit + after.misfit};
}

/// Log-likelihood ratio of the fall over one to kUsualFall; 0: it is none.
double strength_of(const Change& c) {
  const double beyond = kUsualFall * c.before - c.after;
  return beyond > 0 ? 0.5 * beyond * beyond / (kUsualFall * kUsualFall * c.before_var + c.after_var) : 0;
}

struct Split {
  std::size_t at = 0, low = 0, high = 0;  ///< places of the first greasing after it: best, and those nearly as good
  Change change;
};

std::optional<Split> best_split(std::span<const Intake> all, const WashoutPrior& prior) {
  constexpr double kNearlyAsGood = 3.84;  // 95 % by the profile of the likelihood
  std::vector<Change> changes(all.size());
  std::optional<std::size_t> best;
  for (std::size_t k = kFewestBefore; k + kFewestStopped <= all.size(); ++k) {
    changes[k] = change_at(all, k, prior);
    if (!best || changes[k].misfit < changes[*best].misfit) best = k;
  }
  if (!best) return std::nullopt;
  Split out{*best, *best, *best, changes[*best]};
  for (std::size_t k = kFewestBefore; k + kFewestStopped <= all.size(); ++k) {
    if (changes[k].misfit > changes[*best].misfit + kNearlyAsGood) continue;
    out.low = std::min(out.low, k);
    out.high = std::max(out.high, k);
  }
  return out;
}

Estimate factor_of(const Change& c) {
  const double f = c.factor();
  const double reach = 1.645 * std::sqrt(c.after_var + f * f * c.before_var) / std::max(c.before, 1e-9);
  return {f, std::max(0.0, f - reach), f + reach};
}

/// \param after greasings since the split
/// \param is_open it was told before
bool is_told(const Change& c, std::size_t after, bool is_open) {
  const double opens = after < kFewestAfter ? kOpensByTwo : kOpensFall;
  return after >= (c.factor() < kNearStop ? kFewestStopped : kFewestAfter) &&
         c.factor() < (is_open ? 0.5 * (kLeastFall + kUsualFall) : kLeastFall) &&
         strength_of(c) >= (is_open ? kClosesFall : opens);
}

/// Whether the last two greasings took about the usual again.
bool is_back(std::span<const Intake> all, std::size_t k) {
  return level_of(all.last(2)).mean > kIsBack * level_of(all.first(k)).mean;
}

}  // namespace

double middle_of(std::vector<double> x) {
  if (x.empty()) return 0;
  const auto mid = x.begin() + static_cast<std::ptrdiff_t>(x.size() / 2);
  std::nth_element(x.begin(), mid, x.end());
  return *mid;
}

std::optional<IntakeFall> fall_of_intake(const ShaftHistory& history, const WashoutPrior& prior) {
  const std::vector<Intake> all = intakes_of(history, prior);
  std::optional<std::size_t> open;
  std::optional<Split> split;
  // Most greasings are far from a fall: those need no search, and whatever stood before them stands no more.
  const auto is_near = [&](std::size_t n) {
    const double usual = level_of(std::span{all}.first(std::min(kFirst, n - kFewestStopped))).mean;
    return all[n - 1].share < usual * kIsBack || all[n - 2].share < usual * kIsBack;
  };
  constexpr std::size_t kFewest = kFewestBefore + kFewestStopped;
  std::size_t begin = all.size() + 1;
  while (begin > kFewest && is_near(begin - 1)) --begin;
  for (std::size_t n = begin; n <= all.size(); ++n) {
    const std::span upto = std::span{all}.first(n);
    split = best_split(upto, prior);
    const bool stands = split && is_told(split->change, n - split->at, open.has_value()) && !is_back(upto, split->at);
    if (!stands)
      open.reset();
    else if (!open)
      open = n - 1;
  }
  if (!open || !split) return std::nullopt;
  IntakeFall out;
  out.factor = factor_of(split->change);
  // Between the last greasing that was as usual and the first that was not.
  const GreasingInterval& first = *all[split->at].of;
  out.began = {first.from + (first.at - first.from) / 2, all[split->low].of->from, all[split->high].of->at};
  out.first_seen = all[*open].of->at;
  out.strength = strength_of(split->change);
  out.evidence.push_back(all[*open].of->id);
  for (std::size_t i = split->at; i < all.size() && out.evidence.size() < 8; ++i)
    if (i != *open) out.evidence.push_back(all[i].of->id);
  std::vector<double> cm3[2], h[2];
  for (std::size_t i = 0; i < all.size(); ++i) {
    cm3[i < split->at ? 0 : 1].push_back(*all[i].of->taken_cm3);
    h[i < split->at ? 0 : 1].push_back(all[i].of->run_h);
  }
  out.usual_cm3 = middle_of(std::move(cm3[0]));
  out.now_cm3 = middle_of(std::move(cm3[1]));
  out.usual_run_h = middle_of(std::move(h[0]));
  out.now_run_h = middle_of(std::move(h[1]));
  return out;
}

std::optional<Estimate> intake_ratio(const ShaftHistory& history, const WashoutPrior& prior, Instant split) {
  const std::vector<Intake> all = intakes_of(history, prior);
  const auto after = std::find_if(all.begin(), all.end(), [&](const Intake& i) { return i.of->at > split; });
  const auto k = static_cast<std::size_t>(after - all.begin());
  if (k < 2 || k + 2 > all.size()) return std::nullopt;
  const Change c = change_at(all, k, prior);
  if (!(c.before > 0)) return std::nullopt;
  return factor_of(c);
}

}  // namespace shaftlog
