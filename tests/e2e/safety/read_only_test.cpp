// A file on a medium that cannot be written: what only reads works, what writes says one sentence and changes nothing.
#include "support/run.hpp"

#include <algorithm>
#include <sys/stat.h>

#include <catch2/catch.hpp>

using namespace shaftlog::test;
using Catch::Matchers::Contains;
using Catch::Matchers::StartsWith;
namespace fs = std::filesystem;

namespace {

const fs::path kShip = fs::path{SHAFTLOG_SOURCE_DIR} / "tests/errors/ship";
const fs::path kSetpriv = "/usr/bin/setpriv";

/// A ship's log that another user, with no right to write it, works with: for root no file is read-only.
class LookedAt : public Aboard {
 public:
  LookedAt() {
    ok({"init"});
    ok({"import", kShip.string()});
    ok({"backup", "sent.db"});
    ok({"--db", "sent.db", "add", "hours", "shaft=fin_port", "at=2026-03-01", "meter_h=2000"});
    ok({"--db", "sent.db", "pack", "sent.pack", "--all", "--name", "office"});
    fs::create_directory(dir / "medium");
    fs::rename(dir / "shaftlog.db", file());
    fs::create_directory(dir / "out");
    ::chmod((dir / "out").c_str(), 0777);
    ::chmod(dir.path().c_str(), 0755);
    if (::geteuid() == 0) fs::copy_file(SHAFTLOG_BINARY, dir / "program");  // which that user can reach
  }
  ~LookedAt() { ::chmod((dir / "medium").c_str(), 0755); }
  [[nodiscard]] fs::path file() const { return dir / "medium/shaftlog.db"; }
  [[nodiscard]] Ran as_another(std::vector<std::string> args) const {
    args.insert(args.begin(), {"--db", file().string()});
    if (::geteuid() != 0) return run_program_file(SHAFTLOG_BINARY, args, dir.path());
    args.insert(args.begin(), {"--reuid=65534", "--regid=65534", "--clear-groups", (dir / "program").string()});
    // Where coverage is measured, its figures go where that user can write.
    return run_program_file(kSetpriv.string(), args, dir.path(), "", {"GCOV_PREFIX=" + (dir / "out").string()});
  }
  [[nodiscard]] static bool is_possible() {
    if (::geteuid() != 0 || fs::exists(kSetpriv)) return true;
    WARN("not tried: root may write everything, and setpriv is not there");
    return false;
  }
};

void look_and_try(const LookedAt& ship) {
  const std::string bytes = read_text(ship.file());
  const std::vector<std::vector<std::string>> reading{
      {"list"},
      {"review"},
      {"due"},
      {"advise"},
      {"finding", "list"},
      {"history", "T-01", "fin_port"},
      {"report", "fleet", "--out", "out/fleet.html"},
      {"check"},
      {"export", "out/log"},
      {"backup", "out/copy.db"},
      {"restore", "sent.db", "--dry-run"},
      {"recover", ship.file().string(), "out/saved.db"},
  };
  for (const auto& args : reading) {
    const Ran ran = ship.as_another(args);
    INFO(args.front() << ": " << ran.code << ' ' << ran.err);
    CHECK((ran.code == 0 || (ran.code == 1 && args.front() == "review")));
    CHECK(!ran.out.empty());
  }
  const std::vector<std::vector<std::string>> writing{
      {"add", "work", "shaft=fin_port", "work=seal_replaced"},
      {"import", kShip.string()},
      {"unpack", "sent.pack", "--join"},
      {"pack", "out/mine.pack", "--all", "--name", "T-01"},
      {"restore", "sent.db"},
  };
  for (const auto& args : writing) {
    const Ran ran = ship.as_another(args);
    INFO(args.front() << ": " << ran.code << ' ' << ran.err);
    CHECK(ran.code == 4);
    CHECK_THAT(ran.err, StartsWith("shaftlog: ") && Contains("shaftlog.db: cannot be written (no permission"));
    CHECK(std::count(ran.err.begin(), ran.err.end(), '\n') == 1);
  }
  CHECK(read_text(ship.file()) == bytes);
  CHECK(!fs::exists(ship.dir / "out/mine.pack"));
}

}  // namespace

TEST_CASE("read-only: in a folder that cannot be written what only reads works", "[e2e][read_only]") {
  if (!LookedAt::is_possible()) return;
  const LookedAt ship;
  ::chmod(ship.file().c_str(), 0444);
  ::chmod((ship.dir / "medium").c_str(), 0555);
  look_and_try(ship);
  CHECK(std::distance(fs::directory_iterator{ship.dir / "medium"}, {}) == 1);
}

TEST_CASE("read-only: a file that cannot be written in a folder that can", "[e2e][read_only]") {
  if (!LookedAt::is_possible()) return;
  const LookedAt ship;
  ::chmod(ship.file().c_str(), 0444);
  ::chmod((ship.dir / "medium").c_str(), 0777);
  look_and_try(ship);
}

TEST_CASE("read-only: a backup or pack that finds no place to go says where", "[e2e][read_only]") {
  if (!LookedAt::is_possible()) return;
  const LookedAt ship;
  ::chmod((ship.dir / "medium").c_str(), 0777);
  ::chmod(ship.file().c_str(), 0666);
  ::chmod((ship.dir / "out").c_str(), 0555);
  for (const auto& args : std::vector<std::vector<std::string>>{{"backup", "out/copy.db"},
                                                                {"export", "out/log"},
                                                                {"pack", "out/mine.pack", "--all", "--name", "T-01"},
                                                                {"recover", ship.file().string(), "out/saved.db"}}) {
    const Ran ran = ship.as_another(args);
    INFO(args.front() << ": " << ran.code << ' ' << ran.err);
    CHECK(ran.code == 4);
    CHECK_THAT(ran.err, Contains("out/"));
    CHECK(std::count(ran.err.begin(), ran.err.end(), '\n') == 1);
  }
  CHECK(fs::is_empty(ship.dir / "out"));
}
