#include "analysis/washout_cell.hpp"

#include <array>
#include <map>
#include <numeric>

namespace shaftlog {

namespace {

using washout::ConstantFit;

struct ShaftFit {
  double mean = 0, sd = 0;
};

/// Mean and spread between shafts, by maximum posterior on a grid; one shaft in twenty may be far off.
ShaftFit spread_between(std::span<const ShaftFit> fits, double prior_mean, double prior_mean_sd, double usual_sd) {
  double best = -1e300;
  ShaftFit found{prior_mean, usual_sd};
  for (int t = 0; t < 28; ++t) {
    const double tau = 0.08 * std::pow(1.13, t);
    double mean = prior_mean;
    for (int round = 0; round < 25; ++round) {
      double sum = prior_mean / (prior_mean_sd * prior_mean_sd), weight = 1 / (prior_mean_sd * prior_mean_sd);
      for (const ShaftFit& f : fits) {
        const double var = tau * tau + f.sd * f.sd, z2 = (f.mean - mean) * (f.mean - mean) / var;
        const double in = 0.95 * std::exp(-0.5 * z2), out = 0.05 / 4 * std::exp(-0.5 * z2 / 16);
        const double share = (in + out / 16) / (in + out + 1e-300) / var;
        sum += share * f.mean;
        weight += share;
      }
      mean = sum / weight;
    }
    double fit =
        -0.5 * std::pow((mean - prior_mean) / prior_mean_sd, 2) - 0.5 * std::pow(std::log(tau / usual_sd) / 0.6, 2);
    for (const ShaftFit& f : fits) {
      const double var = tau * tau + f.sd * f.sd, z2 = (f.mean - mean) * (f.mean - mean) / var;
      fit += std::log(0.95 * std::exp(-0.5 * z2) + 0.05 / 4 * std::exp(-0.5 * z2 / 16) + 1e-300) - 0.5 * std::log(var);
    }
    if (fit > best) {
      best = fit;
      found = {mean, tau};
    }
  }
  return found;
}

/// Some neighbouring greasings of one shaft that share one rate, for learning the errors.
struct Block {
  std::span<const GreasingInterval> intervals;
  double capacity = washout::kNoCapacity;
  bool is_full = false;
  double log_w = 0, log_w_sd = 0.1;
  bool is_used = true;
  std::vector<washout::Reading> readings;  ///< all but the errors that are being learnt
};

constexpr std::array<double, 5> kBlockRates{-2, -1, 0, 1, 2};  ///< at which a block's rate is tried [sd of its fit]

/// What stays the same whatever errors are tried: read once.
void prepare(Block& b, const WashoutPrior& p) {
  const double w = std::exp(b.log_w);
  b.readings.reserve(b.intervals.size());
  for (const GreasingInterval& g : b.intervals) {
    washout::Reading r = washout::reading_of(g, p, b.capacity);
    const double expected = std::clamp(w * r.run_h - r.delivered, 0.0, b.capacity);
    r.outlier_density = washout::slip_density(r.amount, expected);
    // Fixed errors decide what counts as blocked, so that the candidates are judged on the same readings.
    r.is_blocked = washout::is_path_suspect(g, expected, 10) || g.starts_baseline;
    b.readings.push_back(r);
  }
}

/// Log likelihood of a block, its rate integrated out over a few points about the rough fit.
double likelihood(const Block& b, const WashoutPrior& p) {
  std::array<washout::Cell, kBlockRates.size()> cells;
  std::array<double, kBlockRates.size()> w{};
  for (std::size_t i = 0; i < w.size(); ++i) {
    cells[i] = washout::start(b.is_full, b.capacity, p);
    cells[i].p = 1.0 / static_cast<double>(w.size());
    w[i] = std::exp(b.log_w + kBlockRates[i] * b.log_w_sd);
  }
  double log_like = 0;
  for (washout::Reading r : b.readings) {
    washout::set_errors(r, p);
    double sum = 0;
    for (std::size_t i = 0; i < w.size(); ++i) {
      washout::pass(cells[i], w[i], r);
      sum += cells[i].p;
    }
    if (!(sum > 0)) return -1e6;
    log_like += std::log(sum);
    for (washout::Cell& c : cells) c.p /= sum;
  }
  return log_like;
}

void learn_errors(std::span<const ShaftHistory* const> shafts, WashoutPrior& fleet) {
  constexpr std::size_t kBlock = 14, kMostBlocks = 120;
  std::vector<Block> blocks;
  for (const ShaftHistory* s : shafts) {
    const double capacity = s->cavity_cm3.value_or(washout::kNoCapacity);
    for (std::size_t i = 0; i < s->intervals.size(); i += kBlock) {
      Block b;
      b.intervals = std::span{s->intervals}.subspan(i, std::min(kBlock, s->intervals.size() - i));
      b.capacity = capacity;
      b.is_full = i == 0 ? s->first_is_full : s->intervals[i - 1].ended == Ended::pressure;
      const auto informative = std::count_if(b.intervals.begin(), b.intervals.end(), washout::is_informative);
      if (informative >= 5) blocks.push_back(b);
    }
  }
  if (blocks.size() > kMostBlocks) {  // evenly over the sorted fleet
    std::vector<Block> some;
    for (std::size_t i = 0; i < kMostBlocks; ++i) some.push_back(blocks[i * blocks.size() / kMostBlocks]);
    blocks.swap(some);
  }
  // A few shafts cannot tell their scatter from a change in one of them: then the usual errors stand.
  constexpr std::size_t kFewestBlocks = 6;
  if (blocks.size() < kFewestBlocks) return;
  std::vector<std::pair<double, std::size_t>> ranks;
  for (std::size_t i = 0; i < blocks.size(); ++i) {
    Block& b = blocks[i];
    const ConstantFit f = washout::fit_constant(b.intervals, b.is_full, b.capacity, fleet, 1.0);
    b.log_w = f.mean_log_w;
    b.log_w_sd = std::clamp(f.sd_log_w, 0.01, 0.4);
    prepare(b, fleet);
    ranks.emplace_back(f.log_likelihood / static_cast<double>(b.intervals.size()), i);
  }
  std::sort(ranks.begin(), ranks.end());
  for (std::size_t k = 0; k < std::max<std::size_t>(1, blocks.size() / 20); ++k)
    blocks[ranks[k].second].is_used = false;  // shifts, slips

  const WashoutPrior usual;
  const auto fit = [&](const WashoutPrior& p) {
    const auto penalty = [](double v, double at, double sd) { return 0.5 * std::pow(std::log(v / at) / sd, 2); };
    double sum = -penalty(p.fill_sd_cm3, usual.fill_sd_cm3, 0.7) - penalty(p.relative_sd, usual.relative_sd, 0.5) -
                 penalty(p.duty_sd, usual.duty_sd, 0.5) - penalty(p.season_sd, usual.season_sd, 0.3);
    for (const Block& b : blocks)
      if (b.is_used) sum += likelihood(b, p);
    return sum;
  };
  double best = fit(fleet);
  for (const double ratio : {1.6, 1.25, 1.1}) {
    for (int round = 0; round < 3; ++round) {
      bool is_better = false;
      for (double WashoutPrior::*what :
           {&WashoutPrior::fill_sd_cm3, &WashoutPrior::duty_sd, &WashoutPrior::season_sd, &WashoutPrior::relative_sd})
        for (const double by : {ratio, 1 / ratio}) {
          WashoutPrior trial = fleet;
          trial.*what *= by;
          const double value = fit(trial);
          if (value > best + 1e-9) {
            best = value;
            fleet = trial;
            is_better = true;
            break;
          }
        }
      if (!is_better) break;
    }
  }
}

}  // namespace

const WashoutPrior& FleetPrior::of(std::string_view group) const noexcept {
  const auto at = std::lower_bound(groups.begin(), groups.end(), group,
                                   [](const auto& entry, std::string_view name) { return entry.first < name; });
  return at != groups.end() && at->first == group ? at->second : fleet;
}

FleetPrior fit_fleet_prior(std::span<const ShaftHistory> fleet) {
  FleetPrior result;
  const WashoutPrior usual;
  std::vector<const ShaftHistory*> shafts;
  for (const ShaftHistory& s : fleet) {
    washout::require_plain(s, usual);
    shafts.push_back(&s);
  }
  std::sort(shafts.begin(), shafts.end(), [](const ShaftHistory* a, const ShaftHistory* b) { return a->key < b->key; });
  learn_errors(shafts, result.fleet);

  std::map<std::string, std::vector<ShaftFit>> by_group;
  std::vector<ShaftFit> all;
  for (const ShaftHistory* s : shafts) {
    std::size_t upto = 0;
    int seen = 0;
    while (upto < s->intervals.size() && seen < 12 && (upto == 0 || !s->intervals[upto - 1].starts_baseline))
      seen += washout::is_informative(s->intervals[upto++]) ? 1 : 0;
    if (seen == 0) continue;
    const ConstantFit f = washout::fit_constant(std::span{s->intervals}.first(upto), s->first_is_full,
                                                s->cavity_cm3.value_or(washout::kNoCapacity), result.fleet, 1.5);
    if (f.informative == 0 || f.sd_log_w > 0.8) continue;  // bounds alone place no shaft
    by_group[s->group].push_back({f.mean_log_w, f.sd_log_w});
    all.push_back({f.mean_log_w, f.sd_log_w});
  }
  for (const ShaftHistory* s : shafts) by_group.try_emplace(s->group);
  const auto fill_in = [](WashoutPrior& p, const std::vector<ShaftFit>& fits, double mean, double mean_sd, double sd) {
    p.shafts = static_cast<int>(fits.size());
    if (fits.empty()) return;
    const ShaftFit s = spread_between(fits, mean, mean_sd, sd);
    p.mean_log_w = s.mean;
    p.sd_log_w = std::max(s.sd, 0.12);
  };
  fill_in(result.fleet, all, usual.mean_log_w, usual.sd_log_w, 0.5);
  for (const auto& [name, fits] : by_group) {
    WashoutPrior p = result.fleet;
    if (!name.empty()) {
      const double fleet_sd = std::max(0.3, result.fleet.sd_log_w);
      fill_in(p, fits, result.fleet.mean_log_w, fleet_sd, std::min(0.4, fleet_sd));
    }
    result.groups.emplace_back(name, p);
  }
  return result;
}

}  // namespace shaftlog
