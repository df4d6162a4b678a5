#pragma once

#include "base/sanitizer.hpp"
#include "support/run.hpp"

#include <string>

namespace shaftlog::test {

// Shadow memory of a sanitizer takes terabytes of address space: there the limit cannot be asked for.
inline constexpr bool kIsSanitized = SHAFTLOG_SANITIZED;

/// Shell words that hold a program to so much address space [KiB].
inline std::string address_limit(int kib) { return kIsSanitized ? "" : "ulimit -v " + std::to_string(kib) + "; "; }

/// A ship with a few records, and what must be true of it after any refusal.
class Ship {
 public:
  Ship() {
    aboard.ok({"init"});
    aboard.ok({"import", std::string{SHAFTLOG_SOURCE_DIR} + "/tests/errors/ship"});
    check_ = aboard.ok({"check"});  // tells the number of records
    log_ = exported();
  }
  /// The register, the records and the file are as they were.
  [[nodiscard]] bool is_untouched() const { return aboard.ok({"check"}) == check_ && exported() == log_; }
  [[nodiscard]] std::filesystem::path path(const std::string& name) const { return aboard.dir / name; }

  Aboard aboard;

 private:
  [[nodiscard]] std::string exported() const {
    const TempDir out;
    aboard.ok({"export", (out / "log").string()});
    std::string all;
    for (const char* const name : {"vessels", "greases", "guns", "shafts", "lubricators", "feeds", "hours", "cycles",
                                   "levels", "refills", "greasings", "alarms", "work", "inspections"})
      all += read_text(out / "log" / (std::string{name} + ".csv"));
    return all;
  }
  std::string check_, log_;
};

}  // namespace shaftlog::test
