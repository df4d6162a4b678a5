#include "app/review.hpp"

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
  return near ? fmt::format("; did you mean \"{}\"", *near) : std::string{};
}

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
void follow_moved(FleetReview& r) {
  constexpr double kSameMatter_days = 31;
  std::vector<std::pair<Uuid, Uuid>> moves;
  for (const auto& [id, remarks] : r.remarks) {
    const FindingRemark& last = remarks.back();
    const FoundBefore before = found_when_closed(remarks, nullptr);
    if (!before.began) continue;
    const Finding* same = nullptr;
    int count = 0;
    bool is_found = false;
    for (const Finding& f : r.findings) {
      is_found |= f.id == id;
      if (f.vessel != last.vessel || f.shaft != last.shaft || f.lubricator != last.lubricator ||
          name_of(f.kind) != last.kind || !f.began || r.remarks.contains(f.id) ||
          std::abs(days_between(f.began->estimate, *before.began)) > kSameMatter_days) {
        continue;
      }
      same = &f;
      ++count;
    }
    if (!is_found && count == 1) moves.emplace_back(id, same->id);
  }
  for (const auto& [from, to] : moves) {
    if (r.remarks.contains(to)) continue;  // two of them: the first in order of ids
    auto node = r.remarks.extract(from);
    node.key() = to;
    r.remarks.insert(std::move(node));
  }
}

void judge_closed(FleetReview& r, const std::vector<VesselLog>& fleet, bool judge_gone) {
  std::map<VesselId, VesselDigest> digests;
  for (const auto& entry : r.states) {
    const Uuid& id = entry.first;
    const FindingState& state = entry.second;
    if (state.status != FindingStatus::closed) continue;
    const auto now = std::find_if(r.findings.begin(), r.findings.end(), [&](const Finding& f) { return f.id == id; });
    if (now == r.findings.end() && !judge_gone) continue;
    const std::vector<FindingRemark>& remarks = r.remarks.at(id);
    const auto log = std::find_if(fleet.begin(), fleet.end(),
                                  [&](const VesselLog& l) { return l.vessel.id == remarks.back().vessel; });
    if (log == fleet.end()) continue;
    auto d = digests.find(log->vessel.id);
    if (d == digests.end()) d = digests.emplace(log->vessel.id, digest(*log, r.as_of)).first;
    const FoundBefore found = found_when_closed(remarks, now == r.findings.end() ? nullptr : &*now);
    r.outcomes.emplace(id, outcome_since(*log, d->second, found, std::min(state.since.utc, r.as_of), r.as_of));
  }
}

}  // namespace

FleetReview review(Database& db, Instant now, const ReviewRequest& request) {
  FleetReview out;
  out.as_of = request.as_of.value_or(now);
  std::vector<VesselLog> fleet;
  std::vector<FindingRemark> remarks;
  const auto is_asked = [&](const Vessel& v) {
    return (request.vessel.empty() || v.code == request.vessel) && (request.group.empty() || v.group == request.group);
  };
  {
    const ReadTransaction view{db};
    out.reg = RegisterRepository{db}.load();
    require_known(out.reg, request);
    const LogRepository log{db};
    fleet.reserve(out.reg.vessels.size());
    for (const Vessel& v : out.reg.vessels)
      if (request.prior == nullptr || is_asked(v)) fleet.push_back(log.load_vessel(v.id, out.as_of, request.known));
    remarks = FindingRepository{db}.list(out.as_of, request.known.value_or(kLatest));
  }
  std::function<bool(const Vessel&)> wants_detail;
  if (request.with_detail) wants_detail = is_asked;
  const unsigned threads = request.threads != 0 ? request.threads : std::max(1U, std::thread::hardware_concurrency());
  FleetResult result = review_fleet(fleet, out.as_of, threads, wants_detail, request.prior);
  out.prior = std::move(result.prior);
  std::vector<VesselReview>& reviews = result.vessels;
  for (std::size_t i = 0; i < fleet.size(); ++i) {
    if (!is_asked(fleet[i].vessel)) continue;
    out.vessels.push_back(std::move(reviews[i]));
  }
  out.findings = ranked_findings(out.vessels);
  for (FindingRemark& remark : remarks) {
    const bool is_wanted = std::any_of(out.vessels.begin(), out.vessels.end(),
                                       [&](const VesselReview& v) { return v.vessel == remark.vessel; });
    if (is_wanted) out.remarks[remark.finding].push_back(std::move(remark));
  }
  follow_moved(out);
  for (const auto& [id, of] : out.remarks) out.states[id] = state_of(of);
  judge_closed(out, fleet, request.judge_gone);
  if (request.with_detail) {
    for (VesselLog& log : fleet) {
      if (is_asked(log.vessel)) out.logs.push_back(std::move(log));
    }
  }
  return out;
}

}  // namespace shaftlog
