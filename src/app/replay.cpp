#include "app/replay.hpp"

#include "app/look_up.hpp"
#include "base/error.hpp"
#include "base/text.hpp"
#include "storage/log_repository.hpp"
#include "storage/register_repository.hpp"

#include <algorithm>
#include <set>
#include <thread>

#include <fmt/format.h>

namespace shaftlog {
namespace {

constexpr FindingKind kLastKind = FindingKind::records_missing;

/// What of the fleet is shown.
class Scope {
 public:
  Scope(const Register& reg, const ReplayRequest& request) : vessel_{request.vessel}, group_{request.group} {
    if (!group_.empty() &&
        std::none_of(reg.vessels.begin(), reg.vessels.end(), [&](const Vessel& v) { return v.group == group_; }))
      throw Error{Errc::not_found, fmt::format("group \"{}\" has no vessel", shown(group_))};
    if (!request.shaft.empty() && vessel_.empty())
      throw Error{Errc::usage, "a shaft is told by its vessel too: --vessel is missing"};
    if (vessel_.empty()) return;
    const Vessel& vessel = get_vessel(reg, vessel_);
    if (request.shaft.empty()) return;
    shaft_ = get_shaft(reg, vessel, request.shaft).id;
    for (const Feed& f : reg.feeds) {
      if (f.shaft == shaft_) feeding_.insert(f.lubricator);
    }
  }

  [[nodiscard]] bool holds(const Vessel& v) const {
    return (vessel_.empty() || v.code == vessel_) && (group_.empty() || v.group == group_);
  }
  [[nodiscard]] bool holds(const Finding& f) const {
    if (!shaft_.is_set()) return true;
    return f.shaft.is_set() ? f.shaft == shaft_ : feeding_.contains(f.lubricator);
  }

 private:
  std::string vessel_, group_;
  ShaftId shaft_;
  std::set<LubricatorId> feeding_;
};

std::vector<Instant> moments_of(const ReplayRequest& request) {
  if (request.every.count() <= 0) throw Error{Errc::usage, "--step: expected a length above 0"};
  if (request.to < request.from)
    throw Error{Errc::usage,
                fmt::format("--to: {} is before --from, {}", format_day(request.to), format_day(request.from))};
  if (static_cast<std::size_t>((request.to - request.from) / request.every) >= kMostReplaySteps)
    throw Error{Errc::usage, fmt::format("from {} to {} in such steps is more than {} reviews; expected longer steps",
                                         format_day(request.from), format_day(request.to), kMostReplaySteps)};
  std::vector<Instant> out;
  for (Instant t = request.from; t <= request.to; t += request.every) out.push_back(t);
  return out;
}

}  // namespace

std::string words_of_finding_kind() {
  std::string out;
  for (int k = 0; k <= static_cast<int>(kLastKind); ++k)
    out += (out.empty() ? "" : ", ") + std::string{name_of(static_cast<FindingKind>(k))};
  return out;
}

Replay replay(Database& db, const ReplayRequest& request,
              const std::function<void(std::size_t, std::size_t)>& progress) {
  const std::vector<Instant> moments = moments_of(request);
  const unsigned threads = request.threads != 0 ? request.threads : std::max(1U, std::thread::hardware_concurrency());
  const ReadTransaction view{db};  // every step reads the same log
  Replay out;
  out.reg = RegisterRepository{db}.load();
  const Scope scope{out.reg, request};
  const LogRepository log{db};
  const std::vector<Vessel>& vessels = out.reg.vessels;
  std::vector<std::size_t> known_then(vessels.size(), 0);  // records at the last step
  for (std::size_t i = 0; i < moments.size(); ++i) {
    if (progress) progress(i, moments.size());
    const Instant t = moments[i];
    const std::optional<Instant> known = request.whenever_recorded ? std::nullopt : std::optional{t};
    const FleetSource fleet{vessels.size(), [&](std::size_t k) { return log.load_vessel(vessels[k].id, t, known); },
                            [&](std::size_t k) { return scope.holds(vessels[k]); }, /*with_detail=*/false};
    std::vector<VesselReview> reviews(vessels.size());
    review_fleet(fleet, t, threads, [&](std::size_t k, const VesselLog& of, VesselReview r) {
      known_then[k] = count_records(of);
      reviews[k] = std::move(r);
    });
    ReplayStep& step = out.steps.emplace_back();
    step.at = t;
    step.findings = ranked_findings(reviews);
    std::erase_if(step.findings, [&](const Finding& f) { return !scope.holds(f); });
  }
  if (!request.whenever_recorded) {
    for (std::size_t i = 0; i < vessels.size(); ++i) {
      if (!scope.holds(vessels[i])) continue;
      const std::size_t all = count_records(log.load_vessel(vessels[i].id, moments.back(), std::nullopt));
      out.recorded_by_then += known_then[i];
      if (all > known_then[i]) out.recorded_later += all - known_then[i];
    }
  }
  out.lives = tell_lives(out.steps);
  if (request.kind) {
    const auto is_other = [&](const auto& x) { return x.kind != *request.kind; };
    std::erase_if(out.lives, [&](const FindingLife& life) {
      return std::all_of(life.stretches.begin(), life.stretches.end(), is_other);
    });
    for (ReplayStep& s : out.steps) std::erase_if(s.findings, is_other);
  }
  return out;
}

}  // namespace shaftlog
