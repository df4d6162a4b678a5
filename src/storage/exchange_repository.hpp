#pragma once

#include "base/time.hpp"
#include "base/uuid.hpp"
#include "storage/database.hpp"

#include <array>
#include <cstdint>
#include <functional>
#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace shaftlog {

/// One file's records in the order in which they were written there, as far as they are here.
struct Strand {
  std::int64_t origin = 0;
  Uuid id;
  std::string name;                 ///< of the file; empty: not told
  std::optional<std::int64_t> own;  ///< n-th of this file; empty: another file's
  std::int64_t position = 0;        ///< of the last link
  std::array<std::uint8_t, 32> hash{};
};

/// What another file said of itself last.
struct PeerFile {
  Instant told{};
  std::array<std::uint8_t, 32> register_hash{};
  std::optional<std::array<std::uint8_t, 32>> seen_register;  ///< ours, as it has it
  std::map<std::int64_t, std::int64_t> has;                   ///< origin to position
};

struct RegisterTime {
  std::string table;
  std::int64_t row = 0;
  std::int64_t at_s = 0;  ///< last put right; 0: never
};

/// Strands, peers and what they acknowledged. Opens no transaction: the caller in app/ does.
class ExchangeRepository {
 public:
  explicit ExchangeRepository(Database& db) noexcept : db_{&db} {}

  [[nodiscard]] std::optional<Uuid> fleet() const;
  void set_fleet(const Uuid& fleet) const;
  [[nodiscard]] Uuid make_fleet() const;

  /// By id, so that every file tells them in one order.
  [[nodiscard]] std::vector<Strand> strands() const;
  /// The strand this file writes; begun when there is none.
  [[nodiscard]] Strand own() const;
  void begin_strand() const;
  [[nodiscard]] std::int64_t find_or_add(const Uuid& origin) const;
  void name(std::int64_t origin, const std::string& name) const;
  [[nodiscard]] std::optional<std::array<std::uint8_t, 32>> hash_at(std::int64_t origin, std::int64_t position) const;
  /// Content of each link after `after`, in order. \throws Error{damaged} when a record cannot be read
  void each_content(std::int64_t origin, std::int64_t after, const std::function<void(std::string_view)>& take) const;
  void add_variant(std::int64_t origin, std::int64_t position, std::string_view content) const;

  [[nodiscard]] std::optional<PeerFile> find_peer(std::int64_t origin) const;
  void put_peer(std::int64_t origin, const PeerFile& peer) const;

  /// By key: "shaft", vessel, code and from, separated by byte 31.
  [[nodiscard]] std::map<std::string, RegisterTime> register_times() const;
  void note_register_time(const RegisterTime& time) const;

 private:
  Database* db_;
};

}  // namespace shaftlog
