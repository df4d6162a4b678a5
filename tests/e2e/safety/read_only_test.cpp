// A file on a medium that cannot be written: what only reads works, what writes says one sentence and changes nothing.
#include "storage/database.hpp"
#include "support/run.hpp"

#include <algorithm>
#include <map>
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

/// The folder `medium` of a ship, mounted so that not even root can write into it, in a namespace of the program's own.
class Mounted : public Aboard {
 public:
  Mounted() {
    fs::create_directory(dir / "medium");
    ok({"--db", "medium/shaftlog.db", "init"});
    ok({"--db", "medium/shaftlog.db", "import", kShip.string()});
  }
  Ran on_mount(std::vector<std::string> args) const {
    constexpr const char* kMount =
        "mount --bind medium medium && mount -o remount,ro,bind medium || exit 99; exec \"$0\" --db medium/shaftlog.db "
        "\"$@\"";
    args.insert(args.begin(), {"-rm", "sh", "-c", kMount, SHAFTLOG_BINARY});
    return run_program_file(kUnshare.string(), args, dir.path());
  }
  [[nodiscard]] bool is_possible() const {
    const Ran tried = fs::exists(kUnshare) ? on_mount({"--version"}) : Ran{};
    if (tried.code == 0) return true;
    WARN("not tried: nothing can be mounted here " << tried.err);
    return false;
  }
  /// A reading is added, and what a killed program leaves of it lies on the medium.
  void leave_journal(const std::vector<std::string>& ends) const {
    const fs::path at = dir / "at_work";
    fs::copy(dir / "medium", at);
    {
      shaftlog::Database other = shaftlog::Database::open(at / "shaftlog.db", shaftlog::Database::Mode::read_only);
      const shaftlog::ReadTransaction reading{other};  // so that the journal is not worked in
      ok({"--db", "at_work/shaftlog.db", "add", "hours", "shaft=fin_port", "at=2026-03-01", "meter_h=1250"});
      for (const std::string& end : ends)
        fs::copy_file(at / ("shaftlog.db" + end), dir / ("medium/shaftlog.db" + end),
                      fs::copy_options::overwrite_existing);
    }
    // The same in a file that can be written, to compare with.
    fs::copy_file(at / "shaftlog.db", dir / "shaftlog.db");
  }
  [[nodiscard]] std::map<std::string, std::string> medium() const {
    std::map<std::string, std::string> out;
    for (const auto& item : fs::directory_iterator{dir / "medium"})
      out[item.path().filename()] = read_text(item.path());
    return out;
  }
  void reads_as(const std::string& file) const {
    for (const std::vector<std::string>& args :
         std::vector<std::vector<std::string>>{{"list", "--csv"},
                                               {"review", "--as-of", "2026-04-01"},
                                               {"history", "T-01", "fin_port", "--until", "2026-04-01"},
                                               {"check"}}) {
      const Ran ran = on_mount(args);
      INFO(args.front() << ": " << ran.code << ' ' << ran.err);
      CHECK(ran.code == 0);
      CHECK(ran.err.empty());
      if (args.front() == "check") {
        CHECK_THAT(ran.out, Contains(": all is well, "));
        continue;
      }
      std::vector<std::string> same = args;
      same.insert(same.begin(), {"--db", file});
      CHECK(ran.out == ok(same));
    }
  }
  void is_not_written() const {
    const Ran ran = on_mount({"add", "hours", "shaft=fin_port", "at=2026-03-02", "meter_h=1270"});
    CHECK(ran.code == 4);
    CHECK(ran.out.empty());
    CHECK(ran.err == "shaftlog: medium/shaftlog.db: cannot be written (its medium is read-only)\n");
  }

 private:
  inline static const fs::path kUnshare = "/usr/bin/unshare";
};

}  // namespace

TEST_CASE("read-only: a mount that cannot be written is read, and says so to who would write", "[e2e][read_only]") {
  const Mounted ship;
  if (!ship.is_possible()) return;
  SECTION("with the file alone") {
    const auto before = ship.medium();
    ship.reads_as("medium/shaftlog.db");
    ship.is_not_written();
    CHECK(ship.medium() == before);
  }
  SECTION("with the journal of a program that was killed: what stands in it is read too") {
    ship.leave_journal({"", "-wal", "-shm"});
    const auto before = ship.medium();
    CHECK_THAT(ship.on_mount({"list"}).out, Contains("1250 h"));
    ship.reads_as("shaftlog.db");
    ship.is_not_written();
    CHECK(ship.medium() == before);
  }
  SECTION("with a journal whose shared memory is gone: nothing is read past it") {
    ship.leave_journal({"", "-wal"});
    const auto before = ship.medium();
    for (const char* command : {"list", "review", "check"}) {
      const Ran ran = ship.on_mount({command});
      CHECK(ran.code == 4);
      CHECK(ran.err ==
            "shaftlog: medium/shaftlog.db: its folder cannot be written and its last changes are still in "
            "shaftlog.db-wal; copy both files to a folder that can be written\n");
    }
    ship.is_not_written();
    CHECK(ship.medium() == before);
  }
}

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
