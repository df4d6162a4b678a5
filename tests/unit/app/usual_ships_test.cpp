// What is usual is learnt from all ships of a small fleet and from some, drawn by lot, of a large one.
#include "analysis/prior_learner.hpp"
#include "app/history.hpp"
#include "app/import.hpp"
#include "app/review.hpp"
#include "support/log_text.hpp"
#include "support/temp_db.hpp"

#include <algorithm>
#include <string>

#include <catch2/catch.hpp>
#include <fmt/format.h>

using namespace shaftlog;
using test::write_text;

namespace {

const FixedClock kClock{from_unix(1'790'000'000)};
constexpr Instant kNow = from_unix(1'790'000'000);

/// Ships s001 ..., one shaft each, greased a dozen times; every other one in the group "even". All lose the same but
/// for a factor that goes up and down from ship to ship.
void write_fleet(const std::filesystem::path& folder, int ships) {
  std::string vessels = "vessel,name,time_zone,group\n", shafts = "vessel,shaft,cavity_cm3,grease,from\n";
  std::string hours = "vessel,shaft,at,meter_h\n", greasings = "vessel,shaft,at,amount,unit,ended\n";
  for (int i = 1; i <= ships; ++i) {
    const std::string code = fmt::format("s{:03}", i);
    vessels += fmt::format("{},Ship {},UTC,{}\n", code, i, i % 2 == 0 ? "even" : "odd");
    shafts += code + ",port,400,g2,2024-01-01\n";
    for (int n = 0; n < 12; ++n) {
      const std::string day = fmt::format("{}-{:02}-01", 2024 + n / 12, n % 12 + 1);
      hours += fmt::format("{},port,{}T08:00,{}\n", code, day, 200 * n);
      greasings += fmt::format("{},port,{}T09:00,{},cm3,pressure\n", code, day, 40 + 10 * (i % 5) + (n * 7 + i) % 6);
    }
  }
  write_text(folder / "greases.csv", "grease,thickener,density_g_cm3\ng2,lithium,0.92\n");
  write_text(folder / "vessels.csv", vessels);
  write_text(folder / "shafts.csv", shafts);
  write_text(folder / "hours.csv", hours);
  write_text(folder / "greasings.csv", greasings);
}

Database fleet_of(const test::TempDir& dir, int ships) {
  write_fleet(dir / fmt::format("log{}", ships), ships);
  Database db = Database::create(dir / fmt::format("{}.db", ships));
  ImportOptions o;
  o.folder = dir / fmt::format("log{}", ships);
  const auto r = import_folder(db, kClock, o);
  for (const Fault& f : r.faults) FAIL_CHECK(f.text());
  REQUIRE(r.is_kept);
  return db;
}

History history_of(Database& db, const std::string& ship) {
  HistoryRequest request;
  request.vessel = ship;
  request.shaft = "port";
  request.with_told = false;
  return look_into(db, kNow, request);
}

bool says(const History& h, std::string_view words) {
  return std::any_of(h.dossier.caveats.begin(), h.dossier.caveats.end(),
                     [&](const std::string& c) { return c.find(words) != std::string::npos; });
}

}  // namespace

TEST_CASE("usual ships: up to a hundred all are asked, and the dossier knows what the review knows", "[app][history]") {
  const test::TempDir dir;
  Database db = fleet_of(dir, static_cast<int>(kMostUsualShips));
  const History h = history_of(db, "s007");
  const FleetReview all = review(db, kNow, {});
  CHECK(is_same(h.prior.fleet, all.prior.fleet));
  CHECK(is_same(h.prior.of("odd/manual"), all.prior.of("odd/manual")));
  CHECK(h.prior.fleet.shafts == static_cast<int>(kMostUsualShips));
  CHECK(says(h, "from 50 shafts of the file"));  // the group's
}

TEST_CASE("usual ships: of a larger fleet as many by lot, half of them sisters, and the dossier says so",
          "[app][history]") {
  const test::TempDir dir;
  Database db = fleet_of(dir, 130);
  const History h = history_of(db, "s007");
  CHECK(h.prior.fleet.shafts == static_cast<int>(kMostUsualShips));
  CHECK(h.prior.of("odd/manual").shafts == 51);  // fifty and itself
  CHECK(h.prior.of("even/manual").shafts == 49);
  CHECK(says(h, "from 51 shafts of 100 ships, drawn by lot from the 130 of the file"));
  CHECK(std::count_if(h.dossier.peers.begin(), h.dossier.peers.end(),
                      [](const Peer& p) { return p.kind == PeerKind::sister; }) == 24);

  // The lot depends on no clock, and what is learnt lies near what all would have taught.
  CHECK(is_same(history_of(db, "s007").prior.fleet, h.prior.fleet));
  const FleetReview all = review(db, kNow, {});
  CHECK(all.prior.fleet.shafts == 130);
  CHECK(h.prior.fleet.mean_log_w == Approx(all.prior.fleet.mean_log_w).margin(0.05));
  CHECK(h.prior.fleet.sd_log_w == Approx(all.prior.fleet.sd_log_w).epsilon(0.2));
  CHECK(h.prior.fleet.fill_sd_cm3 == Approx(all.prior.fleet.fill_sd_cm3).epsilon(0.3));
}
