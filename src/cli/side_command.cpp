#include "app/maintenance.hpp"
#include "app/side.hpp"
#include "base/error.hpp"
#include "base/text.hpp"
#include "cli/guard.hpp"
#include "cli/program.hpp"

#include <fmt/format.h>

namespace shaftlog {
namespace {

std::string_view told(Side side) noexcept {
  switch (side) {
    case Side::both:
      return "not told apart: what was written in any file can be corrected here";
    case Side::ship:
      return "a ship's file: when others correct what was first written here, unpack tells it";
    case Side::office:
      return "an office's file: what was first written in another file is corrected there, not here";
  }
  return "";
}

struct SideWords {
  std::optional<std::string> side, by;
};

}  // namespace

void add_side_command(Command& root, const Surroundings& around) {
  Command& c = root.add("side", "whose file this is, and with that who may correct what");
  const auto words = std::make_shared<SideWords>();
  c.argument("SIDE", words->side,
             "ship, office or both (not told apart; so too when nothing was said); else it is shown", false);
  c.option("--by", "WHO", words->by, "who says so; else SHAFTLOG_BY or the login name");
  c.more = "A ship's entries are the ship's: the office comments on findings, and asks aboard for a correction.";
  c.run = [&around, words](Console& console) {
    if (!words->side) {
      Database db = open_to_read(around.database());
      console.out(fmt::format("{}\n", told(side_of(db))));
      return kDone;
    }
    const auto side = parse_side(*words->side);
    if (!side) {
      throw Error{Errc::usage,
                  fmt::format("\"{}\" is not known; expected one of ship, office, both", shown(*words->side))};
    }
    Database db = open_to_write(around.database());
    say_side(db, around.clock, *side, Surroundings::by(words->by));
    console.out(fmt::format("{}\n", told(*side)));
    return kDone;
  };
}

}  // namespace shaftlog
