// Sixteen programs that write to one file for a while: every record said to be kept is there once.
#include "base/error.hpp"
#include "support/damaged_log.hpp"

#include <chrono>
#include <fstream>
#include <sys/wait.h>
#include <unistd.h>

#include <catch2/catch.hpp>
#include <fmt/format.h>

using namespace shaftlog;
using namespace shaftlog::test;
namespace fs = std::filesystem;

namespace {

constexpr int kWriters = 16;

/// Adds records one by one, each opening the file anew every few, and writes down each that was kept with how long it
/// took; for a child process.
void write_records(const fs::path& file, const Entry& sample, int writer, const fs::path& kept) {
  using Steady = std::chrono::steady_clock;
  std::ofstream out{kept};
  const auto end = Steady::now() + std::chrono::seconds{SHAFTLOG_SECONDS};
  for (std::uint64_t n = 0; Steady::now() < end;) {
    Database db = Database::open(file, Database::Mode::read_write);
    LogRepository log{db};
    for (int i = 0; i < 10 && Steady::now() < end; ++i, ++n) {
      Entry e = sample;
      e.head.id = nth_id(static_cast<std::uint64_t>(writer + 1) * 1'000'000 + n);
      const auto began = Steady::now();
      bool is_kept = true;
      try {
        WriteTransaction transaction{db};
        log.add(e);
        transaction.commit();
      } catch (const Error& error) {
        if (error.code() != Errc::busy) throw;
        is_kept = false;
      }
      const auto took = std::chrono::duration_cast<std::chrono::milliseconds>(Steady::now() - began).count();
      out << (is_kept ? "kept " : "busy ") << format_uuid(e.head.id) << ' ' << took << '\n' << std::flush;
    }
  }
}

}  // namespace

TEST_CASE("writers: of sixteen at once every record said to be kept is there once", "[fault][writers]") {
  TempDb t;
  const Entry sample = t.entry(Kind::greasing, 1, 5);
  const fs::path file = t.dir / "shared.db";  // which this process has not open: a connection does not outlive a fork
  backup(t.db, file);
  std::vector<pid_t> children;
  for (int writer = 0; writer < kWriters; ++writer) {
    const pid_t child = ::fork();
    REQUIRE(child >= 0);
    if (child == 0) {
      try {
        write_records(file, sample, writer, t.dir / fmt::format("kept{}", writer));
      } catch (...) {
        ::_exit(1);
      }
      ::_exit(0);
    }
    children.push_back(child);
  }
  for (const pid_t child : children) {
    int status = 0;
    REQUIRE(::waitpid(child, &status, 0) == child);
    REQUIRE(WIFEXITED(status));
    CHECK(WEXITSTATUS(status) == 0);
  }
  std::vector<std::string> kept;
  std::int64_t longest_ms = 0, busy = 0;
  std::size_t fewest = SIZE_MAX;
  for (int writer = 0; writer < kWriters; ++writer) {
    std::ifstream in{t.dir / fmt::format("kept{}", writer)};
    std::string how, id;
    std::int64_t took_ms = 0;
    const std::size_t before = kept.size();
    while (in >> how >> id >> took_ms) {
      longest_ms = std::max(longest_ms, took_ms);
      if (how == "kept") kept.push_back(id);
      busy += how == "busy";
    }
    fewest = std::min(fewest, kept.size() - before);
  }
  std::vector<std::string> there;
  Database db = Database::open(file, Database::Mode::read_only);
  Query row{db, "SELECT uuid FROM entry"};
  while (row.step()) there.push_back(format_uuid(row.uuid(0)));
  std::sort(kept.begin(), kept.end());
  std::sort(there.begin(), there.end());
  CHECK(kept == there);
  CHECK(check(db).faults == std::vector<std::string>{});
  CHECK(kept.size() > kWriters);
  WARN(kWriters << " writers, " << SHAFTLOG_SECONDS << " s: " << kept.size() << " records kept, " << busy
                << " told that the file is busy; longest wait " << longest_ms << " ms; fewest by one writer "
                << fewest);
}
