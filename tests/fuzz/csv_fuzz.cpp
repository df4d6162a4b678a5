#include "base/error.hpp"
#include "base/text.hpp"
#include "fuzz_input.hpp"
#include "interchange/csv.hpp"

#include <string>
#include <vector>

using namespace shaftlog;

// Whatever the bytes: rows have the header's width and are UTF-8, lines rise, and rows written again read the same.
extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  try {
    auto reader = CsvReader::of_text(as_text(data, size));
    std::string again;
    CsvWriter writer{again};
    const auto write = [&](const auto& fields) {
      for (const auto& f : fields) writer.field(f);
      writer.end_row();
    };
    // A header of our own: the input's may hold anything.
    std::vector<std::string> names;
    for (std::size_t i = 0; i < reader.header().size(); ++i) names.push_back("h" + std::to_string(i));
    if (names.size() == 1) names.push_back("h1");
    write(names);
    std::vector<std::vector<std::string>> rows;
    std::uint64_t last = 0;
    for (;;) {
      const auto got = reader.next();
      if (got == CsvReader::Got::end) break;
      must(reader.line() > last, "lines rise");
      last = reader.line();
      if (got == CsvReader::Got::fault) {
        must(!reader.fault().empty(), "a fault says something");
        continue;
      }
      must(reader.fields().size() == reader.header().size(), "a row is as wide as the header");
      for (const auto& f : reader.fields()) must(!find_bad_utf8(f), "fields are UTF-8");
      auto& row = rows.emplace_back(reader.fields().begin(), reader.fields().end());
      if (reader.header().size() == 1) row.emplace_back();
      write(row);
    }
    auto second = CsvReader::of_text(again);
    for (const auto& row : rows) {
      must(second.next() == CsvReader::Got::row, "what was written can be read");
      must(std::vector<std::string>(second.fields().begin(), second.fields().end()) == row, "and is the same");
    }
    must(second.next() == CsvReader::Got::end, "and nothing more");
  } catch (const Error&) {
  }
  return 0;
}
