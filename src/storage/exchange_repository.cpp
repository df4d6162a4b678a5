#include "storage/exchange_repository.hpp"

#include "base/error.hpp"
#include "storage/chain.hpp"
#include "storage/chain_sql.hpp"
#include "storage/exchange_sql.hpp"
#include "storage/query.hpp"

#include <fmt/format.h>

namespace shaftlog {
namespace {

StrandHead head_of(Database& db, std::int64_t origin) {
  Query head{db, chain_sql::kHead};
  if (!head.bind(origin).step()) return {};
  return {head.integer(0), head.hash(1)};
}

}  // namespace

std::optional<Uuid> ExchangeRepository::fleet() const {
  Query row{*db_, exchange_sql::kFleet};
  return row.step() ? std::optional{row.uuid(0)} : std::nullopt;
}

void ExchangeRepository::set_fleet(const Uuid& fleet) const { Query{*db_, exchange_sql::kAddFleet}.run(fleet); }

Uuid ExchangeRepository::make_fleet() const {
  const Uuid id = random_uuid(handle_of(*db_));
  set_fleet(id);
  return id;
}

std::vector<Strand> ExchangeRepository::strands() const {
  db_->chain().flush();
  std::vector<Strand> out;
  Query row{*db_, exchange_sql::kOrigins};
  while (row.step()) {
    const StrandHead head = head_of(*db_, row.integer(0));
    out.push_back(
        {row.integer(0), row.uuid(1), std::string{row.text(2)}, row.maybe_integer(3), head.position, head.hash});
  }
  return out;
}

Strand ExchangeRepository::own() const {
  const std::int64_t origin = own_origin(handle_of(*db_));
  for (Strand& s : strands()) {
    if (s.origin == origin) return std::move(s);
  }
  throw Error{Errc::damaged, "the audit chain is damaged: this file's own strand is not there"};
}

void ExchangeRepository::begin_strand() const { shaftlog::begin_strand(handle_of(*db_)); }

std::int64_t ExchangeRepository::find_or_add(const Uuid& origin) const {
  Query find{*db_, exchange_sql::kFindOrigin};
  if (find.bind(origin).step()) return find.integer(0);
  Query{*db_, exchange_sql::kAddOrigin}.run(origin);
  find.bind(origin).step();
  return find.integer(0);
}

void ExchangeRepository::name(std::int64_t origin, const std::string& name) const {
  Query{*db_, exchange_sql::kNameOrigin}.run(name, origin);
}

std::optional<Hash> ExchangeRepository::hash_at(std::int64_t origin, std::int64_t position) const {
  if (position == 0) return Hash{};
  Query row{*db_, exchange_sql::kHashAt};
  return row.bind(origin, position).step() ? std::optional{row.hash(0)} : std::nullopt;
}

void ExchangeRepository::each_content(std::int64_t origin, std::int64_t after,
                                      const std::function<void(std::string_view)>& take) const {
  LinkedContent content{handle_of(*db_)};
  Query link{*db_, chain_sql::kLinks};
  Query variant{*db_, exchange_sql::kVariant};
  std::string bytes;
  link.bind(origin, after);
  while (link.step()) {
    bytes.clear();
    if (variant.bind(origin, link.integer(0)).step()) {
      bytes = variant.blob(0);
      variant.reset();
    } else {
      if (!content.append(bytes, link_target(link, 2)))
        throw Error{Errc::damaged, "the audit chain is damaged: a record is missing; run \"check\""};
    }
    take(bytes);
  }
}

void ExchangeRepository::add_variant(std::int64_t origin, std::int64_t position, std::string_view content) const {
  Query{*db_, exchange_sql::kAddVariant}.run(origin, position, BlobView{content});
}

std::optional<PeerFile> ExchangeRepository::find_peer(std::int64_t origin) const {
  Query row{*db_, exchange_sql::kPeer};
  if (!row.bind(origin).step()) return std::nullopt;
  PeerFile peer;
  peer.told = from_unix(row.integer(0));
  peer.register_hash = row.hash(1);
  if (!row.is_null(2)) peer.seen_register = row.hash(2);
  Query has{*db_, exchange_sql::kAcknowledged};
  has.bind(origin);
  while (has.step()) peer.has.emplace(has.integer(0), has.integer(1));
  return peer;
}

void ExchangeRepository::put_peer(std::int64_t origin, const PeerFile& peer) const {
  Query{*db_, exchange_sql::kPutPeer}.run(origin, peer.told, peer.register_hash, peer.seen_register);
  Query{*db_, exchange_sql::kForgetAcknowledged}.run(origin);
  Query has{*db_, exchange_sql::kAcknowledge};
  for (const auto& [of, position] : peer.has) has.run(origin, of, position);
}

std::map<std::string, RegisterTime> ExchangeRepository::register_times() const {
  std::map<std::string, RegisterTime> out;
  Query row{*db_, exchange_sql::kRegisterTimes};
  while (row.step()) {
    out.emplace(row.text(0), RegisterTime{std::string{row.text(1)}, row.integer(2), row.integer(3)});
  }
  return out;
}

void ExchangeRepository::note_register_time(const RegisterTime& t) const {
  Query{*db_, exchange_sql::kNoteTime}.run(t.table, t.row, t.at_s);
}

}  // namespace shaftlog
