#pragma once

#include <cstddef>
#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

namespace shaftlog {

// The metres of text: charts and pages are laid out with the widths of DejaVu Sans, which the PDF embeds. A page in a
// browser may use a narrower face, so nothing that fits here overlaps there.

/// Width of UTF-8 `text` in one line [same unit as `size`].
double text_width(std::string_view text, double size, bool is_strong = false);

/// Lines no wider than `width`, broken at blanks and new lines; a word wider than that is cut. At least one line.
std::vector<std::string> broken_into_lines(std::string_view text, double width, double size, bool is_strong = false);

/// The code point at byte `i` of UTF-8 `text`, `i` moved behind it; U+FFFD for a byte that is none.
std::uint32_t next_code_point(std::string_view text, std::size_t& i);

}  // namespace shaftlog
