#pragma once

#include "analysis/washout.hpp"

#include <cstddef>
#include <cstdint>
#include <set>
#include <string>
#include <vector>

namespace shaftlog::washout {

/// Some neighbouring greasings of one shaft, taken to share one rate: from these the errors are learnt. Internal to
/// analysis.
struct Block {
  std::vector<GreasingInterval> intervals;
  double capacity = 0;
  bool is_full = false;  ///< the cavity, before the first interval
  friend bool operator==(const Block& a, const Block& b);
};

/// A block that says something, and its lot: which blocks are learnt from must not depend on how many others there are,
/// else one greasing would move the choice of all that follow it.
struct BlockPlace {
  std::uint64_t lot = 0;
  std::size_t first = 0;  ///< interval of the history
  bool is_whole = false;
};
std::vector<BlockPlace> list_blocks(const ShaftHistory& history);

/// Draws kMostBlocks from any number of blocks by their lots, in whatever order they come; holds no more than it may
/// need. The last block of a shaft grows with each greasing: it is left out where there are enough others.
class BlockLottery {
 public:
  /// \param blocks list_blocks(history)
  void offer(const ShaftHistory& history, const std::vector<BlockPlace>& blocks);
  /// In order of shafts' keys.
  [[nodiscard]] std::vector<Block> winners() const;

 private:
  struct Ticket {
    std::uint64_t lot;
    std::string key;  ///< of the shaft
    std::size_t first;
    Block block;
  };
  struct ByLot {
    bool operator()(const Ticket& a, const Ticket& b) const;
  };
  static constexpr std::size_t kMostBlocks = 120;
  using Draw = std::multiset<Ticket, ByLot>;  // shafts of no name may have the same lot
  static void enter(Draw& draw, const ShaftHistory& history, const BlockPlace& place);

  Draw all_, whole_;
};

/// Learns the errors by a robust likelihood over blocks; where there are too few of them, the usual ones stand.
/// \param fleet what is believed beforehand; its errors become those learnt
void learn_errors(const std::vector<Block>& blocks, unsigned threads, WashoutPrior& fleet);

}  // namespace shaftlog::washout
