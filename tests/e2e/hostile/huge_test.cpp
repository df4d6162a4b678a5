// A line of a gigabyte: refused, and never held in memory.
#include "ship.hpp"

#include <algorithm>

#include <catch2/catch.hpp>

using namespace shaftlog::test;

TEST_CASE("a line of a gigabyte is passed over in little memory", "[e2e][hostile]") {
  const Ship ship;
  std::filesystem::create_directory(ship.path("in"));
  {
    std::ofstream out{ship.path("in/hours.csv"), std::ios::binary};
    out << "vessel,shaft,at,meter_h\nT-01,fin_port,2026-03-01,";
    const std::string piece(std::size_t{1} << 20, '7');
    for (int i = 0; i < 1024; ++i) out << piece;
    out << "\nT-01,fin_prt,2026-03-02,3\n";
    if (!out) {
      WARN("not asked: there is no room for a file of a gigabyte");
      return;
    }
  }
  // Address space, which the libraries and the threads' stacks count in: a gigabyte cannot be in it.
  const Ran ran = run_program_file("/bin/sh", {"-c", address_limit(500000) + "exec \"$0\" import in", SHAFTLOG_BINARY},
                                   ship.aboard.dir.path());
  INFO(ran.err);
  CHECK(ran.code == 3);
  CHECK(ran.err.find("hours.csv line 2: the line is longer than 1048576 bytes") != std::string::npos);
  CHECK(ran.err.find("hours.csv line 3, shaft: \"fin_prt\"") != std::string::npos);  // reading went on behind it
  struct rusage usage {};
  REQUIRE(getrusage(RUSAGE_CHILDREN, &usage) == 0);
  if (!kIsSanitized) CHECK(usage.ru_maxrss < 100 * 1024);  // [KiB] most of any child, getrusage(2)
  CHECK(ship.is_untouched());
}
