#include "analysis/change_orders.hpp"

#include <algorithm>
#include <map>
#include <memory>
#include <mutex>
#include <numeric>
#include <utility>
#include <vector>

namespace shaftlog {
namespace {

constexpr std::size_t kMostKept = 1024;  // values; longer series are rare
constexpr std::size_t kMostBytes = std::size_t{32} << 20;
constexpr std::size_t kBlocks = (kChangeOrders + kOrdersTogether - 1) / kOrdersTogether;

class Shuffler {
 public:
  explicit Shuffler(std::size_t n) : order_(n) { std::iota(order_.begin(), order_.end(), 0U); }
  void put_next(std::span<std::uint32_t> out) {
    const std::size_t n = order_.size();
    for (std::size_t o = 0; o < kOrdersTogether; ++o) {
      if (drawn_ < kChangeOrders) {
        for (std::size_t i = n - 1; i > 0; --i) {
          state_ = state_ * 6364136223846793005ULL + 1442695040888963407ULL;
          std::swap(order_[i], order_[static_cast<std::uint32_t>(state_ >> 33U) % static_cast<std::uint32_t>(i + 1)]);
        }
        ++drawn_;
      }
      for (std::size_t k = 0; k < n; ++k) out[k * kOrdersTogether + o] = order_[k];
    }
  }

 private:
  std::vector<std::uint32_t> order_;
  std::uint64_t state_ = 0x53484654ULL;
  std::size_t drawn_ = 0;
};

/// What was asked for last stays.
class Kept {
 public:
  using Orders = std::vector<std::uint32_t>;
  std::shared_ptr<const Orders> of(std::size_t n) {
    {
      const std::lock_guard lock{mutex_};
      const auto found = kept_.find(n);
      if (found != kept_.end()) {
        found->second.asked = ++clock_;
        return found->second.orders;
      }
    }
    auto made = std::make_shared<Orders>(kBlocks * kOrdersTogether * n);
    Shuffler shuffler{n};
    for (std::size_t b = 0; b < kBlocks; ++b)
      shuffler.put_next(std::span{*made}.subspan(b * kOrdersTogether * n, kOrdersTogether * n));
    const std::lock_guard lock{mutex_};
    const auto [at, is_new] = kept_.try_emplace(n);
    at->second.asked = ++clock_;
    if (is_new) {
      at->second.orders = std::move(made);
      bytes_ += at->second.bytes();
    }
    auto out = at->second.orders;
    while (bytes_ > kMostBytes) {
      const auto oldest = std::min_element(
          kept_.begin(), kept_.end(), [](const auto& a, const auto& b) { return a.second.asked < b.second.asked; });
      bytes_ -= oldest->second.bytes();
      kept_.erase(oldest);
    }
    return out;
  }

 private:
  struct Row {
    std::shared_ptr<const Orders> orders;
    std::uint64_t asked = 0;
    [[nodiscard]] std::size_t bytes() const { return orders->size() * sizeof(std::uint32_t); }
  };
  std::mutex mutex_;
  std::map<std::size_t, Row> kept_;
  std::uint64_t clock_ = 0;
  std::size_t bytes_ = 0;
};

}  // namespace

void each_change_order(std::size_t n, const std::function<void(std::span<const std::uint32_t>)>& take) {
  const std::size_t size = kOrdersTogether * n;
  if (n <= kMostKept) {
    static Kept kept;
    const auto orders = kept.of(n);
    for (std::size_t b = 0; b < kBlocks; ++b) take(std::span{*orders}.subspan(b * size, size));
    return;
  }
  Shuffler shuffler{n};
  std::vector<std::uint32_t> block(size);
  for (std::size_t b = 0; b < kBlocks; ++b) {
    shuffler.put_next(block);
    take(block);
  }
}

}  // namespace shaftlog
