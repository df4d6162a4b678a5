#include "app/list.hpp"

#include "app/look_up.hpp"
#include "base/error.hpp"
#include "base/text.hpp"
#include "storage/log_repository.hpp"
#include "storage/register_repository.hpp"
#include "storage/verification_repository.hpp"

#include <algorithm>

#include <fmt/format.h>

namespace shaftlog {

void list_records(Database& db, const ListRequest& request, const std::function<void(const Register&)>& begin,
                  const std::function<void(const Entry&, std::span<const Verification>)>& take) {
  const ReadTransaction view{db};
  const Register reg = RegisterRepository{db}.load();
  ListQuery query;
  query.kind = request.kind;
  if (request.unverified && request.with_replaced)
    throw Error{Errc::usage, "only what is in force can be verified: either --unverified or --all-versions"};
  query.in_force_only = !request.with_replaced;
  query.unverified_only = request.unverified;
  query.most = request.most;
  Zone zone = Zone::utc();
  if (!request.vessel.empty()) {
    const Vessel& vessel = get_vessel(reg, request.vessel);
    query.vessel = vessel.id;
    zone = Zone{vessel.time_zone};
    if (!request.shaft.empty()) query.shaft = get_shaft(reg, vessel, request.shaft).id;
    if (!request.lubricator.empty()) query.lubricator = get_lubricator(reg, vessel, request.lubricator).id;
  } else if (!request.shaft.empty() || !request.lubricator.empty()) {
    throw Error{Errc::usage, "a shaft or a lubricator is told by its vessel too: --vessel is missing"};
  }
  const bool is_of_shaft =
      request.kind == Kind::hours || request.kind == Kind::greasing || request.kind == Kind::inspection;
  const bool is_of_lubricator =
      request.kind == Kind::cycles || request.kind == Kind::level || request.kind == Kind::refill;
  if ((is_of_shaft && !request.lubricator.empty()) || (is_of_lubricator && !request.shaft.empty()))
    throw Error{Errc::usage,
                fmt::format("--kind: \"{}\" is of a {}; expected {}", name_of(*request.kind),
                            is_of_shaft ? "shaft" : "lubricator",
                            is_of_shaft ? "--shaft in place of --lubricator" : "--lubricator in place of --shaft")};
  constexpr std::chrono::hours kHalfDay{12};  // a day alone is kept as its noon
  if (!request.from.empty()) {
    const Stamp s = get_moment("--from", request.from, zone);
    query.from = s.precision == Precision::day ? s.utc - kHalfDay : s.utc;
  }
  if (!request.until.empty()) {
    const Stamp s = get_moment("--until", request.until, zone);
    query.until = s.precision == Precision::day ? s.utc + kHalfDay : s.utc;
  }
  if (query.from && query.until && *query.until <= *query.from)
    throw Error{Errc::usage, fmt::format("--until: {} is not after --from {}; expected a later one",
                                         shown(request.until), shown(request.from))};
  if (!request.known.empty()) query.known = get_moment("--known", request.known, zone).utc;
  begin(reg);
  const LogRepository log{db};
  const VerificationRepository verifications{db};
  const auto take_verified = [&](const Entry& e) {
    auto verified = verifications.of(e.vessel, e.head.id);
    if (query.known) std::erase_if(verified, [&](const Verification& v) { return v.at.utc > *query.known; });
    take(e, verified);
  };
  if (request.most > 0)
    for (const Entry& e : log.list(query)) take_verified(e);
  else
    log.each(query, take_verified);
}

RecordFamily get_record(Database& db, const std::string& id) {
  const ReadTransaction view{db};
  const LogRepository log{db};
  std::optional<Uuid> found = parse_uuid(id);
  if (!found) {
    const auto digits = std::count_if(id.begin(), id.end(), [](char c) { return c != '-'; });
    if (digits < 4 || id.find_first_not_of("0123456789abcdefABCDEF-") != std::string::npos)
      throw Error{Errc::usage,
                  fmt::format("\"{}\" is no record id; expected its first 4 or more hexadecimal digits", shown(id))};
    const std::vector<Uuid> ids = log.find_by_prefix(id);
    if (ids.size() > 1) {
      std::string names;
      for (const Uuid& one : ids) names += (names.empty() ? "" : ", ") + format_uuid(one);
      throw Error{Errc::conflict, fmt::format("several records begin with {}: {}", id, names)};
    }
    if (ids.size() == 1) found = ids.front();
  }
  const std::optional<Entry> entry = found ? log.find(*found) : std::nullopt;
  if (!entry) throw Error{Errc::not_found, fmt::format("no record {}", shown(id))};
  RecordFamily answer{RegisterRepository{db}.load(), *entry, log.history_of(*found), std::nullopt, {}};
  if (const auto current = log.in_force(*found)) answer.in_force = current->head.id;
  const VerificationRepository verifications{db};
  for (const Entry& e : answer.family)
    if (auto of = verifications.of(e.vessel, e.head.id); !of.empty()) answer.verified.emplace(e.head.id, std::move(of));
  return answer;
}

}  // namespace shaftlog
