#pragma once

#include "domain/record.hpp"
#include "domain/vessel_log.hpp"
#include "storage/database.hpp"

#include <memory>
#include <optional>
#include <string>
#include <vector>

namespace shaftlog {

struct LinkPlace;

/// What a listing asks for; empty fields do not limit.
struct ListQuery {
  std::optional<Kind> kind;
  VesselId vessel;
  ShaftId shaft;
  LubricatorId lubricator;
  std::optional<Instant> from, until;  ///< from <= at < until
  bool in_force_only = true;           ///< leave out what was replaced, withdrawn, and the withdrawals themselves
  std::optional<Instant> known;        ///< only what was recorded by then
  bool unverified_only = false;        ///< leave out what somebody has verified
  std::int64_t most = 0;               ///< newest first cut; 0: all
};

/// The log. Opens no transaction: the caller in app/ does. In force = not withdrawn and not replaced by a correction in
/// force; of several corrections of one record the one recorded last wins, ties by id.
class LogRepository {
 public:
  explicit LogRepository(Database& db);
  ~LogRepository();
  LogRepository(const LogRepository&) = delete;
  LogRepository& operator=(const LogRepository&) = delete;

  /// Keeps one entry. \return false, and nothing is written, when a record with that id is there already
  /// \throws Error{conflict} this is an office's file, and it would alter what was first written in another
  bool add(const Entry& entry);
  /// The same for a record of another file's strand: it, or the one with that id that is there, is linked at `place`.
  bool add(const Entry& entry, const LinkPlace& place);

  [[nodiscard]] std::optional<Entry> find(const Uuid& id) const;
  /// Ids that begin with `prefix` (hexadecimal, dashes optional, at least 4 digits), at most 10.
  [[nodiscard]] std::vector<Uuid> find_by_prefix(const std::string& prefix) const;
  /// The whole family of a record: what it replaces, what replaces it, withdrawals; oldest recorded first.
  [[nodiscard]] std::vector<Entry> history_of(const Uuid& id) const;
  /// The one of the family that is in force; empty when it was withdrawn.
  [[nodiscard]] std::optional<Entry> in_force(const Uuid& id) const;
  /// Sorted by (at, id).
  [[nodiscard]] std::vector<Entry> list(const ListQuery& query) const;
  /// Calls `take` for each entry in (vessel code, at, id) order without holding them all.
  void each(const ListQuery& query, const std::function<void(const Entry&)>& take) const;

  /// Everything in force of one vessel that had happened by `as_of` and, where given, was recorded by `known`; in
  /// VesselLog::future what is dated later than `as_of` though it was recorded by then.
  [[nodiscard]] VesselLog load_vessel(VesselId vessel, Instant as_of, std::optional<Instant> known) const;

 private:
  bool add(const Entry& entry, const LinkPlace* place);
  struct Statements;
  Database* db_;
  std::unique_ptr<Statements> statements_;
};

}  // namespace shaftlog
