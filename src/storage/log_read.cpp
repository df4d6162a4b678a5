#include "base/error.hpp"
#include "base/text.hpp"
#include "storage/log_repository.hpp"
#include "storage/log_rows.hpp"
#include "storage/log_statements.hpp"
#include "storage/verification_sql.hpp"

#include <algorithm>
#include <array>
#include <functional>
#include <optional>
#include <string>
#include <unordered_map>
#include <unordered_set>

#include <fmt/format.h>

namespace shaftlog {
namespace {

using Ids = std::unordered_set<Uuid>;

bool is_before(const Entry& a, const Entry& b) {
  return a.head.at.utc != b.head.at.utc ? a.head.at.utc < b.head.at.utc : a.head.id < b.head.id;
}

/// Names by key, each read once.
class NamesByKey {
 public:
  NamesByKey(Database& db, const char* sql) : query_{db, sql} {}
  /// \param column of the key; empty where it is
  const std::string& of(const Query& row, int column) {
    static const std::string kNone;
    if (row.is_null(column)) return kNone;
    const std::int64_t key = row.integer(column);
    const auto [at, is_new] = names_.try_emplace(key);
    if (is_new && query_.bind(key).step()) {
      at->second = query_.text(0);
      query_.reset();
    }
    return at->second;
  }

 private:
  Query query_;
  std::unordered_map<std::int64_t, std::string> names_;
};

/// The statements of a listing, each prepared once for all its vessels.
class ListStatements {
 public:
  ListStatements(Database& db, bool newest_first)
      : db_{&db}, newest_first_{newest_first}, people_{db, log_sql::kPersonName}, sources_{db, log_sql::kSourceName} {}
  [[nodiscard]] Database& db() const noexcept { return *db_; }
  [[nodiscard]] bool is_newest_first() const noexcept { return newest_first_; }
  /// Of a kind, or of the withdrawals.
  Query& of(std::optional<Kind> kind) {
    std::optional<Query>& query = queries_[kind ? index_of(*kind) : kKinds.size()];
    if (!query)
      query.emplace(
          *db_, kind ? log_sql::list_kind(index_of(*kind), newest_first_) : log_sql::list_withdrawals(newest_first_));
    return *query;
  }
  void read(const Query& row, std::optional<Kind> kind, Entry& out) {
    read_listed(row, people_.of(row, log_sql::kListedBy), sources_.of(row, log_sql::kListedSource), out);
    out.detail = kind ? read_detail(*kind, row, log_sql::kDetailAfterHead) : Detail{Withdrawal{}};
  }

 private:
  Database* db_;
  bool newest_first_;
  NamesByKey people_, sources_;
  std::array<std::optional<Query>, kKinds.size() + 1> queries_;
};

/// Records of one kind (or the withdrawals) of one vessel, one at a time.
class Cursor {
 public:
  Cursor(ListStatements& statements, const ListQuery& q, VesselId vessel, std::optional<Kind> kind)
      : statements_{&statements}, kind_{kind}, query_{&statements.of(kind)} {
    const Instant from = q.from.value_or(kEarliest);
    const Instant until = q.until.value_or(kLatest + std::chrono::seconds{1});
    const Instant known = q.known.value_or(kLatest);
    if (kind) {
      query_->bind(vessel, code_of(*kind), from, until, known, q.shaft, q.lubricator);
    } else {
      query_->bind(vessel, q.kind ? std::optional{code_of(*q.kind)} : std::nullopt, from, until, known, q.shaft,
                   q.lubricator);
    }
    is_on_row_ = query_->step();
  }
  /// Moves to the next record not in `left_out`; false at the end.
  bool next(const Ids& left_out) {
    if (++place_ < count_) return true;
    // Records that share a moment come in any order: all of them are read, and sorted by id.
    place_ = count_ = 0;
    for (; is_on_row_; is_on_row_ = query_->step()) {
      if (count_ > 0 && from_unix(query_->integer(log_sql::kListedAt)) != same_moment_[0].head.at.utc) break;
      if (!left_out.empty() && left_out.contains(query_->uuid(0))) continue;
      if (count_ == same_moment_.size()) same_moment_.emplace_back();
      statements_->read(*query_, kind_, same_moment_[count_++]);
    }
    if (count_ > 1) {
      const auto end = same_moment_.begin() + static_cast<std::ptrdiff_t>(count_);
      const bool is_newest_first = statements_->is_newest_first();
      std::sort(same_moment_.begin(), end,
                [&](const Entry& a, const Entry& b) { return is_newest_first ? is_before(b, a) : is_before(a, b); });
    }
    return count_ > 0;
  }
  [[nodiscard]] const Entry& now() const noexcept { return same_moment_[place_]; }

 private:
  ListStatements* statements_;
  std::optional<Kind> kind_;
  Query* query_;
  bool is_on_row_ = false;
  std::vector<Entry> same_moment_;  // the first count_ of them
  std::size_t place_ = 0, count_ = 0;
};

/// Merges the kinds of one vessel into one order. `take` answers whether it wants more.
void merge_vessel(ListStatements& statements, const ListQuery& q, VesselId vessel,
                  const std::function<bool(const Entry&)>& take) {
  Ids left_out = q.in_force_only ? find_not_in_force(statements.db(), vessel, q.known.value_or(kLatest)) : Ids{};
  if (q.unverified_only) {
    Query verified{statements.db(), verification_sql::kRecordsOfVessel};
    verified.bind(vessel, q.known.value_or(kLatest));
    while (verified.step()) left_out.insert(verified.uuid(0));
  }
  std::vector<Cursor> open;
  open.reserve(kKinds.size() + 1);
  const auto add = [&](std::optional<Kind> kind) {
    Cursor cursor{statements, q, vessel, kind};
    if (cursor.next(left_out)) open.push_back(std::move(cursor));
  };
  for (const Kind kind : kKinds) {
    if (!q.kind || *q.kind == kind) add(kind);
  }
  if (!q.in_force_only) add(std::nullopt);
  // At most nine: looking at each is as fast as a heap.
  std::vector<std::size_t> left(open.size());
  for (std::size_t i = 0; i < left.size(); ++i) left[i] = i;
  while (!left.empty()) {
    const auto it = std::min_element(left.begin(), left.end(), [&](std::size_t a, std::size_t b) {
      return statements.is_newest_first() ? is_before(open[b].now(), open[a].now())
                                          : is_before(open[a].now(), open[b].now());
    });
    if (!take(open[*it].now())) return;
    if (!open[*it].next(left_out)) left.erase(it);
  }
}

/// Vessels a query can be about, by code.
std::vector<VesselId> vessels_of(Database& db, const ListQuery& q) {
  std::vector<VesselId> out;
  const auto collect = [&](Query& query) {
    while (query.step()) out.push_back(query.key<VesselId>(0));
  };
  if (q.vessel.is_set()) {
    out.push_back(q.vessel);
  } else if (q.shaft.is_set()) {
    Query query{db, log_sql::kVesselOfShaft};
    collect(query.bind(q.shaft));
  } else if (q.lubricator.is_set()) {
    Query query{db, log_sql::kVesselOfLubricator};
    collect(query.bind(q.lubricator));
  } else {
    Query query{db, log_sql::kVesselsByCode};
    collect(query);
  }
  return out;
}

/// The `most` newest of what a query asks for, vessel by vessel in the order of vessels_of, each sorted by (at, id).
std::vector<std::vector<Entry>> newest(Database& db, const ListQuery& q) {
  const auto most = static_cast<std::size_t>(q.most);
  std::vector<std::vector<Entry>> out;
  std::vector<Entry> kept;  // a heap with the oldest on top
  const auto newer = [](const Entry& a, const Entry& b) { return is_before(b, a); };
  const auto vessels = vessels_of(db, q);
  ListStatements statements{db, /*newest_first=*/true};
  for (const VesselId vessel : vessels) {
    merge_vessel(statements, q, vessel, [&](const Entry& e) {
      if (kept.size() == most) {
        if (is_before(e, kept.front())) return false;  // and so are all that follow
        std::pop_heap(kept.begin(), kept.end(), newer);
        kept.pop_back();
      }
      kept.push_back(e);
      std::push_heap(kept.begin(), kept.end(), newer);
      return true;
    });
  }
  std::sort(kept.begin(), kept.end(), is_before);
  for (const VesselId vessel : vessels) {
    std::vector<Entry> of;
    std::copy_if(kept.begin(), kept.end(), std::back_inserter(of), [&](const Entry& e) { return e.vessel == vessel; });
    out.push_back(std::move(of));
  }
  return out;
}

std::optional<Entry> find_entry(Database& db, const Uuid& id) {
  Query query{db, log_sql::find_entry()};
  if (!query.bind(id).step()) return std::nullopt;
  Entry entry = read_head(query);
  if (entry.head.withdraws) return entry;
  const std::int64_t entry_id = query.integer(log_sql::kDetailAfterHead);
  Query detail{db, log_sql::find_detail(index_of(entry.kind))};
  if (!detail.bind(entry_id).step()) {
    throw Error{Errc::damaged,
                fmt::format("{}: is damaged (record {} has no detail)", db.path().string(), format_uuid(id))};
  }
  entry.detail = read_detail(entry.kind, detail, 0);
  return entry;
}

std::optional<unsigned> digit_of(char c) noexcept {
  if (c >= '0' && c <= '9') return static_cast<unsigned>(c - '0');
  if (c >= 'a' && c <= 'f') return static_cast<unsigned>(c - 'a' + 10);
  if (c >= 'A' && c <= 'F') return static_cast<unsigned>(c - 'A' + 10);
  return std::nullopt;
}

}  // namespace

std::unordered_set<Uuid> find_not_in_force(Database& db, VesselId vessel, Instant known) {
  std::vector<Link> links;
  Query corrections{db, log_sql::kCorrections};
  corrections.bind(vessel, known);
  while (corrections.step()) {
    links.push_back(
        {corrections.uuid(0), corrections.uuid(1), /*is_withdrawal=*/false, from_unix(corrections.integer(2))});
  }
  Query withdrawals{db, log_sql::kWithdrawals};
  withdrawals.bind(vessel, known);
  while (withdrawals.step()) {
    links.push_back(
        {withdrawals.uuid(0), withdrawals.uuid(1), /*is_withdrawal=*/true, from_unix(withdrawals.integer(2))});
  }
  return not_in_force(links);
}

std::optional<Entry> LogRepository::find(const Uuid& id) const { return find_entry(*db_, id); }

std::vector<Uuid> LogRepository::find_by_prefix(const std::string& prefix) const {
  Uuid low, high;
  high.bytes.fill(0xff);
  std::size_t digits = 0;
  for (const char c : prefix) {
    if (c == '-') continue;
    const auto value = digit_of(c);
    if (!value || digits == 32) {
      throw Error{Errc::bad_data, fmt::format("record id: \"{}\" is not the beginning of an id; expected 4 to 32 "
                                              "hexadecimal digits",
                                              shown(prefix))};
    }
    const unsigned shift = digits % 2 == 0 ? 4 : 0;
    auto& l = low.bytes[digits / 2];
    auto& h = high.bytes[digits / 2];
    l = static_cast<std::uint8_t>(l | (*value << shift));
    h = static_cast<std::uint8_t>((h & ~(0xfU << shift)) | (*value << shift));
    ++digits;
  }
  if (digits < 4) {
    throw Error{Errc::bad_data,
                fmt::format("record id: \"{}\" has {} hexadecimal digits, expected at least 4", shown(prefix), digits)};
  }
  std::vector<Uuid> out;
  Query query{*db_, log_sql::kFindByPrefix};
  query.bind(low, high);
  while (query.step()) out.push_back(query.uuid(0));
  return out;
}

std::vector<Entry> LogRepository::history_of(const Uuid& id) const {
  std::vector<Entry> out;
  const auto start = find_entry(*db_, id);
  if (!start) return out;
  const VesselId vessel = start->vessel;
  Query corrections{*db_, log_sql::kCorrectionsOf};
  Query withdrawals{*db_, log_sql::kWithdrawalsOf};
  // An id may be referred to without being there; its other relatives are found through it all the same.
  std::unordered_set<Uuid> seen{id};
  std::vector<Uuid> open{id};
  const auto reach = [&](const Uuid& other) {
    if (seen.insert(other).second) open.push_back(other);
  };
  while (!open.empty()) {
    const Uuid next = open.back();
    open.pop_back();
    const auto entry = find_entry(*db_, next);
    if (entry && entry->vessel != vessel) continue;
    if (entry) {
      if (entry->head.replaces) reach(*entry->head.replaces);
      if (entry->head.withdraws) reach(*entry->head.withdraws);
      out.push_back(*entry);
    }
    corrections.bind(vessel, next);
    while (corrections.step()) reach(corrections.uuid(0));
    withdrawals.bind(vessel, next);
    while (withdrawals.step()) reach(withdrawals.uuid(0));
  }
  std::sort(out.begin(), out.end(), [](const Entry& a, const Entry& b) {
    return a.head.recorded_at.utc != b.head.recorded_at.utc ? a.head.recorded_at.utc < b.head.recorded_at.utc
                                                            : a.head.id < b.head.id;
  });
  return out;
}

std::optional<Entry> LogRepository::in_force(const Uuid& id) const {
  const auto family = history_of(id);
  std::vector<Link> links;
  for (const Entry& e : family) {
    if (e.head.replaces) links.push_back({e.head.id, *e.head.replaces, false, e.head.recorded_at.utc});
    if (e.head.withdraws) links.push_back({e.head.id, *e.head.withdraws, true, e.head.recorded_at.utc});
  }
  const Ids left_out = not_in_force(links);
  for (const Entry& e : family) {
    if (!e.is_withdrawal() && !left_out.contains(e.head.id)) return e;
  }
  return std::nullopt;
}

std::vector<Entry> LogRepository::list(const ListQuery& query) const {
  std::vector<Entry> out;
  if (query.most > 0) {
    for (auto& of_vessel : newest(*db_, query)) {
      out.insert(out.end(), std::make_move_iterator(of_vessel.begin()), std::make_move_iterator(of_vessel.end()));
    }
  } else {
    each(query, [&](const Entry& e) { out.push_back(e); });
  }
  std::sort(out.begin(), out.end(), is_before);
  return out;
}

void LogRepository::each(const ListQuery& query, const std::function<void(const Entry&)>& take) const {
  if (query.most > 0) {
    for (const auto& of_vessel : newest(*db_, query)) {
      for (const Entry& e : of_vessel) take(e);
    }
    return;
  }
  ListStatements statements{*db_, /*newest_first=*/false};
  for (const VesselId vessel : vessels_of(*db_, query)) {
    merge_vessel(statements, query, vessel, [&](const Entry& e) {
      take(e);
      return true;
    });
  }
}

}  // namespace shaftlog
