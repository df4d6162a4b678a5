#pragma once

#include "domain/record.hpp"
#include "storage/query.hpp"

#include <array>
#include <memory>
#include <optional>
#include <string>
#include <unordered_map>
#include <vector>

namespace shaftlog {

struct CheckResult;
struct FindingRemark;
struct Verification;

/// Where the next link of a strand goes.
struct StrandHead {
  std::int64_t position = 0;  ///< of the last link; 0: none yet
  Hash hash{};                ///< of the last link; zeros before the first
};
/// Hash of a link: SHA-256 over its predecessor's and the content (domain/content.hpp).
Hash link_hash(const Hash& before, std::string_view content);

/// Codes of the register by key. Looked up once: a code never changes.
class CodeBook {
 public:
  explicit CodeBook(sqlite3* db) : db_{db} {}
  void append_whole(std::string& out, const Entry& entry);
  void append_whole(std::string& out, const FindingRemark& remark);
  void append_whole(std::string& out, const Verification& verification);
  /// What was looked up may have been undone.
  void forget() noexcept;

 private:
  struct Table {
    std::unique_ptr<Query> find;
    std::unordered_map<std::int64_t, std::string> known;
  };
  std::string_view code(std::size_t table, std::int64_t key);
  sqlite3* db_;
  std::array<Table, 5> tables_;
};

/// What a link stands for: the sort, and its key in the table of that sort.
struct LinkTarget {
  enum class Sort : std::uint8_t { entry, remark, verification } sort = Sort::entry;
  std::int64_t key = 0;
};
/// From the three columns of a link that say it, in the order of the sorts.
LinkTarget link_target(const Query& row, int column);
/// "record", "remark", "verification".
std::string_view name_of(LinkTarget::Sort sort) noexcept;

/// Where a link stands.
struct LinkPlace {
  std::int64_t origin = 0, position = 0;
  Hash hash{};
};

/// Gives each record its place in a strand, in the transaction that writes the record. One a connection. Within a
/// WriteTransaction links are kept back and written many at a time, which costs a third.
class Chain {
 public:
  explicit Chain(sqlite3* db) : db_{db}, codes_{db} {}
  Chain(const Chain&) = delete;
  Chain& operator=(const Chain&) = delete;
  ~Chain();

  /// At the end of the strand this file writes.
  void append(std::int64_t entry_id, const Entry& entry);
  void append(std::int64_t finding_remark_id, const FindingRemark& remark);
  void append(std::int64_t verification_id, const Verification& verification);
  /// At a place of another file's strand.
  void put(const LinkPlace& place, const LinkTarget& target);
  void flush();  ///< \throws Error when the file cannot be written

  // Of a WriteTransaction. What the strand's end is holds until it ends: nobody else can write meanwhile.
  void begin();
  void end() noexcept;

 private:
  struct Link {
    LinkPlace place;
    LinkTarget target;
  };
  template <class What>
  void append_whole(const LinkTarget& target, const What& what);
  void read_head();
  void write(const Link* links, std::size_t n, sqlite3_stmt*& statement);

  sqlite3* db_;
  CodeBook codes_;
  std::string content_;
  bool is_in_transaction_ = false;
  std::optional<LinkPlace> head_;  // of the own strand
  std::vector<Link> waiting_;
  sqlite3_stmt *one_ = nullptr, *many_ = nullptr;
};

/// Version 4 (RFC 9562 5.4), by SQLite's generator.
Uuid random_uuid(sqlite3* db);
/// The origin this file writes as; made when there is none. \return its key
std::int64_t own_origin(sqlite3* db);
/// From now on this file writes a strand of its own that no other copy of it has.
std::int64_t begin_strand(sqlite3* db);

/// Reads what a link stands for, as it is kept now.
class LinkedContent {
 public:
  explicit LinkedContent(sqlite3* db);
  /// Appends the content. \return false when there is no such row \throws Error{damaged} when it cannot be read
  bool append(std::string& out, const LinkTarget& target);
  /// "record 0190... (greasing of T-01, 2026-03-14T08:10Z)"; as much of it as can be read.
  [[nodiscard]] std::string tell(const LinkTarget& target);

 private:
  bool append_entry(std::string& out, std::int64_t entry_id);
  bool append_remark(std::string& out, std::int64_t finding_remark_id);
  bool append_verification(std::string& out, std::int64_t verification_id);
  bool read_entry(std::int64_t entry_id, Entry& out);
  [[nodiscard]] std::string tell_entry(std::int64_t entry_id);
  [[nodiscard]] std::string tell_remark(std::int64_t finding_remark_id);
  [[nodiscard]] std::string tell_verification(std::int64_t verification_id);
  sqlite3* db_;
  CodeBook codes_;
  Query entry_, remark_, verification_;
  std::array<std::unique_ptr<Query>, 8> details_;
};

/// Puts every record, then every remark, then every verification into a strand of this file, where nothing stands in
/// one yet: a file from before there were strands, or one made anew from a damaged one.
void chain_all(sqlite3* db);

/// Recomputes every strand. Each fault is one sentence; the first names the first record that is not as it was written.
void check_chain(Database& db, CheckResult& result);

}  // namespace shaftlog
