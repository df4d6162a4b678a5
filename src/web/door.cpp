#include "web/door.hpp"

#include "base/error.hpp"
#include "base/uuid.hpp"

#include <algorithm>
#include <array>

#include <sodium.h>

namespace shaftlog::web {

namespace {

constexpr std::size_t kMostSessions = 2000, kMostTries = 20000;

std::string random_text() {
  std::array<std::uint8_t, 32> bytes{};
  randombytes_buf(bytes.data(), bytes.size());
  return hex(bytes);
}

}  // namespace

Door::Door(std::filesystem::path accounts) : file_{std::move(accounts)} {
  if (sodium_init() < 0) throw Error{Errc::io, "the cryptographic library cannot be used"};
  randombytes_buf(key_.data(), key_.size());
  if (is_open()) return;
  read_accounts();
  nobody_hash_ = hash_passphrase(random_text());
}

Door::~Door() { sodium_memzero(key_.data(), key_.size()); }

void Door::read_accounts() {
  std::error_code fault;
  const auto written = std::filesystem::last_write_time(file_, fault);
  if (fault || read_ == written) return;
  accounts_ = load_accounts(file_);
  read_ = written;
}

const Account* Door::find(std::string_view name) const {
  const auto at = std::find_if(accounts_.begin(), accounts_.end(), [name](const Account& a) { return a.name == name; });
  return at == accounts_.end() ? nullptr : &*at;
}

Who Door::who(std::string_view session, Tick now) {
  if (is_open()) return {Role::anyone, {}, {}};
  if (session.empty()) return {};
  const std::lock_guard lock{mutex_};
  try {
    read_accounts();
  } catch (const Error&) {
    return {};  // a file that cannot be trusted lets nobody in
  }
  const auto at = sessions_.find(sha256(session));
  if (at == sessions_.end()) return {};
  const Account* account = find(at->second.name);
  if (account == nullptr || now - at->second.begun > kLongest || now - at->second.used > kIdle) {
    sessions_.erase(at);
    return {};
  }
  at->second.used = now;
  const Role role = account->role == Account::Role::crew             ? Role::crew
                    : account->role == Account::Role::chief_engineer ? Role::chief_engineer
                    : account->role == Account::Role::superintendent ? Role::superintendent
                                                                     : Role::reader;
  return {role, account->name, account->vessel};
}

Door::Tries& Door::tries_of(const std::string& of, Tick now) {
  if (tries_.size() > kMostTries)  // names that were made up; those shut now stay
    std::erase_if(tries_, [now](const auto& t) { return t.second.shut_until < now; });
  Tries& t = tries_[of];
  if (t.failed > 0 && now - t.last > 2 * kLongestWait) t = {};
  return t;
}

Door::Entered Door::enter(const std::string& name, const std::string& passphrase, const std::string& address,
                          Tick now) {
  const std::string by_name = "n " + name.substr(0, 64), by_address = "a " + address;
  const auto shut_for = [&]() -> std::chrono::seconds {
    const Tick until = std::max(tries_of(by_name, now).shut_until, tries_of(by_address, now).shut_until);
    return until > now ? std::chrono::ceil<std::chrono::seconds>(until - now) : std::chrono::seconds{0};
  };
  std::string hash = nobody_hash_;
  bool is_known = false;
  {
    const std::lock_guard lock{mutex_};
    if (const auto wait = shut_for(); wait.count() > 0) return {{}, wait};
    read_accounts();
    if (const Account* a = find(name)) hash = a->hash, is_known = true;
  }
  bool is_right = false;
  {
    const std::lock_guard turn{hashing_};
    {
      const std::lock_guard lock{mutex_};  // others may have failed while this one waited its turn
      if (const auto wait = shut_for(); wait.count() > 0) return {{}, wait};
    }
    is_right = is_passphrase(hash, passphrase) && is_known;
    const std::lock_guard lock{mutex_};
    if (!is_right) {
      for (const std::string& of : {by_name, by_address}) {
        Tries& t = tries_of(of, now);
        t.last = now;
        if (++t.failed < kFreeTries) continue;
        const int doublings = std::min(t.failed - kFreeTries, 10);
        t.shut_until = now + std::min<std::chrono::seconds>(kFirstWait * (1 << doublings), kLongestWait);
      }
      return {};
    }
    tries_.erase(by_name);
    tries_.erase(by_address);
    if (sessions_.size() >= kMostSessions)
      std::erase_if(sessions_,
                    [now](const auto& s) { return now - s.second.used > kIdle || now - s.second.begun > kLongest; });
    if (sessions_.size() >= kMostSessions) throw Error{Errc::busy, "too many people are signed in; try later"};
    std::string session = random_text();
    sessions_[sha256(session)] = {name, now, now};
    return {std::move(session), {}};
  }
}

void Door::leave(std::string_view session) {
  const std::lock_guard lock{mutex_};
  sessions_.erase(sha256(session));
}

std::string Door::token(std::string_view session) const {
  std::array<std::uint8_t, 24> out{};
  const auto* text = reinterpret_cast<const unsigned char*>(session.data());
  crypto_generichash(out.data(), out.size(), text, session.size(), key_.data(), key_.size());
  return hex(out);
}

bool Door::is_token(std::string_view session, std::string_view token) const {
  const std::string right = this->token(session);
  return token.size() == right.size() && sodium_memcmp(token.data(), right.data(), right.size()) == 0;
}

}  // namespace shaftlog::web
