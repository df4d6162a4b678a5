#include "app/finding.hpp"

#include "app/look_up.hpp"
#include "base/error.hpp"
#include "base/text.hpp"
#include "storage/finding_repository.hpp"
#include "storage/log_repository.hpp"
#include "storage/verification_repository.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

namespace shaftlog {
namespace {

FindingCase case_of(const Finding& f) {
  FindingCase c;
  c.id = f.id;
  c.kind = name_of(f.kind);
  c.vessel = f.vessel;
  c.shaft = f.shaft;
  c.lubricator = f.lubricator;
  c.now = f;
  return c;
}

FindingCase case_of(const std::vector<FindingRemark>& remarks) {
  const FindingRemark& last = remarks.back();
  FindingCase c;
  c.id = last.finding;
  c.kind = last.kind;
  c.vessel = last.vessel;
  c.shaft = last.shaft;
  c.lubricator = last.lubricator;
  return c;
}

/// Digits alone, lower case; empty when it is no beginning of an id.
std::string digits_of(std::string_view id) {
  std::string out;
  for (const char c : id) {
    if (c == '-') continue;
    const char low = c >= 'A' && c <= 'F' ? static_cast<char>(c - 'A' + 'a') : c;
    if (!((low >= '0' && low <= '9') || (low >= 'a' && low <= 'f'))) return "";
    out += low;
  }
  return out.size() < 4 || out.size() > 32 ? "" : out;
}

const FindingCase* find_case(const FindingBook& book, std::string_view id) {
  const std::string digits = digits_of(id);
  if (digits.empty()) {
    throw Error{
        Errc::usage,
        fmt::format("\"{}\" is no id of a finding; expected its first 4 or more hexadecimal digits", shown(id))};
  }
  std::vector<const FindingCase*> found;
  for (const FindingCase& c : book.cases) {
    // A finding whose id has moved answers to the one under which it was spoken of, too.
    const bool is_meant = hex(c.id.bytes).starts_with(digits) ||
                          std::any_of(c.remarks.begin(), c.remarks.end(),
                                      [&](const FindingRemark& r) { return hex(r.finding.bytes).starts_with(digits); });
    if (is_meant) found.push_back(&c);
  }
  if (found.size() > 1) {
    std::string names;
    for (const FindingCase* c : found) names += (names.empty() ? "" : ", ") + format_uuid(c->id);
    throw Error{Errc::conflict, fmt::format("several findings begin with {}: {}", shown(id), names)};
  }
  return found.empty() ? nullptr : found.front();
}

FindingThen then_of(const FindingCase& c) {
  FindingThen then;
  if (!c.now) return then;
  then.urgency = name_of(c.now->urgency);
  then.summary = c.now->summary;
  then.first_seen = std::clamp(c.now->first_seen, kEarliest, kLatest);
  const FoundBefore found = found_before(*c.now);
  if (found.began) then.began = std::clamp(*found.began, kEarliest, kLatest);
  if (found.value && std::abs(*found.value) < 1e8) {
    then.measure = found.measure;
    then.value_ppm = std::llround(*found.value * 1e6);
  }
  return then;
}

void require_possible(const FindingState& state, FindingAct did, const Uuid& id) {
  const std::string name = format_uuid(id).substr(0, 8);
  const bool is_closed = state.status == FindingStatus::closed;
  if (is_closed && (did == FindingAct::taken || did == FindingAct::closed)) {
    throw Error{Errc::conflict, fmt::format("finding {} was closed on {}{}; reopen it first", name,
                                            format_local(state.since), state.by.empty() ? "" : " by " + state.by)};
  }
  if (!is_closed && did == FindingAct::reopened) {
    throw Error{Errc::conflict, fmt::format("finding {} is not closed; there is nothing to reopen", name)};
  }
}

}  // namespace

FindingBook findings_in(const FleetReview& r, VesselId vessel) {
  const auto is_asked = [vessel](VesselId of) { return !vessel.is_set() || of == vessel; };
  FindingBook book;
  book.as_of = r.as_of;
  book.reg = r.reg;
  for (const Finding& f : r.findings)
    if (is_asked(f.vessel)) book.cases.push_back(case_of(f));
  const std::size_t found = book.cases.size();
  for (const auto& spoken_of : r.remarks) {
    if (!is_asked(spoken_of.second.back().vessel)) continue;
    const auto is_it = [&spoken_of](const Finding& f) { return f.id == spoken_of.first; };
    if (std::none_of(r.findings.begin(), r.findings.end(), is_it)) book.cases.push_back(case_of(spoken_of.second));
  }
  for (FindingCase& c : book.cases) {
    if (const auto it = r.remarks.find(c.id); it != r.remarks.end()) c.remarks = it->second;
    c.state = state_of(c.remarks);
    if (const auto it = r.outcomes.find(c.id); it != r.outcomes.end()) c.outcome = it->second;
  }
  std::sort(book.cases.begin() + static_cast<std::ptrdiff_t>(found), book.cases.end(),
            [](const FindingCase& a, const FindingCase& b) { return is_before(b.remarks.back(), a.remarks.back()); });
  return book;
}

FindingBook list_findings(Database& db, Instant now, const ReviewRequest& request) {
  return findings_in(review(db, now, request), {});
}

const FindingCase& get_finding(const FindingBook& book, std::string_view id) {
  if (const FindingCase* c = find_case(book, id); c != nullptr) return *c;
  throw Error{Errc::not_found, fmt::format("no finding {} as of {} UTC, and no remark on one", shown(id),
                                           format_local({book.as_of, std::chrono::minutes{0}, Precision::minute}))};
}

std::vector<Entry> evidence_of(Database& db, const FindingCase& c) {
  std::vector<Entry> out;
  if (!c.now) return out;
  const ReadTransaction view{db};
  const LogRepository log{db};
  for (const Uuid& id : c.now->evidence) {
    if (auto e = log.find(id)) out.push_back(std::move(*e));
  }
  return out;
}

VerifiedRecords verified_among(Database& db, const std::vector<Entry>& records) {
  VerifiedRecords out;
  const ReadTransaction view{db};
  const VerificationRepository verifications{db};
  for (const Entry& e : records)
    if (auto of = verifications.of(e.vessel, e.head.id); !of.empty()) out.emplace(e.head.id, std::move(of));
  return out;
}

KeptRemark keep_remark(Database& db, const Clock& clock, const FindingWords& words) {
  require_name("by", words.by);
  const Instant now = clock.now_s();
  FindingBook book = list_findings(db, now, {});
  const FindingCase* found = find_case(book, words.id);
  if (found == nullptr && !words.at.empty()) {
    ReviewRequest then;
    then.as_of = get_moment("--at", words.at, Zone::utc()).utc;
    book = list_findings(db, now, then);
  }
  const FindingCase& c = get_finding(book, words.id);
  const Zone zone = zone_of(book.reg, c.vessel);
  FindingRemark r;
  r.finding = c.id;
  r.kind = c.kind;
  r.vessel = c.vessel;
  r.shaft = c.shaft;
  r.lubricator = c.lubricator;
  r.did = words.did;
  r.says = words.says;
  r.by = words.by;
  r.recorded_at = stamp_at(now, zone);
  r.at = words.at.empty() ? r.recorded_at : get_moment("--at", words.at, zone);
  if (r.at.utc > now + std::chrono::hours{24}) {
    throw Error{Errc::usage, fmt::format("--at: {} lies in the future; expected when it was done", shown(words.at))};
  }
  if (r.says.empty() && r.did != FindingAct::taken) throw Error{Errc::usage, "a remark needs words"};
  r.then = then_of(c);

  WriteTransaction transaction{db};
  const FindingRepository remarks{db};
  std::vector<FindingRemark> family;  // somebody else may have been first
  for (FindingRemark& other : remarks.list_of(r.vessel)) {
    const bool is_known = std::any_of(c.remarks.begin(), c.remarks.end(),
                                      [&](const FindingRemark& x) { return x.finding == other.finding; });
    if (is_known || other.finding == r.finding) family.push_back(std::move(other));
  }
  require_possible(state_of(family), r.did, r.finding);
  r.id = make_uuid_v7(clock.now());
  remarks.add(r);
  family.push_back(r);
  std::sort(family.begin(), family.end(), is_before);
  transaction.commit();
  return {r, state_of(family), std::move(book.reg)};
}

}  // namespace shaftlog
