#include "interchange/csv.hpp"

#include "base/error.hpp"
#include "support/temp_db.hpp"

#include <filesystem>
#include <fstream>
#include <string>
#include <vector>

#include <catch2/catch.hpp>

using namespace shaftlog;
using Got = CsvReader::Got;

namespace {

using Row = std::vector<std::string>;

Row row_of(const CsvReader& r) { return {r.fields().begin(), r.fields().end()}; }

/// All rows and faults ("line N: ...") in order.
std::vector<Row> read_all(CsvReader r) {
  std::vector<Row> out;
  for (;;) {
    switch (r.next()) {
      case Got::end:
        return out;
      case Got::row:
        out.push_back(row_of(r));
        break;
      case Got::fault:
        out.push_back({"line " + std::to_string(r.line()) + ": " + r.fault()});
        break;
    }
  }
}
std::vector<Row> read_all(std::string_view text) { return read_all(CsvReader::of_text(text)); }

std::string refusal_of(std::string_view text) {
  try {
    CsvReader::of_text(text);
  } catch (const Error& e) {
    CHECK(e.code() == Errc::bad_data);
    return e.what();
  }
  return "taken";
}

std::filesystem::path file_with(const test::TempDir& dir, std::string_view text) {
  const auto path = dir / "x.csv";
  std::ofstream{path, std::ios::binary} << text;
  return path;
}

}  // namespace

TEST_CASE("csv: fields, quotes, doubled quotes and quoted line ends (RFC 4180 section 2)", "[interchange][csv]") {
  CHECK(read_all("a,b,c\r\n1,\"x, \"\"y\"\"\",\r\n\"two\r\nlines\",,3") ==
        std::vector<Row>{{"1", "x, \"y\"", ""}, {"two\r\nlines", "", "3"}});
  CHECK(read_all("a,b\n\"\",\"\"\"\"\n") == std::vector<Row>{{"", "\""}});
}

TEST_CASE("csv: a byte-order mark is read over and a header of semicolons sets the delimiter", "[interchange][csv]") {
  auto r = CsvReader::of_text("\xEF\xBB\xBFvessel;shaft\nT-01;a,b\n");
  CHECK(r.delimiter() == ';');
  CHECK(r.header()[0] == "vessel");
  REQUIRE(r.next() == Got::row);
  CHECK(row_of(r) == Row{"T-01", "a,b"});
  CHECK(r.next() == Got::end);
  CHECK(r.next() == Got::end);
}

TEST_CASE("csv: line numbers count the lines inside quotes and empty lines", "[interchange][csv]") {
  auto r = CsvReader::of_text("a,b\n\n\"1\n2\n3\",x\r\n\r\n,\n4,5\n");
  REQUIRE(r.next() == Got::row);
  CHECK(r.line() == 3);
  REQUIRE(r.next() == Got::row);
  CHECK(row_of(r) == Row{"4", "5"});
  CHECK(r.line() == 8);
  CHECK(r.raw() == "4,5");
}

TEST_CASE("csv: a faulty line is told with its number and reading goes on behind it", "[interchange][csv]") {
  const auto rows = read_all("a,b\n1,2\n3\n4,5,6\n7,x\"y\n8,\"z\"z\n9,q\rq\n10,11\n");
  REQUIRE(rows.size() == 7);
  CHECK(rows[1][0] == "line 3: the line has 1 fields; expected 2 as in the header");
  CHECK(rows[2][0] == "line 4: the line has 3 fields; expected 2 as in the header");
  CHECK(rows[3][0] == "line 5: field 2 has a quote inside but is not quoted as a whole");
  CHECK(rows[4][0] ==
        "line 6: there is text behind the closing quote of field 2; a quote inside a quoted field is written twice");
  CHECK(rows[5][0] == "line 7: field 2 holds a carriage return; expected lines that end in LF or CRLF");
  CHECK(rows[6] == Row{"10", "11"});
}

TEST_CASE("csv: an open quote is told with the line where it began and costs one line", "[interchange][csv]") {
  const auto rows = read_all("a,b\n1,2\n3,\"open\n4,5\n6,7\n");
  REQUIRE(rows.size() == 4);
  CHECK(rows[1][0] == "line 3: the quote that begins in line 3 is not closed");
  CHECK(rows[2] == Row{"4", "5"});
  CHECK(rows[3] == Row{"6", "7"});
}

TEST_CASE("csv: what is not UTF-8 is told with the byte's position in file and line", "[interchange][csv]") {
  const auto rows = read_all("a,b\n1,caf\xE9\n2,caf\xC3\xA9\n" + std::string{"3,x\0y\n", 6});
  REQUIRE(rows.size() == 3);
  CHECK(rows[0][0] == "line 2: byte 10 of the file (byte 6 of the line, 0xE9) is not UTF-8 text");
  CHECK(rows[1] == Row{"2", "caf\xC3\xA9"});
  CHECK(rows[2][0] == "line 4: byte 23 of the file (byte 4 of the line) is NUL; expected text");
}

TEST_CASE("csv: no byte that is not UTF-8 slips through, wherever it stands", "[interchange][csv]") {
  for (int byte = 0x80; byte <= 0xFF; ++byte) {
    for (std::size_t length = 0; length < 12; ++length) {
      const auto rows = read_all("a,b\n" + std::string(length, 'x') + static_cast<char>(byte) + ",\n");
      REQUIRE(rows.size() == 1);
      CHECK(rows[0][0].ends_with("is not UTF-8 text"));
    }
  }
}

TEST_CASE("csv: a header that cannot be read is refused in one sentence", "[interchange][csv]") {
  CHECK(refusal_of("") == "is empty; expected a header line with the names of the columns");
  CHECK(refusal_of("\n\n") == "holds no line; expected a header line with the names of the columns");
  CHECK(refusal_of("\xFF\xFEv\0") == "is UTF-16 text; expected UTF-8 (save it again as \"CSV UTF-8\")");
  CHECK(refusal_of(std::string_view{"v\0e\0s\0", 6}) ==
        "is UTF-16 text; expected UTF-8 (save it again as \"CSV UTF-8\")");
  CHECK(refusal_of("vessel\tshaft\n") == "line 1: the columns are parted by tabs; expected \",\" or \";\"");
  CHECK(refusal_of("a,\"b\n") == "line 1: the quote that begins in line 1 is not closed");
  CHECK(refusal_of(std::string(10'000'000, ',')) == "line 1: the line is longer than 1048576 bytes; expected a record");
  CHECK(refusal_of(std::string(500, ',')) == "line 1: the line has 501 columns; expected at most 200");
  CHECK(refusal_of("a,b\n") == "taken");
}

TEST_CASE("csv: a row of too many columns or too many bytes is a fault of that line only", "[interchange][csv]") {
  const auto rows = read_all("a,b\n" + std::string(300, ',') + "x\n" + std::string(2'000'000, 'x') + ",1\n1,\"" +
                             std::string(1'500'000, 'y') + "\n3,4\n");
  REQUIRE(rows.size() == 4);
  CHECK(rows[0][0] == "line 2: the line has 301 columns; expected at most 200");
  CHECK(rows[1][0] == "line 3: the line is longer than 1048576 bytes; expected a record");
  CHECK(rows[2][0] == "line 4: the quote that begins in line 4 is not closed");
  CHECK(rows[3] == Row{"3", "4"});
}

TEST_CASE("csv: a file is read in pieces with the same rows and lines as from memory", "[interchange][csv]") {
  std::string text = "a,b\r\n";
  for (int i = 0; i < 60'000; ++i) {
    text += std::to_string(i) + ",\"" + std::string(static_cast<std::size_t>(i % 97), 'q') + "\"\"\r\n\"\r\n";
    if (i % 7'000 == 6'999) text += std::string(1'100'000 + static_cast<std::size_t>(i), 'z') + "\r\n";
    if (i % 9'000 == 8'999) text += "bad \"quote\r\n";
  }
  const test::TempDir dir;
  CHECK(text.size() > 12'000'000);
  const auto from_file = read_all(CsvReader{file_with(dir, text)});
  CHECK(from_file.size() == 60'000 + 8 + 6);
  CHECK(from_file == read_all(text));
}

TEST_CASE("csv: a file cut at any byte gives rows and at most one fault, never more", "[interchange][csv]") {
  const std::string text = "a,b\n1,\"x\"\"\n\"\r\n2,\xC3\xA9\n";
  for (std::size_t n = 4; n <= text.size(); ++n) {
    std::size_t faults = 0;
    for (const Row& r : read_all(std::string_view{text}.substr(0, n))) faults += r[0].starts_with("line ") ? 1U : 0U;
    CHECK(faults <= 2);  // an open quote leaves a second, short line behind
  }
}

TEST_CASE("csv: what is no readable file is refused", "[interchange][csv]") {
  const test::TempDir dir;
  const auto why = [](const std::filesystem::path& path) -> std::string {
    try {
      const CsvReader r{path};
    } catch (const Error& e) {
      return e.what();
    }
    return "taken";
  };
  CHECK(why(dir / "none.csv") == "does not exist");
  CHECK(why(dir.path()) == "is a folder; expected a CSV file");
}

TEST_CASE("csv: the writer quotes only where needed and what it wrote reads back", "[interchange][csv]") {
  std::string out;
  CsvWriter w{out};
  const Row values{"plain", " a ", "x,y", "he said \"no\"", "two\nlines", "cr\rcr", "", "semi;colon", "\xE2\x98\x83"};
  for (std::size_t i = 0; i < values.size(); ++i) w.field("h" + std::to_string(i));
  w.end_row();
  const std::size_t header = out.size();
  for (const std::string& v : values) w.field(v);
  w.end_row();
  CHECK(out.substr(header) ==
        "plain, a ,\"x,y\",\"he said \"\"no\"\"\",\"two\nlines\",\"cr\rcr\",,semi;colon,\xE2\x98\x83\n");
  CHECK(read_all(out) == std::vector<Row>{values});
}
