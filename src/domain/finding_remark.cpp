#include "domain/finding_remark.hpp"

#include <array>
#include <tuple>

namespace shaftlog {
namespace {

constexpr std::array<std::string_view, 4> kActs{"taken", "noted", "closed", "reopened"};
constexpr std::array<std::string_view, 3> kStates{"open", "in_hand", "closed"};

}  // namespace

FindingState state_of(std::span<const FindingRemark> remarks) {
  FindingState state;
  for (const FindingRemark& r : remarks) {
    ++state.notes;
    if (r.did == FindingAct::noted) continue;
    state.status = r.did == FindingAct::taken    ? FindingStatus::in_hand
                   : r.did == FindingAct::closed ? FindingStatus::closed
                                                 : FindingStatus::open;
    state.since = r.at;
    state.by = r.by;
    state.says = r.says;
  }
  return state;
}

bool is_before(const FindingRemark& a, const FindingRemark& b) noexcept {
  return std::tie(a.recorded_at.utc, a.id) < std::tie(b.recorded_at.utc, b.id);
}

std::string_view name_of(FindingAct a) noexcept { return kActs[static_cast<std::size_t>(a)]; }
std::string_view name_of(FindingStatus s) noexcept { return kStates[static_cast<std::size_t>(s)]; }

std::optional<FindingAct> parse_finding_act(std::string_view word) noexcept {
  for (std::size_t i = 0; i < kActs.size(); ++i) {
    if (kActs[i] == word) return static_cast<FindingAct>(i);
  }
  return std::nullopt;
}

}  // namespace shaftlog
