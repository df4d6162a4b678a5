#include "app/plain.hpp"

namespace shaftlog {

PlainView review_plainly(Database& db, Instant now, const ReviewRequest& request) {
  ReviewRequest detailed = request;
  detailed.with_detail = true;
  FleetReview fleet = review(db, now, detailed);
  PlainView out;
  out.as_of = fleet.as_of;
  out.reg = std::move(fleet.reg);
  for (const VesselReview& v : fleet.vessels) {
    for (const ShaftDetail& d : v.shaft_details) out.series.push_back(plain_washout(d.history));
    for (const LubricatorDetail& d : v.lubricator_details) out.series.push_back(plain_delivery(v.vessel, d.delivery));
  }
  return out;
}

}  // namespace shaftlog
