#pragma once

#include "interchange/csv.hpp"
#include "interchange/fields.hpp"
#include "interchange/tables.hpp"

#include <cstdint>
#include <filesystem>
#include <string>
#include <vector>

namespace shaftlog {

struct LogFile {
  Table table;
  std::filesystem::path path;
  [[nodiscard]] std::string name() const { return path.filename().string(); }
};

/// The files of a log folder in the order in which they are to be read. A CSV file with a name that is not one of
/// theirs is a fault (with the name that was probably meant); other files and hidden ones are left alone.
/// \throws Error{not_found} no such folder, or none of the files in it; Error{bad_data} a file instead of a folder;
/// Error{io} no permission
std::vector<LogFile> find_log_files(const std::filesystem::path& folder, std::vector<Fault>& faults);
/// Single files, known by their names; sorted into reading order. \throws Error{not_found, bad_data}
std::vector<LogFile> as_log_files(const std::vector<std::filesystem::path>& files);

/// Rows of one file by column.
class LogFileReader {
 public:
  /// \throws Error as CsvReader does, and Error{bad_data} for a header with unknown, missing or repeated columns; the
  /// message does not name the file
  explicit LogFileReader(const LogFile& file);
  LogFileReader(Table table, CsvReader csv);

  CsvReader::Got next();
  [[nodiscard]] const Fields& fields() const noexcept { return fields_; }
  [[nodiscard]] const CsvReader& csv() const noexcept { return csv_; }
  [[nodiscard]] bool is_decimal_comma() const noexcept { return csv_.delimiter() == ';'; }

 private:
  void map_header(Table table);
  CsvReader csv_;
  std::vector<Column> columns_;
  Fields fields_;
};

/// Writes rows of one table with all its columns. What LogFileReader and parse_record read from it is equal.
class LogTableWriter {
 public:
  /// Appends to `out`, the header first. `index` and `out` must outlive the writer.
  LogTableWriter(Table table, const RegisterIndex& index, std::string& out);

  void write(const Entry& entry);
  void write(const Vessel& vessel);
  void write(const Grease& grease);
  void write(const Gun& gun);                ///< a row a calibration
  void write(const Lubricator& lubricator);  ///< a row a setting
  void write(const Shaft& shaft);            ///< a row a setting
  void write(const Feed& feed);
  void write(const GreaseEvidence& evidence);
  void write(const FindingRemark& remark);
  void write(const Verification& verification);
  [[nodiscard]] std::uint64_t rows() const noexcept { return rows_; }

 private:
  void put(Column c, std::string text);
  void end_row();

  const RegisterIndex* index_;
  CsvWriter csv_;
  std::vector<Column> columns_;
  std::vector<std::string> values_;  // by position in columns_
  std::uint64_t rows_ = 0;
};

}  // namespace shaftlog
