#include "base/error.hpp"
#include "storage/chain.hpp"
#include "storage/chain_sql.hpp"
#include "storage/database.hpp"
#include "storage/exchange_sql.hpp"

#include <algorithm>

#include <fmt/format.h>

namespace shaftlog {
namespace {

/// So many faults are told one by one; then only their number.
constexpr std::size_t kMostTold = 20;

class ChainCheck {
 public:
  explicit ChainCheck(Database& db) : db_{handle_of(db)}, content_{db_} {}

  void run(CheckResult& result) {
    Query origins{db_, chain_sql::kOrigins};
    while (origins.step()) {
      const std::string name{origins.text(2)};
      check_strand(origins.integer(0), name.empty() ? format_uuid(origins.uuid(1)) : name);
    }
    Query stray{db_, chain_sql::kStrayStrands};
    while (stray.step()) note(fmt::format("the audit chain: strand {} is of no origin", stray.integer(0)));
    find_unlinked(chain_sql::kEntries, entries_, "record");
    find_unlinked(chain_sql::kRemarks, remarks_, "remark");
    std::move(faults_.begin(), faults_.end(), std::back_inserter(result.faults));
    if (untold_ > 0) result.faults.push_back(fmt::format("{} more faults of the audit chain", untold_));
  }

 private:
  void note(std::string fault) {
    if (faults_.size() < kMostTold) {
      faults_.push_back(std::move(fault));
    } else {
      ++untold_;
    }
  }

  void check_strand(std::int64_t origin, const std::string& name) {
    Query link{db_, chain_sql::kLinks};
    link.bind(origin, 0);
    StrandHead head;
    while (link.step()) {
      const std::int64_t position = link.integer(0);
      const Hash kept = link.hash(3);
      if (position != head.position + 1) {
        note(fmt::format("the audit chain: positions {} to {} of strand {} are not there", head.position + 1,
                         position - 1, name));
      } else {
        check_link(link, origin, head, kept, name);
      }
      (link.is_null(1) ? remarks_ : entries_).push_back(link.integer(link.is_null(1) ? 2 : 1));
      // On from what is kept: one record that was altered is one fault.
      head = {position, kept};
    }
  }

  void check_link(const Query& link, std::int64_t origin, const StrandHead& head, const Hash& kept,
                  const std::string& name) {
    const bool is_entry = !link.is_null(1);
    const std::int64_t key = link.integer(is_entry ? 1 : 2);
    const auto what = [&] { return is_entry ? content_.tell_entry(key) : content_.tell_remark(key); };
    bytes_.clear();
    try {
      const bool is_there = is_entry ? content_.append_entry(bytes_, key) : content_.append_remark(bytes_, key);
      if (!is_there) {
        note(fmt::format("the audit chain: position {} of strand {} is of a {} that is not there", head.position + 1,
                         name, is_entry ? "record" : "remark"));
      } else if (link_hash(head.hash, bytes_) != kept && !is_variant(origin, head, kept)) {
        note(fmt::format("the audit chain: {} is not as it was written (position {} of strand {})", what(),
                         head.position + 1, name));
      }
    } catch (const Error& e) {
      if (e.code() == Errc::busy) throw;
      note(fmt::format("the audit chain: {} cannot be read: {}", what(), e.what()));
    }
  }

  /// Whether the strand has other content under that id, kept beside it.
  bool is_variant(std::int64_t origin, const StrandHead& head, const Hash& kept) {
    Query variant{db_, exchange_sql::kVariant};
    return variant.bind(origin, head.position + 1).step() && link_hash(head.hash, variant.blob(0)) == kept;
  }

  void find_unlinked(const char* all, std::vector<std::int64_t>& linked, const char* what) {
    std::sort(linked.begin(), linked.end());
    auto at = linked.begin();
    Query row{db_, all};
    while (row.step()) {
      const std::int64_t key = row.integer(0);
      while (at != linked.end() && *at < key) ++at;
      if (at == linked.end() || *at != key) {
        note(fmt::format("the audit chain: {} {} stands in no strand: it was not written by this program", what,
                         format_uuid(row.uuid(1))));
      }
    }
  }

  sqlite3* db_;
  LinkedContent content_;
  std::vector<std::int64_t> entries_, remarks_;  // that stand in a strand
  std::vector<std::string> faults_;
  std::size_t untold_ = 0;
  std::string bytes_;
};

}  // namespace

void check_chain(Database& db, CheckResult& result) { ChainCheck{db}.run(result); }

}  // namespace shaftlog
