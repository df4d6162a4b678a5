#pragma once

#include "domain/register.hpp"
#include "storage/database.hpp"

#include <string>
#include <vector>

namespace shaftlog {

/// The register. Opens no transaction: the caller in app/ does. `put_` adds a row that is not there (and sets its id),
/// answers `same` when an equal row is there, and `differs` when one of that key says something else: then nothing is
/// written unless `replace`, which keeps the row as it was in register_change.
class RegisterRepository {
 public:
  enum class Put { added, same, differs, replaced };
  struct Change {
    Instant at{};
    std::string by;
    bool replace = false;
  };

  explicit RegisterRepository(Database& db) noexcept : db_{&db} {}

  [[nodiscard]] Register load() const;

  Put put(Vessel& vessel, const Change& change) const;
  Put put(Grease& grease, const Change& change) const;
  /// Keys: vessel, code and, for settings, from.
  Put put_gun(VesselId vessel, const std::string& code, const GunCalibration& row, const Change& change) const;
  Put put_lubricator(VesselId vessel, const std::string& code, const LubricatorSetting& row,
                     const Change& change) const;
  Put put_shaft(VesselId vessel, const std::string& code, const ShaftSetting& row, const Change& change) const;
  Put put_feed(const Feed& feed, const Change& change) const;

 private:
  Database* db_;
};

}  // namespace shaftlog
