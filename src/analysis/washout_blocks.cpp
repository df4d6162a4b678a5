#include "analysis/washout_blocks.hpp"

#include "analysis/parallel.hpp"
#include "analysis/washout_cell.hpp"
#include "base/lot.hpp"

#include <array>
#include <string_view>
#include <tuple>
#include <utility>

namespace shaftlog::washout {
namespace {

constexpr std::size_t kBlock = 14;

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

std::span<const GreasingInterval> block_at(const ShaftHistory& s, std::size_t first) {
  return std::span{s.intervals}.subspan(first, std::min(kBlock, s.intervals.size() - first));
}

Block make_block(const ShaftHistory& s, std::size_t first) {
  const auto of = block_at(s, first);
  return {{of.begin(), of.end()},
          s.cavity_cm3.value_or(kNoCapacity),
          first == 0 ? s.first_is_full : s.intervals[first - 1].ended == Ended::pressure};
}

/// A block, and what stays the same whatever errors are tried.
struct Tried {
  const Block* block = nullptr;
  double log_w = 0, log_w_sd = 0.1;
  bool is_used = true;
  std::vector<Reading> readings;  ///< all but the errors that are being learnt
};

constexpr std::array<double, 5> kBlockRates{-2, -1, 0, 1, 2};  ///< at which a block's rate is tried [sd of its fit]

void prepare(Tried& b, const WashoutPrior& p) {
  const double w = std::exp(b.log_w);
  b.readings.reserve(b.block->intervals.size());
  for (const GreasingInterval& g : b.block->intervals) {
    Reading r = reading_of(g, p, b.block->capacity);
    const double expected = std::clamp(w * r.run_h - r.delivered, 0.0, b.block->capacity);
    r.outlier_density = slip_density(r.amount, expected);
    // Fixed errors decide what counts as blocked, so that the candidates are judged on the same readings.
    r.is_blocked = is_path_suspect(g, expected, 10) || g.starts_baseline;
    b.readings.push_back(r);
  }
}

/// Log likelihood of a block, its rate integrated out over a few points about the rough fit.
double likelihood(const Tried& b, const WashoutPrior& p) {
  std::array<Cell, kBlockRates.size()> cells;
  std::array<double, kBlockRates.size()> w{};
  for (std::size_t i = 0; i < w.size(); ++i) {
    cells[i] = start(b.block->is_full, b.block->capacity, p);
    cells[i].p = 1.0 / static_cast<double>(w.size());
    w[i] = std::exp(b.log_w + kBlockRates[i] * b.log_w_sd);
  }
  double log_like = 0;
  for (Reading r : b.readings) {
    set_errors(r, p);
    double sum = 0;
    for (std::size_t i = 0; i < w.size(); ++i) {
      pass(cells[i], w[i], r);
      sum += cells[i].p;
    }
    if (!(sum > 0)) return -1e6;
    log_like += std::log(sum);
    for (Cell& c : cells) c.p /= sum;
  }
  return log_like;
}

}  // namespace

bool operator==(const Block& a, const Block& b) {
  return a.capacity == b.capacity && a.is_full == b.is_full &&
         std::equal(a.intervals.begin(), a.intervals.end(), b.intervals.begin(), b.intervals.end(), is_same_greasing);
}

std::vector<BlockPlace> list_blocks(const ShaftHistory& s) {
  std::vector<BlockPlace> out;
  for (std::size_t i = 0; i < s.intervals.size(); i += kBlock) {
    const auto of = block_at(s, i);
    if (std::count_if(of.begin(), of.end(), is_informative) >= 5)
      out.push_back({lot_of(s.key, i), i, of.size() == kBlock});
  }
  return out;
}

bool BlockLottery::ByLot::operator()(const Ticket& a, const Ticket& b) const {
  return std::tie(a.lot, a.key, a.first) < std::tie(b.lot, b.key, b.first);
}

void BlockLottery::enter(Draw& draw, const ShaftHistory& history, const BlockPlace& place) {
  if (draw.size() == kMostBlocks && place.lot > std::prev(draw.end())->lot) return;
  draw.insert({place.lot, history.key, place.first, make_block(history, place.first)});
  if (draw.size() > kMostBlocks) draw.erase(std::prev(draw.end()));
}

void BlockLottery::offer(const ShaftHistory& history, const std::vector<BlockPlace>& blocks) {
  for (const BlockPlace& b : blocks) {
    enter(all_, history, b);
    if (b.is_whole) enter(whole_, history, b);
  }
}

std::vector<Block> BlockLottery::winners() const {
  const Draw& draw = whole_.size() == kMostBlocks ? whole_ : all_;
  std::vector<const Ticket*> tickets;
  for (const Ticket& t : draw) tickets.push_back(&t);
  std::stable_sort(tickets.begin(), tickets.end(), [](const Ticket* a, const Ticket* b) {
    return std::tie(a->key, a->first) < std::tie(b->key, b->first);
  });
  std::vector<Block> out;
  out.reserve(tickets.size());
  for (const Ticket* t : tickets) out.push_back(t->block);
  return out;
}

void learn_errors(const std::vector<Block>& blocks, unsigned threads, WashoutPrior& fleet) {
  // A few shafts cannot tell their scatter from a change in one of them: then the usual errors stand.
  constexpr std::size_t kFewestBlocks = 6;
  if (blocks.size() < kFewestBlocks) return;
  std::vector<Tried> tried(blocks.size());
  std::vector<std::pair<double, std::size_t>> ranks(blocks.size());
  in_parallel(blocks.size(), threads, [&](std::size_t i) {
    Tried& b = tried[i];
    b.block = &blocks[i];
    const ConstantFit f = fit_constant(blocks[i].intervals, blocks[i].is_full, blocks[i].capacity, fleet, 1.0);
    b.log_w = f.mean_log_w;
    b.log_w_sd = std::clamp(f.sd_log_w, 0.01, 0.4);
    prepare(b, fleet);
    ranks[i] = {f.log_likelihood / static_cast<double>(blocks[i].intervals.size()), i};
  });
  std::sort(ranks.begin(), ranks.end());
  for (std::size_t k = 0; k < std::max<std::size_t>(1, blocks.size() / 20); ++k)
    tried[ranks[k].second].is_used = false;  // shifts, slips

  const WashoutPrior usual;
  std::vector<double> said(tried.size());
  const auto fit = [&](const WashoutPrior& p) {
    const auto penalty = [](double v, double at, double sd) { return 0.5 * std::pow(std::log(v / at) / sd, 2); };
    double sum = -penalty(p.fill_sd_cm3, usual.fill_sd_cm3, 0.7) - penalty(p.relative_sd, usual.relative_sd, 0.5) -
                 penalty(p.duty_sd, usual.duty_sd, 0.5) - penalty(p.season_sd, usual.season_sd, 0.3);
    in_parallel(tried.size(), threads,
                [&](std::size_t i) { said[i] = tried[i].is_used ? likelihood(tried[i], p) : 0.0; });
    for (std::size_t i = 0; i < tried.size(); ++i)  // in order: the sum does not depend on the threads
      if (tried[i].is_used) sum += said[i];
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

}  // namespace shaftlog::washout
