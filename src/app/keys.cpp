#include "app/keys.hpp"

#include "base/error.hpp"
#include "base/text.hpp"
#include "interchange/new_file.hpp"
#include "storage/exchange_repository.hpp"

#include <algorithm>
#include <cerrno>
#include <cstring>
#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include <fmt/format.h>

namespace shaftlog {
namespace {

namespace fs = std::filesystem;

constexpr std::string_view kKeyHead = "shaftlog secret key 1\n";

std::string name_of(const fs::path& file) { return shown(file.string(), 200); }

[[noreturn]] void fail(const fs::path& file, const char* what) {
  const int why = errno;
  throw Error{Errc::io, fmt::format("{}: {} ({})", name_of(file), what, std::strerror(why))};
}

class Descriptor {
 public:
  explicit Descriptor(int fd) noexcept : fd_{fd} {}
  Descriptor(const Descriptor&) = delete;
  Descriptor& operator=(const Descriptor&) = delete;
  ~Descriptor() {
    if (fd_ >= 0) ::close(fd_);
  }
  [[nodiscard]] int get() const noexcept { return fd_; }

 private:
  int fd_;
};

void sync_folder_of(const fs::path& file) { sync_folder(file.has_parent_path() ? file.parent_path() : fs::path{"."}); }

/// New, for its owner only from the first moment; nothing is left of one that could not be written whole.
void write_key(const fs::path& file, const SecretKey& key) {
  const Descriptor fd{::open(file.c_str(), O_WRONLY | O_CREAT | O_EXCL | O_NOFOLLOW | O_CLOEXEC, 0600)};
  if (fd.get() < 0) fail(file, "the key cannot be kept there");
  std::string text{kKeyHead};
  std::string digits = hex(key.seed());
  text.append(digits).push_back('\n');
  wipe(digits);
  const bool is_written =
      ::write(fd.get(), text.data(), text.size()) == static_cast<ssize_t>(text.size()) && ::fsync(fd.get()) == 0;
  wipe(text);
  if (!is_written) {
    const int why = errno;
    ::unlink(file.c_str());
    errno = why;
    fail(file, "the key cannot be kept there");
  }
  sync_folder_of(file);
}

/// Empty when nothing is there.
std::optional<SecretKey> read_key(const fs::path& file) {
  const Descriptor fd{::open(file.c_str(), O_RDONLY | O_CLOEXEC | O_NONBLOCK)};
  if (fd.get() < 0) {
    if (errno == ENOENT) return std::nullopt;
    fail(file, "cannot be read");
  }
  struct ::stat about {};
  if (::fstat(fd.get(), &about) != 0) fail(file, "cannot be read");
  if (!S_ISREG(about.st_mode)) {
    throw Error{Errc::io, fmt::format("{}: is not a file; expected this file's secret key", name_of(file))};
  }
  if ((about.st_mode & 077) != 0) {
    throw Error{Errc::io,
                fmt::format("{}: others may read it; expected a key for its owner only (chmod 600)", name_of(file))};
  }
  std::string text(kKeyHead.size() + 66, '\0');
  const ssize_t n = ::read(fd.get(), text.data(), text.size());
  if (n < 0) fail(file, "cannot be read");
  text.resize(static_cast<std::size_t>(n));
  std::optional<PublicKey> seed;  // the same 32 bytes in the same digits
  if (text.starts_with(kKeyHead) && text.ends_with('\n')) {
    seed = parse_public_key(std::string_view{text}.substr(kKeyHead.size(), text.size() - kKeyHead.size() - 1));
  }
  wipe(text);
  if (!seed) {
    throw Error{Errc::bad_data,
                fmt::format("{}: is not a secret key; expected one made by \"key make\"", name_of(file))};
  }
  std::optional<SecretKey> key{*seed};
  wipe(*seed);
  return key;
}

fs::path renewed_file_of(const fs::path& key_file) { return key_file.string() + ".new"; }

/// A renewal that was broken off between the database and the key's file is brought to its end.
bool finish_renewal(const fs::path& file, const PublicKey& wanted) {
  const fs::path waiting = renewed_file_of(file);
  const auto key = read_key(waiting);
  if (!key || key->public_key() != wanted) return false;
  if (::rename(waiting.c_str(), file.c_str()) != 0) fail(file, "the new key cannot be put there");
  sync_folder_of(file);
  return true;
}

Signer own_signer(const PublicKey& key, std::int64_t n, Instant at, const std::string& by) {
  Signer s;
  s.key = key;
  s.own = n;
  s.decision = Decision::own;
  s.decided = at;
  s.by = by;
  return s;
}

void bind_own_strands(Database& db, const PublicKey& key) {
  const ExchangeRepository exchange{db};
  static_cast<void>(exchange.own());  // begun when there is none
  const KeyRepository keys{db};
  for (const Strand& s : exchange.strands()) {
    if (s.own) keys.bind(s.origin, key);
  }
}

const Signer& get_by_fingerprint(const std::vector<Signer>& signers, std::string_view text) {
  const auto wanted = parse_fingerprint(text);
  if (!wanted) {
    throw Error{Errc::usage, fmt::format("\"{}\" is not a fingerprint; expected 32 hexadecimal digits, as \"key list\" "
                                         "shows them",
                                         shown(text))};
  }
  const auto it =
      std::find_if(signers.begin(), signers.end(), [&](const Signer& s) { return fingerprint(s.key) == *wanted; });
  if (it == signers.end()) {
    throw Error{Errc::not_found, fmt::format("no key with the fingerprint {} is known here", *wanted)};
  }
  return *it;
}

}  // namespace

fs::path key_file_of(const fs::path& database) { return database.string() + ".key"; }

std::optional<SecretKey> signing_key(Database& db) {
  const auto own = KeyRepository{db}.own();
  if (!own) return std::nullopt;
  const fs::path file = key_file_of(db.path());
  auto key = read_key(file);
  if ((!key || key->public_key() != own->key) && finish_renewal(file, own->key)) key = read_key(file);
  if (!key) {
    throw Error{Errc::not_found,
                fmt::format("{}: this file's secret key is not there; put it back, or if it is lost for good: key make "
                            "--lost",
                            name_of(file))};
  }
  if (key->public_key() != own->key) {
    throw Error{Errc::conflict, fmt::format("{}: is the key {}; expected this file's own, {}", name_of(file),
                                            fingerprint(key->public_key()), fingerprint(own->key))};
  }
  return key;
}

OwnKey make_key(Database& db, const Clock& clock, const std::string& by, bool is_lost) {
  require_name("by", by);
  WriteTransaction transaction{db};
  const KeyRepository keys{db};
  const auto own = keys.own();
  OwnKey out;
  out.file = key_file_of(db.path());
  const auto there = read_key(out.file);
  if (own && there && there->public_key() == own->key) {
    throw Error{Errc::conflict,
                fmt::format("this file has a key, {}; for another in its place: key renew", fingerprint(own->key))};
  }
  if (own && !there && !is_lost) signing_key(db);  // says what is amiss
  const bool is_taken_up = there.has_value();
  const SecretKey key = is_taken_up ? *there : SecretKey::make();
  out.how = is_taken_up ? OwnKey::How::taken_up : OwnKey::How::made;
  out.key = key.public_key();
  if (const auto known = keys.find(out.key)) {
    throw Error{Errc::conflict,
                fmt::format("{}: is {}, a key {}; move it away", name_of(out.file), fingerprint(out.key),
                            known->own ? "this file had before" : "of " + known->name + ", another file")};
  }
  keys.add(own_signer(out.key, own ? *own->own + 1 : 1, clock.now_s(), by));
  bind_own_strands(db, out.key);
  if (!is_taken_up) write_key(out.file, key);
  try {
    transaction.commit();
  } catch (...) {
    if (!is_taken_up) ::unlink(out.file.c_str());
    throw;
  }
  return out;
}

OwnKey renew_key(Database& db, const Clock& clock, const std::string& by) {
  require_name("by", by);
  WriteTransaction transaction{db};
  const auto before = signing_key(db);
  if (!before) throw Error{Errc::not_found, "this file has no key to renew; make one with \"key make\""};
  const KeyRepository keys{db};
  const SecretKey key = SecretKey::make();
  const Instant now = clock.now_s();
  OwnKey out{OwnKey::How::renewed, key.public_key(), key_file_of(db.path())};
  // What was written so far still has the old key's word.
  sign_strands(db, *before, now);
  Signer signer = own_signer(out.key, *keys.own()->own + 1, now, by);
  signer.succession = sign_succession(*before, out.key, now);
  keys.add(signer);
  keys.decide(before->public_key(), Decision::replaced, now, by);
  bind_own_strands(db, out.key);
  const fs::path waiting = renewed_file_of(out.file);
  ::unlink(waiting.c_str());  // of a renewal that came to nothing
  write_key(waiting, key);
  transaction.commit();
  finish_renewal(out.file, out.key);
  return out;
}

Signer get_own_key(Database& db) {
  if (auto own = KeyRepository{db}.own()) return *std::move(own);
  throw Error{Errc::not_found, "this file has no key; make one with \"key make\""};
}

std::vector<Signer> list_keys(Database& db) { return KeyRepository{db}.signers(); }

Signer trust_key(Database& db, const Clock& clock, std::string_view text, const std::string& of,
                 const std::string& by) {
  require_name("by", by);
  WriteTransaction transaction{db};
  const KeyRepository keys{db};
  const std::vector<Signer> signers = keys.signers();
  PublicKey key{};
  if (const auto whole = parse_public_key(text)) {
    key = *whole;
  } else {
    key = get_by_fingerprint(signers, text).key;
  }
  auto known = keys.find(key);
  if (known && known->own) throw Error{Errc::conflict, "that is this file's own key"};
  std::vector<std::int64_t> strands;
  std::string name;
  const auto id = parse_uuid(of);
  for (const Strand& s : ExchangeRepository{db}.strands()) {
    if (s.own || of.empty() || (id ? s.id != *id : s.name != of)) continue;
    strands.push_back(s.origin);
    name = s.name;
  }
  if (strands.empty() && !of.empty()) {
    throw Error{Errc::not_found,
                fmt::format("--of: no records of \"{}\" were taken in yet; expected the name or id of a "
                            "file whose records are here",
                            shown(of))};
  }
  if (!known && strands.empty()) {
    throw Error{Errc::usage, "--of is missing: the name of the file that signs with this key"};
  }
  const Instant now = clock.now_s();
  if (known) {
    keys.decide(key, Decision::compared, now, by);
    for (const std::int64_t origin : strands) keys.bind(origin, key);
  } else {
    Signer s;
    s.key = key;
    s.name = name;
    s.decision = Decision::compared;
    s.decided = now;
    s.by = by;
    s.strands = strands;
    keys.add(s);
  }
  known = keys.find(key);
  transaction.commit();
  return *known;
}

Signer distrust_key(Database& db, const Clock& clock, std::string_view text, const std::string& by) {
  require_name("by", by);
  WriteTransaction transaction{db};
  const KeyRepository keys{db};
  const Signer known = get_by_fingerprint(keys.signers(), text);
  if (known.own) throw Error{Errc::conflict, "that is this file's own key; for another in its place: key renew"};
  keys.decide(known.key, Decision::distrusted, clock.now_s(), by);
  Signer now = *keys.find(known.key);
  transaction.commit();
  return now;
}

std::int64_t sign_strands(Database& db, const SecretKey& key, Instant at) {
  const ExchangeRepository exchange{db};
  const KeyRepository keys{db};
  std::int64_t signed_now = 0;
  for (const Strand& s : exchange.strands()) {
    if (!s.own || s.position == 0) continue;
    keys.bind(s.origin, key.public_key());
    const auto before = keys.checkpoints(s.origin);
    for (const Checkpoint& c : before) {
      if (exchange.hash_at(s.origin, c.position) == c.hash) continue;
      throw Error{Errc::damaged, fmt::format("this file's own records up to number {} are not what was signed on {}; "
                                             "nothing is signed; run \"check\"",
                                             c.position, format_utc(c.at))};
    }
    const bool is_done = std::any_of(before.begin(), before.end(), [&](const Checkpoint& c) {
      return c.position == s.position && c.key == key.public_key();
    });
    if (is_done) continue;
    keys.add_checkpoint(s.origin, sign_checkpoint(key, s.id, s.position, s.hash, at));
    ++signed_now;
  }
  return signed_now;
}

std::int64_t sign_database(Database& db, const Clock& clock) {
  WriteTransaction transaction{db};
  const auto key = signing_key(db);
  if (!key) throw Error{Errc::not_found, "this file has no key to sign with; make one with \"key make\""};
  const std::int64_t n = sign_strands(db, *key, clock.now_s());
  transaction.commit();
  return n;
}

}  // namespace shaftlog
