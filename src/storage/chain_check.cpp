#include "base/error.hpp"
#include "storage/chain.hpp"
#include "storage/chain_sql.hpp"
#include "storage/database.hpp"
#include "storage/exchange_sql.hpp"

#include <algorithm>
#include <array>

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
    find_unlinked(chain_sql::kEntries, LinkTarget::Sort::entry);
    find_unlinked(chain_sql::kRemarks, LinkTarget::Sort::remark);
    find_unlinked(chain_sql::kVerifications, LinkTarget::Sort::verification);
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
      const Hash kept = link.hash(1);
      const LinkTarget target = link_target(link, 2);
      if (position != head.position + 1) {
        note(fmt::format("the audit chain: positions {} to {} of strand {} are not there", head.position + 1,
                         position - 1, name));
      } else {
        check_link(target, origin, head, kept, name);
      }
      linked(target.sort).push_back(target.key);
      // On from what is kept: one record that was altered is one fault.
      head = {position, kept};
    }
  }

  void check_link(const LinkTarget& target, std::int64_t origin, const StrandHead& head, const Hash& kept,
                  const std::string& name) {
    bytes_.clear();
    try {
      if (!content_.append(bytes_, target)) {
        note(fmt::format("the audit chain: position {} of strand {} is of a {} that is not there", head.position + 1,
                         name, name_of(target.sort)));
      } else if (link_hash(head.hash, bytes_) != kept && !is_variant(origin, head, kept)) {
        note(fmt::format("the audit chain: {} is not as it was written (position {} of strand {})",
                         content_.tell(target), head.position + 1, name));
      }
    } catch (const Error& e) {
      if (e.code() == Errc::busy) throw;
      note(fmt::format("the audit chain: {} cannot be read: {}", content_.tell(target), e.what()));
    }
  }

  /// Whether the strand has other content under that id, kept beside it.
  bool is_variant(std::int64_t origin, const StrandHead& head, const Hash& kept) {
    Query variant{db_, exchange_sql::kVariant};
    return variant.bind(origin, head.position + 1).step() && link_hash(head.hash, variant.blob(0)) == kept;
  }

  std::vector<std::int64_t>& linked(LinkTarget::Sort sort) { return linked_[static_cast<std::size_t>(sort)]; }

  void find_unlinked(const char* all, LinkTarget::Sort sort) {
    std::vector<std::int64_t>& keys = linked(sort);
    std::sort(keys.begin(), keys.end());
    auto at = keys.begin();
    Query row{db_, all};
    while (row.step()) {
      const std::int64_t key = row.integer(0);
      while (at != keys.end() && *at < key) ++at;
      if (at == keys.end() || *at != key) {
        note(fmt::format("the audit chain: {} {} stands in no strand: it was not written by this program",
                         name_of(sort), format_uuid(row.uuid(1))));
      }
    }
  }

  sqlite3* db_;
  LinkedContent content_;
  std::array<std::vector<std::int64_t>, 3> linked_;  // by sort: what stands in a strand
  std::vector<std::string> faults_;
  std::size_t untold_ = 0;
  std::string bytes_;
};

}  // namespace

void check_chain(Database& db, CheckResult& result) { ChainCheck{db}.run(result); }

}  // namespace shaftlog
