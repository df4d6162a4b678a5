#pragma once

#include "domain/verification.hpp"
#include "storage/database.hpp"

#include <memory>
#include <optional>
#include <vector>

namespace shaftlog {

struct LinkPlace;

/// Who has verified which record. Opens no transaction: the caller in app/ does. Keeps its statements, so that a whole
/// log can be gone through record by record.
class VerificationRepository {
 public:
  explicit VerificationRepository(Database& db);
  ~VerificationRepository();
  VerificationRepository(const VerificationRepository&) = delete;
  VerificationRepository& operator=(const VerificationRepository&) = delete;

  /// Keeps one. \return false, and nothing is written, when one with that id is there already
  /// \throws Error{bad_data} naming what it cannot say; Error{conflict} this is an office's file, and the record was
  /// first written in another
  bool add(const Verification& verification);
  /// The same for one of another file's strand: it, or the one with that id that is there, is linked at `place`.
  bool add(const Verification& verification, const LinkPlace& place);

  [[nodiscard]] std::optional<Verification> find(const Uuid& id) const;
  /// By (at, id); empty: not verified.
  [[nodiscard]] std::vector<Verification> of(VesselId vessel, const Uuid& record) const;
  /// By vessel code, then (at, id).
  [[nodiscard]] std::vector<Verification> list() const;
  [[nodiscard]] std::vector<Verification> list_of(VesselId vessel) const;

 private:
  bool add(const Verification& verification, const LinkPlace* place);
  void require_may_verify(const Verification& verification);
  struct Statements;
  Database* db_;
  std::unique_ptr<Statements> statements_;
};

}  // namespace shaftlog
