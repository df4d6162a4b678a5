#pragma once

#include "domain/register.hpp"
#include "storage/database.hpp"

#include <string>
#include <string_view>
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
    /// By another file, and bears its moment. What is put right here is later than all before, wherever a clock stood.
    bool is_told = false;
  };

  /// A row as it was before it was put right.
  struct Replaced {
    Instant at{};
    std::string by;     ///< empty: not said
    std::string table;  ///< "shaft_setting", "feed", "lubricator_setting", "gun_calibration"
    std::string was;    ///< JSON object, column name to value, in the units of the file
  };

  explicit RegisterRepository(Database& db) noexcept : db_{&db} {}

  [[nodiscard]] Register load() const;
  /// The rows of one vessel, and all greases; everything where no vessel has that code, for whoever names the near
  /// ones.
  [[nodiscard]] Register load_of(std::string_view vessel) const;
  /// What was put right and bears on the shaft: its settings and feeds, what feeds it, the vessel's guns. Oldest first.
  [[nodiscard]] std::vector<Replaced> list_replaced(VesselId vessel, ShaftId shaft) const;

  Put put(Vessel& vessel, const Change& change) const;
  Put put(Grease& grease, const Change& change) const;
  /// Only ever added: a second report about a pair stands beside the first. \return added or same
  Put put(const GreaseEvidence& evidence) const;
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
