#pragma once

#include "app/review.hpp"
#include "cli/command.hpp"

#include <initializer_list>
#include <optional>
#include <string>
#include <string_view>

namespace shaftlog {

/// The end of a file's name in small letters, "pdf". \param ends those there are, without the point
/// \throws Error{usage} another end, or none
std::string file_end(std::string_view file, std::initializer_list<std::string_view> ends);

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
