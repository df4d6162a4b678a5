#pragma once

#include "analysis/types.hpp"

#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace shaftlog {

/// Writes one JSON value (RFC 8259) as UTF-8 text, keys in the order of writing, two blanks a level.
class JsonWriter {
 public:
  /// \param is_compact all on one line, for JSON Lines
  explicit JsonWriter(bool is_compact = false) noexcept : is_compact_{is_compact} {}
  JsonWriter& begin_object();
  JsonWriter& end_object();
  JsonWriter& begin_list();
  JsonWriter& end_list();
  JsonWriter& key(std::string_view name);
  /// Bytes that are not UTF-8 become U+FFFD: a reader must never choke on what somebody typed.
  JsonWriter& text(std::string_view value);
  JsonWriter& text_or_null(std::string_view value) { return value.empty() ? null() : text(value); }
  JsonWriter& texts(std::span<const std::string> values);
  JsonWriter& ids(std::span<const Uuid> values);
  JsonWriter& number(double value, int digits = 6);  ///< significant digits; null when not finite
  JsonWriter& number(const std::optional<double>& value, int digits = 6);
  JsonWriter& integer(std::int64_t value);
  JsonWriter& boolean(bool value);
  JsonWriter& null();
  JsonWriter& time(Instant t) { return text(format_utc(t)); }
  JsonWriter& time(const std::optional<Instant>& t) { return t ? time(*t) : null(); }
  JsonWriter& estimate(const std::optional<Estimate>& e);  ///< {"value", "low", "high"} or null

  /// The text with a line end. \pre every object and list was ended
  [[nodiscard]] std::string take();

 private:
  void before_value();
  void new_line();

  bool is_compact_;
  std::string out_;
  std::vector<bool> has_items_;  // of each open object or list
  bool after_key_ = false;
};

}  // namespace shaftlog
