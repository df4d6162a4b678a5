#pragma once

#include <cstddef>
#include <cstdint>
#include <functional>
#include <span>

namespace shaftlog {

// The orders over which the p of one change is counted: the same in every run and for every series of n values, so
// that they are drawn once and kept for the next series of that length.

constexpr std::size_t kChangeOrders = 1999;
constexpr std::size_t kOrdersTogether = 8;  ///< looked at side by side

/// Calls `take` with the orders, eight at a time; the last seven with one of them twice. Of any thread.
/// \param n values, 2 or more
/// \param take gets for each place those of the eight orders: place k of order o holds the value [8 k + o]
/// Each order shuffles the one before (Fisher and Yates) by a linear congruential generator of 64 bits; Knuth's MMIX
/// constants (memory). For up to 1024 values they are kept: 32 MiB of those last asked for.
void each_change_order(std::size_t n, const std::function<void(std::span<const std::uint32_t>)>& take);

}  // namespace shaftlog
