#include "interchange/new_file.hpp"

#include "base/error.hpp"
#include "support/temp_db.hpp"

#include <fstream>
#include <iterator>

#include <catch2/catch.hpp>

using namespace shaftlog;
using namespace shaftlog::test;

namespace {

std::string text_of(const std::filesystem::path& file) {
  std::ifstream in{file, std::ios::binary};
  return {std::istreambuf_iterator<char>{in}, {}};
}

}  // namespace

TEST_CASE("new file: of two that are made under one name at once the second is refused", "[interchange][new_file]") {
  const TempDir dir;
  const auto file = dir / "x.pack";
  NewFile first{file};
  first.write("whole");
  try {
    const NewFile second{file};
    FAIL("was begun");
  } catch (const Error& e) {
    CHECK(e.code() == Errc::busy);
    CHECK(std::string{e.what()}.find("x.pack: another program is writing it") != std::string::npos);
  }
  first.sync();
  first.keep();
  CHECK(text_of(file) == "whole");
  NewFile third{file};  // free again; what is there stays until it is whole
  third.write("new");
  CHECK(text_of(file) == "whole");
  third.sync();
  third.keep();
  CHECK(text_of(file) == "new");
}

TEST_CASE("new file: what a killed program left of it is written over, and nothing stays of one that is given up",
          "[interchange][new_file]") {
  const TempDir dir;
  std::ofstream{dir / ".x.pack.part"} << "a longer half of an earlier one";
  {
    NewFile made{dir / "x.pack"};
    made.write("short");
    made.sync();
    made.keep();
  }
  CHECK(text_of(dir / "x.pack") == "short");
  { const NewFile given_up{dir / "y.pack"}; }
  CHECK(std::distance(std::filesystem::directory_iterator{dir.path()}, {}) == 1);
}
