#include "base/text.hpp"

#include <array>

#include <catch2/catch.hpp>

using namespace shaftlog;

TEST_CASE("text: the first byte that is not UTF-8 is found", "[base][text]") {
  CHECK_FALSE(find_bad_utf8("plain").has_value());
  CHECK_FALSE(find_bad_utf8("gr\xC3\xA9"
                            "ement \xE6\xB2\xB9 \xF0\x9F\x9A\xA2")
                  .has_value());
  CHECK(find_bad_utf8("ab\xFF") == 2U);
  CHECK(find_bad_utf8(std::string_view{"a\0b", 3}) == 1U);
  CHECK(find_bad_utf8("\xC0\xAF") == 0U);          // overlong
  CHECK(find_bad_utf8("x\xED\xA0\x80") == 1U);     // surrogate
  CHECK(find_bad_utf8("abc\xE2\x82") == 3U);       // cut short
  CHECK(find_bad_utf8("\xF4\x90\x80\x80") == 0U);  // beyond U+10FFFF
}

TEST_CASE("text: a value is shown short and without control characters", "[base][text]") {
  CHECK(shown("25o") == "25o");
  CHECK(shown("a\x1B[31m") == "a\\x1b[31m");
  CHECK(shown("\xFFz") == "\\xffz");
  CHECK(shown("abcdef", 3) == "abc...");
}

TEST_CASE("text: names are told one after the other", "[base][text]") {
  using Names = std::vector<std::string>;
  CHECK(listed(Names{}).empty());
  CHECK(listed(Names{"fin_port"}) == "fin_port");
  CHECK(listed(Names{"fin_port", "rudder"}) == "fin_port and rudder");
  CHECK(listed(Names{"fin_port", "fin_stbd", "rudder"}) == "fin_port, fin_stbd and rudder");
}

TEST_CASE("text: a name has at most 100 characters, whatever their bytes", "[base][text]") {
  const auto times = [](std::size_t n, std::string_view c) {
    std::string out;
    for (std::size_t i = 0; i < n; ++i) out += c;
    return out;
  };
  CHECK(objection_to_name("").empty());
  CHECK(objection_to_name(times(100, "x")).empty());
  CHECK(objection_to_name(times(100, "\xE6\xB2\xB9")).empty());
  CHECK(objection_to_name(times(101, "x")) == "\"xxxxxxxxxxxxxxxxxxxx...\" has 101 characters; expected at most 100");
  CHECK_THAT(objection_to_name(times(101, "\xE6\xB2\xB9")), Catch::Matchers::Contains("has 101 characters"));
  CHECK_NOTHROW(require_name("by", "2/E"));
  CHECK_THROWS_WITH(require_name("by", times(5000, "x")), Catch::Matchers::StartsWith("by: \"xxx"));
}

TEST_CASE("text: a terminal gets nothing that it would obey but the styles of the reports", "[base][text]") {
  CHECK(on_screen("2/E \xC3\x85se\n") == "2/E \xC3\x85se\n");
  CHECK(on_screen("\x1b[1mhead\x1b[0m") == "\x1b[1mhead\x1b[0m");
  CHECK(on_screen("a\x1b[8mb\x1b]0;t\x07") == "a\\x1b[8mb\\x1b]0;t\\x07");
  CHECK(on_screen("E/2\xE2\x80\xAE") == "E/2\\u202e");
  CHECK(on_screen("\xC2\x9B"
                  "1m\xFF") == "\\u009b1m\\xff");
}

TEST_CASE("text: width counts columns, not bytes", "[base][text]") {
  CHECK(display_width("abc") == 3);
  CHECK(display_width("cm\xC2\xB3") == 3);
  CHECK(display_width("\xE6\xB2\xB9") == 2);
  CHECK(display_width("e\xCC\x81") == 1);
}

TEST_CASE("text: a near word is found, a far one is not", "[base][text]") {
  constexpr std::array<std::string_view, 3> kWords{"pressure", "limit", "stopped"};
  CHECK(nearest_word("presure", kWords.data(), kWords.size()) == "pressure");
  CHECK_FALSE(nearest_word("grease", kWords.data(), kWords.size()).has_value());
  constexpr std::array<std::string_view, 5> kUnits{"ml", "l", "g", "kg", "strokes"};
  CHECK(nearest_word("KG", kUnits.data(), kUnits.size()) == "kg");
  CHECK_FALSE(nearest_word("t", kUnits.data(), kUnits.size()).has_value());
  CHECK_FALSE(nearest_word("oz", kUnits.data(), kUnits.size()).has_value());
}
