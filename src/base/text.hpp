#pragma once

#include <cstddef>
#include <optional>
#include <string>
#include <string_view>

namespace shaftlog {

/// Byte position of the first byte that is not valid UTF-8 (RFC 3629; no surrogates, no overlong forms) or is a NUL;
/// empty when all is well.
std::optional<std::size_t> find_bad_utf8(std::string_view text);

/// A value for an error message: at most `most` characters, control characters as \xNN, never broken inside a
/// character.
std::string shown(std::string_view text, std::size_t most = 60);

/// Columns a text takes on a terminal: code points, combining marks 0, East Asian wide 2.
std::size_t display_width(std::string_view text);

/// The candidates nearest to `word` (edit distance at most 2), for "did you mean".
std::optional<std::string_view> nearest_word(std::string_view word, const std::string_view* candidates, std::size_t n);

}  // namespace shaftlog
