#include "reports/table.hpp"

#include <catch2/catch.hpp>

using namespace shaftlog;

TEST_CASE("table: columns are as wide as their widest cell, numbers stand right", "[reports][table]") {
  TextTable table{{{"ship"}, {"n", Align::right}, {"says"}}};
  table.add({"T-01", "7", "plain"});
  table.add({"Långnäs", "1200", "wide"});
  CHECK(table.text({80, false}) ==
        "ship        n  says\n"
        "T-01        7  plain\n"
        "Långnäs  1200  wide\n");
}

TEST_CASE("table: the last column is wrapped under itself and no line is wider than the terminal", "[reports][table]") {
  TextTable table{{{"a"}, {"b"}}};
  table.add({"x", "one two three four five six seven eight nine"});
  const std::string text = table.text({40, false}, 2);
  CHECK(text ==
        "  a  b\n"
        "  x  one two three four five six seven\n"
        "     eight nine\n");
}

TEST_CASE("table: a column with a bound is as wide as its widest cell up to it, what is wider runs over",
          "[reports][table]") {
  TextTable table{{{"by", Align::left, 5}, {"id"}}};
  table.add({"2/E", "7"});
  table.add({"a name of many words", "8"});
  CHECK(table.text({80, false}) ==
        "by     id\n"
        "2/E    7\n"
        "a name of many words  8\n");
}

TEST_CASE("table: a table without titles has no heading line", "[reports][table]") {
  TextTable table{{{""}, {""}}};
  table.add({"a", "b"});
  CHECK(table.text({80, false}) == "a  b\n");
}

TEST_CASE("table: colour only doubles the word and is left out where it is not wanted", "[reports][table]") {
  TextTable table{{{""}, {""}}};
  table.add({"ACT", "b"}, Urgency::act);
  CHECK(table.text({80, false}) == "ACT  b\n");
  CHECK(table.text({80, true}) == "\x1b[1;7mACT\x1b[0m  b\n");
}

TEST_CASE("wrapped: a word wider than the line stands alone, whole", "[reports][table]") {
  CHECK(wrapped("a abcdefghijkl b", 6) == "a\nabcdefghijkl\nb");
  CHECK(wrapped("one two", 80) == "one two");
  CHECK(wrapped("", 80).empty());
}

TEST_CASE("wrapped: later lines are indented, line ends are kept", "[reports][table]") {
  CHECK(wrapped("aa bb cc", 7, 2) == "aa bb\n  cc");
  CHECK(wrapped("aa\nbb", 80, 3) == "aa\n   bb");
}
