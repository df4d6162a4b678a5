#pragma once

#include <cstddef>
#include <optional>
#include <span>
#include <string>
#include <string_view>

namespace shaftlog {

/// Byte position of the first byte that is not valid UTF-8 (RFC 3629; no surrogates, no overlong forms) or is a NUL;
/// empty when all is well.
std::optional<std::size_t> find_bad_utf8(std::string_view text);

/// A value for an error message: at most `most` characters, control characters as \xNN, never broken inside a
/// character.
std::string shown(std::string_view text, std::size_t most = 60);

/// The most characters of the name of a person, a ship or a thing, and of a code. Common practice, no source; what was
/// kept before there was a limit stays as it is.
constexpr std::size_t kMostInName = 100;
/// What is wrong with a new name: "\"fin_po...\" has 5000 characters; expected at most 100"; empty when nothing is.
std::string objection_to_name(std::string_view name);
/// \throws Error{usage} "by: ..." where there is an objection
void require_name(std::string_view place, std::string_view name);

/// For a terminal, which obeys what it is shown: control characters but line end and tabulator, and those that turn the
/// direction of writing (Unicode bidirectional formatting), as \xNN and \uNNNN. The six styles of the reports' own
/// (ECMA-48 8.3.117) stay.
std::string on_screen(std::string_view text);

/// Columns a text takes on a terminal: code points, combining marks 0, East Asian wide 2.
std::size_t display_width(std::string_view text);

/// "a", "a and b", "a, b and c".
std::string listed(std::span<const std::string> names);

/// A to Z as a to z; all other bytes as they are.
std::string lower_case(std::string_view text);

/// The candidates nearest to `word` (edit distance at most 2), for "did you mean".
std::optional<std::string_view> nearest_word(std::string_view word, const std::string_view* candidates, std::size_t n);

}  // namespace shaftlog
