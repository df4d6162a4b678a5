#include "app/review.hpp"

#include "app/asked.hpp"
#include "app/vessel_part.hpp"
#include "base/error.hpp"
#include "base/text.hpp"
#include "storage/finding_repository.hpp"
#include "storage/log_repository.hpp"
#include "storage/register_repository.hpp"

#include <algorithm>
#include <cmath>
#include <thread>

#include <fmt/format.h>

namespace shaftlog {
namespace {

std::string near_word(const std::string& word, const std::vector<std::string>& known) {
  const std::vector<std::string_view> views{known.begin(), known.end()};
  const auto near = nearest_word(word, views.data(), views.size());
  return near ? fmt::format("; did you mean \"{}\"?", *near) : std::string{};
}

/// What was found when the finding was closed; where that was not kept, what is found now.
FoundBefore found_when_closed(const std::vector<FindingRemark>& remarks, const Finding* now) {
  for (auto r = remarks.rbegin(); r != remarks.rend(); ++r) {
    const auto kind = parse_finding_kind(r->kind);
    if (!kind || r->then.summary.empty()) continue;
    FoundBefore out{*kind, r->shaft, r->lubricator, r->then.began, r->then.measure, std::nullopt};
    if (r->then.value_ppm) out.value = static_cast<double>(*r->then.value_ppm) / 1e6;
    return out;
  }
  if (now != nullptr) return found_before(*now);
  const FindingRemark& last = remarks.back();
  return {parse_finding_kind(last.kind).value_or(FindingKind::record_suspect),
          last.shaft,
          last.lubricator,
          std::nullopt,
          {},
          std::nullopt};
}

/// A record that came late can move a finding's id. Remarks on an id that is not found any more go to the finding of
/// the same kind and subject that began within a month of it, where there is one only and nobody spoke of that.
void follow_moved(VesselPart& p) {
  constexpr double kSameMatter_days = 31;
  std::vector<std::pair<Uuid, Uuid>> moves;
  for (const auto& [id, remarks] : p.remarks) {
    const FindingRemark& last = remarks.back();
    const FoundBefore before = found_when_closed(remarks, nullptr);
    if (!before.began) continue;
    const Finding* same = nullptr;
    int count = 0;
    bool is_found = false;
    for (const Finding& f : p.review.findings) {
      is_found |= f.id == id;
      if (f.vessel != last.vessel || f.shaft != last.shaft || f.lubricator != last.lubricator ||
          name_of(f.kind) != last.kind || !f.began || p.remarks.contains(f.id) ||
          std::abs(days_between(f.began->estimate, *before.began)) > kSameMatter_days) {
        continue;
      }
      same = &f;
      ++count;
    }
    if (!is_found && count == 1) moves.emplace_back(id, same->id);
  }
  for (const auto& [from, to] : moves) {
    if (p.remarks.contains(to)) continue;  // two of them: the first in order of ids
    auto node = p.remarks.extract(from);
    node.key() = to;
    p.remarks.insert(std::move(node));
  }
}

/// Whoever closes a finding has dealt with its cause; a cavity below its reserve must not fall silent with it.
void tell_within_closed(VesselPart& p) {
  std::vector<Finding>& found = p.review.findings;
  for (const ToldWithin& t : p.review.within) {
    const auto state = p.states.find(t.by);
    if (state == p.states.end() || state->second.status != FindingStatus::closed) continue;
    found.insert(std::upper_bound(found.begin(), found.end(), t.finding, is_more_pressing), t.finding);
  }
}

void judge_closed(VesselPart& p, const VesselLog& log, Instant as_of, bool judge_gone) {
  std::optional<VesselDigest> made;
  for (const auto& [id, state] : p.states) {
    if (state.status != FindingStatus::closed) continue;
    const auto now = std::find_if(p.review.findings.begin(), p.review.findings.end(),
                                  [&id = id](const Finding& f) { return f.id == id; });
    const bool is_found = now != p.review.findings.end();
    if (!is_found && !judge_gone) continue;
    if (!made) made = digest(log, as_of);
    const FoundBefore found = found_when_closed(p.remarks.at(id), is_found ? &*now : nullptr);
    p.outcomes.emplace(id, outcome_since(log, *made, found, std::min(state.since.utc, as_of), as_of));
  }
}

}  // namespace

void require_known(const Register& reg, const ReviewRequest& request) {
  std::vector<std::string> codes, groups;
  for (const Vessel& v : reg.vessels) {
    codes.push_back(v.code);
    if (v.group) groups.push_back(*v.group);
  }
  if (!request.vessel.empty() && std::find(codes.begin(), codes.end(), request.vessel) == codes.end()) {
    throw Error{Errc::not_found, fmt::format("vessel \"{}\" is not registered{}", shown(request.vessel),
                                             near_word(request.vessel, codes))};
  }
  if (!request.group.empty() && std::find(groups.begin(), groups.end(), request.group) == groups.end()) {
    throw Error{Errc::not_found,
                fmt::format("group \"{}\" has no vessel{}", shown(request.group), near_word(request.group, groups))};
  }
  if (request.vessel.empty() || request.group.empty()) return;
  const auto vessel =
      std::find_if(reg.vessels.begin(), reg.vessels.end(), [&](const Vessel& v) { return v.code == request.vessel; });
  if (vessel->group != request.group)
    throw Error{
        Errc::usage,
        fmt::format("vessel \"{}\" is not of group \"{}\"; expected {}", shown(request.vessel), shown(request.group),
                    vessel->group ? fmt::format("its own, {}", shown(*vessel->group)) : "no group: it has none")};
}

bool is_asked(const Vessel& vessel, const ReviewRequest& request) {
  return (request.vessel.empty() || vessel.code == request.vessel) &&
         (request.group.empty() || vessel.group == request.group);
}

unsigned threads_of(const ReviewRequest& request) {
  return request.threads != 0 ? request.threads : std::max(1U, std::thread::hardware_concurrency());
}

VesselPart part_of(VesselReview review, const VesselLog& log, const std::vector<FindingRemark>& remarks, Instant as_of,
                   bool judge_gone) {
  VesselPart p;
  p.review = std::move(review);
  for (const FindingRemark& remark : remarks) p.remarks[remark.finding].push_back(remark);
  follow_moved(p);
  for (const auto& [id, of] : p.remarks) p.states[id] = state_of(of);
  tell_within_closed(p);
  judge_closed(p, log, as_of, judge_gone);
  return p;
}

void join(FleetReview& fleet, VesselPart part) {
  fleet.vessels.push_back(std::move(part.review));
  fleet.remarks.merge(part.remarks);
  fleet.states.merge(part.states);
  fleet.outcomes.merge(part.outcomes);
}

FleetReview review(Database& db, Instant now, const ReviewRequest& request) {
  FleetReview out;
  out.as_of = request.as_of.value_or(now);
  const ReadTransaction view{db};
  out.reg = RegisterRepository{db}.load();
  require_known(out.reg, request);
  std::map<VesselId, std::vector<FindingRemark>> remarks;
  for (FindingRemark& r : FindingRepository{db}.list(out.as_of, request.known.value_or(kLatest)))
    remarks[r.vessel].push_back(std::move(r));

  const std::vector<Vessel>& vessels = out.reg.vessels;
  const LogRepository log{db};
  const FleetSource fleet{vessels.size(),
                          [&](std::size_t i) { return log.load_vessel(vessels[i].id, out.as_of, request.known); },
                          [&](std::size_t i) { return is_asked(vessels[i], request); }, request.with_detail};
  struct Reviewed {
    VesselPart part;
    VesselLog log;
  };
  std::vector<std::optional<Reviewed>> reviewed(vessels.size());
  const auto remarks_on = [&remarks](VesselId vessel) -> const std::vector<FindingRemark>& {
    static const std::vector<FindingRemark> kNone;
    const auto at = remarks.find(vessel);
    return at == remarks.end() ? kNone : at->second;
  };
  const auto take = [&](std::size_t i, VesselLog of, VesselReview r) {
    VesselPart part = part_of(std::move(r), of, remarks_on(vessels[i].id), out.as_of, request.judge_gone);
    reviewed[i] = Reviewed{std::move(part), request.with_detail ? std::move(of) : VesselLog{}};
  };
  out.prior = review_fleet(fleet, out.as_of, threads_of(request), take, request.prior);
  for (std::optional<Reviewed>& r : reviewed) {
    if (!r) continue;
    join(out, std::move(r->part));
    if (request.with_detail) out.logs.push_back(std::move(r->log));
    r.reset();
  }
  out.findings = ranked_findings(out.vessels);
  return out;
}

}  // namespace shaftlog
