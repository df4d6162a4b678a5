#pragma once

#include "reports/table.hpp"

#include <optional>
#include <string>
#include <string_view>

namespace shaftlog {

/// Where a command reads and writes: the program's own three streams, and what they are connected to.
class Console {
 public:
  Console();
  /// To standard output; kept back and written by flush(). A terminal gets it as on_screen (base/text.hpp).
  void out(std::string_view text);
  /// To standard error, at once; standard output first, so that the two read in order on one screen.
  void err(std::string_view text);
  /// One line from standard input without its end; empty at the end of the input.
  std::optional<std::string> read_line();
  /// A question that a person can see and answer: asks on standard error, reads from standard input.
  std::optional<std::string> ask(std::string_view question);

  [[nodiscard]] bool can_ask() const noexcept { return is_in_terminal_ && is_err_terminal_; }
  [[nodiscard]] bool shows_progress() const noexcept { return is_err_terminal_; }
  [[nodiscard]] TextStyle style() const noexcept { return style_; }
  /// \throws Error{io} when standard output cannot be written (a full disk, a closed pipe)
  void flush();

 private:
  std::string kept_;
  bool is_in_terminal_ = false, is_out_terminal_ = false, is_err_terminal_ = false;
  TextStyle style_;
};

}  // namespace shaftlog
