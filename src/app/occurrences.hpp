#pragma once

#include "base/uuid.hpp"

#include <cstddef>
#include <cstdint>
#include <utility>
#include <vector>

namespace shaftlog {

/// How often each id was met: an open table, 20 bytes a place, at most three quarters of them taken: a million rows
/// take some 40 MB, five million 170.
class Occurrences {
 public:
  /// How often `id` was counted before; counts it.
  std::uint32_t count(const Uuid& id) {
    if (3 * places_.size() < 4 * (used_ + 1)) grow();
    Place& p = place_of(places_, id);
    if (p.count == 0) {
      p.id = id;
      ++used_;
    }
    return p.count++;
  }

 private:
  struct Place {
    Uuid id;
    std::uint32_t count = 0;  // 0: free
  };
  static Place& place_of(std::vector<Place>& places, const Uuid& id) noexcept {
    std::size_t i = std::hash<Uuid>{}(id) & (places.size() - 1);
    while (places[i].count != 0 && places[i].id != id) i = (i + 1) & (places.size() - 1);
    return places[i];
  }
  void grow() {
    std::vector<Place> larger(places_.empty() ? 1024 : places_.size() * 2);
    for (const Place& p : places_) {
      if (p.count != 0) place_of(larger, p.id) = p;
    }
    places_ = std::move(larger);
  }
  std::vector<Place> places_;  // size a power of 2
  std::size_t used_ = 0;
};

}  // namespace shaftlog
