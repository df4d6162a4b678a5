#include "analysis/fleet_lessons.hpp"
#include "analysis/parallel.hpp"
#include "analysis/prior_learner.hpp"
#include "analysis/washout_blocks.hpp"
#include "analysis/washout_cell.hpp"

#include <array>
#include <map>
#include <optional>
#include <string_view>
#include <tuple>
#include <unordered_map>

namespace shaftlog {

namespace {

using washout::Block;
using washout::BlockLottery;
using washout::BlockPlace;
using washout::ConstantFit;

struct ShaftFit {
  double mean = 0, sd = 0;
  friend bool operator==(const ShaftFit&, const ShaftFit&) = default;
};

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

/// How many of the first intervals place the shaft among its sisters: those up to the twelfth that measures something.
/// 0: none does.
std::size_t placing_of(const ShaftHistory& s) {
  std::size_t upto = 0;
  int seen = 0;
  while (upto < s.intervals.size() && seen < 12 && (upto == 0 || !s.intervals[upto - 1].starts_baseline))
    seen += washout::is_informative(s.intervals[upto++]) ? 1 : 0;
  return seen == 0 ? 0 : upto;
}

/// Empty: bounds alone place no shaft. \param errors what was learnt of them
std::optional<ShaftFit> place(std::span<const GreasingInterval> placing, bool first_is_full,
                              std::optional<double> cavity_cm3, const WashoutPrior& errors) {
  const ConstantFit f =
      washout::fit_constant(placing, first_is_full, cavity_cm3.value_or(washout::kNoCapacity), errors, 1.5);
  if (f.informative == 0 || f.sd_log_w > 0.8) return std::nullopt;
  return ShaftFit{f.mean_log_w, f.sd_log_w};
}

/// Means and spreads of the fleet and its groups; what was computed from the same shafts before is taken over.
class Places {
 public:
  struct Placed {
    std::string_view group;
    std::optional<ShaftFit> fit;
  };
  /// \param errors learnt from the fleet \param shafts in order of their keys
  FleetPrior learn(const WashoutPrior& errors, std::span<const Placed> shafts) {
    FleetPrior result;
    result.fleet = errors;
    std::map<std::string, std::vector<ShaftFit>, std::less<>> by_group;
    std::vector<ShaftFit> all;
    for (const Placed& s : shafts) {
      auto group = by_group.find(s.group);
      if (group == by_group.end()) group = by_group.emplace(s.group, std::vector<ShaftFit>{}).first;
      if (!s.fit) continue;
      group->second.push_back(*s.fit);
      all.push_back(*s.fit);
    }
    const WashoutPrior usual;
    spread(result.fleet, fleet_, std::move(all), usual.mean_log_w, usual.sd_log_w, 0.5);
    for (auto& [name, fits] : by_group) {
      WashoutPrior p = result.fleet;
      if (!name.empty()) {
        const double fleet_sd = std::max(0.3, result.fleet.sd_log_w);
        spread(p, groups_[name], std::move(fits), result.fleet.mean_log_w, fleet_sd, std::min(0.4, fleet_sd));
      }
      result.groups.emplace_back(name, p);
    }
    return result;
  }

 private:
  struct Spread {
    std::vector<ShaftFit> fits;
    std::array<double, 3> from{};
    ShaftFit found;
  };
  static void spread(WashoutPrior& p, Spread& last, std::vector<ShaftFit> fits, double mean, double mean_sd,
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

  std::map<std::string, Spread> groups_;
  Spread fleet_;
};

}  // namespace

const WashoutPrior& FleetPrior::of(std::string_view group) const noexcept {
  const auto at = std::lower_bound(groups.begin(), groups.end(), group,
                                   [](const auto& entry, std::string_view name) { return entry.first < name; });
  return at != groups.end() && at->first == group ? at->second : fleet;
}

struct FleetLessons::Memory {
  struct Lesson {
    std::string key, group;
    bool first_is_full = false;
    std::optional<double> cavity_cm3;
    std::vector<GreasingInterval> placing;
  };
  BlockLottery lottery;
  std::vector<Lesson> shafts;
};

FleetLessons::FleetLessons() : memory_{std::make_unique<Memory>()} {}
FleetLessons::~FleetLessons() = default;

void FleetLessons::hear(const ShaftHistory& s) {
  washout::require_plain(s, WashoutPrior{});
  memory_->lottery.offer(s, washout::list_blocks(s));
  const auto upto = static_cast<std::ptrdiff_t>(placing_of(s));
  memory_->shafts.push_back(
      {s.key, s.group, s.first_is_full, s.cavity_cm3, {s.intervals.begin(), s.intervals.begin() + upto}});
}

FleetPrior FleetLessons::learn(unsigned threads) {
  std::vector<Memory::Lesson>& shafts = memory_->shafts;
  std::sort(shafts.begin(), shafts.end(), [](const auto& a, const auto& b) { return a.key < b.key; });
  WashoutPrior errors;
  washout::learn_errors(memory_->lottery.winners(), threads, errors);
  std::vector<Places::Placed> placed(shafts.size());
  in_parallel(shafts.size(), threads, [&](std::size_t i) {
    const Memory::Lesson& s = shafts[i];
    placed[i].group = s.group;
    if (!s.placing.empty()) placed[i].fit = place(s.placing, s.first_is_full, s.cavity_cm3, errors);
  });
  return Places{}.learn(errors, placed);
}

FleetPrior fit_fleet_prior(std::span<const ShaftHistory> fleet) {
  FleetLessons lessons;
  for (const ShaftHistory& s : fleet) lessons.hear(s);
  return lessons.learn(1);
}

struct PriorLearner::Memory {
  /// What is known of a shaft as long as its history is the same.
  struct OfShaft {
    std::uint64_t serial = 0;
    std::vector<BlockPlace> blocks;
    std::size_t placing = 0;
    std::optional<Errors> fitted;  ///< with which errors `fit` was made; empty: not yet
    std::optional<ShaftFit> fit;
  };
  std::unordered_map<std::int64_t, OfShaft> shafts;
  std::vector<Block> blocks;  ///< from which the errors were learnt
  std::optional<WashoutPrior> learnt;
  Places places;

  void look_at(const LearntFrom& from);
  WashoutPrior errors(std::span<const LearntFrom> fleet);
};

void PriorLearner::Memory::look_at(const LearntFrom& from) {
  if (const auto at = shafts.find(from.shaft); at != shafts.end() && at->second.serial == from.serial) return;
  washout::require_plain(*from.history, WashoutPrior{});
  shafts[from.shaft] = {from.serial, washout::list_blocks(*from.history), placing_of(*from.history), {}, {}};
}

WashoutPrior PriorLearner::Memory::errors(std::span<const LearntFrom> fleet) {
  BlockLottery lottery;
  for (const LearntFrom& f : fleet) lottery.offer(*f.history, shafts.at(f.shaft).blocks);
  std::vector<Block> some = lottery.winners();
  if (learnt && some == blocks) return *learnt;
  blocks = std::move(some);
  WashoutPrior p;
  washout::learn_errors(blocks, 1, p);
  learnt = p;
  return p;
}

PriorLearner::PriorLearner() : memory_{std::make_unique<Memory>()} {}
PriorLearner::~PriorLearner() = default;

FleetPrior PriorLearner::learn(std::span<const LearntFrom> fleet) {
  Memory& m = *memory_;
  std::vector<LearntFrom> sorted{fleet.begin(), fleet.end()};
  for (const LearntFrom& f : sorted) m.look_at(f);
  std::sort(sorted.begin(), sorted.end(),
            [](const LearntFrom& a, const LearntFrom& b) { return a.history->key < b.history->key; });
  const WashoutPrior learnt = m.errors(sorted);
  const Errors errors = errors_of(learnt);
  std::vector<Places::Placed> placed;
  placed.reserve(sorted.size());
  for (const LearntFrom& from : sorted) {
    const ShaftHistory& s = *from.history;
    Memory::OfShaft& k = m.shafts.at(from.shaft);
    if (k.placing > 0 && k.fitted != errors) {
      k.fit = place(std::span{s.intervals}.first(k.placing), s.first_is_full, s.cavity_cm3, learnt);
      k.fitted = errors;
    }
    placed.push_back({s.group, k.fit});
  }
  return m.places.learn(learnt, placed);
}

bool is_same(const WashoutPrior& a, const WashoutPrior& b) noexcept {
  const auto members = [](const WashoutPrior& p) {
    const auto& [mean_log_w, sd_log_w, fill_sd_cm3, relative_sd, duty_sd, season_sd, shafts] = p;
    return std::tie(mean_log_w, sd_log_w, fill_sd_cm3, relative_sd, duty_sd, season_sd, shafts);
  };
  return members(a) == members(b);
}

}  // namespace shaftlog
