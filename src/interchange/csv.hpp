#pragma once

#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace shaftlog {

/// Longest record (a line, or several where a quoted field spans them) that is read [bytes].
constexpr std::size_t kMostRecordBytes = std::size_t{1} << 20;
constexpr std::size_t kMostCsvColumns = 200;

/// Reads RFC 4180 text in pieces: memory does not grow with the file. The first row is the header; `;` is the delimiter
/// where the header says so. LF and CRLF, a UTF-8 byte-order mark, quoted fields that span lines. Empty rows are
/// skipped. A row that cannot be split into the header's columns is told as a fault and reading goes on at the next
/// line.
class CsvReader {
 public:
  enum class Got : std::uint8_t { row, fault, end };

  /// Opens the file and reads its header. \throws Error{not_found, io} for the file itself, Error{bad_data} for an
  /// empty file or a header that cannot be read; the message does not name the file
  explicit CsvReader(const std::filesystem::path& path);
  /// Reads from memory.
  static CsvReader of_text(std::string_view text);

  CsvReader(CsvReader&& other) noexcept;
  CsvReader& operator=(CsvReader&&) = delete;
  CsvReader(const CsvReader&) = delete;
  CsvReader& operator=(const CsvReader&) = delete;
  ~CsvReader();

  [[nodiscard]] std::span<const std::string> header() const noexcept { return header_; }
  [[nodiscard]] char delimiter() const noexcept { return delimiter_; }
  [[nodiscard]] std::uint64_t bytes_total() const noexcept { return bytes_total_; }
  [[nodiscard]] std::uint64_t bytes_done() const noexcept { return base_ + begin_; }

  Got next();
  /// Of the last row; valid until the next call of next().
  [[nodiscard]] std::span<const std::string_view> fields() const noexcept { return fields_; }
  /// Where the last row or fault began, from 1.
  [[nodiscard]] std::uint64_t line() const noexcept { return line_; }
  /// The last row or faulty line as it stands in the file, without its line end; empty when it is too long to hold.
  [[nodiscard]] std::string_view raw() const noexcept { return raw_; }
  /// What is wrong, after Got::fault.
  [[nodiscard]] const std::string& fault() const noexcept { return fault_; }

 private:
  enum class Scan : std::uint8_t { row, fault, more };

  CsvReader() = default;
  void read_header();
  bool fill();
  Got next_record();
  Scan scan();
  Scan refuse(std::size_t resume_from, std::string why);
  Scan refuse_bytes(std::size_t record_end);
  void finish(std::size_t record_end, std::size_t next);

  int fd_ = -1;
  bool at_end_ = false;  // nothing more to read into the buffer
  std::vector<char> buffer_;
  std::size_t begin_ = 0, end_ = 0;  // unread part of the buffer
  std::uint64_t base_ = 0;           // file position of buffer_[0]
  std::uint64_t bytes_total_ = 0;
  std::uint64_t line_ = 0, next_line_ = 1;
  char delimiter_ = ',';
  std::vector<std::string> header_;
  std::vector<std::string_view> fields_;
  std::size_t field_count_ = 0;  // may exceed fields_.size(): fields past the limit are only counted
  std::string scratch_;          // quoted fields that held "" are joined here; never grows while a row is read
  std::string_view raw_;
  std::string fault_;
};

/// Appends RFC 4180 rows with LF to a string; quotes only where needed.
class CsvWriter {
 public:
  explicit CsvWriter(std::string& out, char delimiter = ',') noexcept : out_{&out}, delimiter_{delimiter} {}
  void field(std::string_view text);
  void end_row();

 private:
  std::string* out_;
  char delimiter_;
  bool row_begun_ = false;
};

}  // namespace shaftlog
