#include "cli/guard.hpp"

#include <new>

#include <fmt/format.h>

namespace shaftlog {

int exit_code(Errc code) noexcept {
  switch (code) {
    case Errc::usage:
      return kWrongUse;
    case Errc::not_found:
    case Errc::bad_data:
    case Errc::conflict:
      return kBadData;
    case Errc::busy:
    case Errc::damaged:
    case Errc::schema_too_new:
    case Errc::io:
      return kFileTrouble;
  }
  return kOurFault;
}

namespace {

int told(Console& console, const std::function<int()>& command) {
  const auto say = [&console](std::string_view what) { console.err(fmt::format("shaftlog: {}\n", what)); };
  try {
    return command();
  } catch (const Error& e) {
    say(e.what());
    return exit_code(e.code());
  } catch (const std::bad_alloc&) {
    say("out of memory");
    return kOurFault;
  } catch (const std::exception& e) {
    say(fmt::format("internal error: {}; please report it", e.what()));
    return kOurFault;
  }
}

}  // namespace

int guarded(Console& console, const std::function<int()>& command) {
  // The second time tells of an output that could not be written; by then nothing is kept back any more.
  return told(console, [&console, &command] {
    const int code = told(console, command);
    console.flush();
    return code;
  });
}

}  // namespace shaftlog
