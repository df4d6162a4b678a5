#include "cli/console.hpp"

#include "base/error.hpp"
#include "base/text.hpp"

#include <algorithm>
#include <cerrno>
#include <charconv>
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <sys/ioctl.h>
#include <unistd.h>

namespace shaftlog {

namespace {

constexpr int kDefaultWidth = 100;
constexpr int kLeastWidth = 40;
constexpr int kMostWidth = 400;
constexpr std::size_t kKeepBytes = std::size_t{1} << 16;

std::string_view environment(const char* name) {
  const char* value = std::getenv(name);
  return value == nullptr ? std::string_view{} : std::string_view{value};
}

/// COLUMNS where it is set, else what the terminal says, else 100.
int width_of(int fd) {
  const std::string_view columns = environment("COLUMNS");
  int width = 0;
  const auto [end, fault] = std::from_chars(columns.data(), columns.data() + columns.size(), width);
  if (fault != std::errc{} || end != columns.data() + columns.size() || width <= 0) {
    winsize size{};
    width = ::isatty(fd) == 1 && ::ioctl(fd, TIOCGWINSZ, &size) == 0 && size.ws_col > 0 ? size.ws_col : kDefaultWidth;
  }
  return std::clamp(width, kLeastWidth, kMostWidth);
}

/// no-color.org: any value of NO_COLOR that is not empty turns colour off.
bool has_colour(int fd) {
  return ::isatty(fd) == 1 && environment("NO_COLOR").empty() && environment("TERM") != "dumb";
}

void write_all(int fd, std::string_view text) {
  while (!text.empty()) {
    const ssize_t n = ::write(fd, text.data(), text.size());
    if (n < 0 && errno == EINTR) continue;
    if (n < 0) throw Error{Errc::io, std::string{"standard output cannot be written: "} + std::strerror(errno)};
    text.remove_prefix(static_cast<std::size_t>(n));
  }
}

}  // namespace

Console::Console()
    : is_in_terminal_{::isatty(STDIN_FILENO) == 1},
      is_out_terminal_{::isatty(STDOUT_FILENO) == 1},
      is_err_terminal_{::isatty(STDERR_FILENO) == 1},
      style_{width_of(STDOUT_FILENO), has_colour(STDOUT_FILENO)} {}

void Console::out(std::string_view text) {
  if (is_out_terminal_)
    kept_ += on_screen(text);
  else
    kept_ += text;
  if (kept_.size() >= kKeepBytes) flush();
}

void Console::err(std::string_view said) {
  flush();
  const std::string shown = is_err_terminal_ ? on_screen(said) : std::string{said};
  std::string_view text = shown;
  // Where even this cannot be written there is nobody to tell.
  while (!text.empty()) {
    const ssize_t n = ::write(STDERR_FILENO, text.data(), text.size());
    if (n < 0 && errno == EINTR) continue;
    if (n < 0) return;
    text.remove_prefix(static_cast<std::size_t>(n));
  }
}

std::optional<std::string> Console::read_line() {
  std::string line;
  for (;;) {
    const int c = std::getchar();
    if (c == EOF) {
      if (line.empty()) return std::nullopt;
      break;
    }
    if (c == '\n') break;
    line += static_cast<char>(c);
  }
  if (!line.empty() && line.back() == '\r') line.pop_back();
  return line;
}

std::optional<std::string> Console::ask(std::string_view question) {
  err(question);
  return read_line();
}

void Console::flush() {
  const std::string text = std::move(kept_);
  kept_.clear();
  write_all(STDOUT_FILENO, text);
}

}  // namespace shaftlog
