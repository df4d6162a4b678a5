#include "analysis/advise.hpp"

#include <cmath>
#include <random>

#include <catch2/catch.hpp>

using namespace shaftlog;

namespace {

OwnLoss loss(int n, const std::string& group, double log_w, double sd = 0.1) {
  OwnLoss l;
  l.vessel = VesselId{n};
  l.shaft = ShaftId{n};
  l.key = "T-" + std::to_string(1000 + n) + "/fin";
  l.group = group;
  l.place = "fin";
  l.log_w = log_w;
  l.sd = sd;
  return l;
}

/// A shaft greased by hand every 400 h to back-pressure, with a group that loses 0.25 cm3/h.
ShaftDetail shaft(const std::vector<double>& taken_cm3, double spread, int n = 1) {
  ShaftDetail d;
  d.shaft = ShaftId{n};
  d.history.vessel = VesselId{n};
  d.history.shaft = d.shaft;
  d.history.group = "alder/manual";
  d.history.key = "T-" + std::to_string(1000 + n) + "/fin_port";
  d.history.cavity_cm3 = 500;
  d.history.first_is_full = true;
  d.prior.mean_log_w = std::log(0.25);
  d.prior.sd_log_w = spread;
  for (std::size_t i = 0; i < taken_cm3.size(); ++i) {
    GreasingInterval g;
    g.id.bytes[0] = static_cast<std::uint8_t>(i + 1);
    g.from = from_unix(1700000000) + std::chrono::days{40 * i};
    g.at = g.from + std::chrono::days{40};
    g.run_h = 400;
    g.taken_cm3 = taken_cm3[i];
    d.history.intervals.push_back(g);
  }
  d.washout = fit_washout(d.history, d.prior);
  return d;
}

}  // namespace

TEST_CASE("peers: the one that loses thrice what its sisters lose stands out", "[advise]") {
  std::vector<OwnLoss> fleet;
  for (int i = 0; i < 10; ++i) fleet.push_back(loss(i + 1, "alder", std::log(0.25) + 0.1 * std::sin(3.0 * i)));
  fleet[4].log_w = std::log(0.75);
  const std::vector<PeerLoss> peers = compare_losses(fleet);
  REQUIRE(peers.size() == 10);
  CHECK(peers[0].shaft == ShaftId{5});
  CHECK(peers[0].stands_out);
  CHECK(peers[0].factor == Approx(3).epsilon(0.1));
  for (std::size_t i = 1; i < peers.size(); ++i) CHECK_FALSE(peers[i].stands_out);
  CHECK(peers[0].shrunk_cm3_per_h.value < peers[0].own_cm3_per_h.value);
  CHECK(peers[0].shrunk_cm3_per_h.value > 0.25);
}

TEST_CASE("peers: a shaft needs three sisters of its own group", "[advise]") {
  std::vector<OwnLoss> few;
  for (int i = 1; i <= 3; ++i) few.push_back(loss(i, "alder", 0.1 * i));
  few.push_back(loss(4, "birch", 0));
  CHECK(compare_losses(few).empty());
  CHECK(compare_losses({}).empty());
}

TEST_CASE("peers: among shafts that differ only by chance few stand out, whatever the order", "[advise]") {
  std::mt19937_64 bits{77};
  std::normal_distribution<double> z;
  int with_any = 0;
  constexpr int kFleets = 200;
  for (int f = 0; f < kFleets; ++f) {
    std::vector<OwnLoss> fleet;
    for (int i = 0; i < 24; ++i)
      fleet.push_back(loss(i + 1, i % 2 == 0 ? "alder" : "birch", -1.4 + 0.25 * z(bits) + 0.1 * z(bits)));
    const std::vector<PeerLoss> peers = compare_losses(fleet);
    for (const PeerLoss& p : peers) with_any += &p == &peers.front() && p.stands_out ? 1 : 0;
    std::reverse(fleet.begin(), fleet.end());
    const std::vector<PeerLoss> again = compare_losses(fleet);
    CHECK(again.front().shaft == peers.front().shaft);
    CHECK(again.front().adjusted_p == peers.front().adjusted_p);
  }
  // With no true difference the rate of fleets with a discovery is the level, 5 %; three standard errors are 4.6 %.
  CHECK(with_any <= 0.10 * kFleets);
}

TEST_CASE("peers: a shaft's own figure is what its own records say, whatever its group loses", "[advise]") {
  // 400 h apart, 0.5 cm3/h: the group's usual loss is half of it and must not draw it down, nor push it up.
  const ShaftDetail d = shaft(std::vector<double>(9, 200), 0.4);
  const auto own = own_loss(d);
  REQUIRE(own);
  // A little below, since amounts scatter by factors: their mean lies above the middle.
  CHECK(std::exp(own->log_w) == Approx(0.5).epsilon(0.03));
  CHECK(own->sd < 0.12);
  CHECK(own->place == "fin");
  // The estimate of the review is drawn towards the group; the own figure lies beyond it, by a little only.
  CHECK(d.washout.washout_cm3_per_h->value < 0.51);
}

TEST_CASE("peers: after a step the own figure is that of the greasings since, none of which it can exceed",
          "[advise]") {
  // 0.25 cm3/h, then 0.46 0.60 0.52 0.63 0.49 0.50 0.51: by hand 0.53 in the middle.
  std::vector<double> taken(10, 100);
  for (const double w : {0.46, 0.60, 0.52, 0.63, 0.49, 0.50, 0.51}) taken.push_back(400 * w);
  const ShaftDetail d = shaft(taken, 0.3);
  REQUIRE(d.washout.step);
  const auto own = own_loss(d);
  REQUIRE(own);
  CHECK(std::exp(own->log_w) == Approx(0.53).epsilon(0.05));
  CHECK(std::exp(own->log_w + 1.645 * own->sd) < 0.63);
}

TEST_CASE("peers: a step too young to be measured by itself, and a loss that climbs, keep the review's figure",
          "[advise]") {
  std::vector<double> taken(10, 100);
  taken.push_back(240);
  taken.push_back(245);
  const ShaftDetail young = shaft(taken, 0.3);
  REQUIRE(young.washout.step);
  CHECK(std::exp(own_loss(young)->log_w) == Approx(young.washout.washout_cm3_per_h->value));
  taken.assign(8, 100);
  for (int i = 1; i <= 14; ++i) taken.push_back(100 * std::exp(0.07 * i));
  const ShaftDetail worn = shaft(taken, 0.3);
  REQUIRE(worn.washout.wear);
  CHECK(std::exp(own_loss(worn)->log_w) == Approx(worn.washout.washout_cm3_per_h->value));
}

TEST_CASE("peers: records that only bound the loss give no own figure", "[advise]") {
  ShaftDetail d = shaft(std::vector<double>(9, 200), 0.4);
  for (GreasingInterval& g : d.history.intervals) g.ended = Ended::limit;
  d.washout = fit_washout(d.history, d.prior);
  CHECK_FALSE(own_loss(d).has_value());
}

TEST_CASE("peers: read from their records, shafts that differ only by chance seldom stand out", "[advise]") {
  std::mt19937_64 bits{4711};
  std::normal_distribution<double> z;
  int with_any = 0;
  constexpr int kFleets = 40;
  for (int f = 0; f < kFleets; ++f) {
    std::vector<OwnLoss> fleet;
    for (int i = 0; i < 16; ++i) {
      const double w = 0.25 * std::exp(0.25 * z(bits));
      std::vector<double> taken;
      double slow = 0.09 * z(bits), left = 0;
      for (int k = 0; k < 10; ++k) {
        slow = 0.6 * slow + 0.8 * 0.09 * z(bits);
        const double full = 8 * z(bits);
        taken.push_back(std::max(5.0, 400 * w * std::exp(slow + 0.1 * z(bits)) + left - full));
        left = full;
      }
      const ShaftDetail d = shaft(taken, 0.25, i + 1);
      if (const auto own = own_loss(d)) fleet.push_back(*own);
    }
    REQUIRE(fleet.size() == 16);
    const std::vector<PeerLoss> peers = compare_losses(fleet);
    with_any += peers.front().stands_out ? 1 : 0;
  }
  // The level is 5 %: 2 of 40 fleets; three standard errors are 4.
  CHECK(with_any <= 6);
}

TEST_CASE("peers: a rudder is held to rudders where there are enough, else to its group", "[advise]") {
  std::vector<OwnLoss> fleet;
  for (int i = 1; i <= 6; ++i) fleet.push_back(loss(i, "alder", std::log(0.25) + 0.05 * i));
  for (int i = 7; i <= 12; ++i) {
    fleet.push_back(loss(i, "alder", std::log(0.75) + 0.05 * i));
    fleet.back().place = "rudder";
  }
  for (const PeerLoss& p : compare_losses(fleet)) {
    CHECK(p.sisters == 5);
    CHECK_FALSE(p.stands_out);
  }
  fleet.resize(7);
  const std::vector<PeerLoss> peers = compare_losses(fleet);
  REQUIRE(peers.size() == 7);
  CHECK(peers.front().shaft == ShaftId{7});
  CHECK(peers.front().group == "alder");
  CHECK(peers.front().sisters == 6);
}
