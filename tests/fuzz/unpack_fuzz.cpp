#include "app/pack.hpp"
#include "base/error.hpp"
#include "base/text.hpp"
#include "fuzz_input.hpp"
#include "interchange/pack_file.hpp"
#include "storage/chain.hpp"
#include "storage/exchange_repository.hpp"
#include "storage/query.hpp"
#include "support/temp_db.hpp"

#include <string>
#include <vector>

using namespace shaftlog;
using namespace shaftlog::test;

namespace {

enum : std::uint8_t { with_register = 1, into_records = 2, two_strands = 4, own_strand = 8, for_good = 16 };
constexpr std::size_t kRegisterParts = 14;

/// The file that takes in: one with nothing in it, one with a record of each kind.
struct Receiver {
  explicit Receiver(bool has_records) {
    if (!has_records) {
      const auto empty = dir / "empty.db";
      file = empty;
      db.emplace(Database::create(empty));
    } else {
      file = stocked.file;
      LogRepository log{stocked.db};
      WriteTransaction transaction{stocked.db};
      for (int n = 0; n < 8; ++n) log.add(stocked.entry(static_cast<Kind>(n), static_cast<std::uint64_t>(n + 1)));
      transaction.commit();
    }
    base().use_cache_mib(4);  // of the memory a run may use
    records = check(base()).records;
  }
  Database& base() { return db ? *db : stocked.db; }
  TempDir dir;
  TempDb stocked;
  std::filesystem::path file;
  std::optional<Database> db;
  std::int64_t records = 0;
};

/// A pack of this content whose manifest and hashes are true, so that what is read behind them is reached.
std::string true_pack(std::uint8_t flags, std::string_view content, Database& receiver) {
  std::vector<std::string_view> parts;
  for (PartReader reader{content}; !reader.is_at_end();) parts.push_back(reader.next());
  const bool has_register = (flags & with_register) != 0;
  if (has_register && parts.size() < kRegisterParts) throw Error{Errc::bad_data, "no room for a register"};
  const std::size_t records = parts.size() - (has_register ? kRegisterParts : 0);
  Pack pack;
  PackManifest& m = pack.manifest;
  m.fleet = nth_id(900);
  m.from = nth_id(901);
  m.from_name = "sender";
  m.made_by = "shaftlog";
  m.made_at = from_unix(1'790'000'000);
  const ExchangeRepository exchange{receiver};
  const std::size_t first_strand = (flags & two_strands) != 0 ? records / 2 : records;
  std::size_t at = 0;
  for (const std::size_t end : {first_strand, records}) {
    if (at == end) continue;
    PackStrand s;
    s.origin = nth_id(901 + at);
    if (at == 0 && (flags & own_strand) != 0) {
      const Strand own = exchange.own();
      s.origin = own.id;
      s.first = 1 + std::min<std::int64_t>(own.position, flags >> 5U);
      s.before = *exchange.hash_at(own.origin, s.first - 1);
    }
    s.last = s.first + static_cast<std::int64_t>(end - at) - 1;
    s.after = s.before;
    for (; at < end; ++at) s.after = link_hash(s.after, parts[at]);
    m.strands.push_back(std::move(s));
  }
  std::string registered;
  for (at = records; at < parts.size(); ++at) append_part(registered, parts[at]);
  m.has_register = has_register;
  m.register_hash = sha256(registered);
  pack.content = content;
  pack.has_verifications = true;  // a format that takes everything
  return write_pack(pack);
}

void require_unchanged(Receiver& r) {
  Query row{r.base(),
            "SELECT (SELECT count(*) FROM entry) + (SELECT count(*) FROM finding_remark) + "
            "(SELECT count(*) FROM verification)"};
  must(row.step() && row.integer(0) == r.records, "nothing is there that was refused or only tried");
}

UnpackOptions options(bool is_trial) {
  UnpackOptions o;
  o.dry_run = is_trial;
  o.join = true;
  return o;
}

bool is_refusal(const Error& e) { return e.code() == Errc::bad_data || e.code() == Errc::conflict; }

}  // namespace

// The first byte says into what and how, the rest is the content of a pack: records, then a register. It is taken in or
// it is said why not, and then nothing is there; what was taken in leaves a sound file, and once more adds nothing.
extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  static Receiver receivers[]{Receiver{false}, Receiver{true}};
  if (size == 0) return 0;
  const std::uint8_t flags = data[0];
  Receiver& r = receivers[(flags & into_records) != 0 ? 1 : 0];
  try {
    const std::string pack = true_pack(flags, as_text(data + 1, size - 1), r.base());
    const UnpackResult tried = take_pack(r.base(), pack, "x.pack", options(true));
    must(!tried.is_kept, "a trial keeps nothing");
    require_unchanged(r);
    if ((flags & for_good) == 0) return 0;  // most of it is told by the trial, in a tenth of the time
    const TempDir dir;
    backup(r.base(), dir / "x.db");
    Database db = Database::open(dir / "x.db", Database::Mode::read_write);
    db.use_cache_mib(4);
    const UnpackResult taken = take_pack(db, pack, "x.pack", options(false));
    must(taken.is_kept && taken.added == tried.added, "what a trial takes in is taken in");
    const CheckResult checked = check(db);
    must(checked.faults.empty(), "the file is sound");
    must(take_pack(db, pack, "x.pack", options(false)).added == 0, "once more adds nothing");
  } catch (const Error& e) {
    must(is_refusal(e) && e.what()[0] != '\0' && !find_bad_utf8(e.what()), "a refusal says why");
  }
  require_unchanged(r);
  return 0;
}
