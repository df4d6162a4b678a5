#include "interchange/csv.hpp"

#include "base/error.hpp"
#include "base/text.hpp"

#include <algorithm>
#include <array>
#include <bit>
#include <cerrno>
#include <cstring>
#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>
#include <utility>

#include <fmt/format.h>

namespace shaftlog {
namespace {

constexpr std::size_t kBufferBytes = 2 * kMostRecordBytes;

/// True when every byte is 1..127; eight bytes at a time, for nearly every row is plain ASCII.
bool is_plain_ascii(const char* p, std::size_t n) noexcept {
  constexpr std::uint64_t kHigh = 0x8080808080808080U, kOnes = 0x0101010101010101U;
  std::uint64_t bad = 0;
  for (; n >= 8; p += 8, n -= 8) {
    std::uint64_t w = 0;
    std::memcpy(&w, p, 8);
    bad |= (w | (w - kOnes)) & kHigh;  // a zero byte borrows into the high bit; a false alarm only costs a closer look
  }
  for (; n > 0; ++p, --n) {
    const auto byte = static_cast<unsigned char>(*p);
    bad |= (byte | (byte - 1U)) & 0x80U;
  }
  return bad == 0;
}

constexpr std::string_view kUtf16 = "is UTF-16 text; expected UTF-8 (save it again as \"CSV UTF-8\")";

std::array<bool, 256> stops_of(char delimiter) {
  std::array<bool, 256> stops{};
  for (const char c : {delimiter, '\n', '\r', '"'}) stops[static_cast<unsigned char>(c)] = true;
  return stops;
}
const std::array<bool, 256> kCommaStops = stops_of(','), kSemicolonStops = stops_of(';');

}  // namespace

CsvReader::CsvReader(const std::filesystem::path& path) {
  fd_ = ::open(path.c_str(), O_RDONLY | O_CLOEXEC);
  if (fd_ < 0) {
    const int why = errno;
    throw Error{why == ENOENT ? Errc::not_found : Errc::io,
                why == ENOENT   ? "does not exist"
                : why == EACCES ? "cannot be read: no permission"
                                : fmt::format("cannot be opened: {}", std::strerror(why))};
  }
  try {
    struct ::stat info {};
    if (::fstat(fd_, &info) != 0) throw Error{Errc::io, fmt::format("cannot be read: {}", std::strerror(errno))};
    if (S_ISDIR(info.st_mode)) throw Error{Errc::bad_data, "is a folder; expected a CSV file"};
    bytes_total_ = S_ISREG(info.st_mode) ? static_cast<std::uint64_t>(info.st_size) : 0;
    buffer_.resize(kBufferBytes);
    read_header();
  } catch (...) {
    ::close(fd_);
    throw;
  }
}

CsvReader CsvReader::of_text(std::string_view text) {
  CsvReader r;
  r.buffer_.assign(text.begin(), text.end());
  r.end_ = r.buffer_.size();
  r.bytes_total_ = r.end_;
  r.at_end_ = true;
  r.read_header();
  return r;
}

CsvReader::CsvReader(CsvReader&& other) noexcept
    : fd_{std::exchange(other.fd_, -1)},
      at_end_{other.at_end_},
      buffer_{std::move(other.buffer_)},
      begin_{other.begin_},
      end_{other.end_},
      base_{other.base_},
      bytes_total_{other.bytes_total_},
      line_{other.line_},
      next_line_{other.next_line_},
      delimiter_{other.delimiter_},
      header_{std::move(other.header_)} {}

CsvReader::~CsvReader() {
  if (fd_ >= 0) ::close(fd_);
}

/// Makes room and reads on. \return false when nothing could be added
bool CsvReader::fill() {
  if (at_end_) return false;
  if (begin_ > 0) {
    std::memmove(buffer_.data(), buffer_.data() + begin_, end_ - begin_);
    base_ += begin_;
    end_ -= begin_;
    begin_ = 0;
  }
  const std::size_t before = end_;
  while (end_ < buffer_.size()) {
    const ssize_t got = ::read(fd_, buffer_.data() + end_, buffer_.size() - end_);
    if (got < 0) {
      if (errno == EINTR) continue;
      throw Error{Errc::io, fmt::format("cannot be read: {}", std::strerror(errno))};
    }
    if (got == 0) {
      at_end_ = true;
      break;
    }
    end_ += static_cast<std::size_t>(got);
  }
  return end_ > before;
}

void CsvReader::read_header() {
  fields_.reserve(kMostCsvColumns);
  fill();
  const std::string_view start{buffer_.data(), end_};
  if (start.empty()) throw Error{Errc::bad_data, "is empty; expected a header line with the names of the columns"};
  if (start.starts_with("\xFF\xFE") || start.starts_with("\xFE\xFF")) {
    throw Error{Errc::bad_data, std::string{kUtf16}};
  }
  if (start.starts_with("\xEF\xBB\xBF")) begin_ = 3;
  // The header's own words hold neither sign, so whichever it has more of is the delimiter.
  const std::string_view first = start.substr(begin_, start.find('\n', begin_) - begin_);
  if (first.size() >= 2 && (first[0] == '\0' || first[1] == '\0')) throw Error{Errc::bad_data, std::string{kUtf16}};
  const auto commas = std::count(first.begin(), first.end(), ',');
  const auto semicolons = std::count(first.begin(), first.end(), ';');
  if (commas == 0 && semicolons == 0 && first.find('\t') != std::string_view::npos) {
    throw Error{Errc::bad_data, "line 1: the columns are parted by tabs; expected \",\" or \";\""};
  }
  delimiter_ = semicolons > commas ? ';' : ',';
  switch (next_record()) {
    case Got::end:
      throw Error{Errc::bad_data, "holds no line; expected a header line with the names of the columns"};
    case Got::fault:
      throw Error{Errc::bad_data, fmt::format("line {}: {}", line_, fault_)};
    case Got::row:
      break;
  }
  header_.assign(fields_.begin(), fields_.end());
}

CsvReader::Got CsvReader::next() {
  for (;;) {
    const Got got = next_record();
    if (got != Got::row) return got;
    const bool is_empty = std::all_of(fields_.begin(), fields_.end(), [](std::string_view f) { return f.empty(); });
    if (is_empty) continue;  // what spreadsheets leave below a table
    if (field_count_ == header_.size()) return got;
    fault_ = fmt::format("the line has {} fields; expected {} as in the header", field_count_, header_.size());
    return Got::fault;
  }
}

CsvReader::Got CsvReader::next_record() {
  for (;;) {
    while (begin_ < end_ &&
           (buffer_[begin_] == '\n' || (buffer_[begin_] == '\r' && begin_ + 1 < end_ && buffer_[begin_ + 1] == '\n'))) {
      begin_ += buffer_[begin_] == '\r' ? 2U : 1U;
      ++next_line_;
    }
    if (begin_ == end_) {
      if (fill()) continue;
      return Got::end;
    }
    line_ = next_line_;
    switch (scan()) {
      case Scan::row:
        return Got::row;
      case Scan::fault:
        return Got::fault;
      case Scan::more:  // the record goes on past what was read; there is more: start it again
        break;
    }
  }
}

void CsvReader::finish(std::size_t record_end, std::size_t next) {
  raw_ = {buffer_.data() + begin_, record_end - begin_};
  begin_ = next;
}

CsvReader::Scan CsvReader::refuse(std::size_t resume_from, std::string why) {
  fault_ = std::move(why);
  // Reading goes on behind the first line end from `resume_from`; a line that is longer than the buffer is passed over.
  const std::size_t start = begin_;
  const char* const data = buffer_.data();
  const void* hit = std::memchr(data + resume_from, '\n', end_ - resume_from);
  if (hit == nullptr && !at_end_ && start > 0) {
    resume_from -= start;
    fill();
    hit = std::memchr(buffer_.data() + resume_from, '\n', end_ - resume_from);
  }
  std::size_t stop = hit == nullptr ? end_ : static_cast<std::size_t>(static_cast<const char*>(hit) - buffer_.data());
  next_line_ += static_cast<std::uint64_t>(std::count(buffer_.data() + begin_, buffer_.data() + stop, '\n'));
  if (hit != nullptr || at_end_) {
    std::size_t record_end = stop;
    if (hit != nullptr && record_end > begin_ && buffer_[record_end - 1] == '\r') --record_end;
    finish(record_end, hit == nullptr ? stop : stop + 1);
    if (hit != nullptr) ++next_line_;
    if (raw_.size() > kMostRecordBytes) raw_ = {};
    return Scan::fault;
  }
  raw_ = {};
  for (;;) {
    begin_ = end_;
    if (!fill()) return Scan::fault;
    hit = std::memchr(buffer_.data(), '\n', end_);
    if (hit == nullptr) continue;
    begin_ = static_cast<std::size_t>(static_cast<const char*>(hit) - buffer_.data()) + 1;
    ++next_line_;
    return Scan::fault;
  }
}

CsvReader::Scan CsvReader::refuse_bytes(std::size_t record_end) {
  const std::string_view record{buffer_.data() + begin_, record_end - begin_};
  const auto bad = find_bad_utf8(record);
  if (!bad) return Scan::row;
  const auto byte = static_cast<unsigned char>(record[*bad]);
  const std::uint64_t position = base_ + begin_ + *bad + 1;
  if (byte == 0) {
    return refuse(record_end,
                  fmt::format("byte {} of the file (byte {} of the line) is NUL; expected text", position, *bad + 1));
  }
  return refuse(record_end, fmt::format("byte {} of the file (byte {} of the line, 0x{:02X}) is not UTF-8 text",
                                        position, *bad + 1, byte));
}

CsvReader::Scan CsvReader::scan() {
  fields_.clear();
  field_count_ = 0;
  scratch_.clear();
  const char* const data = buffer_.data();
  const auto& stops = delimiter_ == ';' ? kSemicolonStops : kCommaStops;
  const std::size_t start = begin_;
  std::uint64_t lines = 0;  // line ends inside quoted fields so far
  std::size_t p = start;
  const auto too_long = [&] { return end_ - start > kMostRecordBytes; };
  const auto long_line = [] {
    return fmt::format("the line is longer than {} bytes; expected a record", kMostRecordBytes);
  };
  std::size_t record_end = 0, next = 0;
  for (;;) {  // one field
    std::string_view field;
    if (p < end_ && data[p] == '"') {
      const std::size_t opened = p;
      const std::uint64_t lines_before = lines;
      std::size_t from = p + 1;  // of the piece not yet joined
      bool is_joined = false;
      const std::size_t joined_at = scratch_.size();
      std::size_t q = from;
      for (;;) {
        const void* hit = std::memchr(data + q, '"', end_ - q);
        const bool closes_now = hit != nullptr;
        const std::size_t at = closes_now ? static_cast<std::size_t>(static_cast<const char*>(hit) - data) : end_;
        if (!closes_now || (at + 1 == end_ && !at_end_)) {
          if (!at_end_ && !too_long()) {
            fill();
            return Scan::more;
          }
          if (!closes_now) {
            return refuse(opened, fmt::format("the quote that begins in line {} is not closed", line_ + lines_before));
          }
        }
        if (at + 1 < end_ && data[at + 1] == '"') {
          if (!is_joined && scratch_.capacity() < 2 * kMostRecordBytes) {
            scratch_.reserve(2 * kMostRecordBytes + 1);  // no view into it may move while the row is read
          }
          is_joined = true;
          scratch_.append(data + from, at + 1 - from);
          q = from = at + 2;
          continue;
        }
        lines += static_cast<std::uint64_t>(std::count(data + opened, data + at, '\n'));
        if (is_joined) {
          scratch_.append(data + from, at - from);
          field = std::string_view{scratch_}.substr(joined_at);
        } else {
          field = {data + from, at - from};
        }
        p = at + 1;
        break;
      }
      if (p < end_ && data[p] != delimiter_ && data[p] != '\n' &&
          !(data[p] == '\r' && (p + 1 == end_ || data[p + 1] == '\n'))) {
        // After a field of several lines it is its opening quote that is astray: only its first line is given up.
        return refuse(lines > lines_before ? opened : p,
                      fmt::format("there is text behind the closing quote of field {}; a quote inside a quoted field "
                                  "is written twice",
                                  field_count_ + 1));
      }
    } else {
      std::size_t q = p;
      while (q < end_ && !stops[static_cast<unsigned char>(data[q])]) ++q;
      field = {data + p, q - p};
      if (q < end_ && data[q] == '"') {
        return refuse(q, fmt::format("field {} has a quote inside but is not quoted as a whole", field_count_ + 1));
      }
      p = q;
    }
    // At a delimiter, a line end, or the end of what was read.
    if (p < end_ && data[p] == '\r' && p + 1 < end_ && data[p + 1] != '\n') {
      return refuse(
          p, fmt::format("field {} holds a carriage return; expected lines that end in LF or CRLF", field_count_ + 1));
    }
    if ((p == end_ || (data[p] == '\r' && p + 1 == end_)) && !at_end_) {
      if (too_long()) return refuse(p, long_line());
      fill();
      return Scan::more;
    }
    ++field_count_;
    if (fields_.size() < kMostCsvColumns) fields_.push_back(field);
    if (p < end_ && data[p] == delimiter_) {
      ++p;
      continue;
    }
    record_end = p;
    next = p == end_ ? p : data[p] == '\n' ? p + 1 : p + 1 == end_ ? p + 1 : p + 2;
    break;
  }
  if (record_end - start > kMostRecordBytes) return refuse(record_end, long_line());
  if (!is_plain_ascii(data + start, record_end - start) && refuse_bytes(record_end) == Scan::fault) return Scan::fault;
  if (field_count_ > kMostCsvColumns) {
    return refuse(record_end,
                  fmt::format("the line has {} columns; expected at most {}", field_count_, kMostCsvColumns));
  }
  finish(record_end, next);
  next_line_ = line_ + lines + 1;
  return Scan::row;
}

void CsvWriter::field(std::string_view text) {
  if (row_begun_) out_->push_back(delimiter_);
  row_begun_ = true;
  const bool needs_quotes = std::any_of(
      text.begin(), text.end(), [this](char c) { return c == '"' || c == '\n' || c == '\r' || c == delimiter_; });
  if (!needs_quotes) {
    out_->append(text);
    return;
  }
  out_->push_back('"');
  for (const char c : text) {
    if (c == '"') out_->push_back('"');
    out_->push_back(c);
  }
  out_->push_back('"');
}

void CsvWriter::end_row() {
  out_->push_back('\n');
  row_begun_ = false;
}

}  // namespace shaftlog
