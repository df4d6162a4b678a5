#include "app/advise.hpp"

#include "app/look_up.hpp"
#include "base/error.hpp"

#include <algorithm>
#include <set>

namespace shaftlog {

Advice advise(Database& db, Instant now, const AdviseRequest& request) {
  if (!request.shaft.empty() && request.view.vessel.empty())
    throw Error{Errc::usage, "a shaft is told by its vessel too: --vessel is missing"};
  ReviewRequest wide = request.view;
  wide.with_detail = true;
  if (request.with_peers) {
    wide.vessel.clear();  // peers are looked for in the whole fleet, whatever part of it is shown
    wide.group.clear();
  }
  FleetReview fleet = review(db, now, wide);
  Advice out;
  out.as_of = fleet.as_of;
  out.reg = std::move(fleet.reg);
  ShaftId only;
  if (!request.view.vessel.empty()) static_cast<void>(get_vessel(out.reg, request.view.vessel));
  if (!request.shaft.empty()) only = get_shaft(out.reg, get_vessel(out.reg, request.view.vessel), request.shaft).id;
  std::vector<OwnLoss> losses;
  std::vector<OwnAlarms> alarms;
  std::set<LubricatorId> asked_lubricators;
  for (std::size_t i = 0; i < fleet.vessels.size(); ++i) {
    const VesselReview& review = fleet.vessels[i];
    const VesselLog& log = fleet.logs[i];
    if (request.with_peers) {
      for (const ShaftDetail& d : review.shaft_details)
        if (const auto loss = own_loss(d)) losses.push_back(*loss);
      for (const LubricatorDetail& d : review.lubricator_details) {
        if (!d.alarm_rate) continue;
        const auto of = std::find_if(log.lubricators.begin(), log.lubricators.end(),
                                     [&](const Lubricator& l) { return l.id == d.lubricator; });
        alarms.push_back({log.vessel.id, d.lubricator, log.vessel.code + '/' + of->code, d.alarm_rate->episodes,
                          d.alarm_rate->run_h});
      }
    }
    const bool is_asked = (request.view.vessel.empty() || log.vessel.code == request.view.vessel) &&
                          (request.view.group.empty() || log.vessel.group == request.view.group);
    if (!is_asked) continue;
    for (const LubricatorDetail& d : review.lubricator_details)
      if (!only.is_set() || std::find(d.shafts.begin(), d.shafts.end(), only) != d.shafts.end())
        asked_lubricators.insert(d.lubricator);
    for (const ShaftDetail& d : review.shaft_details)
      if (!only.is_set() || d.shaft == only) out.shafts.push_back(advise_shaft(log, review, d, out.as_of));
    if (request.order_days > 0)
      for (OrderLine& line : order_grease(log, review, out.as_of, request.order_days))
        out.order.push_back(std::move(line));
  }
  if (request.with_peers) {
    out.peers = compare_losses(losses, request.peers_level);
    out.peers_compared = out.peers.size();
    std::erase_if(out.peers, [&](const PeerLoss& p) {
      return std::none_of(out.shafts.begin(), out.shafts.end(),
                          [&](const ShaftAdvice& a) { return a.shaft == p.shaft; });
    });
    out.alarm_peers = compare_alarms(alarms, request.peers_level);
    out.alarm_peers_compared = out.alarm_peers.size();
    std::erase_if(out.alarm_peers, [&](const PeerAlarms& p) { return !asked_lubricators.contains(p.lubricator); });
  }
  return out;
}

}  // namespace shaftlog
