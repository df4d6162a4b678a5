#include "base/error.hpp"
#include "fuzz_input.hpp"
#include "fuzz_register.hpp"
#include "interchange/log_folder.hpp"

#include <string>

using namespace shaftlog;

// The first byte names the file, the rest is its content. A record that is taken, written and read again is the same.
extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  static const RegisterIndex index{a_register()};
  if (size == 0) return 0;
  const Table table = table_at(data[0] % kTableCount);
  FieldOptions options;
  options.now = from_unix(1'790'000'000);
  std::vector<Fault> faults, warnings;
  try {
    LogFileReader reader{table, CsvReader::of_text(as_text(data + 1, size - 1))};
    options.is_decimal_comma = reader.is_decimal_comma();
    for (;;) {
      const auto got = reader.next();
      if (got == CsvReader::Got::end) break;
      if (got == CsvReader::Got::fault) continue;
      const Fields& f = reader.fields();
      switch (table) {
        case Table::vessels:
          (void)parse_vessel(f, options, faults, warnings);
          continue;
        case Table::greases:
          (void)parse_grease(f, options, faults);
          continue;
        case Table::guns:
          (void)parse_gun(f, index, options, faults);
          continue;
        case Table::lubricators:
          (void)parse_lubricator(f, index, options, faults);
          continue;
        case Table::shafts:
          (void)parse_shaft(f, index, options, faults);
          continue;
        case Table::feeds:
          (void)parse_feed(f, index, options, faults);
          continue;
        case Table::grease_evidence:
          (void)parse_grease_evidence(f, index, options, faults);
          continue;
        case Table::findings:
          (void)parse_finding_remark(f, index, options, faults);
          continue;
        case Table::verifications:
          (void)parse_verification(f, index, options, faults);
          continue;
        default:
          break;
      }
      auto record = parse_record(kind_of(table), f, index, options);
      must(record.entry.has_value() == record.faults.empty(), "a record, or faults");
      if (!record.entry) continue;
      std::string content, text, second;
      append_content(content, *record.entry, index);
      if (record.entry->head.id.is_nil()) record.entry->head.id = content_id(content, 0);
      LogTableWriter writer{table, index, text};
      writer.write(*record.entry);
      LogFileReader again{table, CsvReader::of_text(text)};
      must(again.next() == CsvReader::Got::row, "what was written can be read");
      FieldOptions plain = options;
      plain.is_decimal_comma = false;
      const auto same = parse_record(kind_of(table), again.fields(), index, plain);
      must(same.entry.has_value(), "and is taken");
      LogTableWriter{table, index, second}.write(*same.entry);
      must(text == second, "and is the same");
    }
  } catch (const Error&) {
  }
  return 0;
}
