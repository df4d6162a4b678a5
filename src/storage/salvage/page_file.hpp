#pragma once

#include "storage/salvage/record_format.hpp"

#include <filesystem>
#include <memory>
#include <string>
#include <unordered_map>
#include <unordered_set>
#include <vector>

namespace shaftlog::salvage {

/// Bytes that can be read anywhere, or not.
class ByteSource {
 public:
  virtual ~ByteSource() = default;
  [[nodiscard]] virtual std::uint64_t size() const noexcept = 0;
  /// \return false when not all of them can be read (the end, a bad block)
  virtual bool read(std::uint64_t at, std::span<std::uint8_t> into) const noexcept = 0;
};
/// For reading only. \throws Error{not_found}, Error{io}
std::unique_ptr<ByteSource> open_bytes(const std::filesystem::path& path);
/// Keeps a view: the bytes must outlive it.
std::unique_ptr<ByteSource> bytes_in_memory(Bytes bytes);

/// The pages of a database file and of the write-ahead log beside it, as they were after the last commit, read without
/// SQLite. Of the log only frames whose checksum holds are taken.
class PageFile {
 public:
  /// `wal` may be null. \throws Error{damaged} when there is not even one page
  PageFile(std::unique_ptr<ByteSource> main, std::unique_ptr<ByteSource> wal, std::string name);

  [[nodiscard]] std::uint32_t page_size() const noexcept { return page_size_; }
  [[nodiscard]] std::uint32_t usable() const noexcept { return page_size_ - reserved_; }
  /// Pages there should be; a file cut short lacks the last ones.
  [[nodiscard]] std::uint32_t count() const noexcept { return count_; }
  /// Pages that are there to be read, at most.
  [[nodiscard]] std::uint32_t readable() const noexcept { return readable_; }
  /// Page `number` (from 1). \return false when it cannot be read
  bool read(std::uint32_t number, std::vector<std::uint8_t>& into) const;
  /// "PRAGMA user_version" and "PRAGMA application_id"; empty when the header cannot be believed.
  [[nodiscard]] std::optional<std::int32_t> version() const noexcept { return version_; }
  [[nodiscard]] std::optional<std::int32_t> application_id() const noexcept { return application_id_; }
  /// Pages that hold nothing now, as far as their list can be followed.
  [[nodiscard]] const std::unordered_set<std::uint32_t>& free_pages() const noexcept { return free_; }
  /// Whether what was written last may be lost: the log's head or its end is damaged, or the file's own head.
  [[nodiscard]] bool is_end_lost() const noexcept { return is_end_lost_; }
  /// What was wrong with the file as a whole, a sentence each.
  [[nodiscard]] const std::vector<std::string>& notes() const noexcept { return notes_; }

 private:
  void read_header();
  void read_wal();
  void read_free_list();

  std::unique_ptr<ByteSource> main_, wal_;
  std::string name_;
  std::uint32_t page_size_ = 4096, reserved_ = 0, count_ = 0, readable_ = 0;
  std::optional<std::int32_t> version_, application_id_;
  std::unordered_map<std::uint32_t, std::uint64_t> in_wal_;  ///< page to the place of its newest committed content
  std::unordered_set<std::uint32_t> free_;
  bool is_end_lost_ = false;
  std::vector<std::string> notes_;
};

}  // namespace shaftlog::salvage
