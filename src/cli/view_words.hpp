#pragma once

#include "app/review.hpp"
#include "cli/command.hpp"

#include <optional>
#include <string>

namespace shaftlog {

/// The view that the commands about findings share: of when, of which ships, in which form.
struct ViewWords {
  std::optional<std::string> as_of, known, vessel, group, threads;
  bool json = false, csv = false, exit_code = false;

  /// --as-of, --known and what add_scope_to adds
  void add_to(Command& c);
  /// --vessel, --group, --threads, --json, --csv
  void add_scope_to(Command& c);
  /// \throws Error{usage}
  [[nodiscard]] ReviewRequest request() const;
  /// "fleet", "vessel T-01", "group alder"
  [[nodiscard]] std::string scope() const;
};

}  // namespace shaftlog
