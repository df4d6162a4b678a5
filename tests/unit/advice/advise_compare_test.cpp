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

TEST_CASE("peers: a shaft's own figure is its estimate with the prior taken out", "[advise]") {
  // Records of mean ln 0.5 and sd 0.2, read with a prior of ln 0.25 and 0.4: precision 25 + 6.25.
  ShaftDetail d;
  d.history.group = "alder/manual";
  d.history.key = "T-01/fin_port";
  d.prior.mean_log_w = std::log(0.25);
  d.prior.sd_log_w = 0.4;
  d.washout.exact = 9;
  const double mean = (std::log(0.5) * 25 + std::log(0.25) * 6.25) / 31.25, sd = std::sqrt(1 / 31.25);
  d.washout.washout_cm3_per_h =
      Estimate{std::exp(mean), std::exp(mean - 1.6448536 * sd), std::exp(mean + 1.6448536 * sd)};
  const auto own = own_loss(d);
  REQUIRE(own);
  CHECK(own->log_w == Approx(std::log(0.5)).epsilon(1e-4));
  CHECK(own->sd == Approx(0.2).epsilon(1e-3));
  CHECK(own->place == "fin");
  d.washout.washout_cm3_per_h = Estimate{0.25, 0.25 * std::exp(-1.6448536 * 0.39), 0.25 * std::exp(1.6448536 * 0.39)};
  CHECK_FALSE(own_loss(d).has_value());  // its own records say next to nothing
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
