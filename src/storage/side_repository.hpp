#pragma once

#include "base/time.hpp"
#include "base/uuid.hpp"
#include "storage/database.hpp"

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

namespace shaftlog {

/// Whose file this is.
enum class Side : std::uint8_t {
  both,   ///< not told apart: anybody corrects anything
  ship,   ///< others' corrections of what was first written here are told
  office  ///< corrects and withdraws only what was first written here
};
std::string_view name_of(Side side) noexcept;
std::optional<Side> parse_side(std::string_view word) noexcept;

/// Opens no transaction: the caller in app/ does.
class SideRepository {
 public:
  explicit SideRepository(Database& db) noexcept : db_{&db} {}

  [[nodiscard]] Side side() const;  ///< both, when it was never said
  void say(Side side, Instant at, const std::string& by) const;
  /// The file in which a record was first written, by name or id; empty: this one, or the record is not here.
  /// Reads the whole chain.
  [[nodiscard]] std::string elsewhere(const Uuid& record) const;
  /// \throws Error{conflict} this is an office's file and the record was first written in another
  void require_may_alter(const Uuid& record) const;

 private:
  Database* db_;
};

}  // namespace shaftlog
