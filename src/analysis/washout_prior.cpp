#include "analysis/prior_learner.hpp"
#include "analysis/washout_cell.hpp"

#include <array>
#include <map>
#include <numeric>
#include <optional>
#include <string_view>
#include <tuple>
#include <unordered_map>

namespace shaftlog {

namespace {

using washout::ConstantFit;

struct ShaftFit {
  double mean = 0, sd = 0;
  friend bool operator==(const ShaftFit&, const ShaftFit&) = default;
};

/// Every member by name: one that is added and forgotten here does not compile.
bool is_same_greasing(const GreasingInterval& a, const GreasingInterval& b) {
  const auto members = [](const GreasingInterval& g) {
    const auto& [id, from, at, run_h, run_sd_h, idle_days, delivered_cm3, delivered_sd_cm3, taken_cm3, ended,
                 by_strokes, starts_baseline, is_doubtful, by, gun, purge] = g;
    return std::tie(id, from, at, run_h, run_sd_h, idle_days, delivered_cm3, delivered_sd_cm3, taken_cm3, ended,
                    by_strokes, starts_baseline, is_doubtful, by, gun, purge);
  };
  return members(a) == members(b);
}

/// The part of a prior that is learnt first, from blocks of greasings.
struct Errors {
  double fill_sd_cm3, relative_sd, duty_sd, season_sd;
  friend bool operator==(const Errors&, const Errors&) = default;
};
Errors errors_of(const WashoutPrior& p) { return {p.fill_sd_cm3, p.relative_sd, p.duty_sd, p.season_sd}; }

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

constexpr std::size_t kBlock = 14, kMostBlocks = 120;

std::span<const GreasingInterval> block_at(const ShaftHistory& s, std::size_t first) {
  return std::span{s.intervals}.subspan(first, std::min(kBlock, s.intervals.size() - first));
}

/// A block that says something, and its lot: which blocks are learnt from must not depend on how many others there are,
/// else one greasing would move the choice of all that follow it.
struct BlockPlace {
  std::uint64_t lot = 0;
  std::size_t first = 0;
  bool is_whole = false;
};

/// Any number that looks like chance and is always the same for the same shaft and place: FNV-1a, then mixed.
std::uint64_t lot_of(std::string_view key, std::size_t first) {
  std::uint64_t h = 14695981039346656037U;
  const auto take = [&h](std::uint64_t byte) { h = (h ^ byte) * 1099511628211U; };
  for (const char c : key) take(static_cast<unsigned char>(c));
  for (int i = 0; i < 8; ++i) take((std::uint64_t{first} >> (8 * i)) & 0xFFU);
  h = (h ^ (h >> 30U)) * 0xBF58476D1CE4E5B9U;
  h = (h ^ (h >> 27U)) * 0x94D049BB133111EBU;
  return h ^ (h >> 31U);
}

std::vector<BlockPlace> list_blocks(const ShaftHistory& s) {
  std::vector<BlockPlace> out;
  for (std::size_t i = 0; i < s.intervals.size(); i += kBlock) {
    const auto of = block_at(s, i);
    if (std::count_if(of.begin(), of.end(), washout::is_informative) >= 5)
      out.push_back({lot_of(s.key, i), i, of.size() == kBlock});
  }
  return out;
}

Block make_block(const ShaftHistory& s, std::size_t first) {
  Block b;
  b.intervals = block_at(s, first);
  b.capacity = s.cavity_cm3.value_or(washout::kNoCapacity);
  b.is_full = first == 0 ? s.first_is_full : s.intervals[first - 1].ended == Ended::pressure;
  return b;
}

void learn_errors(std::vector<Block>& blocks, WashoutPrior& fleet) {
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

struct PriorLearner::Memory {
  /// What is known of a shaft as long as its history is the same.
  struct OfShaft {
    std::uint64_t serial = 0;
    std::vector<BlockPlace> blocks;
    std::size_t upto = 0;          ///< the intervals before it place the shaft; 0: none does
    std::optional<Errors> fitted;  ///< with which errors `fit` was made; empty: not yet
    std::optional<ShaftFit> fit;   ///< empty: bounds alone place no shaft
  };
  struct KeptBlock {
    std::vector<GreasingInterval> intervals;
    double capacity;
    bool is_full;
  };
  struct Spread {
    std::vector<ShaftFit> fits;
    std::array<double, 3> from{};
    ShaftFit found;
  };
  std::unordered_map<std::int64_t, OfShaft> shafts;
  std::vector<KeptBlock> blocks;  ///< from which the errors were learnt
  std::optional<WashoutPrior> learnt;
  std::map<std::string, Spread> groups;
  Spread fleet;

  OfShaft& look_at(const LearntFrom& from);
  WashoutPrior errors(std::span<const LearntFrom> sorted);
  static void place(WashoutPrior& p, Spread& last, std::vector<ShaftFit> fits, double mean, double mean_sd, double sd);
};

PriorLearner::Memory::OfShaft& PriorLearner::Memory::look_at(const LearntFrom& from) {
  const ShaftHistory& s = *from.history;
  if (const auto at = shafts.find(from.shaft); at != shafts.end() && at->second.serial == from.serial)
    return at->second;
  washout::require_plain(s, WashoutPrior{});
  OfShaft& k = shafts[from.shaft];
  k = {from.serial, list_blocks(s), 0, std::nullopt, std::nullopt};
  int seen = 0;
  while (k.upto < s.intervals.size() && seen < 12 && (k.upto == 0 || !s.intervals[k.upto - 1].starts_baseline))
    seen += washout::is_informative(s.intervals[k.upto++]) ? 1 : 0;
  if (seen == 0) k.upto = 0;
  return k;
}

WashoutPrior PriorLearner::Memory::errors(std::span<const LearntFrom> sorted) {
  struct Choice {
    BlockPlace place;
    std::size_t shaft;  // in `sorted`
  };
  std::vector<Choice> all;
  std::size_t whole = 0;
  for (std::size_t i = 0; i < sorted.size(); ++i)
    for (const BlockPlace& b : shafts.at(sorted[i].shaft).blocks) {
      all.push_back({b, i});
      whole += b.is_whole ? 1U : 0U;
    }
  if (all.size() > kMostBlocks) {
    // The last block of a shaft grows with each greasing: it is left out where there are enough others.
    if (whole >= kMostBlocks) std::erase_if(all, [](const Choice& c) { return !c.place.is_whole; });
    const auto fleet_order = [](const Choice& c) { return std::tuple{c.shaft, c.place.first}; };
    const auto by_lot = [&](const Choice& a, const Choice& b) {
      return a.place.lot != b.place.lot ? a.place.lot < b.place.lot : fleet_order(a) < fleet_order(b);
    };
    std::nth_element(all.begin(), all.begin() + (kMostBlocks - 1), all.end(), by_lot);
    all.resize(kMostBlocks);
    std::sort(all.begin(), all.end(),
              [&](const Choice& a, const Choice& b) { return fleet_order(a) < fleet_order(b); });
  }
  std::vector<Block> some;
  some.reserve(all.size());
  for (const Choice& c : all) some.push_back(make_block(*sorted[c.shaft].history, c.place.first));
  const bool is_same_as_last =
      learnt &&
      std::equal(some.begin(), some.end(), blocks.begin(), blocks.end(), [](const Block& a, const KeptBlock& b) {
        return a.capacity == b.capacity && a.is_full == b.is_full &&
               std::equal(a.intervals.begin(), a.intervals.end(), b.intervals.begin(), b.intervals.end(),
                          is_same_greasing);
      });
  if (is_same_as_last) return *learnt;
  blocks.clear();
  for (const Block& b : some) blocks.push_back({{b.intervals.begin(), b.intervals.end()}, b.capacity, b.is_full});
  WashoutPrior p;
  learn_errors(some, p);
  learnt = p;
  return p;
}

void PriorLearner::Memory::place(WashoutPrior& p, Spread& last, std::vector<ShaftFit> fits, double mean, double mean_sd,
                                 double sd) {
  p.shafts = static_cast<int>(fits.size());
  if (fits.empty()) return;
  const std::array<double, 3> from{mean, mean_sd, sd};
  if (last.fits != fits || last.from != from) {
    const ShaftFit found = spread_between(fits, mean, mean_sd, sd);
    last = {std::move(fits), from, found};
  }
  p.mean_log_w = last.found.mean;
  p.sd_log_w = std::max(last.found.sd, 0.12);
}

PriorLearner::PriorLearner() : memory_{std::make_unique<Memory>()} {}
PriorLearner::~PriorLearner() = default;

FleetPrior PriorLearner::learn(std::span<const LearntFrom> fleet) {
  Memory& m = *memory_;
  std::vector<LearntFrom> sorted{fleet.begin(), fleet.end()};
  for (const LearntFrom& f : sorted) m.look_at(f);
  std::sort(sorted.begin(), sorted.end(),
            [](const LearntFrom& a, const LearntFrom& b) { return a.history->key < b.history->key; });
  FleetPrior result;
  result.fleet = m.errors(sorted);
  const Errors errors = errors_of(result.fleet);

  std::map<std::string, std::vector<ShaftFit>> by_group;
  std::vector<ShaftFit> all;
  for (const LearntFrom& from : sorted) {
    const ShaftHistory& s = *from.history;
    std::vector<ShaftFit>& group = by_group[s.group];
    Memory::OfShaft& k = m.shafts.at(from.shaft);
    if (k.upto == 0) continue;
    if (k.fitted != errors) {
      const ConstantFit f = washout::fit_constant(std::span{s.intervals}.first(k.upto), s.first_is_full,
                                                  s.cavity_cm3.value_or(washout::kNoCapacity), result.fleet, 1.5);
      k.fit.reset();
      if (f.informative > 0 && f.sd_log_w <= 0.8) k.fit = {f.mean_log_w, f.sd_log_w};
      k.fitted = errors;
    }
    if (!k.fit) continue;
    group.push_back(*k.fit);
    all.push_back(*k.fit);
  }
  const WashoutPrior usual;
  Memory::place(result.fleet, m.fleet, std::move(all), usual.mean_log_w, usual.sd_log_w, 0.5);
  for (auto& [name, fits] : by_group) {
    WashoutPrior p = result.fleet;
    if (!name.empty()) {
      const double fleet_sd = std::max(0.3, result.fleet.sd_log_w);
      Memory::place(p, m.groups[name], std::move(fits), result.fleet.mean_log_w, fleet_sd, std::min(0.4, fleet_sd));
    }
    result.groups.emplace_back(name, p);
  }
  return result;
}

FleetPrior fit_fleet_prior(std::span<const ShaftHistory> fleet) {
  std::vector<LearntFrom> from;
  from.reserve(fleet.size());
  for (const ShaftHistory& s : fleet) from.push_back({&s, static_cast<std::int64_t>(from.size()), 0});
  return PriorLearner{}.learn(from);
}

bool is_same(const WashoutPrior& a, const WashoutPrior& b) noexcept {
  const auto members = [](const WashoutPrior& p) {
    const auto& [mean_log_w, sd_log_w, fill_sd_cm3, relative_sd, duty_sd, season_sd, shafts] = p;
    return std::tie(mean_log_w, sd_log_w, fill_sd_cm3, relative_sd, duty_sd, season_sd, shafts);
  };
  return members(a) == members(b);
}

}  // namespace shaftlog
