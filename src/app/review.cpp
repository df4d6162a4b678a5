#include "app/review.hpp"

#include "base/error.hpp"
#include "base/text.hpp"
#include "storage/log_repository.hpp"
#include "storage/register_repository.hpp"

#include <algorithm>
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

}  // namespace

FleetReview review(Database& db, Instant now, const ReviewRequest& request) {
  FleetReview out;
  out.as_of = request.as_of.value_or(now);
  std::vector<VesselLog> fleet;
  {
    const ReadTransaction view{db};
    out.reg = RegisterRepository{db}.load();
    require_known(out.reg, request);
    const LogRepository log{db};
    fleet.reserve(out.reg.vessels.size());
    for (const Vessel& v : out.reg.vessels) fleet.push_back(log.load_vessel(v.id, out.as_of, request.known));
  }
  const unsigned threads = request.threads != 0 ? request.threads : std::max(1U, std::thread::hardware_concurrency());
  for (VesselReview& r : review_fleet(fleet, out.as_of, threads)) {
    const auto v =
        std::find_if(out.reg.vessels.begin(), out.reg.vessels.end(), [&](const Vessel& x) { return x.id == r.vessel; });
    const bool is_asked =
        (request.vessel.empty() || v->code == request.vessel) && (request.group.empty() || v->group == request.group);
    if (is_asked) out.vessels.push_back(std::move(r));
  }
  out.findings = ranked_findings(out.vessels);
  return out;
}

}  // namespace shaftlog
