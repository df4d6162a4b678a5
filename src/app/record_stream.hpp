#pragma once

#include "interchange/log_folder.hpp"

#include <condition_variable>
#include <cstdint>
#include <exception>
#include <mutex>
#include <optional>
#include <string>
#include <thread>
#include <vector>

namespace shaftlog {

/// One line of a log file as read: a record with an id, or what is wrong with it.
struct ReadRow {
  std::uint64_t line = 0;
  bool is_row = true;       ///< false: it could not be split into fields
  bool has_own_id = false;  ///< false: the id was made from the content
  ParsedRecord parsed;
  std::string raw;                  ///< as in the file; only when asked for
  std::vector<std::string> fields;  ///< likewise
};

/// Reads a log file on a thread of its own while the caller writes: splitting, checking and hashing cost about as much
/// as a third of the inserts. Rows come in file order, whatever the threads do.
class RecordStream {
 public:
  struct Batch {
    std::vector<ReadRow> rows;
    std::uint64_t bytes_done = 0;
  };

  /// `reader` and `index` must outlive the stream and are not to be read from meanwhile (find() by key excepted).
  RecordStream(LogFileReader& reader, Kind kind, const RegisterIndex& index, FieldOptions options, std::string file,
               bool keep_text);
  RecordStream(const RecordStream&) = delete;
  RecordStream& operator=(const RecordStream&) = delete;
  ~RecordStream();

  /// Empty at the end. \throws what reading threw
  std::optional<Batch> next();

 private:
  void work(FieldOptions options, bool keep_text);
  bool hand_over(Batch batch);

  LogFileReader& reader_;
  Kind kind_;
  const RegisterIndex& index_;
  std::string file_;

  std::mutex mutex_;
  std::condition_variable changed_;
  std::optional<Batch> waiting_;  // one batch ahead is enough
  bool is_done_ = false, is_stopped_ = false;
  std::exception_ptr failure_;
  std::thread thread_;
};

}  // namespace shaftlog
