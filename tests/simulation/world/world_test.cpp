// The simulator's truth must agree with itself before anything is judged by it.
#include "simulation/world/world.hpp"

#include "support/run.hpp"

#include <algorithm>
#include <cmath>
#include <map>
#include <set>

#include <catch2/catch.hpp>

using namespace shaftlog;
using namespace shaftlog::world;

namespace {

WorldPlan small_plan() {
  WorldPlan plan;
  plan.seed = 1900;
  plan.vessels = 24;
  plan.years = 4;
  plan.threads = 2;
  return plan;
}

const std::vector<MadeVessel>& fleet() {
  static const std::vector<MadeVessel> made = make_world(small_plan());
  return made;
}

std::string text_of_world(unsigned threads) {
  WorldPlan plan = small_plan();
  plan.vessels = 6;
  plan.threads = threads;
  const test::TempDir folder;
  write_world(make_world(plan), folder.path());
  std::string all = test::read_text(folder / "truth.csv");
  std::vector<std::filesystem::path> files;
  for (const auto& f : std::filesystem::directory_iterator{folder / "log"}) files.push_back(f.path());
  std::sort(files.begin(), files.end());
  for (const auto& f : files) all += test::read_text(f);
  return all;
}

}  // namespace

TEST_CASE("world: grease in is grease lost and grease in the cavity, every day", "[simulation][world]") {
  for (const MadeVessel& m : fleet()) {
    for (const ShaftTruth& s : m.truth.shafts) {
      double worst = 0;
      for (std::size_t d = 0; d < s.missing.size(); ++d) {
        const double in = s.delivered[d] + s.greased[d], out = s.lost[d] + s.pushed_out[d] + s.removed[d];
        worst = std::max(worst, std::abs((s.start_missing_cm3 - s.missing[d]) - (in - out)));
      }
      INFO(m.log.vessel.code << " shaft " << s.shaft.value);
      CHECK(worst < 1e-6 * (1 + s.greased.back() + s.delivered.back()));
      CHECK(*std::max_element(s.missing.begin(), s.missing.end()) <= s.cavity_cm3 + 1e-9);
    }
  }
}

TEST_CASE("world: a reservoir loses what left it and gains what was poured, between refills nothing",
          "[simulation][world]") {
  for (const MadeVessel& m : fleet()) {
    for (const LubricatorTruth& l : m.truth.lubricators) {
      for (std::size_t d = 0; d + 1 < l.level.size(); ++d) {
        const double poured = l.level[d + 1] - l.level[d] + (l.left[d + 1] - l.left[d]);
        REQUIRE(poured > -1e-6);
        REQUIRE((poured < 1e-6 || poured >= 0.03 * l.reservoir_cm3 - 1e-6));  // nobody pours less
        REQUIRE(l.level[d] <= l.reservoir_cm3 + 1e-6);
        REQUIRE(l.level[d] >= 0);
      }
      double delivered = 0;
      for (const ShaftTruth& s : m.truth.shafts) delivered += s.delivered.back();
      CHECK(l.left.back() >= delivered - 1e-6);  // a leak is the difference
      bool leaks = false;
      for (const Fault& f : m.truth.faults) leaks |= f.kind == FaultKind::line_leak;
      if (!leaks) CHECK(l.left.back() == Approx(delivered));
    }
  }
}

TEST_CASE("world: a level reading errs by itself, so that errors of differences telescope", "[simulation][world]") {
  int judged = 0;
  for (const MadeVessel& m : fleet()) {
    for (const LubricatorTruth& l : m.truth.lubricators) {
      std::vector<double> errors;
      for (const auto& r : m.log.levels) {
        if (r.lubricator != l.lubricator || r.precision == Precision::day) continue;
        // On a day with a refill the truth, told by days, is not sharp.
        const auto day = static_cast<std::size_t>(days_between(m.truth.first, r.at));
        if (l.level[day + 1] > l.level[day]) continue;
        errors.push_back(in_pct(r.what.level) - 100 * m.truth.at(l.level, r.at) / l.reservoir_cm3);
      }
      if (errors.size() < 60) continue;
      ++judged;
      double sum2 = 0, lag = 0;
      for (std::size_t i = 0; i < errors.size(); ++i) {
        sum2 += errors[i] * errors[i];
        if (i > 0) lag += errors[i] * errors[i - 1];
      }
      const double n = static_cast<double>(errors.size());
      const double sd = std::sqrt(sum2 / n), wanted = std::hypot(l.level_sd_pct, l.level_round_pct / std::sqrt(12.0));
      INFO(m.log.vessel.code << ": sd " << sd << " %, wanted " << wanted << " %, lag " << lag / sum2);
      // The error of one level says nothing of the next, so that those of differences telescope.
      CHECK(sd > 0.75 * wanted);
      CHECK(sd < 1.35 * wanted);
      CHECK(std::abs(lag / sum2) < 0.35);
    }
  }
  CHECK(judged >= 2);
}

TEST_CASE("world: amounts are written as they were, but for the gun's bias and the stated errors",
          "[simulation][world]") {
  int judged = 0;
  for (const MadeVessel& m : fleet()) {
    std::set<Uuid> wrong;
    for (const Slip& s : m.truth.slips) wrong.insert(s.records.begin(), s.records.end());
    for (const ShaftTruth& s : m.truth.shafts) {
      std::vector<double> off;
      for (const Logged<Greasing>& g : m.log.greasings) {
        if (g.shaft != s.shaft || wrong.contains(g.id) || g.precision == Precision::day || !g.what.amount) continue;
        if (!g.what.amount->volume || in_cm3(*g.what.amount->volume) < 60) continue;  // rounding says more than errors
        const auto day = static_cast<std::size_t>(days_between(m.truth.first, g.at));
        const double put_in = s.greased[day + 1] - s.greased[day];
        off.push_back(std::log(in_cm3(*g.what.amount->volume) / put_in / m.truth.bias_of(s, g.at)));
      }
      if (off.size() < 12) continue;
      ++judged;
      double mean = 0, sum2 = 0;
      for (const double x : off) mean += x / static_cast<double>(off.size());
      for (const double x : off) sum2 += (x - mean) * (x - mean);
      const double sd = std::sqrt(sum2 / static_cast<double>(off.size()));
      INFO(m.log.vessel.code << " shaft " << s.shaft.value << ": mean " << mean << ", sd " << sd << " of "
                             << off.size());
      CHECK(std::abs(mean) < 0.01 + 3.5 * sd / std::sqrt(static_cast<double>(off.size())));
      CHECK(sd < 1.6 * s.reading_sd + 0.06);  // the rounding of rough hands
    }
  }
  CHECK(judged >= 10);
}

TEST_CASE("world: the same seed gives the same bytes whatever the threads", "[simulation][world]") {
  const std::string one = text_of_world(1);
  CHECK(one.size() > 100000);
  CHECK(one == text_of_world(3));
}

TEST_CASE("world: another seed gives another world, and a vessel does not depend on the others",
          "[simulation][world]") {
  WorldPlan plan = small_plan();
  const MadeVessel third = make_vessel(plan, 3);
  CHECK(third.truth.shafts.front().missing == fleet()[3].truth.shafts.front().missing);
  plan.seed = 1901;
  CHECK(make_vessel(plan, 3).truth.shafts.front().missing != fleet()[3].truth.shafts.front().missing);
}

TEST_CASE("world: ids are unique, lists are in order, slips name records that are there", "[simulation][world]") {
  std::set<Uuid> ids;
  std::size_t records = 0;
  for (const MadeVessel& m : fleet()) {
    std::set<Uuid> own;
    const auto look = [&](const auto& list) {
      for (std::size_t i = 0; i < list.size(); ++i) {
        own.insert(list[i].id);
        ++records;
        if (i > 0) REQUIRE(list[i - 1].at <= list[i].at);
      }
    };
    look(m.log.hours), look(m.log.cycles), look(m.log.levels), look(m.log.refills), look(m.log.greasings);
    look(m.log.alarms), look(m.log.work);
    for (const Slip& s : m.truth.slips)
      for (const Uuid& id : s.records) CHECK(own.contains(id));
    ids.insert(own.begin(), own.end());
  }
  CHECK(ids.size() == records);
}

TEST_CASE("world: a log as it was known grows only, and tells the future as such", "[simulation][world]") {
  std::size_t future = 0;
  for (const MadeVessel& m : fleet()) {
    std::size_t before = 0;
    for (Instant t = m.truth.first; t <= m.truth.last; t += std::chrono::days{60}) {
      const VesselLog log = known_at(m.log, t);
      for (const auto& r : log.greasings) REQUIRE((r.at <= t && r.recorded_at <= t));
      for (const FutureRecord& f : log.future) REQUIRE((f.at > t && f.recorded_at <= t));
      const std::size_t now = log.hours.size() + log.greasings.size() + log.future.size() + log.refills.size() +
                              log.levels.size() + log.cycles.size() + log.alarms.size() + log.work.size();
      CHECK(now >= before);
      before = now;
      future += log.future.size();
    }
  }
  CHECK(future > 0);
}

TEST_CASE("world: at least half of the shafts are healthy, and every fault has its onset within the time watched",
          "[simulation][world]") {
  std::size_t shafts = 0, sick = 0, faults = 0;
  for (const MadeVessel& m : fleet()) {
    shafts += m.truth.shafts.size();
    std::set<ShaftId> struck;
    for (const Fault& f : m.truth.faults) {
      ++faults;
      CHECK(f.onset > m.truth.first);
      CHECK(f.onset < m.truth.last);
      CHECK(f.end > f.onset);
      CHECK((f.shaft.is_set() || f.lubricator.is_set()));
      if (is_of_shaft(f.kind)) struck.insert(f.shaft);
    }
    sick += struck.size();
  }
  CHECK(2 * sick <= shafts);
  CHECK(faults > 5);
}

TEST_CASE("world: the program takes the log folder", "[simulation][world]") {
  const std::string program = SHAFTLOG_BINARY;
  REQUIRE(!program.empty());
  WorldPlan plan = small_plan();
  plan.vessels = 4;
  const test::TempDir folder;
  write_world(make_world(plan), folder.path());
  const auto run = [&](std::vector<std::string> args) {
    args.insert(args.begin(), {"--db", (folder / "world.db").string()});
    const test::Ran ran = test::run_program_file(program, args, folder.path());
    INFO(ran.err);
    CHECK(ran.code == 0);
    return ran.out;
  };
  run({"init"});
  const std::string told = run({"import", (folder / "log").string()});
  CHECK(told.find("greasings.csv") != std::string::npos);
  CHECK(run({"review", "--as-of", "2022-12-31"}).find("4 vessels") != std::string::npos);
}
