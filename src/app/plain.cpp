#include "app/plain.hpp"

#include "analysis/parallel.hpp"

#include <algorithm>
#include <iterator>
#include <thread>
#include <utility>

namespace shaftlog {

PlainView review_plainly(Database& db, Instant now, const ReviewRequest& request) {
  ReviewRequest detailed = request;
  detailed.with_detail = true;
  FleetReview fleet = review(db, now, detailed);
  PlainView out;
  out.as_of = fleet.as_of;
  out.reg = std::move(fleet.reg);
  const unsigned threads = request.threads != 0 ? request.threads : std::max(1U, std::thread::hardware_concurrency());
  std::vector<std::vector<PlainSeries>> of(fleet.vessels.size());
  in_parallel(of.size(), threads, [&](std::size_t i) {
    const VesselReview& v = fleet.vessels[i];
    for (const ShaftDetail& d : v.shaft_details) of[i].push_back(plain_washout(d.history));
    for (const LubricatorDetail& d : v.lubricator_details) of[i].push_back(plain_delivery(v.vessel, d.delivery));
  });
  for (std::vector<PlainSeries>& some : of)
    out.series.insert(out.series.end(), std::make_move_iterator(some.begin()), std::make_move_iterator(some.end()));
  return out;
}

}  // namespace shaftlog
