#include "storage/verification_repository.hpp"

#include "base/error.hpp"
#include "base/text.hpp"
#include "storage/chain.hpp"
#include "storage/query.hpp"
#include "storage/side_repository.hpp"
#include "storage/verification_rows.hpp"

#include <iterator>
#include <unordered_set>

#include <fmt/format.h>

namespace shaftlog {
namespace {

[[noreturn]] void refuse(const Verification& v, const std::string& what) {
  throw Error{Errc::bad_data, fmt::format("verification {}: {}", format_uuid(v.id), what)};
}

/// What the table would refuse, in words; the rest is for its constraints.
void require_keepable(const Verification& v) {
  if (v.record.is_nil()) refuse(v, "it names no record");
  if (!v.vessel.is_set()) refuse(v, "it names no vessel");
  if (v.by.empty()) refuse(v, "it does not say who verified the record");
  if (const auto at = find_bad_utf8(v.by)) refuse(v, fmt::format("by: byte {} is not UTF-8", *at + 1));
}

}  // namespace

struct VerificationRepository::Statements {
  explicit Statements(Database& db)
      : add_person{db, verification_sql::kAddPerson},
        add{db, verification_sql::kAdd},
        key{db, verification_sql::kKey},
        of{db, verification_sql::list_of_record()} {}
  Query add_person, add, key, of;
  /// Of an office's file: what was first written here. Looked up once; a record that comes later comes by a pack.
  std::optional<std::unordered_set<Uuid>> own;
};

VerificationRepository::VerificationRepository(Database& db)
    : db_{&db}, statements_{std::make_unique<Statements>(db)} {}
VerificationRepository::~VerificationRepository() = default;

Verification read_verification(const Query& row) {
  Verification v;
  v.id = row.uuid(0);
  v.vessel = row.key<VesselId>(1);
  v.record = row.uuid(2);
  v.at = row.stamp(3);
  v.by = row.text(6);
  return v;
}

bool VerificationRepository::add(const Verification& v) { return add(v, nullptr); }
bool VerificationRepository::add(const Verification& v, const LinkPlace& place) { return add(v, &place); }

bool VerificationRepository::add(const Verification& v, const LinkPlace* place) {
  require_keepable(v);
  if (place == nullptr) require_may_verify(v);
  Savepoint whole{*db_};  // the name and the verification
  statements_->add_person.run(v.by);
  Query& add = statements_->add;
  add.run(v.id, v.vessel, v.record, v.at.utc, std::int64_t{v.at.offset.count()}, static_cast<int>(v.at.precision),
          v.by);
  const bool is_new = add.changes() != 0;
  if (place != nullptr) {
    Query& key = statements_->key;
    key.bind(v.id).step();
    db_->chain().put(*place, {LinkTarget::Sort::verification, key.integer(0)});
    key.reset();
  } else if (is_new) {
    db_->chain().append(add.last_id(), v);
  }
  if (is_new || place != nullptr) whole.keep();
  return is_new;
}

/// One that is there already is no new one: a folder may be imported again.
void VerificationRepository::require_may_verify(const Verification& v) {
  const SideRepository side{*db_};
  if (side.side() != Side::office) return;
  if (!statements_->own) {
    db_->chain().flush();  // links that wait are of records just written here
    statements_->own.emplace();
    Query row{*db_, verification_sql::kOwnRecords};
    while (row.step()) statements_->own->insert(row.uuid(0));
  }
  if (statements_->own->contains(v.record)) return;
  const bool is_there = statements_->key.bind(v.id).step();
  statements_->key.reset();
  if (is_there) return;
  const std::string file = side.elsewhere(v.record);
  if (file.empty()) return;
  throw Error{Errc::conflict,
              fmt::format("record {} was first written in the file of {}, and this is an office's file: it is verified "
                          "there; what is to be said here goes with a finding (finding note)",
                          format_uuid(v.record), file)};
}

std::optional<Verification> VerificationRepository::find(const Uuid& id) const {
  Query row{*db_, verification_sql::find()};
  if (!row.bind(id).step()) return std::nullopt;
  return read_verification(row);
}

std::vector<Verification> VerificationRepository::of(VesselId vessel, const Uuid& record) const {
  std::vector<Verification> out;
  Query& row = statements_->of;
  row.bind(vessel, record);
  while (row.step()) out.push_back(read_verification(row));
  return out;
}

std::vector<Verification> VerificationRepository::list_of(VesselId vessel) const {
  std::vector<Verification> out;
  Query row{*db_, verification_sql::list_of_vessel()};
  row.bind(vessel);
  while (row.step()) out.push_back(read_verification(row));
  return out;
}

std::vector<Verification> VerificationRepository::list() const {
  std::vector<Verification> out;
  Query vessels{*db_, verification_sql::kVessels};
  while (vessels.step()) {
    auto of = list_of(vessels.key<VesselId>(0));
    out.insert(out.end(), std::make_move_iterator(of.begin()), std::make_move_iterator(of.end()));
  }
  return out;
}

}  // namespace shaftlog
