#include "app/pack.hpp"

#include "app/keys.hpp"
#include "app/maintenance.hpp"
#include "app/pack_trust.hpp"
#include "base/error.hpp"
#include "base/text.hpp"
#include "domain/content.hpp"
#include "interchange/new_file.hpp"
#include "interchange/register_index.hpp"
#include "storage/chain.hpp"
#include "storage/exchange_repository.hpp"
#include "storage/finding_repository.hpp"
#include "storage/key_repository.hpp"
#include "storage/log_repository.hpp"
#include "storage/register_repository.hpp"
#include "storage/side_repository.hpp"
#include "storage/verification_repository.hpp"

#include <algorithm>
#include <fstream>
#include <type_traits>

#include <fmt/format.h>

namespace shaftlog {
namespace {

std::string called(const Strand& s) { return s.name.empty() ? format_uuid(s.id) : shown(s.name); }
std::string called(const PackStrand& s) { return s.name.empty() ? format_uuid(s.origin) : shown(s.name); }

/// The file a pack is for: by id, or the one of that name that was heard of last.
const Strand& find_receiver(const ExchangeRepository& exchange, const std::vector<Strand>& strands,
                            const std::string& to) {
  const auto id = parse_uuid(to);
  const Strand* found = nullptr;
  std::optional<Instant> heard;
  std::string names;
  for (const Strand& s : strands) {
    if (s.own) continue;
    const auto peer = exchange.find_peer(s.origin);
    if (!s.name.empty() && names.find('"' + s.name + '"') == std::string::npos) {
      names += fmt::format("{}\"{}\"", names.empty() ? "" : ", ", s.name);
    }
    if (id ? s.id != *id : s.name != to) continue;
    const std::optional<Instant> told = peer ? std::optional{peer->told} : std::nullopt;
    if (found == nullptr || told > heard) {
      found = &s;
      heard = told;
    }
  }
  if (found == nullptr) {
    throw Error{Errc::not_found,
                fmt::format("--for: no pack of \"{}\" was taken in yet; expected {}, or --all for the first one",
                            shown(to), names.empty() ? "the name of a file that sent one" : "one of " + names)};
  }
  return *found;
}

}  // namespace

std::string make_pack(Database& db, const Clock& clock, const PackOptions& options, PackResult& result) {
  WriteTransaction transaction{db};
  const ExchangeRepository exchange{db};
  Strand own = exchange.own();
  if (!options.name.empty()) {
    if (options.name.size() > 100 || find_bad_utf8(options.name)) {
      throw Error{Errc::usage,
                  fmt::format("--name: \"{}\" is longer than 100 bytes, or not UTF-8", shown(options.name))};
    }
    exchange.name(own.origin, options.name);
    own.name = options.name;
  }
  if (own.name.empty()) {
    throw Error{Errc::usage,
                "this file has no name yet by which others know it; give one with --name, such as the ship's"};
  }
  const auto key = options.is_unsigned ? std::nullopt : signing_key(db);
  if (key) sign_strands(db, *key, clock.now_s());
  const KeyRepository keys{db};
  const auto known_fleet = exchange.fleet();
  Pack pack;
  PackManifest& m = pack.manifest;
  m.fleet = known_fleet ? *known_fleet : exchange.make_fleet();
  m.from = own.id;
  m.from_name = own.name;
  m.made_by = fmt::format("shaftlog {}", program_version());
  m.made_at = clock.now_s();

  const std::vector<Strand> strands = exchange.strands();
  std::optional<PeerFile> peer;
  if (!options.to.empty()) peer = exchange.find_peer(find_receiver(exchange, strands, options.to).origin);
  for (const Strand& s : strands) {
    m.has.emplace_back(s.id, s.position);
    if (const auto other = exchange.find_peer(s.origin)) m.seen.emplace_back(s.id, other->register_hash);
    if (s.position == 0 || (options.own_only && !s.own)) continue;
    std::int64_t after = 0;
    if (peer) {
      const auto has = peer->has.find(s.origin);
      after = has == peer->has.end() ? 0 : std::min(has->second, s.position);
    }
    append_checkpoints(m.checkpoints, keys.checkpoints(s.origin), after);
    if (after == s.position) continue;
    const auto before = exchange.hash_at(s.origin, after);
    if (!before) throw Error{Errc::damaged, "the audit chain is damaged: a link is missing; run \"check\""};
    m.strands.push_back({s.id, s.name, after + 1, s.position, *before, s.hash});
    exchange.each_content(s.origin, after, [&](std::string_view content) {
      append_part(pack.content, content);
      pack.has_verifications = pack.has_verifications || is_verification(content);
      ++result.records;
    });
    result.strands.push_back({called(s), after + 1, s.position});
  }
  const std::string parts = register_parts(db);
  m.register_hash = sha256(parts);
  m.has_register = !peer || (peer->register_hash != m.register_hash && peer->seen_register != m.register_hash);
  if (m.has_register) pack.content += parts;
  result.has_register = m.has_register;
  if (key) {
    m.successions = successions_to(key->public_key(), keys.signers());
    result.signer = key->public_key();
  }
  std::string bytes = write_pack(pack, key ? &*key : nullptr);
  result.bytes = bytes.size();
  transaction.commit();
  return bytes;
}

PackResult pack(Database& db, const Clock& clock, const std::filesystem::path& file, const PackOptions& options) {
  std::error_code ignored;
  if (std::filesystem::exists(std::filesystem::symlink_status(file, ignored))) {
    throw Error{Errc::conflict, fmt::format("{}: is there already; expected a new file", shown(file.string(), 200))};
  }
  PackResult result;
  const std::string bytes = make_pack(db, clock, options, result);
  NewFile out{file};
  out.write(bytes);
  out.sync();
  out.keep();
  sync_folder(file.has_parent_path() ? file.parent_path() : std::filesystem::path{"."});
  return result;
}

namespace {

class Unpacking {
 public:
  Unpacking(Database& db, const Pack& pack, const UnpackOptions& options)
      : db_{db},
        pack_{pack},
        options_{options},
        exchange_{db},
        log_{db},
        findings_{db},
        verifications_{db},
        codes_{handle_of(db)},
        trust_{db, pack, options},
        is_ship_{SideRepository{db}.side() == Side::ship} {}

  UnpackResult run() {
    const PackManifest& m = pack_.manifest;
    result_.from = m.from_name.empty() ? format_uuid(m.from) : shown(m.from_name);
    result_.made_at = m.made_at;
    WriteTransaction transaction{db_};
    join_fleet();
    trust_.judge_sender(result_);
    split_content();
    if (m.has_register) result_.registered = merge_register(db_, *register_, "pack of " + result_.from);
    index_ = RegisterIndex{RegisterRepository{db_}.load()};
    for (std::size_t i = 0; i < m.strands.size(); ++i) read_strand(m.strands[i], contents_[i]);
    trust_.take_checkpoints();
    note_peer();
    if (options_.dry_run) return std::move(result_);
    transaction.commit();
    result_.is_kept = true;
    return std::move(result_);
  }

 private:
  [[noreturn]] static void refuse(Errc code, const std::string& what) { throw Error{code, what}; }

  void join_fleet() {
    const auto fleet = exchange_.fleet();
    if (fleet == pack_.manifest.fleet) return;
    const auto strands = exchange_.strands();
    const bool knows_others = std::any_of(strands.begin(), strands.end(), [](const Strand& s) { return !s.own; });
    if (fleet && knows_others) {
      refuse(Errc::conflict, "is of another fleet");
    }
    const bool is_blank = std::all_of(strands.begin(), strands.end(), [](const Strand& s) { return s.position == 0; });
    if (!(is_blank && !fleet) && !options_.join) {
      refuse(Errc::conflict,
             "is the first one this file, which has records or packs of its own, would take in; --join "
             "if both belong to one fleet");
    }
    exchange_.set_fleet(pack_.manifest.fleet);
    result_.has_joined = true;
  }

  void split_content() {
    std::uint64_t wanted = 0;
    for (const PackStrand& s : pack_.manifest.strands) wanted += static_cast<std::uint64_t>(s.last - s.first + 1);
    if (wanted > pack_.content.size()) refuse(Errc::bad_data, "is wrong: its content ends too early");
    PartReader parts{pack_.content};
    for (const PackStrand& s : pack_.manifest.strands) {
      auto& list = contents_.emplace_back();
      for (std::int64_t p = s.first; p <= s.last; ++p) list.push_back(parts.next());
    }
    register_.emplace(parts);
    if (pack_.manifest.has_register) {
      PartReader rest = parts;
      std::string all;
      while (!rest.is_at_end()) append_part(all, rest.next());
      if (sha256(all) != pack_.manifest.register_hash) refuse(Errc::bad_data, "is wrong: its register is another one");
    } else if (!parts.is_at_end()) {
      refuse(Errc::bad_data, "is wrong: more follows than its manifest says");
    }
  }

  void read_strand(const PackStrand& s, const std::vector<std::string_view>& contents) {
    Strand here;
    here.origin = exchange_.find_or_add(s.origin);
    for (Strand& other : exchange_.strands()) {
      if (other.origin == here.origin) here = std::move(other);
    }
    if (!here.own && !s.name.empty() && (here.name.empty() || s.origin == pack_.manifest.from)) {
      exchange_.name(here.origin, s.name);
    }
    if (s.first > here.position + 1) {
      refuse(Errc::conflict,
             fmt::format("has the records of {} from number {} on, and this file has {} of them; ask for a "
                         "pack made with --all",
                         called(s), s.first, here.position));
    }
    if (s.last > here.position) trust_.require_vouched(here.origin, s, called(s));
    Sha256 before = s.before;
    require_same(s, here.origin, s.first - 1, before);
    std::int64_t position = s.first;
    for (const std::string_view content : contents) {
      const Sha256 hash = link_hash(before, content);
      if (position <= here.position) {
        require_same(s, here.origin, position, hash);
      } else {
        take_in(content, {here.origin, position, hash}, s);
      }
      before = hash;
      ++position;
    }
    if (before != s.after) {
      refuse(Errc::bad_data, fmt::format("is wrong: the hashes of the records of {} do not come out", called(s)));
    }
    if (here.own && s.last > here.position && exchange_.own().origin == here.origin) {
      exchange_.begin_strand();
      result_.is_older_copy = true;
    }
  }

  void require_same(const PackStrand& s, std::int64_t origin, std::int64_t position, const Sha256& theirs) const {
    if (exchange_.hash_at(origin, position) == theirs) return;
    if (const auto proof = trust_.find_checkpoint_from(origin, position)) {
      refuse(Errc::conflict,
             fmt::format("the records of {} part at number {} from what its key signed on {}: they were written anew "
                         "since, there or here; \"check\" tells whether here",
                         called(s), position, format_utc(proof->at)));
    }
    refuse(Errc::conflict,
           fmt::format("the records of {} part at number {}: two copies of one file were both written to; save what "
                       "one of them has with \"recover\" into a new file, which others can take in",
                       called(s), position));
  }

  void take_in(std::string_view content, const LinkPlace& place, const PackStrand& s) {
    const auto where = [&] { return fmt::format("record {} of {}", place.position, called(s)); };
    try {
      Whole whole = parse_whole(content);
      if (std::holds_alternative<Verification>(whole.what) && !pack_.has_verifications) {
        throw Error{Errc::bad_data, "is a verification, which a pack of this format cannot hold"};
      }
      const bool is_new = std::visit([&](auto& what) { return put(what, whole.codes, content, place); }, whole.what);
      ++(is_new ? result_.added : result_.known);
    } catch (const Error& e) {
      if (e.code() != Errc::bad_data && e.code() != Errc::conflict && e.code() != Errc::not_found) throw;
      refuse(Errc::bad_data, fmt::format("{}: {}", where(), e.what()));
    }
  }

  bool put(Entry& entry, const Codes<std::string>& codes, std::string_view content, const LinkPlace& place) {
    const RegisterIndex::OnBoard& on_board = set_subject(entry, codes);
    if (auto* g = std::get_if<Greasing>(&entry.detail)) {
      if (!codes.gun.empty()) g->gun = require(on_board.guns, codes.gun, "gun")->id;
      g->grease = grease(codes);
    }
    if (auto* r = std::get_if<Refill>(&entry.detail)) r->grease = grease(codes);
    if (log_.add(entry, place)) {
      tell_rivals(entry);
      if (is_ship_) tell_altered(entry, place);
      return true;
    }
    std::string kept;
    codes_.append_whole(kept, *log_.find(entry.head.id));
    if (kept != content) note_variant("record", entry.head.id, content, place);
    return false;
  }

  bool put(FindingRemark& remark, const Codes<std::string>& codes, std::string_view content, const LinkPlace& place) {
    set_subject(remark, codes);
    if (findings_.add(remark, place)) return true;
    std::string kept;
    codes_.append_whole(kept, *findings_.find(remark.id));
    if (kept != content) note_variant("remark", remark.id, content, place);
    return false;
  }

  bool put(Verification& verification, const Codes<std::string>& codes, std::string_view content,
           const LinkPlace& place) {
    set_subject(verification, codes);
    if (verifications_.add(verification, place)) {
      result_.verified[verification.by].insert(verification.record);
      return true;
    }
    std::string kept;
    codes_.append_whole(kept, *verifications_.find(verification.id));
    if (kept != content) note_variant("verification", verification.id, content, place);
    return false;
  }

  void note_variant(const char* what, const Uuid& id, std::string_view content, const LinkPlace& place) {
    exchange_.add_variant(place.origin, place.position, content);
    result_.conflicts.push_back(
        fmt::format("{} {} is here with other content; this file's counts here, the pack's is kept beside it", what,
                    format_uuid(id)));
  }

  /// Two corrections of one record, one aboard and one ashore: the one recorded last counts, both are to be looked at.
  void tell_rivals(const Entry& entry) {
    const auto& target = entry.head.replaces ? entry.head.replaces : entry.head.withdraws;
    if (!target) return;
    for (const Entry& other : log_.history_of(*target)) {
      if (other.head.id == entry.head.id) continue;
      if (other.head.replaces == target || other.head.withdraws == target) {
        result_.conflicts.push_back(
            fmt::format("record {} was corrected or withdrawn twice: by {} and by {}; the one recorded "
                        "last counts",
                        format_uuid(*target), format_uuid(other.head.id), format_uuid(entry.head.id)));
        return;
      }
    }
  }

  /// A ship's entries are the ship's: one that somebody else corrected is to be looked at aboard.
  void tell_altered(const Entry& entry, const LinkPlace& place) {
    const auto& target = entry.head.replaces ? entry.head.replaces : entry.head.withdraws;
    if (!target || is_own_strand(place.origin) || !is_own(*target)) return;
    result_.conflicts.push_back(
        fmt::format("record {}, first written here, was {} by {} elsewhere (record {}); what was "
                    "recorded last counts",
                    format_uuid(*target), entry.head.replaces ? "corrected" : "withdrawn",
                    entry.head.by.empty() ? "somebody" : shown(entry.head.by), format_uuid(entry.head.id)));
  }
  [[nodiscard]] bool is_own(const Uuid& record) const {
    return log_.find(record).has_value() && SideRepository{db_}.elsewhere(record).empty();
  }
  [[nodiscard]] bool is_own_strand(std::int64_t origin) const {
    const auto strands = exchange_.strands();  // which also brings links to the file that wait, for is_own()
    return std::any_of(strands.begin(), strands.end(),
                       [&](const Strand& s) { return s.origin == origin && s.own.has_value(); });
  }

  template <class What>
  const RegisterIndex::OnBoard& set_subject(What& what, const Codes<std::string>& codes) {
    const RegisterIndex::OnBoard* on_board = index_.find_vessel(codes.vessel);
    if (on_board == nullptr) not_registered("vessel", codes.vessel);
    what.vessel = on_board->vessel->id;
    if constexpr (!std::is_same_v<What, Verification>) {
      if (!codes.shaft.empty()) what.shaft = require(on_board->shafts, codes.shaft, "shaft")->id;
      if (!codes.lubricator.empty())
        what.lubricator = require(on_board->lubricators, codes.lubricator, "lubricator")->id;
    }
    return *on_board;
  }
  template <class Map>
  static typename Map::mapped_type require(const Map& map, const std::string& code, const char* what) {
    const auto it = map.find(code);
    if (it == map.end()) not_registered(what, code);
    return it->second;
  }
  GreaseId grease(const Codes<std::string>& codes) const {
    if (codes.grease.empty()) return {};
    const Grease* g = index_.find_grease(codes.grease);
    if (g == nullptr) not_registered("grease", codes.grease);
    return g->id;
  }
  [[noreturn]] static void not_registered(const char* what, const std::string& code) {
    throw Error{Errc::bad_data,
                fmt::format("{} \"{}\" is not registered here; ask for a pack made with --all", what, shown(code))};
  }

  void note_peer() {
    const PackManifest& m = pack_.manifest;
    const std::int64_t from = exchange_.find_or_add(m.from);
    const auto strands = exchange_.strands();
    for (const Strand& s : strands) {
      if (s.origin != from) continue;
      if (s.own) return;  // a pack of our own
      if (!m.from_name.empty()) exchange_.name(from, m.from_name);
    }
    const auto before = exchange_.find_peer(from);
    if (before && before->told > m.made_at) return;  // an older pack that came late says nothing new of its sender
    PeerFile peer;
    peer.told = m.made_at;
    peer.register_hash = m.register_hash;
    for (const auto& [origin, hash] : m.seen) {
      const bool is_ours = std::any_of(strands.begin(), strands.end(),
                                       [&, id = origin](const Strand& s) { return s.own && s.id == id; });
      if (is_ours) peer.seen_register = hash;
    }
    for (const auto& [origin, position] : m.has) {
      for (const Strand& s : strands) {
        if (s.id == origin) peer.has.emplace(s.origin, position);
      }
    }
    exchange_.put_peer(from, peer);
  }

  Database& db_;
  const Pack& pack_;
  const UnpackOptions& options_;
  ExchangeRepository exchange_;
  LogRepository log_;
  FindingRepository findings_;
  VerificationRepository verifications_;
  CodeBook codes_;
  PackTrust trust_;
  bool is_ship_;
  RegisterIndex index_;
  std::vector<std::vector<std::string_view>> contents_;  // by strand
  std::optional<PartReader> register_;
  UnpackResult result_;
};

}  // namespace

UnpackResult take_pack(Database& db, std::string_view bytes, const std::string& name, const UnpackOptions& options) {
  require_name("by", options.by);
  try {
    const Pack pack = read_pack(bytes);
    return Unpacking{db, pack, options}.run();
  } catch (const Error& e) {
    if (e.code() == Errc::bad_data || e.code() == Errc::conflict) throw e.within(shown(name, 200));
    throw;
  }
}

UnpackResult unpack(Database& db, const std::filesystem::path& file, const UnpackOptions& options) {
  const std::string name = file.string();
  std::error_code code;
  const auto status = std::filesystem::status(file, code);
  if (status.type() == std::filesystem::file_type::not_found) {
    throw Error{Errc::not_found, fmt::format("{}: there is no such file", shown(name, 200))};
  }
  if (status.type() != std::filesystem::file_type::regular) {
    throw Error{Errc::bad_data, fmt::format("{}: is not a file; expected a pack", shown(name, 200))};
  }
  if (std::filesystem::file_size(file, code) > kMostPackBytes + (std::size_t{17} << 20)) {
    throw Error{Errc::bad_data, fmt::format("{}: is larger than a pack may be", shown(name, 200))};
  }
  std::ifstream in{file, std::ios::binary};
  std::string bytes{std::istreambuf_iterator<char>{in}, {}};
  if (!in) throw Error{Errc::io, fmt::format("{}: cannot be read", shown(name, 200))};
  return take_pack(db, bytes, name, options);
}

}  // namespace shaftlog
