#include "storage/salvage/page_file.hpp"

#include "base/error.hpp"

#include <algorithm>
#include <array>
#include <cerrno>
#include <cstring>
#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include <fmt/format.h>

namespace shaftlog::salvage {
namespace {

class FileBytes final : public ByteSource {
 public:
  FileBytes(int fd, std::uint64_t size) noexcept : fd_{fd}, size_{size} {}
  FileBytes(const FileBytes&) = delete;
  FileBytes& operator=(const FileBytes&) = delete;
  ~FileBytes() override { ::close(fd_); }
  [[nodiscard]] std::uint64_t size() const noexcept override { return size_; }
  bool read(std::uint64_t at, std::span<std::uint8_t> into) const noexcept override {
    while (!into.empty()) {
      const ssize_t n = ::pread(fd_, into.data(), into.size(), static_cast<off_t>(at));
      if (n < 0 && errno == EINTR) continue;
      if (n <= 0) return false;
      at += static_cast<std::uint64_t>(n);
      into = into.subspan(static_cast<std::size_t>(n));
    }
    return true;
  }

 private:
  int fd_;
  std::uint64_t size_;
};

class MemoryBytes final : public ByteSource {
 public:
  explicit MemoryBytes(Bytes bytes) noexcept : bytes_{bytes} {}
  [[nodiscard]] std::uint64_t size() const noexcept override { return bytes_.size(); }
  bool read(std::uint64_t at, std::span<std::uint8_t> into) const noexcept override {
    if (at > bytes_.size() || into.size() > bytes_.size() - at) return false;
    std::copy_n(bytes_.begin() + static_cast<std::ptrdiff_t>(at), into.size(), into.begin());
    return true;
  }

 private:
  Bytes bytes_;
};

constexpr std::size_t kHeaderSize = 100;
constexpr std::size_t kWalHeaderSize = 32;
constexpr std::size_t kFrameHeaderSize = 24;

bool is_page_size(std::uint32_t n) noexcept { return n >= 512 && n <= 65536 && (n & (n - 1)) == 0; }

/// The log's running checksum over `bytes`, whose number is a multiple of eight.
std::array<std::uint32_t, 2> wal_checksum(std::array<std::uint32_t, 2> sum, Bytes bytes, bool is_big_endian) noexcept {
  const auto word = [&](std::size_t at) {
    const std::uint32_t big = read_u32(bytes, at);
    return is_big_endian ? big : __builtin_bswap32(big);
  };
  for (std::size_t i = 0; i + 8 <= bytes.size(); i += 8) {
    sum[0] += word(i) + sum[1];
    sum[1] += word(i + 4) + sum[0];
  }
  return sum;
}

}  // namespace

std::unique_ptr<ByteSource> open_bytes(const std::filesystem::path& path) {
  const int fd = ::open(path.c_str(), O_RDONLY | O_CLOEXEC | O_NONBLOCK);
  if (fd < 0) {
    const Errc code = errno == ENOENT ? Errc::not_found : Errc::io;
    throw Error{code, code == Errc::not_found
                          ? fmt::format("{}: there is no such file", path.string())
                          : fmt::format("{}: cannot be opened ({})", path.string(), std::strerror(errno))};
  }
  struct stat status {};
  if (::fstat(fd, &status) != 0 || !S_ISREG(status.st_mode)) {
    ::close(fd);
    throw Error{Errc::io, fmt::format("{}: is not a regular file", path.string())};
  }
  return std::make_unique<FileBytes>(fd, static_cast<std::uint64_t>(status.st_size));
}

std::unique_ptr<ByteSource> bytes_in_memory(Bytes bytes) { return std::make_unique<MemoryBytes>(bytes); }

PageFile::PageFile(std::unique_ptr<ByteSource> main, std::unique_ptr<ByteSource> wal, std::string name)
    : main_{std::move(main)}, wal_{std::move(wal)}, name_{std::move(name)} {
  read_wal();  // first: what it holds of page 1 is newer than the file's
  read_header();
  read_free_list();
}

void PageFile::read_wal() {
  std::array<std::uint8_t, kWalHeaderSize> head{};
  if (wal_ == nullptr || wal_->size() == 0) return;
  const auto lost = [&](const char* what) {
    notes_.push_back(fmt::format("{}-wal: {}", name_, what));
    is_end_lost_ = true;
  };
  if (!wal_->read(0, head)) return lost("is too short to hold anything");
  const std::uint32_t magic = read_u32(head, 0);
  const std::uint32_t page_size = read_u32(head, 8);
  const bool is_big_endian = (magic & 1U) != 0;
  auto sum = wal_checksum({0, 0}, Bytes{head}.first(24), is_big_endian);
  if ((magic | 1U) != 0x377f0683 || !is_page_size(page_size) || sum[0] != read_u32(head, 24) ||
      sum[1] != read_u32(head, 28)) {
    return lost("its head is damaged; what was written last may be lost with it");
  }
  struct Frame {
    std::uint32_t page = 0, count = 0;  // count: pages of the file, on the last frame of a commit only
    std::uint64_t at = 0;
  };
  std::vector<Frame> good, committed;
  std::vector<std::uint8_t> frame(kFrameHeaderSize + page_size);
  std::uint64_t damaged = 0, damaged_committed = 0;
  for (std::uint64_t at = kWalHeaderSize; wal_->read(at, frame); at += frame.size()) {
    // Frames from before the last restart of the log follow those that count.
    if (!std::equal(frame.begin() + 8, frame.begin() + 16, head.begin() + 16)) break;
    const Bytes bytes{frame};
    sum =
        wal_checksum(wal_checksum(sum, bytes.first(8), is_big_endian), bytes.subspan(kFrameHeaderSize), is_big_endian);
    const Frame now{read_u32(bytes, 0), read_u32(bytes, 4), at + kFrameHeaderSize};
    const std::array<std::uint32_t, 2> told{read_u32(bytes, 16), read_u32(bytes, 20)};
    // The sum runs on from what the frame says, so that one damaged frame does not cost those behind it.
    if (sum == told && now.page != 0) {
      good.push_back(now);
    } else {
      ++damaged;
    }
    sum = told;
    if (now.count != 0 && !good.empty() && good.back().at == now.at) {
      committed.insert(committed.end(), good.begin(), good.end());
      good.clear();
      damaged_committed = damaged;
      count_ = now.count;
    }
  }
  for (const Frame& f : committed) in_wal_[f.page] = f.at;
  if (!committed.empty()) page_size_ = page_size;
  // A write that was not finished ends like this too; nobody was told that it was kept.
  if (damaged > damaged_committed) lost("its end is damaged; what was written last may be lost");
  if (damaged_committed > 0) {
    notes_.push_back(fmt::format("{}-wal: {} of its pages cannot be read; an earlier state of each was taken", name_,
                                 damaged_committed));
  }
}

void PageFile::read_header() {
  std::array<std::uint8_t, kHeaderSize> head{};
  const auto in_wal = in_wal_.find(1);
  const bool is_read = in_wal != in_wal_.end() ? wal_->read(in_wal->second, head) : main_->read(0, head);
  constexpr char kMagic[] = "SQLite format 3";
  const std::uint32_t told = read_u16(head, 16) == 1 ? 65536 : read_u16(head, 16);
  const bool is_sound = is_read && std::memcmp(head.data(), kMagic, sizeof kMagic) == 0 && is_page_size(told) &&
                        head[21] == 64 && head[22] == 32 && head[23] == 32 && told - head[20] >= 480;
  if (is_sound) {
    page_size_ = told;
    reserved_ = head[20];
    version_ = static_cast<std::int32_t>(read_u32(head, 60));
    application_id_ = static_cast<std::int32_t>(read_u32(head, 68));
  } else {
    notes_.push_back(fmt::format("{}: its head is damaged; pages of {} bytes are looked for", name_, page_size_));
    is_end_lost_ = true;
  }
  const auto there =
      static_cast<std::uint32_t>(std::min<std::uint64_t>((main_->size() + page_size_ - 1) / page_size_, 0xfffffffeU));
  readable_ = static_cast<std::uint32_t>(std::min<std::uint64_t>(there + in_wal_.size(), 0xfffffffeU));
  // The head's own number counts only when it is of the last change.
  if (count_ == 0) count_ = is_sound && read_u32(head, 24) == read_u32(head, 92) ? read_u32(head, 28) : there;
  // A number that is far out is a damaged one: a file cut short is still told by its tables' missing pages.
  if (count_ == 0 || count_ / 64 > there + in_wal_.size()) count_ = there;
  if (there < count_ && in_wal_.empty()) {
    notes_.push_back(
        fmt::format("{}: holds {} of {} pages; the rest was cut off", name_, main_->size() / page_size_, count_));
  }
  if (count_ == 0) throw Error{Errc::damaged, fmt::format("{}: is empty, not a Shaftlog database", name_)};
}

bool PageFile::read(std::uint32_t number, std::vector<std::uint8_t>& into) const {
  into.resize(page_size_);
  if (number == 0 || number > count_) return false;
  if (const auto it = in_wal_.find(number); it != in_wal_.end()) return wal_->read(it->second, into);
  return main_->read(std::uint64_t{number - 1} * page_size_, into);
}

void PageFile::read_free_list() {
  std::vector<std::uint8_t> page;
  if (!version_ || !read(1, page)) return;
  std::uint32_t trunk = read_u32(page, 32);
  while (trunk != 0 && free_.size() <= count_ && !free_.contains(trunk) && read(trunk, page)) {
    const std::uint32_t next = read_u32(page, 0);
    const std::uint32_t leaves = read_u32(page, 4);
    if (leaves > usable() / 4 - 2 || next > count_) break;  // not a page of the list
    free_.insert(trunk);
    for (std::uint32_t i = 0; i < leaves; ++i) {
      const std::uint32_t leaf = read_u32(page, 8 + std::size_t{4} * i);
      if (leaf > 1 && leaf <= count_) free_.insert(leaf);
    }
    trunk = next;
  }
}

}  // namespace shaftlog::salvage
