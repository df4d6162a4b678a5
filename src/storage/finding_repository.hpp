#pragma once

#include "domain/finding_remark.hpp"
#include "storage/database.hpp"

#include <optional>
#include <vector>

namespace shaftlog {

struct LinkPlace;

/// Remarks on findings. Opens no transaction: the caller in app/ does.
class FindingRepository {
 public:
  explicit FindingRepository(Database& db) noexcept : db_{&db} {}

  /// Keeps one remark. \return false, and nothing is written, when one with that id is there already
  /// \throws Error{bad_data} naming what a remark cannot say; Error{conflict} a shaft or lubricator of another vessel
  bool add(const FindingRemark& remark) const;
  /// The same for a remark of another file's strand: it, or the one with that id that is there, is linked at `place`.
  bool add(const FindingRemark& remark, const LinkPlace& place) const;
  [[nodiscard]] std::optional<FindingRemark> find(const Uuid& id) const;
  /// Done by `as_of` and recorded by `known`; by vessel code, then in the order of is_before().
  [[nodiscard]] std::vector<FindingRemark> list(Instant as_of = kLatest, Instant known = kLatest) const;
  [[nodiscard]] std::vector<FindingRemark> list_of(VesselId vessel, Instant as_of = kLatest,
                                                   Instant known = kLatest) const;

 private:
  bool add(const FindingRemark& remark, const LinkPlace* place) const;
  Database* db_;
};

}  // namespace shaftlog
