#include "base/text.hpp"

#include "base/error.hpp"

#include <algorithm>
#include <cstdint>
#include <cwchar>
#include <iterator>
#include <vector>

#include <fmt/format.h>

namespace shaftlog {
namespace {

// Length of the valid UTF-8 character at text[i], 0 when there is none; its code point in `cp`.
std::size_t character_at(std::string_view text, std::size_t i, std::uint32_t& cp) {
  const auto byte = [&](std::size_t k) { return static_cast<std::uint8_t>(text[k]); };
  const std::uint8_t b = byte(i);
  if (b < 0x80) {
    cp = b;
    return 1;
  }
  std::size_t n = 0;
  std::uint32_t least = 0;
  if (b >= 0xC2 && b <= 0xDF) {
    n = 2, cp = b & 0x1F, least = 0x80;
  } else if (b >= 0xE0 && b <= 0xEF) {
    n = 3, cp = b & 0x0F, least = 0x800;
  } else if (b >= 0xF0 && b <= 0xF4) {
    n = 4, cp = b & 0x07, least = 0x10000;
  } else {
    return 0;
  }
  if (i + n > text.size()) return 0;
  for (std::size_t k = 1; k < n; ++k) {
    if ((byte(i + k) & 0xC0) != 0x80) return 0;
    cp = (cp << 6) | (byte(i + k) & 0x3F);
  }
  if (cp < least || cp > 0x10FFFF || (cp >= 0xD800 && cp <= 0xDFFF)) return 0;
  return n;
}

bool is_wide(std::uint32_t cp) {
  return (cp >= 0x1100 && cp <= 0x115F) || (cp >= 0x2E80 && cp <= 0xA4CF) || (cp >= 0xAC00 && cp <= 0xD7A3) ||
         (cp >= 0xF900 && cp <= 0xFAFF) || (cp >= 0xFE30 && cp <= 0xFE6F) || (cp >= 0xFF00 && cp <= 0xFF60) ||
         (cp >= 0x1F300 && cp <= 0x1F64F) || (cp >= 0x20000 && cp <= 0x3FFFD);
}

bool is_combining(std::uint32_t cp) {
  return (cp >= 0x0300 && cp <= 0x036F) || (cp >= 0x1AB0 && cp <= 0x1AFF) || (cp >= 0x20D0 && cp <= 0x20FF) ||
         (cp >= 0xFE20 && cp <= 0xFE2F) || cp == 0x200B || cp == 0x200D || cp == 0xFE0F;
}

/// Control characters beyond ASCII, and those that turn the direction of writing.
bool turns(std::uint32_t cp) {
  return (cp >= 0x80 && cp <= 0x9F) || cp == 0x061C || cp == 0x200E || cp == 0x200F || (cp >= 0x202A && cp <= 0x202E) ||
         (cp >= 0x2066 && cp <= 0x2069);
}

std::size_t edit_distance(std::string_view a, std::string_view b) {
  std::vector<std::size_t> row(b.size() + 1);
  for (std::size_t j = 0; j <= b.size(); ++j) row[j] = j;
  for (std::size_t i = 1; i <= a.size(); ++i) {
    std::size_t diagonal = row[0];
    row[0] = i;
    for (std::size_t j = 1; j <= b.size(); ++j) {
      const std::size_t up = row[j];
      row[j] = std::min({row[j] + 1, row[j - 1] + 1, diagonal + (a[i - 1] == b[j - 1] ? 0U : 1U)});
      diagonal = up;
    }
  }
  return row[b.size()];
}

}  // namespace

std::string lower_case(std::string_view text) {
  std::string out{text};
  for (char& c : out)
    if (c >= 'A' && c <= 'Z') c = static_cast<char>(c - 'A' + 'a');
  return out;
}

std::optional<std::size_t> find_bad_utf8(std::string_view text) {
  std::uint32_t cp = 0;
  for (std::size_t i = 0; i < text.size();) {
    const auto b = static_cast<std::uint8_t>(text[i]);
    if (b != 0 && b < 0x80) {
      ++i;
      continue;
    }
    const std::size_t n = b == 0 ? 0 : character_at(text, i, cp);
    if (n == 0) return i;
    i += n;
  }
  return std::nullopt;
}

std::string shown(std::string_view text, std::size_t most) {
  std::string out;
  std::size_t count = 0;
  std::uint32_t cp = 0;
  for (std::size_t i = 0; i < text.size(); ++count) {
    if (count == most) return out + "...";
    const std::size_t n = character_at(text, i, cp);
    if (n == 0 || cp < 0x20 || cp == 0x7F) {
      out += fmt::format("\\x{:02x}", static_cast<std::uint8_t>(text[i]));
      ++i;
    } else {
      out.append(text.substr(i, n));
      i += n;
    }
  }
  return out;
}

std::string objection_to_name(std::string_view name) {
  if (name.size() <= kMostInName) return {};
  std::size_t n = 0;
  std::uint32_t cp = 0;
  for (std::size_t i = 0; i < name.size(); ++n) i += std::max<std::size_t>(1, character_at(name, i, cp));
  if (n <= kMostInName) return {};
  return fmt::format("\"{}\" has {} characters; expected at most {}", shown(name, 20), n, kMostInName);
}

void require_name(std::string_view place, std::string_view name) {
  if (const std::string objection = objection_to_name(name); !objection.empty())
    throw Error{Errc::usage, fmt::format("{}: {}", place, objection)};
}

std::string on_screen(std::string_view text) {
  constexpr std::string_view kStyles[] = {"\x1b[0m", "\x1b[1m", "\x1b[2m", "\x1b[36m", "\x1b[1;7m", "\x1b[1;33m"};
  std::string out;
  out.reserve(text.size());
  std::uint32_t cp = 0;
  for (std::size_t i = 0; i < text.size();) {
    const std::string_view rest = text.substr(i);
    const auto style =
        std::find_if(std::begin(kStyles), std::end(kStyles), [&](std::string_view s) { return rest.starts_with(s); });
    if (style != std::end(kStyles)) {
      out += *style;
      i += style->size();
      continue;
    }
    const std::size_t n = character_at(text, i, cp);
    const bool is_bare = n == 0 || (cp < 0x20 && cp != '\n' && cp != '\t') || cp == 0x7F;
    if (is_bare)
      out += fmt::format("\\x{:02x}", static_cast<std::uint8_t>(text[i]));
    else if (turns(cp))
      out += fmt::format("\\u{:04x}", cp);
    else
      out.append(text.substr(i, n));
    i += is_bare ? 1 : n;
  }
  return out;
}

std::size_t display_width(std::string_view text) {
  std::size_t width = 0;
  std::uint32_t cp = 0;
  for (std::size_t i = 0; i < text.size();) {
    const std::size_t n = character_at(text, i, cp);
    if (n == 0) {
      ++width;
      ++i;
      continue;
    }
    width += is_combining(cp) ? 0U : is_wide(cp) ? 2U : 1U;
    i += n;
  }
  return width;
}

std::optional<std::string_view> nearest_word(std::string_view word, const std::string_view* candidates, std::size_t n) {
  std::optional<std::string_view> best;
  std::size_t best_distance = 3;
  const std::string small = lower_case(word);
  for (std::size_t i = 0; i < n; ++i) {
    if (candidates[i].size() > word.size() + 2 || word.size() > candidates[i].size() + 2) continue;
    const std::size_t d = edit_distance(small, lower_case(candidates[i]));
    // Of "ml" nothing is left when both letters are others.
    if (d < best_distance && d < std::max(word.size(), candidates[i].size())) {
      best_distance = d;
      best = candidates[i];
    }
  }
  return best;
}

std::string listed(std::span<const std::string> names) {
  std::string out;
  for (std::size_t i = 0; i < names.size(); ++i) {
    if (i > 0) out += i + 1 == names.size() ? " and " : ", ";
    out += names[i];
  }
  return out;
}

}  // namespace shaftlog
