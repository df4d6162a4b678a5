#include "app/record_stream.hpp"

#include "app/occurrences.hpp"

#include <utility>

#include <fmt/format.h>

namespace shaftlog {
namespace {

constexpr std::size_t kRowsPerBatch = 4096;

}  // namespace

RecordStream::RecordStream(LogFileReader& reader, Kind kind, const RegisterIndex& index, FieldOptions options,
                           std::string file, bool keep_text)
    : reader_{reader}, kind_{kind}, index_{index}, file_{std::move(file)} {
  thread_ = std::thread{[this, options, keep_text] {
    std::exception_ptr failure;
    try {
      work(options, keep_text);
    } catch (...) {
      failure = std::current_exception();
    }
    const std::lock_guard lock{mutex_};
    failure_ = failure;
    is_done_ = true;
    changed_.notify_all();
  }};
}

RecordStream::~RecordStream() {
  {
    const std::lock_guard lock{mutex_};
    is_stopped_ = true;
    changed_.notify_all();
  }
  thread_.join();
}

std::optional<RecordStream::Batch> RecordStream::next() {
  std::unique_lock lock{mutex_};
  changed_.wait(lock, [this] { return waiting_ || is_done_; });
  if (waiting_) {
    auto batch = std::exchange(waiting_, std::nullopt);
    changed_.notify_all();
    return batch;
  }
  if (failure_) std::rethrow_exception(failure_);
  return std::nullopt;
}

/// \return false when nobody reads any more
bool RecordStream::hand_over(Batch batch) {
  batch.bytes_done = reader_.csv().bytes_done();
  std::unique_lock lock{mutex_};
  changed_.wait(lock, [this] { return !waiting_ || is_stopped_; });
  if (is_stopped_) return false;
  waiting_ = std::move(batch);
  changed_.notify_all();
  return true;
}

void RecordStream::work(FieldOptions options, bool keep_text) {
  Occurrences seen;  // equal rows without an id, in this file
  std::string content, source = file_ + ":";
  const std::size_t prefix = source.size();
  Batch batch;
  batch.rows.reserve(kRowsPerBatch);
  for (;;) {
    const CsvReader::Got got = reader_.next();
    if (got == CsvReader::Got::end) break;
    ReadRow& row = batch.rows.emplace_back();
    row.line = reader_.csv().line();
    row.is_row = got == CsvReader::Got::row;
    if (row.is_row) {
      source.resize(prefix);
      const fmt::format_int line{row.line};
      source.append(line.data(), line.size());
      options.source = source;
      row.parsed = parse_record(kind_, reader_.fields(), index_, options);
    } else {
      row.parsed.faults.push_back({{}, 0, {}, {}, reader_.csv().fault()});
    }
    if (keep_text) {
      row.raw = reader_.csv().raw();
      if (row.is_row) row.fields.assign(reader_.csv().fields().begin(), reader_.csv().fields().end());
    }
    if (row.parsed.entry) {
      Head& head = row.parsed.entry->head;
      row.has_own_id = !head.id.is_nil();
      if (!row.has_own_id) {
        content.clear();
        append_content(content, *row.parsed.entry, index_);
        head.id = content_id(content, 0);
        if (const std::uint32_t before = seen.count(head.id); before > 0) head.id = content_id(content, before);
      }
    }
    if (batch.rows.size() == kRowsPerBatch) {
      if (!hand_over(std::exchange(batch, {}))) return;
      batch.rows.reserve(kRowsPerBatch);
    }
  }
  hand_over(std::move(batch));
}

}  // namespace shaftlog
