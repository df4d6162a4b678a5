#pragma once

#include "support/run.hpp"

#include <string>

namespace shaftlog::test {

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
