#include "analysis/distributions.hpp"
#include "analysis/dossier.hpp"

#include <algorithm>
#include <array>
#include <cmath>

namespace shaftlog {
namespace {

constexpr std::size_t kNodes = 101;
using Nodes = std::array<double, kNodes>;

// Midpoints of equal shares of what is known about the moment [s].
Nodes nodes_of(const Mark& m) {
  Nodes out{};
  const auto low = static_cast<double>(in_unix_s(m.when.low)), high = static_cast<double>(in_unix_s(m.when.high));
  const auto mid = static_cast<double>(in_unix_s(m.when.estimate));
  for (std::size_t i = 0; i < kNodes; ++i) {
    const double p = (static_cast<double>(i) + 0.5) / static_cast<double>(kNodes);
    if (m.spread == Spread::even) {
      out[i] = low + p * (high - low);
    } else {
      const double z = normal_quantile(p) / 1.6448536269514722;
      out[i] = mid + z * (z < 0 ? mid - low : high - mid);
    }
  }
  return out;
}

/// Share of `b` that lies after `t`; what is at the same moment counts half.
double share_after(const Nodes& b, double t) {
  double n = 0;
  for (const double x : b) n += x > t ? 1.0 : x == t ? 0.5 : 0.0;
  return n / static_cast<double>(kNodes);
}

}  // namespace

double p_before(const Mark& a, const Mark& b) {
  const Nodes x = nodes_of(a), y = nodes_of(b);
  double p = 0;
  for (const double t : x) p += share_after(y, t);
  return p / static_cast<double>(kNodes);
}

std::vector<OrderPair> put_in_order(std::vector<Mark>& marks) {
  std::stable_sort(marks.begin(), marks.end(), [](const Mark& a, const Mark& b) {
    if (a.when.estimate != b.when.estimate) return a.when.estimate < b.when.estimate;
    return a.role != b.role ? a.role < b.role : a.channel < b.channel;
  });
  std::vector<Nodes> nodes;
  nodes.reserve(marks.size());
  for (const Mark& m : marks) nodes.push_back(nodes_of(m));
  for (std::size_t i = 0; i < marks.size(); ++i) {
    marks[i].p_first = 0;
    if (marks[i].role != MarkRole::change) continue;
    double sum = 0;
    for (const double t : nodes[i]) {
      double p = 1;
      for (std::size_t j = 0; j < marks.size(); ++j)
        if (j != i && marks[j].role == MarkRole::change) p *= share_after(nodes[j], t);
      sum += p;
    }
    marks[i].p_first = sum / static_cast<double>(kNodes);
  }
  std::vector<OrderPair> pairs;
  for (std::size_t i = 0; i < marks.size(); ++i) {
    if (marks[i].role == MarkRole::event) continue;
    for (std::size_t j = i + 1; j < marks.size(); ++j) {
      if (marks[j].role == MarkRole::event) continue;
      const bool overlap = marks[i].when.high >= marks[j].when.low && marks[j].when.high >= marks[i].when.low;
      pairs.push_back({i, j, p_before(marks[i], marks[j]), overlap});
    }
  }
  return pairs;
}

}  // namespace shaftlog
