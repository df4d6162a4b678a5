#include "app/verify.hpp"

#include "app/list.hpp"
#include "app/look_up.hpp"
#include "app/record.hpp"
#include "app/review.hpp"
#include "base/error.hpp"
#include "base/text.hpp"
#include "storage/log_repository.hpp"
#include "storage/verification_repository.hpp"

#include <algorithm>
#include <map>
#include <unordered_set>

#include <fmt/format.h>

namespace shaftlog {
namespace {

std::string code_of(const Register& reg, VesselId vessel) {
  const auto it = std::find_if(reg.vessels.begin(), reg.vessels.end(), [&](const Vessel& v) { return v.id == vessel; });
  return it == reg.vessels.end() ? std::string{} : it->code;
}

/// What the review doubts, unless somebody has seen to it and closed the finding.
std::map<Uuid, std::string> doubts_of(Database& db, Instant now, const std::string& vessel) {
  ReviewRequest request;
  request.vessel = vessel;
  request.with_detail = true;
  const FleetReview r = review(db, now, request);
  std::map<Uuid, std::string> out;
  for (const VesselReview& v : r.vessels)
    for (const Suspect& s : v.suspects) {
      out.emplace(s.record, s.says);
      // Of two that were exchanged neither is right.
      if (s.kind != SuspectKind::swapped_shafts) continue;
      for (const Uuid& other : s.against) out.emplace(other, s.says);
    }
  const auto is_closed = [&](const Finding& f) {
    const auto state = r.states.find(f.id);
    return state != r.states.end() && state->second.status == FindingStatus::closed;
  };
  for (const Finding& f : r.findings)
    if (f.kind == FindingKind::record_suspect && is_closed(f))
      for (const Uuid& record : f.evidence) out.erase(record);
  for (const Finding& f : r.findings)
    if (f.kind == FindingKind::record_suspect && !is_closed(f) && !f.evidence.empty())
      out.insert_or_assign(f.evidence.front(), f.summary);  // of several reasons the surest
  return out;
}

bool has_verified(const std::vector<Verification>& all, const std::string& by) {
  return std::any_of(all.begin(), all.end(), [&](const Verification& v) { return v.by == by; });
}

}  // namespace

VerificationPlan plan_verification(Database& db, Instant now, const VerifyRequest& request) {
  if (request.by.empty()) throw Error{Errc::usage, "--by is missing: the name of who has looked at the records"};
  require_name("by", request.by);
  if (request.records.empty() && request.vessel.empty())
    throw Error{Errc::usage, "nothing is named; expected ids of records, or --vessel with the code of a ship"};
  if (request.vessel.empty() && !request.until.empty())
    throw Error{Errc::usage, "--until goes with --vessel; a record that is named is named by its id"};
  VerificationPlan plan;
  plan.reg = load_register(db);
  std::map<std::string, std::vector<Entry>> named, swept;  // by vessel code
  std::unordered_set<Uuid> seen;
  for (const std::string& id : request.records) {
    const Entry e = get_standing_record(db, id, "verified");
    if (seen.insert(e.head.id).second) named[code_of(plan.reg, e.vessel)].push_back(e);
  }
  if (!request.vessel.empty()) {
    std::vector<Entry>& all = swept[request.vessel];
    ListRequest list;
    list.vessel = request.vessel;
    list.until = request.until;
    list_records(
        db, list, [](const Register&) {},
        [&](const Entry& e, std::span<const Verification>) {
          if (!seen.contains(e.head.id)) all.push_back(e);
        });
  }
  std::vector<std::string> vessels;
  for (const auto& [code, all] : named) vessels.push_back(code);
  for (const auto& [code, all] : swept)
    if (!named.contains(code)) vessels.push_back(code);
  for (const std::string& code : vessels) {
    const auto doubts = doubts_of(db, now, code);
    const ReadTransaction view{db};
    const VerificationRepository verifications{db};
    for (const Entry& e : named[code]) {
      if (has_verified(verifications.of(e.vessel, e.head.id), request.by)) {
        ++plan.were_verified;
        continue;
      }
      if (const auto doubt = doubts.find(e.head.id); doubt != doubts.end())
        plan.doubtful.push_back({e, doubt->second, true});
      plan.records.push_back(e);
    }
    for (const Entry& e : swept[code]) {
      if (!verifications.of(e.vessel, e.head.id).empty()) continue;
      const auto doubt = doubts.find(e.head.id);
      if (doubt == doubts.end())
        plan.records.push_back(e);
      else
        plan.doubtful.push_back({e, doubt->second, false});
    }
  }
  return plan;
}

std::vector<Verification> keep_verifications(Database& db, const Clock& clock, const Register& reg,
                                             const std::vector<Entry>& records, const std::string& by) {
  require_name("by", by);
  std::vector<Verification> out;
  WriteTransaction transaction{db};
  const LogRepository log{db};
  VerificationRepository verifications{db};
  const Instant now = clock.now_s();
  for (const Entry& e : records) {
    require_in_force(log, e.head.id);  // somebody may have corrected it meanwhile
    if (has_verified(verifications.of(e.vessel, e.head.id), by)) continue;
    out.push_back({make_uuid_v7(clock.now()), e.head.id, e.vessel, stamp_at(now, zone_of(reg, e.vessel)), by});
    verifications.add(out.back());
  }
  transaction.commit();
  return out;
}

std::vector<Verification> verifications_of(Database& db, const Entry& record) {
  const ReadTransaction view{db};
  return VerificationRepository{db}.of(record.vessel, record.head.id);
}

}  // namespace shaftlog
