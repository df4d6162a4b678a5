#pragma once

#include "app/accounts.hpp"
#include "web/http.hpp"

#include <array>
#include <chrono>
#include <cstdint>
#include <filesystem>
#include <map>
#include <mutex>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace shaftlog::web {

using Tick = std::chrono::steady_clock::time_point;

/// Who comes in: accounts, sessions, and guessing held off. Safe to be used by many threads.
class Door {
 public:
  static constexpr auto kIdle = std::chrono::hours{2};      ///< a session that nobody uses ends
  static constexpr auto kLongest = std::chrono::hours{12};  ///< and so does every other
  static constexpr int kFreeTries = 5;                      ///< then each failure shuts the door for longer
  static constexpr auto kFirstWait = std::chrono::seconds{30}, kLongestWait = std::chrono::seconds{1800};

  /// \param accounts file of accounts; empty: none are kept and everybody may do everything
  explicit Door(std::filesystem::path accounts);
  ~Door();

  [[nodiscard]] bool is_open() const noexcept { return file_.empty(); }
  /// Whoever holds that session; nobody when it is unknown or over.
  [[nodiscard]] Who who(std::string_view session, Tick now);

  struct Entered {
    std::string session;           ///< empty: not let in
    std::chrono::seconds wait{0};  ///< above 0: shut for so long; the passphrase was not even looked at
  };
  /// An unknown name costs and answers what a wrong passphrase does.
  Entered enter(const std::string& name, const std::string& passphrase, const std::string& address, Tick now);
  void leave(std::string_view session);

  /// What a form must carry: belongs to one session and to this run of the server.
  [[nodiscard]] std::string token(std::string_view session) const;
  [[nodiscard]] bool is_token(std::string_view session, std::string_view token) const;

 private:
  struct Session {
    std::string name;
    Tick begun, used;
  };
  struct Tries {
    int failed = 0;
    Tick shut_until{}, last{};
  };
  using Key = std::array<std::uint8_t, 32>;

  void read_accounts();
  [[nodiscard]] const Account* find(std::string_view name) const;
  Tries& tries_of(const std::string& of, Tick now);

  std::filesystem::path file_;
  Key key_{};
  std::string nobody_hash_;  ///< to be compared with when there is no such account
  mutable std::mutex mutex_;
  std::mutex hashing_;  ///< one passphrase at a time: each takes 64 MiB
  std::vector<Account> accounts_;
  std::optional<std::filesystem::file_time_type> read_;
  std::map<Key, Session> sessions_;  ///< by the hash of their id
  std::map<std::string, Tries> tries_;
};

}  // namespace shaftlog::web
