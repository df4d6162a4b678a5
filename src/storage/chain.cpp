#include "storage/chain.hpp"

#include "base/error.hpp"
#include "domain/content.hpp"
#include "storage/chain_sql.hpp"
#include "storage/finding_rows.hpp"
#include "storage/log_rows.hpp"
#include "storage/verification_rows.hpp"

#include <cstring>
#include <sqlite3.h>
#include <utility>

#include <fmt/format.h>

namespace shaftlog {
namespace {

constexpr std::array<const char*, 5> kCodeStatements{chain_sql::kVesselCode, chain_sql::kShaftCode,
                                                     chain_sql::kLubricatorCode, chain_sql::kGunCode,
                                                     chain_sql::kGreaseCode};
constexpr std::size_t kLinksAtOnce = 32;
using Sort = LinkTarget::Sort;
enum : std::size_t { vessels, shafts, lubricators, guns, greases };

GreaseId grease_of(const Detail& detail) {
  if (const auto* r = std::get_if<Refill>(&detail)) return r->grease;
  if (const auto* g = std::get_if<Greasing>(&detail)) return g->grease;
  return {};
}
GunId gun_of(const Detail& detail) {
  const auto* g = std::get_if<Greasing>(&detail);
  return g == nullptr ? GunId{} : g->gun;
}

/// The columns of a link that say what it stands for.
std::array<std::optional<std::int64_t>, 3> keys_of(const LinkTarget& target) {
  std::array<std::optional<std::int64_t>, 3> keys;
  keys[static_cast<std::size_t>(target.sort)] = target.key;
  return keys;
}

}  // namespace

Uuid random_uuid(sqlite3* db) {
  Query random{db, "SELECT randomblob(16)"};
  random.step();
  Uuid id = random.uuid(0);
  id.bytes[6] = static_cast<std::uint8_t>((id.bytes[6] & 0x0f) | 0x40);  // RFC 9562 5.4: version 4
  id.bytes[8] = static_cast<std::uint8_t>((id.bytes[8] & 0x3f) | 0x80);
  return id;
}

Hash link_hash(const Hash& before, std::string_view content) {
  std::string all;
  all.reserve(before.size() + content.size());
  all.append(reinterpret_cast<const char*>(before.data()), before.size());
  all.append(content);
  return sha256(all);
}

std::string_view CodeBook::code(std::size_t table, std::int64_t key) {
  if (key == 0) return {};
  Table& t = tables_[table];
  if (const auto it = t.known.find(key); it != t.known.end()) return it->second;
  if (!t.find) t.find = std::make_unique<Query>(db_, kCodeStatements[table]);
  if (!t.find->bind(key).step()) {
    throw Error{Errc::damaged, "the log is damaged: it refers to a row of the register that is not there"};
  }
  std::string found{t.find->text(0)};
  t.find->reset();
  return t.known.emplace(key, std::move(found)).first->second;
}

void CodeBook::append_whole(std::string& out, const Entry& e) {
  Codes<std::string_view> codes;
  codes.vessel = code(vessels, e.vessel.value);
  codes.shaft = code(shafts, e.shaft.value);
  codes.lubricator = code(lubricators, e.lubricator.value);
  codes.gun = code(guns, gun_of(e.detail).value);
  codes.grease = code(greases, grease_of(e.detail).value);
  shaftlog::append_whole(out, e, codes);
}

void CodeBook::append_whole(std::string& out, const FindingRemark& r) {
  Codes<std::string_view> codes;
  codes.vessel = code(vessels, r.vessel.value);
  codes.shaft = code(shafts, r.shaft.value);
  codes.lubricator = code(lubricators, r.lubricator.value);
  shaftlog::append_whole(out, r, codes);
}

void CodeBook::append_whole(std::string& out, const Verification& v) {
  Codes<std::string_view> codes;
  codes.vessel = code(vessels, v.vessel.value);
  shaftlog::append_whole(out, v, codes);
}

void CodeBook::forget() noexcept {
  for (Table& t : tables_) t.known.clear();
}

std::int64_t own_origin(sqlite3* db) {
  Query own{db, chain_sql::kOwn};
  return own.step() ? own.integer(0) : begin_strand(db);
}

std::int64_t begin_strand(sqlite3* db) {
  const Uuid id = random_uuid(db);
  Query{db, chain_sql::kAddOwn}.run(id);
  return single_integer(db, chain_sql::kOwn);
}

Chain::~Chain() {
  sqlite3_finalize(one_);
  sqlite3_finalize(many_);
}

void Chain::begin() {
  end();
  is_in_transaction_ = true;
}

void Chain::end() noexcept {
  is_in_transaction_ = false;
  codes_.forget();  // what was looked up may have been undone
  head_.reset();
  waiting_.clear();
}

void Chain::append(std::int64_t entry_id, const Entry& entry) { append_whole({Sort::entry, entry_id}, entry); }
void Chain::append(std::int64_t finding_remark_id, const FindingRemark& remark) {
  append_whole({Sort::remark, finding_remark_id}, remark);
}
void Chain::append(std::int64_t verification_id, const Verification& verification) {
  append_whole({Sort::verification, verification_id}, verification);
}

void Chain::read_head() {
  head_.emplace();
  head_->origin = own_origin(db_);
  Query head{db_, chain_sql::kHead};
  if (head.bind(head_->origin).step()) {
    head_->position = head.integer(0);
    head_->hash = head.hash(1);
  }
}

template <class What>
void Chain::append_whole(const LinkTarget& target, const What& what) {
  content_.assign(sizeof(Hash), '\0');  // the predecessor's hash goes before it
  codes_.append_whole(content_, what);
  // Outside a transaction another connection may have added since.
  if (!head_ || !is_in_transaction_) read_head();
  std::memcpy(content_.data(), head_->hash.data(), head_->hash.size());
  head_->hash = sha256(content_);
  ++head_->position;
  put(*head_, target);
}

void Chain::put(const LinkPlace& place, const LinkTarget& target) {
  waiting_.push_back({place, target});
  if (waiting_.size() == kLinksAtOnce) flush();
  if (is_in_transaction_) return;
  flush();
  end();
}

void Chain::flush() {
  const std::vector<Link> links = std::exchange(waiting_, {});
  try {
    if (links.size() == kLinksAtOnce) {
      write(links.data(), kLinksAtOnce, many_);
    } else {
      for (const Link& link : links) write(&link, 1, one_);
    }
  } catch (const Error& e) {
    head_.reset();
    if (e.code() != Errc::conflict) throw;
    // No fault of the record: who asks for conflicts means to go on without it.
    throw Error{Errc::damaged, fmt::format("the audit chain is damaged ({}); run \"check\"", e.what())};
  }
}

void Chain::write(const Link* links, std::size_t n, sqlite3_stmt*& statement) {
  if (statement == nullptr) {
    std::string sql = chain_sql::kAddLinks;
    for (std::size_t i = 0; i < n; ++i) sql += i == 0 ? "(?, ?, ?, ?, ?, ?)" : ", (?, ?, ?, ?, ?, ?)";
    const int rc = sqlite3_prepare_v3(db_, sql.c_str(), -1, SQLITE_PREPARE_PERSISTENT, &statement, nullptr);
    if (rc != SQLITE_OK) throw_sqlite_error(db_, rc);
  }
  const auto number = [&](int i, std::optional<std::int64_t> value) {
    return value ? sqlite3_bind_int64(statement, i, *value) : sqlite3_bind_null(statement, i);
  };
  int i = 0, rc = SQLITE_OK;
  for (std::size_t k = 0; k < n && rc == SQLITE_OK; ++k) {
    const Link& link = links[k];
    rc = number(++i, link.place.origin);
    if (rc == SQLITE_OK) rc = number(++i, link.place.position);
    for (const std::optional<std::int64_t>& key : keys_of(link.target)) {
      if (rc == SQLITE_OK) rc = number(++i, key);
    }
    if (rc == SQLITE_OK) {
      rc = sqlite3_bind_blob(statement, ++i, link.place.hash.data(), static_cast<int>(link.place.hash.size()),
                             SQLITE_STATIC);
    }
  }
  if (rc != SQLITE_OK) throw_sqlite_error(db_, rc);
  rc = sqlite3_step(statement);
  if (rc != SQLITE_DONE) {
    const char* const name = sqlite3_db_filename(db_, "main");
    const std::string message = sqlite3_errmsg(db_);
    sqlite3_reset(statement);
    throw_sqlite_error(name == nullptr ? "" : name, rc, message.c_str());
  }
  sqlite3_reset(statement);
}

LinkTarget link_target(const Query& row, int column) {
  for (const Sort sort : {Sort::entry, Sort::remark}) {
    const int at = column + static_cast<int>(sort);
    if (!row.is_null(at)) return {sort, row.integer(at)};
  }
  return {Sort::verification, row.integer(column + static_cast<int>(Sort::verification))};
}

std::string_view name_of(Sort sort) noexcept {
  constexpr std::array<std::string_view, 3> kNames{"record", "remark", "verification"};
  return kNames[static_cast<std::size_t>(sort)];
}

LinkedContent::LinkedContent(sqlite3* db)
    : db_{db},
      codes_{db},
      entry_{db, chain_sql::entry_of()},
      remark_{db, finding_sql::find_by_key()},
      verification_{db, verification_sql::find_by_key()} {}

bool LinkedContent::append(std::string& out, const LinkTarget& target) {
  switch (target.sort) {
    case Sort::entry:
      return append_entry(out, target.key);
    case Sort::remark:
      return append_remark(out, target.key);
    case Sort::verification:
      return append_verification(out, target.key);
  }
  return false;
}

std::string LinkedContent::tell(const LinkTarget& target) {
  switch (target.sort) {
    case Sort::entry:
      return tell_entry(target.key);
    case Sort::remark:
      return tell_remark(target.key);
    case Sort::verification:
      return tell_verification(target.key);
  }
  return {};
}

bool LinkedContent::read_entry(std::int64_t entry_id, Entry& out) {
  if (!entry_.bind(entry_id).step()) return false;
  out = read_head(entry_);
  entry_.reset();
  if (out.head.withdraws) return true;
  auto& detail = details_[index_of(out.kind)];
  if (!detail) detail = std::make_unique<Query>(db_, log_sql::find_detail(index_of(out.kind)));
  if (!detail->bind(entry_id).step()) throw Error{Errc::damaged, "its detail is not there"};
  out.detail = read_detail(out.kind, *detail, 0);
  detail->reset();
  return true;
}

bool LinkedContent::append_entry(std::string& out, std::int64_t entry_id) {
  Entry entry;
  if (!read_entry(entry_id, entry)) return false;
  codes_.append_whole(out, entry);
  return true;
}

bool LinkedContent::append_remark(std::string& out, std::int64_t finding_remark_id) {
  if (!remark_.bind(finding_remark_id).step()) return false;
  const FindingRemark remark = read_finding_remark(remark_);
  remark_.reset();
  codes_.append_whole(out, remark);
  return true;
}

bool LinkedContent::append_verification(std::string& out, std::int64_t verification_id) {
  if (!verification_.bind(verification_id).step()) return false;
  const Verification verification = read_verification(verification_);
  verification_.reset();
  codes_.append_whole(out, verification);
  return true;
}

std::string LinkedContent::tell_entry(std::int64_t entry_id) {
  Query row{db_, R"sql(
SELECT e.uuid, e.kind, v.code, e.at_utc_s FROM entry e LEFT JOIN vessel v ON v.vessel_id = e.vessel_id
WHERE e.entry_id = :entry )sql"};
  if (!row.bind(entry_id).step()) return "a record that is not there";
  const std::int64_t kind = row.integer(1);
  return fmt::format(
      "record {} ({} of {}, {})", format_uuid(row.uuid(0)),
      kind >= 1 && kind <= 8 ? name_of(static_cast<Kind>(kind - 1)) : std::string_view{"of no known kind"}, row.text(2),
      format_utc(from_unix(row.integer(3))));
}

std::string LinkedContent::tell_remark(std::int64_t finding_remark_id) {
  Query row{db_, R"sql(
SELECT r.uuid, v.code, r.at_utc_s FROM finding_remark r LEFT JOIN vessel v ON v.vessel_id = r.vessel_id
WHERE r.finding_remark_id = :remark )sql"};
  if (!row.bind(finding_remark_id).step()) return "a remark that is not there";
  return fmt::format("remark {} (on a finding of {}, {})", format_uuid(row.uuid(0)), row.text(1),
                     format_utc(from_unix(row.integer(2))));
}

std::string LinkedContent::tell_verification(std::int64_t verification_id) {
  Query row{db_, R"sql(
SELECT w.uuid, w.record, v.code, w.at_utc_s FROM verification w LEFT JOIN vessel v ON v.vessel_id = w.vessel_id
WHERE w.verification_id = :verification )sql"};
  if (!row.bind(verification_id).step()) return "a verification that is not there";
  return fmt::format("verification {} (of record {} of {}, {})", format_uuid(row.uuid(0)), format_uuid(row.uuid(1)),
                     row.text(2), format_utc(from_unix(row.integer(3))));
}

void chain_all(sqlite3* db) {
  if (Query{db, chain_sql::kHasLink}.step()) return;
  LinkedContent content{db};
  Query link{db, chain_sql::kAddLink};
  std::optional<std::int64_t> origin;
  StrandHead head;
  std::string bytes;
  const auto add_all = [&](Sort sort, const char* sql) {
    Query row{db, sql};
    while (row.step()) {
      const LinkTarget target{sort, row.integer(0)};
      bytes.clear();
      content.append(bytes, target);
      if (!origin) origin = begin_strand(db);
      head.hash = link_hash(head.hash, bytes);
      const auto keys = keys_of(target);
      link.run(*origin, ++head.position, keys[0], keys[1], keys[2], head.hash);
    }
  };
  add_all(Sort::entry, chain_sql::kEntries);
  add_all(Sort::remark, chain_sql::kRemarks);
  add_all(Sort::verification, chain_sql::kVerifications);
}

}  // namespace shaftlog
