#include "storage/families.hpp"

#include <algorithm>
#include <cstddef>
#include <unordered_map>

namespace shaftlog {
namespace {

constexpr std::size_t kNone = static_cast<std::size_t>(-1);

struct Node {
  Uuid id;
  Instant recorded_at{};         // known for corrections only; an original needs none
  std::size_t corrects = kNone;  // index of what this replaces
  std::size_t cancels = kNone;   // index of what this withdraws
  std::vector<std::size_t> corrections;
  std::size_t undecided = 0;  // withdrawals of this one whose own fate is open
  bool is_cancelled = false;
  bool is_placed = false;  // belongs to a family that was dealt with
};

bool is_earlier(const Node& a, const Node& b) {
  return a.recorded_at != b.recorded_at ? a.recorded_at < b.recorded_at : a.id < b.id;
}

std::vector<Node> build(const std::vector<Link>& links) {
  std::vector<Node> nodes;
  std::unordered_map<Uuid, std::size_t> at;
  const auto node = [&](const Uuid& id) {
    const auto [it, is_new] = at.try_emplace(id, nodes.size());
    if (is_new) nodes.emplace_back().id = id;
    return it->second;
  };
  for (const Link& link : links) {
    const std::size_t self = node(link.id);
    const std::size_t of = node(link.of);
    nodes[self].recorded_at = link.recorded_at;
    if (link.is_withdrawal) {
      nodes[self].cancels = of;
      ++nodes[of].undecided;
    } else {
      nodes[self].corrects = of;
      nodes[of].corrections.push_back(self);
    }
  }
  for (Node& n : nodes) {
    std::sort(n.corrections.begin(), n.corrections.end(),
              [&](std::size_t a, std::size_t b) { return is_earlier(nodes[b], nodes[a]); });
  }
  return nodes;
}

/// A withdrawal counts once every withdrawal of it has been found not to. (Two that withdraw each other never count.)
void decide_withdrawals(std::vector<Node>& nodes) {
  std::vector<std::size_t> ready;
  for (std::size_t i = 0; i < nodes.size(); ++i) {
    if (nodes[i].undecided == 0) ready.push_back(i);
  }
  while (!ready.empty()) {
    const std::size_t i = ready.back();
    ready.pop_back();
    const std::size_t of = nodes[i].cancels;
    if (of == kNone) continue;
    if (!nodes[i].is_cancelled) nodes[of].is_cancelled = true;
    if (--nodes[of].undecided == 0) ready.push_back(of);
  }
}

}  // namespace

std::unordered_set<Uuid> not_in_force(const std::vector<Link>& links) {
  std::vector<Node> nodes = build(links);
  decide_withdrawals(nodes);
  std::unordered_set<Uuid> out;

  // Corrections before what they correct, the latest first: no recursion, a chain may be long.
  const auto place_family = [&](std::size_t root) {
    struct Visit {
      std::size_t node, next = 0;
    };
    std::vector<Visit> path{{root}};
    nodes[root].is_placed = true;
    bool found = false;
    while (!path.empty()) {
      Visit& top = path.back();
      if (top.next < nodes[top.node].corrections.size()) {
        const std::size_t child = nodes[top.node].corrections[top.next++];
        if (nodes[child].is_placed) continue;
        nodes[child].is_placed = true;
        path.push_back({child});
        continue;
      }
      const Node& done = nodes[top.node];
      if (found || done.is_cancelled) {
        out.insert(done.id);
      } else {
        found = true;
      }
      path.pop_back();
    }
  };
  for (std::size_t i = 0; i < nodes.size(); ++i) {
    if (nodes[i].corrects == kNone) place_family(i);
  }
  for (std::size_t i = 0; i < nodes.size(); ++i) {
    if (nodes[i].is_placed) continue;
    std::size_t in_circle = i;  // after as many steps up as there are nodes we are inside the circle
    for (std::size_t step = 0; step < nodes.size(); ++step) in_circle = nodes[in_circle].corrects;
    std::size_t first = in_circle;
    for (std::size_t n = nodes[in_circle].corrects; n != in_circle; n = nodes[n].corrects) {
      if (is_earlier(nodes[n], nodes[first])) first = n;
    }
    place_family(first);
  }
  return out;
}

}  // namespace shaftlog
