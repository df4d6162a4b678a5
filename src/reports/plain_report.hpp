#pragma once

#include "analysis/plain.hpp"
#include "domain/register.hpp"
#include "reports/format.hpp"
#include "reports/table.hpp"

#include <cstdint>
#include <span>
#include <string>
#include <string_view>

namespace shaftlog {

enum class PlainFormat : std::uint8_t { text, json, csv };

/// What plain methods say: as text a table a series, as JSON with every value, as CSV a row a series and method. Made
/// ship by ship, so that a large fleet need not be held: begin, what join makes of each part in order, end.
class PlainReport {
 public:
  /// \param reg must live longer \param scope "fleet", "vessel T-01"; of the text
  PlainReport(PlainFormat format, const Register& reg, Instant as_of, std::string_view scope, const TextStyle& style);
  [[nodiscard]] std::string begin() const;
  /// May be called from several threads at a time, for different vessels (each has a clock of its own).
  [[nodiscard]] std::string part(std::span<const PlainSeries> series) const;
  [[nodiscard]] std::string join(const std::string& part);
  [[nodiscard]] std::string end() const;

 private:
  PlainFormat format_;
  Names names_;
  Instant as_of_;
  std::string scope_;
  TextStyle style_;
  bool has_parts_ = false;
};

}  // namespace shaftlog
