#include "reports/advise_report.hpp"
#include "support/run.hpp"
#include "support/sample_review.hpp"

#include <catch2/catch.hpp>

using namespace shaftlog;
using namespace shaftlog::test;

namespace {

/// One shaft of each sort, with figures made by hand.
std::vector<ShaftAdvice> sample_advice() {
  ShaftAdvice port;
  port.vessel = VesselId{1};
  port.shaft = ShaftId{1};
  port.verdict = AdviceVerdict::shorten;
  port.causes_first = {"seal wear (plan)"};
  port.washout_cm3_per_h = Estimate{0.62, 0.5, 0.75};
  port.intervals = 21;
  port.cavity_cm3 = 400;
  port.reserve_pct = 20;
  port.hours_per_day = 12;
  port.hours_per_year = 4383;
  port.registered_h = port.present_h = 600;
  port.practised_h = 580;
  port.p_holds = 0.313;
  port.longest_h = 391.7;
  port.advised_h = 390;
  port.density_g_cm3 = 0.92;
  YearOfGrease year;
  year.greasings = 7.3;
  year.by_hand_cm3 = year.to_sea_cm3 = {2500, 2100, 2800};
  year.below_reserve_h = {310, 120, 560};
  port.year_now = year;
  year.below_reserve_h = {4, 0, 30};
  port.year_advised = year;
  port.says = {"the cause comes first: seal wear (plan); no setting mends it", "grease every 390 h (about 32 days)"};

  ShaftAdvice stbd = port;
  stbd.shaft = ShaftId{2};
  stbd.verdict = AdviceVerdict::dose_may_be_lower;
  stbd.causes_first.clear();
  stbd.is_automatic = true;
  stbd.has_limit = false;
  stbd.longest_h.reset();
  stbd.p_holds = 1;
  stbd.feeds = {{LubricatorId{1}, 0.25, 15}};
  stbd.dose_cm3_per_h = 1;
  stbd.arrives = {0.97, 0.94, 1};
  stbd.smallest_dose_cm3_per_h = 0.31;
  stbd.smallest_alone_cm3_per_h = 0.62;
  stbd.advised_dose_cm3_per_h = 0.31;
  stbd.says = {"the smallest dose that holds is 0.08 cm3 a cycle of 15 min"};

  ShaftAdvice rudder;
  rudder.vessel = VesselId{2};
  rudder.shaft = ShaftId{3};
  rudder.reason = "the capacity of the cavity is not registered";
  rudder.says = {"nothing can be advised: the capacity of the cavity is not registered"};
  rudder.reserve_pct = 20;
  return {port, stbd, rudder};
}

}  // namespace

TEST_CASE("golden: advice as text, for machines and as tables", "[golden][reports]") {
  SampleReview s;
  Grease grease;
  grease.id = GreaseId{1};
  grease.code = "G-1";
  s.reg.greases.push_back(grease);
  const std::vector<ShaftAdvice> shafts = sample_advice();
  OrderLine known;
  known.vessel = VesselId{1};
  known.grease = GreaseId{1};
  known.p50_cm3 = 41000;
  known.p90_cm3 = 47000;
  known.by_hand_p50_cm3 = 11000;
  known.automatic_p50_cm3 = 30000;
  known.density_g_cm3 = 0.92;
  OrderLine unknown;
  unknown.vessel = VesselId{2};
  unknown.grease = GreaseId{1};
  unknown.density_g_cm3 = 0.92;
  unknown.left_out = {ShaftId{3}};
  const std::vector<OrderLine> order{known, unknown};
  PeerLoss peer;
  peer.vessel = VesselId{1};
  peer.shaft = ShaftId{1};
  peer.group = "test/manual, fin";
  peer.sisters = 7;
  peer.own_cm3_per_h = {0.64, 0.51, 0.79};
  peer.shrunk_cm3_per_h = {0.6, 0.49, 0.73};
  peer.factor = 2.5;
  peer.p = 0.0004;
  peer.adjusted_p = 0.0032;
  peer.stands_out = true;
  const std::vector<PeerLoss> peers{peer};
  PeerAlarms alarm;
  alarm.vessel = VesselId{1};
  alarm.lubricator = LubricatorId{1};
  alarm.episodes = 12;
  alarm.run_h = 4210;
  alarm.own_per_1000h = {2.85, 1.64, 4.63};
  alarm.shrunk_per_1000h = {2.3, 1.4, 3.5};
  alarm.factor = 3.1;
  alarm.p = 0.004;
  alarm.adjusted_p = 0.024;
  alarm.stands_out = true;
  const std::vector<PeerAlarms> alarms{alarm};
  const AdviceView view{s.as_of, s.reg, shafts, "fleet", order, 90, 18.0, peers, 8, true, true, alarms, 6};
  CHECK(not_approved("reports/advice.txt", advice_text(view, {110, false})) == "");
  CHECK(not_approved("reports/advice.json", advice_json(view)) == "");
  CHECK(not_approved("reports/advice.csv", advice_csv(view)) == "");
  CHECK(not_approved("reports/advice_order.csv", order_csv(view)) == "");
  CHECK(not_approved("reports/advice_peers.csv", peers_csv(view)) == "");
  CHECK(not_approved("reports/advice_alarms.csv", alarm_peers_csv(view)) == "");
}
