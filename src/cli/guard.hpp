#pragma once

#include "base/error.hpp"
#include "cli/console.hpp"

#include <functional>

namespace shaftlog {

// Exit codes; 2, 3 and 4 come from an Error's code.
constexpr int kDone = 0;
constexpr int kFound = 1;  ///< done, and there are findings, where a command says so
constexpr int kWrongUse = 2;
constexpr int kBadData = 3;
constexpr int kFileTrouble = 4;
constexpr int kOurFault = 70;  ///< EX_SOFTWARE of sysexits.h: a bug of ours

int exit_code(Errc code) noexcept;

/// Runs `command`, turns whatever it throws into one message on standard error and an exit code, and checks that
/// standard output was written before anything but a failure is answered.
int guarded(Console& console, const std::function<int()>& command);

}  // namespace shaftlog
